"""Small inputs for the readers, written afresh for each test."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from openpyxl.workbook import Workbook

from qc.problems import InputProblems
from qc.readers.options import ReadOptions
from qc.readers.read import read_batch

Rows = Sequence[Sequence[Any]]
HEADINGS = ("Unit", "Mass (g)")


@pytest.fixture
def book_of(tmp_path: Path) -> Callable[..., Path]:
    """Write a workbook of the sheets given; `change` may alter it before it is saved."""

    def write(change: Callable[[Workbook], None] | None = None, *, name: str = "batch.xlsx", **sheets: Rows) -> Path:
        book = openpyxl.Workbook()
        assert book.active is not None
        book.remove(book.active)
        for title, rows in sheets.items():
            sheet = book.create_sheet(title)
            for row in rows:
                sheet.append(list(row))
        if change is not None:
            change(book)
        book.save(tmp_path / name)
        return tmp_path / name

    return write


@pytest.fixture
def table_of(tmp_path: Path) -> Callable[..., Path]:
    """Write a delimited file."""

    def write(text: str | bytes, name: str = "units.csv") -> Path:
        path = tmp_path / name
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return path

    return write


@pytest.fixture
def refused() -> Callable[..., list[str]]:
    """Everything that is wrong with an input, as printed."""

    def read(path: Path, options: ReadOptions | None = None) -> list[str]:
        with pytest.raises(InputProblems, match=r".+") as caught:
            read_batch(path, options=options or ReadOptions())
        return [str(problem) for problem in caught.value.problems]

    return read


@pytest.fixture
def remarks() -> Callable[[Path], list[str]]:
    """The notices of an input that is read."""

    def read(path: Path) -> list[str]:
        return [f"{notice.where}: {notice.text}" for notice in read_batch(path).notices]

    return read
