"""Books saved again by another spreadsheet program (LibreOffice). A start takes seconds, so many go through one."""

from __future__ import annotations

import shutil
import subprocess
import tempfile
from collections.abc import Sequence
from functools import cache
from pathlib import Path

import pytest

HERE = shutil.which("soffice") is not None
needs_office = pytest.mark.skipif(not HERE, reason="LibreOffice (soffice) is not installed")


@cache
def _home() -> tempfile.TemporaryDirectory[str]:
    """A profile of this process's own: two programs on one profile refuse each other."""
    return tempfile.TemporaryDirectory()


def saved_again(books: Sequence[Path], kind: str, into: Path) -> list[Path]:
    """The books in another format, in one start of the program; of `kind` what stands after a colon is its filter."""
    profile = f"-env:UserInstallation={Path(_home().name).as_uri()}"
    call = ["soffice", profile, "--headless", "--convert-to", kind, "--outdir", str(into), *map(str, books)]
    subprocess.run(call, check=True, capture_output=True, timeout=300)
    return [into / f"{path.stem}.{kind.partition(':')[0]}" for path in books]
