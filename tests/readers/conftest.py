"""Small inputs for the readers, written afresh for each test."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from openpyxl.workbook import Workbook

from qc.problems import InputProblems
from qc.readers import xlsx
from qc.readers.cells import Book, SheetCell, SheetRow, SheetTable, address, content_of
from qc.readers.options import ReadOptions
from qc.readers.read import read_batch
from qc.readers.stored import StoredFile

Rows = Sequence[Sequence[Any]]
HEADINGS = ("Unit", "Mass (g)")


def laid_out(name: str, sheets: Mapping[str, Rows]) -> Book | None:
    """What is read of a workbook of these sheets; None where a cell is no plain text or number."""
    plain = {str, int, float, type(None)}
    tables = []
    for title, rows in sheets.items():
        found = []
        for number, row in enumerate(rows, start=1):
            if any(type(value) not in plain or str(value).startswith(("=", "#")) for value in row):
                return None
            said = {at: content_of("" if value is None else value) for at, value in enumerate(row, start=1)}
            cells = {at: SheetCell(at, address(number, at), *content) for at, content in said.items() if content}
            found += [SheetRow(number=number, cells=cells)] if cells else []
        tables.append(SheetTable(file=name, sheet=title.strip(), name=title, rows=tuple(found)))
    return Book(file=name, tables=tuple(tables))


@pytest.fixture
def past_the_file(monkeypatch: pytest.MonkeyPatch) -> dict[bytes, Book]:
    """A workbook of plain cells is read as it was laid out, a quarter of the work: for tests of what its tables say."""
    known: dict[bytes, Book] = {}
    read = xlsx.read_xlsx

    def read_known(file: StoredFile) -> Book:
        return known[file.data] if file.data in known else read(file)

    monkeypatch.setattr(xlsx, "read_xlsx", read_known)
    return known


@pytest.fixture
def book_of(tmp_path: Path, request: pytest.FixtureRequest) -> Callable[..., Path]:
    """Write a workbook of the sheets given; `change` may alter it before it is saved."""
    known = request.getfixturevalue("past_the_file") if "past_the_file" in request.fixturenames else None

    def write(change: Callable[[Workbook], None] | None = None, *, name: str = "batch.xlsx", **sheets: Rows) -> Path:
        if known is not None and change is None and (told := laid_out(name, sheets)) is not None:
            known[stands_for := repr((name, sheets)).encode()] = told
            (tmp_path / name).write_bytes(stands_for)
            return tmp_path / name
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
