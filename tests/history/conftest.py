from __future__ import annotations

from pathlib import Path

import pytest


@pytest.fixture
def store(tmp_path: Path) -> str:
    return str(tmp_path / "history.db")
