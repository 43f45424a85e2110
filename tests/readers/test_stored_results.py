"""A workbook is loaded once, by the stored results of its formulas; a formula without one is told from nothing."""

from __future__ import annotations

from pathlib import Path

import pytest
from openpyxl import Workbook

from qc.readers import xlsx
from qc.readers.cells import CellKind
from qc.readers.stored import StoredFile


def book_with(path: Path, *, cells: dict[str, object]) -> Path:
    book = Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.title = "Units"
    for address, value in (
        {"A2": "Unit", "B2": "Mass (g)", "C2": "Deviation now (%)", "A3": "1", "B3": 2.013} | cells
    ).items():
        sheet[address] = value
    book.save(path)
    return path


def stored(path: Path) -> StoredFile:
    return StoredFile(name=path.name, data=path.read_bytes())


@pytest.mark.parametrize("cells", [{}, {"B3": "=4.026/2", "B2": '="Mass (g)"'}])
def test_a_book_is_loaded_once(cells: dict[str, object], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[str] = []
    load = xlsx._load

    def counted(file: StoredFile) -> Workbook:
        asked.append(file.name)
        return load(file)

    monkeypatch.setattr(xlsx, "_load", counted)
    xlsx.read_xlsx(stored(book_with(tmp_path / "batch.xlsx", cells=cells)))
    assert asked == ["batch.xlsx"]


def test_a_formula_without_a_stored_result_is_told_from_an_empty_cell(tmp_path: Path) -> None:
    table = xlsx.read_xlsx(stored(book_with(tmp_path / "batch.xlsx", cells={"B3": "=4.026/2"}))).tables[0]
    mass = next(cell for row in table.rows for cell in row.cells.values() if cell.address == "B3")
    assert (mass.kind, mass.text) == (CellKind.UNSAVED, "=4.026/2")
