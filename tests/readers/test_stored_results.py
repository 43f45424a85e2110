"""When a workbook is loaded again for the stored results of its formulas, and when that can be spared."""

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


@pytest.mark.parametrize(
    ("cells", "loads"),
    [
        ({}, 1),
        ({"C3": "=B3-2"}, 1),
        ({"A1": '="Units of "&B3'}, 1),
        ({"B3": "=4.026/2"}, 2),
        ({"A3": '="1"'}, 2),
        ({"B2": '="Mass (g)"'}, 2),
    ],
    ids=["no formula", "live column", "title", "mass", "unit name", "heading"],
)
def test_a_book_is_loaded_again_only_for_formulas_that_will_be_read(
    cells: dict[str, object], loads: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[bool] = []
    load = xlsx._load

    def counted(path: Path, *, stored_results: bool) -> object:
        asked.append(stored_results)
        return load(path, stored_results=stored_results)

    monkeypatch.setattr(xlsx, "_load", counted)
    xlsx.read_xlsx(stored(book_with(tmp_path / "batch.xlsx", cells=cells)))
    assert asked == [False, True][:loads]


def test_a_formula_without_a_stored_result_is_told_from_an_empty_cell(tmp_path: Path) -> None:
    table = xlsx.read_xlsx(stored(book_with(tmp_path / "batch.xlsx", cells={"B3": "=4.026/2"}))).tables[0]
    mass = next(cell for row in table.rows for cell in row.cells.values() if cell.address == "B3")
    assert mass.kind is CellKind.UNSAVED
