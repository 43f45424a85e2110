"""Tables on disk and a way to call `qc` as a person does, in this process."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from qc.cli.main import COMMANDS, application

SOUND = ["2.000"] * 20


@pytest.fixture
def table(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., str]:
    """Write a bare table into an empty folder, which becomes the working one, and give its name."""
    monkeypatch.chdir(tmp_path)

    def write(masses: list[str] | None = None, contents: list[str] | None = None, name: str = "batch.csv") -> str:
        masses = SOUND if masses is None else masses
        header = "Unit,Mass (g)" + (",Content (% of label)" if contents is not None else "")
        lines = [header]
        for place in range(max(len(masses), len(contents or []))):
            cells = [str(place + 1), masses[place] if place < len(masses) else ""]
            if contents is not None:
                cells.append(contents[place] if place < len(contents) else "")
            lines.append(",".join(cells))
        (tmp_path / name).write_text("\n".join(lines) + "\n", encoding="utf-8")
        return name

    return write


@pytest.fixture
def qc() -> Callable[..., Result]:
    def call(*words: str) -> Result:
        result = CliRunner().invoke(application(*(word for word in words[:1] if word in COMMANDS)), list(words))
        if result.exception is not None and not isinstance(result.exception, SystemExit):
            raise result.exception
        return result

    return call
