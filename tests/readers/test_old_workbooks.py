"""Workbooks of the old kind: limits of time and memory, and what is stored more than once."""

from __future__ import annotations

import struct
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
import xlrd
from attacks import OLD_HEAD, OLD_ROWS, old_book, old_number, old_numbers, record

from qc.problems import InputProblems
from qc.readers import xls
from qc.readers.cells import CellKind, Merge
from qc.readers.guards import UnusableFileError
from qc.readers.read import read_batch
from qc.readers.stored import StoredFile

SOUND = old_book(OLD_HEAD + OLD_ROWS, dimensions=(0, 21, 0, 2))


def why(path: Path, data: bytes) -> str:
    path.write_bytes(data)
    with pytest.raises(InputProblems) as caught:
        read_batch(path)
    return caught.value.problems[0].found


def test_processor_time_without_end_is_cut_off(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # The child spends its time before it reads: the limit counts from its start.
    spend = "import resource; resource.setrlimit(resource.RLIMIT_CPU, (1, 2))\nwhile True: pass\n"
    run = xls.subprocess.run

    def slow(call: list[str], **more: object) -> object:
        return run([call[0], "-c", spend], **more)

    monkeypatch.setattr(xls.subprocess, "run", slow)
    assert why(tmp_path / "old.xls", SOUND) == "the workbook was not read within 8 s"


def test_a_large_sound_workbook_is_read(tmp_path: Path) -> None:
    cells = OLD_HEAD + OLD_ROWS + b"".join(old_numbers(at, 200) for at in range(30, 500))
    data = old_book(cells, dimensions=(0, 500, 0, 200))
    table = xls.read_xls(StoredFile(name="old.xls", data=data)).tables[0]
    assert sum(len(row.cells) for row in table.rows) == 42 + 200 * 470


def test_more_cells_than_a_batch_has_are_refused(tmp_path: Path) -> None:
    cells = OLD_HEAD + OLD_ROWS + b"".join(old_numbers(at, 200) for at in range(30, 831))
    told = why(tmp_path / "old.xls", old_book(cells, dimensions=(0, 831, 0, 200)))
    assert told == "the file holds more than 155,000 filled cells"


def old_formula(row: int, column: int, number: float, tokens: bytes) -> bytes:
    """A cell with a formula: record FORMULA of [MS-XLS], 2.4.127."""
    head = struct.pack("<HHHdHL", row, column, 0, number, 0, 0)
    return record(0x0006, head + struct.pack("<H", len(tokens)) + tokens)


# Tokens of [MS-XLS], 2.5.198: RAND (function 63 without arguments), and C of the same row less 1.
RAND = b"\x21" + struct.pack("<H", 63)
TAKES_C = b"\x4c" + struct.pack("<HH", 0, 0xC000 | 1) + b"\x1e" + struct.pack("<H", 1) + b"\x04"
BY_ANOTHER = b"\x01" + struct.pack("<HH", 1, 1)


def test_a_mass_by_a_random_number_is_refused(tmp_path: Path) -> None:
    cells = b"".join(old_number(at, 0, at) + old_formula(at, 1, 2 + at / 1000, RAND) for at in range(1, 21))
    told = why(tmp_path / "old.xls", old_book(OLD_HEAD + cells, dimensions=(0, 21, 0, 2)))
    assert told == "the mass of unit 1 is another one at every calculation, by RAND (=RAND())"


def test_a_formula_shared_by_cells_is_that_of_each(tmp_path: Path) -> None:
    """Record SHRFMLA of [MS-XLS], 2.4.277, behind the first cell of its area."""
    shared = record(0x04BC, struct.pack("<HHBBBBH", 1, 20, 1, 1, 0, 20, len(TAKES_C)) + TAKES_C)
    cells = old_number(1, 0, 1) + old_formula(1, 1, 2.001, BY_ANOTHER) + shared
    cells += b"".join(old_number(at, 0, at) + old_formula(at, 1, 2 + at / 1000, BY_ANOTHER) for at in range(2, 21))
    data = old_book(OLD_HEAD + cells, dimensions=(0, 21, 0, 2))
    table = xls.read_xls(StoredFile(name="old.xls", data=data)).tables[0]
    assert [row.cells[2].formula for row in table.rows[1:4]] == ["=C2-1.0", "=C3-1.0", "=C4-1.0"]


def test_a_formula_that_cannot_be_written_out_is_told(tmp_path: Path) -> None:
    cells = b"".join(old_number(at, 0, at) + old_formula(at, 1, 2 + at / 1000, BY_ANOTHER) for at in range(1, 21))
    told = why(tmp_path / "old.xls", old_book(OLD_HEAD + cells, dimensions=(0, 21, 0, 2)))
    assert "by a formula that the file does not write out" in told


@pytest.fixture
def in_process() -> Iterator[None]:
    """The library as it was, after it was patched where otherwise a process of its own would have ended."""
    put, parts = xlrd.sheet.Sheet.put_cell_unragged, xlrd.book.Book.get_record_parts
    yield
    xlrd.sheet.Sheet.put_cell_unragged, xlrd.book.Book.get_record_parts = put, parts


@pytest.mark.usefixtures("in_process")
class TestInThisProcess:
    """What the child does, so that a fault in it is seen at its line."""

    @pytest.mark.parametrize(
        ("cells", "last", "told"),
        [
            (OLD_HEAD + OLD_ROWS, 21, ""),
            (OLD_HEAD + OLD_ROWS, 22, 'the sheet "Units" says that it reaches to row 22 and ends in row 21'),
            (OLD_HEAD + OLD_ROWS + old_number(20, 1, 2), 21, "Units!B21 is stored twice in the file"),
            (OLD_HEAD + OLD_ROWS + old_number(20, 2, 2), 21, ""),
            # A row may be there for its height alone: record ROW of [MS-XLS], 2.4.221.
            (OLD_HEAD + OLD_ROWS + record(0x0208, struct.pack("<HHHHHHL", 21, 0, 0, 300, 0, 0, 0x0F0100)), 22, ""),
            (b"", 1, ""),
            (b"", 2, 'the sheet "Units" says that it reaches to row 2 and ends in row 1'),
        ],
    )
    def test_cells_are_loaded_as_they_are_stored(self, cells: bytes, last: int, told: str) -> None:
        data = old_book(cells, dimensions=(0, last, 0, 2))
        if told:
            with pytest.raises(UnusableFileError) as refused:
                xls._book("old.xls", data)
            assert str(refused.value) == told
            return
        rows = xls._book("old.xls", data).tables[0].rows
        assert [row.number for row in rows] == list(range(1, 22 if cells else 1))
        assert [cell.address for row in rows[1:2] for cell in row.cells.values()] == (["A2", "B2"] if cells else [])

    def test_formulas_stand_with_their_cells(self) -> None:
        shared = record(0x04BC, struct.pack("<HHBBBBH", 1, 20, 1, 1, 0, 20, len(TAKES_C)) + TAKES_C)
        cells = old_formula(1, 1, 2.001, BY_ANOTHER) + shared + old_formula(2, 1, 2.002, BY_ANOTHER)
        cells += old_formula(3, 1, 2.003, RAND) + old_number(4, 1, 2.004) + old_formula(5, 1, 2.005, b"\x01" + bytes(4))
        rows = xls._book("old.xls", old_book(OLD_HEAD + cells, dimensions=(0, 6, 0, 2))).tables[0].rows
        told = [row.cells[2].formula for row in rows[1:]]
        assert told == ["=C2-1.0", "=C3-1.0", "=RAND()", "", "shared with other cells"]


class Columns(dict[int, Any]):
    """The rows or columns of a sheet that are hidden."""

    def __init__(self, *hidden: int) -> None:
        super().__init__(
            {
                spot: SimpleNamespace(hidden=spot in hidden, height=300, width=2560, has_default_height=0)
                for spot in range(6)
            }
        )


def test_the_kinds_and_looks_of_cells() -> None:
    """A sheet as the library has it: fonts 0 to 3 are plain, struck out, raised and in white."""
    fonts = [
        SimpleNamespace(struck_out=at == 1, escapement=at == 2, colour_index=9 if at == 3 else 8) for at in range(4)
    ]
    formats = {0: "General", 1: '0.000" mg"', 2: "0.0%", 3: "0.000"}
    book = SimpleNamespace(
        datemode=0,
        font_list=fonts,
        xf_list=[
            SimpleNamespace(font_index=font, format_key=key) for font, key in ((0, 0), (1, 0), (0, 1), (0, 2), (0, 3))
        ],
        format_map={key: SimpleNamespace(format_str=text) for key, text in formats.items()},
        name_obj_list=[
            SimpleNamespace(builtin=builtin, name=name, result=SimpleNamespace(text=text) if text else None)
            for builtin, name, text in (
                (0, "gross_mass", "' Units '!$B$2:$B$4"),
                (1, "Print_Area", "' Units '!$A$1:$B$4"),
                (0, "of_another", "Week!$B$2"),
                (0, "ten", None),
            )
        ],
        colour_map={8: (0, 0, 0), 9: (255, 255, 255)},
    )
    rows = [
        [(xlrd.XL_CELL_TEXT, "Unit", 0), (xlrd.XL_CELL_TEXT, " ", 0), (xlrd.XL_CELL_TEXT, "x", 1)],
        [(xlrd.XL_CELL_NUMBER, 2.0129999999999999, 0), (xlrd.XL_CELL_NUMBER, 2013, 2), (xlrd.XL_CELL_NUMBER, 0.05, 3)],
        [(xlrd.XL_CELL_NUMBER, 2.05, 4), (xlrd.XL_CELL_DATE, 46095.0, 0), (xlrd.XL_CELL_DATE, 9e9, 0)],
        [(xlrd.XL_CELL_BOOLEAN, 1, 0), (xlrd.XL_CELL_ERROR, 7, 0), (xlrd.XL_CELL_ERROR, 99, 0)],
        [(xlrd.XL_CELL_TEXT, "a", 0), (xlrd.XL_CELL_TEXT, "b", 0), (xlrd.XL_CELL_TEXT, "c", 0)],
        [(xlrd.XL_CELL_EMPTY, "", 0)] * 3,
    ]  # fmt: skip
    cells = [[SimpleNamespace(ctype=kind, value=value, xf_index=form) for kind, value, form in row] for row in rows]
    sheet = SimpleNamespace(
        name=" Units ",
        number=0,
        nrows=6,
        row=lambda row: cells[row],
        cell=lambda row, column: cells[row][column],
        hyperlink_map={(1, 1): SimpleNamespace(quicktip="in foil")},
        cell_note_map={(0, 0): SimpleNamespace(text="on a cell"), (5, 2): SimpleNamespace(text="on none")},
        rowinfo_map=Columns(3),
        colinfo_map=Columns(2, 4),
        rich_text_runlist_map={(4, 0): [(1, 2)], (4, 1): [(1, 3)], (4, 2): [(0, 0), (1, 1)], (1, 0): [(0, 7)]},
        merged_cells=[(1, 3, 0, 2)],
        visibility=1,
    )
    formulas = xls._Formulas()
    table = xls._table("old.xls", sheet, book, formulas, ())  # type: ignore[arg-type]
    assert (table.file, table.sheet, table.name, table.hidden) == ("old.xls", "Units", " Units ", True)
    assert table.hidden_columns == {3, 5}
    assert [row.number for row in table.rows if row.hidden] == [4]
    assert table.merges == (Merge(top=2, left=1, bottom=3, right=2),)
    assert table.apart == (
        ("comment on the empty cell C6", "on none"),
        ("name or prompt of B2:B4", "gross mass"),
    )
    found = {cell.address: (cell.kind, cell.text, cell.number, cell.unit, cell.look) for cell in every(table)}
    assert found == {
        "A1": (CellKind.TEXT, "Unit", None, "", ""),
        "C1": (CellKind.TEXT, "x", None, "", "struck through"),
        "A2": (CellKind.NUMBER, "2.013", Decimal("2.013"), "", ""),
        "B2": (CellKind.NUMBER, "2013.000", Decimal("2013.000"), "mg", ""),
        "C2": (CellKind.PERCENT, "0.05", Decimal("0.05"), "", ""),
        "A3": (CellKind.NUMBER, "2.050", Decimal("2.050"), "", ""),
        "B3": (CellKind.DATE, "2026-03-14", Decimal(46095), "", ""),
        "C3": (CellKind.NUMBER, "9000000000", Decimal(9000000000), "", ""),
        "A4": (CellKind.BOOLEAN, "TRUE", None, "", ""),
        "B4": (CellKind.ERROR, "#DIV/0!", None, "", ""),
        "C4": (CellKind.ERROR, "#ERROR", None, "", ""),
        "A5": (CellKind.TEXT, "a", None, "", "raised or lowered"),
        "B5": (CellKind.TEXT, "b", None, "", "in white type"),
        "C5": (CellKind.TEXT, "c", None, "", "struck through"),
    }
    assert {cell.address: cell.comment for cell in every(table) if cell.comment} == {
        "A1": "on a cell",
        "B2": "in foil",
    }


def every(table: Any) -> list[Any]:
    return [cell for row in table.rows for cell in row.cells.values()]


def in_a_box(text: str) -> bytes:
    """A text box as an old workbook stores it: what is drawn, and its text with its length ([MS-XLS], 2.4.329)."""
    drawn = record(0x005D, struct.pack("<HHHHH12sHH", 0x15, 0x12, 6, 1, 0, b"", 0, 0))
    head = struct.pack("<HH6sHHH", 0, 0, b"", len(text), 0, 0)
    return drawn + record(0x01B6, head) + record(0x003C, b"\0" + text.encode("latin-1"))


def on_the_margin(kind: int, text: str) -> bytes:
    """The head or the foot of the page as an old workbook stores it."""
    return record(kind, struct.pack("<HB", len(text), 0) + text.encode("latin-1"))


def prompted(title: str, text: str) -> bytes:
    """A rule for what is typed into B2:B21, with its prompt ([MS-XLS], 2.4.92)."""
    texts = (struct.pack("<HB", len(one), 0) + one.encode("latin-1") for one in (title, "\0", text, "\0"))
    formulas = struct.pack("<HHBHHH", 3, 0, 0x1E, 0, 0, 0)[:-2].replace(b"\x1e\0\0", b"\x1e\1\0") + b"\0\0"
    return record(0x01BE, struct.pack("<L", 0) + b"".join(texts) + formulas + struct.pack("<HHHHH", 1, 1, 20, 1, 1))


def over_a_chart(text: str) -> bytes:
    """A text of a chart ([MS-XLS], 2.4.254)."""
    return record(0x100D, struct.pack("<HBB", 0, len(text), 0) + text.encode("latin-1"))


@pytest.mark.parametrize(
    ("written", "where"),
    [
        (over_a_chart("Unit 7 was 1.404 g"), "text box"),
        (prompted("Unit 7", "was 1.404 g"), "name or prompt of B2:B21"),
        (in_a_box("Unit 7 was 1.404 g"), "text box"),
        (on_the_margin(0x14, '&L&"Arial"&12Unit 7 was 1.404 g'), "head or foot of the page"),
        (on_the_margin(0x15, "&CUnit 7 was 1.404 g"), "head or foot of the page"),
    ],
)
def test_what_stands_in_no_cell_of_an_old_workbook_is_asked(tmp_path: Path, written: bytes, where: str) -> None:
    told = why(tmp_path / "old.xls", old_book(written + OLD_HEAD + OLD_ROWS, dimensions=(0, 21, 0, 2)))
    assert told == f'the {where} says "Unit 7 was 1.404 g", which may be about the masses'


def test_a_text_box_that_says_nothing_of_masses_is_told(tmp_path: Path) -> None:
    path = tmp_path / "old.xls"
    written = in_a_box("Cleaned the mould") + on_the_margin(0x14, "") + on_the_margin(0x15, "&RLaboratory 3")
    path.write_bytes(old_book(OLD_HEAD + OLD_ROWS + written, dimensions=(0, 21, 0, 2)))
    assert read_batch(path).notices[0].text == 'The text box was not read: "Cleaned the mould".'


@pytest.mark.parametrize(
    ("title", "error", "told"),
    [("Foil", "Unit", "Foil weigh in foil"), ("Mass (g)", "Foil", ""), ("", "", "weigh in foil")],
)
def test_a_prompt_is_told_but_for_that_under_our_own_heading(title: str, error: str, told: str) -> None:
    """Record DV of [MS-XLS], 2.4.89: four texts, two formulas, the ranges."""
    texts = b"".join(struct.pack("<HB", len(one), 0) + one.encode() for one in (title, error, "weigh in foil", "no"))
    ranges = struct.pack("<H8H", 2, 1, 20, 1, 1, 4, 4, 0, 2)
    data = bytes(4) + texts + struct.pack("<HHI", 4, 0, 7) + bytes(4) + ranges
    assert xls._prompt(data) == ("name or prompt of B2:B21, A5:C5", told)
