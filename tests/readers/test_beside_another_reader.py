"""Every cell of a workbook is read as openpyxl reads it, which shares no line with the reader here."""

from __future__ import annotations

import warnings
import zipfile
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from pathlib import Path

import pytest
import xlsxwriter
from openpyxl import Workbook, load_workbook
from openpyxl.cell.cell import Cell
from openpyxl.comments import Comment
from openpyxl.styles import Font

from qc.problems import InputProblems
from qc.quantities import shown_decimal
from qc.readers.cells import STRUCK, CellKind, SheetCell, SheetTable
from qc.readers.number_format import shown_behind
from qc.readers.read import read_batch
from qc.readers.stored import StoredFile
from qc.readers.xlsx import read_xlsx

SAMPLES = sorted((Path(__file__).parents[2] / "sample_data").glob("*.xlsx"))
FORMATS = (
    *("General", "0", "0.00", "#,##0.00", "0%", "0.00%", "0.000", '0.000" mg"', '0.00"day"', "[Red]0.000", "@"),
    *(
        "mm-dd-yy",
        "h:mm",
        "m/d/yy h:mm",
        "[h]:mm:ss",
        "mm:ss",
        "dd.mm.yyyy;0.00",
        "0.00;dd.mm.yyyy",
        "# ?/?",
        "0.00E+00",
    ),
)
NUMBERS = (2.013, 0.25, 1, 0, -3, 45.5, 59, 60, 61, 46023, 46023.75, 1.5e-7, 0.1 + 0.2, 123456789012)


def tables_of(path: Path) -> dict[str, SheetTable]:
    return {table.name: table for table in read_xlsx(StoredFile(name=path.name, data=path.read_bytes())).tables}


def told(cell: Cell) -> tuple[CellKind, str, Decimal | None] | None:
    """What openpyxl says of a cell, in our words; nothing of an empty one."""
    value, shown = cell.value, shown_behind(str(cell.number_format))
    if value is None or (isinstance(value, str) and not value.strip()):
        return None
    if cell.data_type == "e":
        return CellKind.ERROR, str(value), None
    if isinstance(value, bool):
        return CellKind.BOOLEAN, str(value).upper(), None
    if isinstance(value, datetime):
        day = value.time() == time()
        return CellKind.DATE, str(value.date()) if day else value.isoformat(sep=" ", timespec="seconds"), None
    if isinstance(value, date | time | timedelta):
        return CellKind.DATE, str(value), None
    if isinstance(value, int | float):
        number = shown_decimal(float(value))
        return CellKind.PERCENT if shown.percent else CellKind.NUMBER, "", number
    return CellKind.TEXT, str(value), None


def ours(cell: SheetCell) -> tuple[CellKind, str, Decimal | None] | None:
    if cell.kind in (CellKind.NUMBER, CellKind.PERCENT):
        return cell.kind, "", cell.number
    return None if cell.kind is CellKind.UNSAVED else (cell.kind, cell.text, None)


def assert_alike(path: Path) -> int:
    """How many cells were compared."""
    tables, many = tables_of(path), 0
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        book = load_workbook(path, data_only=True)
    assert [sheet.title for sheet in book.worksheets] == list(tables)
    for sheet in book.worksheets:
        table = tables[sheet.title]
        read = {cell.address: cell for row in table.rows for cell in row.cells.values()}
        expected = {cell.coordinate: cell for row in sheet.iter_rows() for cell in row if told(cell)}  # type: ignore[arg-type]
        assert expected.keys() == {place for place, cell in read.items() if ours(cell)}
        for place, cell in expected.items():
            assert ours(read[place]) == told(cell), place  # type: ignore[arg-type]
            assert read[place].comment == (cell.comment.text if cell.comment else ""), place
            assert (read[place].look == STRUCK) is bool(cell.font.strike), place
        assert {row.number for row in table.rows if row.hidden} == {
            number
            for number, look in sheet.row_dimensions.items()
            if look.hidden and sheet[number][0].row in expected_rows(expected)
        }
        assert {merge.address for merge in table.merges} == set(map(str, sheet.merged_cells.ranges))
        assert table.hidden is (sheet.sheet_state != "visible")
        many += len(expected)
    return many


def expected_rows(cells: dict[str, Cell]) -> set[int]:
    return {cell.row for cell in cells.values()}


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.name)
def test_the_samples_are_read_alike(path: Path) -> None:
    assert assert_alike(path) > 100


def test_numbers_in_every_kind_of_format_are_read_alike(tmp_path: Path) -> None:
    with xlsxwriter.Workbook(tmp_path / "formats.xlsx") as made:
        sheet = made.add_worksheet("Formats")
        for column, code in enumerate(FORMATS):
            shown = made.add_format({"num_format": code})
            for row, number in enumerate(NUMBERS):
                sheet.write_number(row, column, number, shown)
        # The sheet has no day below zero, and none beyond the year 9999.
        sheet.write_number(30, 0, 3e6, made.add_format({"num_format": "dd.mm.yyyy"}))
    assert assert_alike(tmp_path / "formats.xlsx") == len(FORMATS) * len(NUMBERS) + 1


@pytest.mark.parametrize("from_1904", [False, True])
def test_texts_marks_and_days_are_read_alike(tmp_path: Path, from_1904: bool) -> None:
    path = tmp_path / "texts.xlsx"
    options = {"in_memory": True, "date_1904": from_1904}
    with xlsxwriter.Workbook(path, options) as made:
        sheet, other = made.add_worksheet("Texts"), made.add_worksheet("Hidden")
        other.hide()
        sheet.write_row(0, 0, ["a", " b ", "", "\u00e4\u4e2d", "line\nline", "<&>", "_x000D_"])
        sheet.write_rich_string(1, 0, "plain ", made.add_format({"bold": True}), "bold", " plain")
        sheet.write_boolean(2, 0, True)
        sheet.write_formula(2, 1, "=1/0", None, "#DIV/0!")
        sheet.write_formula(2, 2, "=A1&B1", None, "ab")
        sheet.write_formula(2, 3, "=1+1", None, 2)
        sheet.write_datetime(3, 0, datetime(2026, 11, 27, 14, 5), made.add_format({"num_format": "yyyy-mm-dd hh:mm"}))
        sheet.write_string(4, 0, "struck", made.add_format({"font_strikeout": True}))
        sheet.merge_range("C5:D6", "merged")
        sheet.set_row(4, None, None, {"hidden": True})
        sheet.set_column("F:G", None, None, {"hidden": True})
        sheet.write_comment("A1", "weighed twice")
    assert assert_alike(path) == 14
    assert tables_of(path)["Texts"].hidden_columns == {6, 7}


def test_a_book_that_openpyxl_wrote_is_read_as_it_was_meant(tmp_path: Path) -> None:
    book = Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.append([2.013, "text", True, date(2026, 1, 2), time(10, 4), timedelta(hours=30)])
    sheet["A1"].comment = Comment("dropped", "M.")
    sheet["B1"].font = Font(strike=True)
    sheet["D1"].number_format = "dd/mm/yyyy"
    book.save(tmp_path / "made.xlsx")
    assert assert_alike(tmp_path / "made.xlsx") == 6


@pytest.mark.parametrize(
    ("old", "new", "found"),
    [
        ('t="s"', 't="x"', 'Units!A1 is stored as "x", which its value is not'),
        ('t="s"', 't="inlineStr"', 'Units!A1 is stored as "inlineStr", which its value is not'),
        ('t="s"', 't="b"', 'Units!A2 stores "2" as true or false'),
        ("<v>2.013</v>", "<v><v>2.013</v></v>", "Units!B2 stores something else within its value"),
        ('r="B2"', 'r="B2" s="9"', "Units!B2 has a style that the file does not hold"),
        ('r="B2"', 'r="B2" s="-1"', 'the sheet "Units" says s = "-1", which is no whole number'),
    ],
)
def test_what_a_cell_cannot_be_is_refused(tmp_path: Path, old: str, new: str, found: str) -> None:
    with xlsxwriter.Workbook(tmp_path / "made.xlsx") as made:
        sheet = made.add_worksheet("Units")
        sheet.write_row(0, 0, ["Unit", "Mass (g)"])
        sheet.write_row(1, 0, ["one", 2.013])
    with zipfile.ZipFile(tmp_path / "made.xlsx") as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    part = "xl/worksheets/sheet1.xml"
    parts[part] = parts[part].replace(old.encode(), new.encode(), 3 if new.endswith('"b"') else 1)
    with zipfile.ZipFile(tmp_path / "batch.xlsx", "w") as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    with pytest.raises(InputProblems) as refused:
        read_batch(tmp_path / "batch.xlsx")
    assert [problem.found for problem in refused.value.problems] == [found]
