"""A workbook with much of what a sheet can hold, as three kinds of file, with all that is loaded of each.

`many_sided.txt` holds our own answers, to see what a change moves; after a change that is meant
`python tests/readers/test_kept_books.py` writes them anew, and the difference is read. With `make` behind it the books
themselves are made anew first, the .ods and the .xls out of the .xlsx by LibreOffice.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from datetime import date, datetime, time
from pathlib import Path
from typing import Any

import msgspec
import pytest

from qc.readers import xls
from qc.readers.cells import Book
from qc.readers.ods import read_ods
from qc.readers.stored import StoredFile
from qc.readers.xlsx import read_xlsx

HERE = Path(__file__).parent / "many_sided"
READ = {".xlsx": read_xlsx, ".ods": read_ods, ".xls": lambda file: xls._book(file.name, file.data)}


def loaded(book: Book) -> Iterator[str]:
    """A line for each sheet, row and cell, with all of it that is not as most are."""
    for table in book.tables:
        yield f"{table.sheet!r}, called {table.name!r}, hidden {table.hidden}, columns {sorted(table.hidden_columns)}"
        yield from (f"merged {one.address}" for one in table.merges)
        yield from (f"apart {where}: {text!r}" for where, text in table.apart)
        for row in table.rows:
            yield f"row {row.number}{', hidden' if row.hidden else ''}"
            for spot, cell in row.cells.items():
                said = {name: value for name, value in msgspec.structs.asdict(cell).items() if value}
                assert (said.pop("column"), said.pop("kind")) == (spot, cell.kind)
                told = " ".join(f"{name}={value!r}" for name, value in said.items() if name != "address")
                yield f"{cell.address} {cell.kind.name} {told}"


@pytest.mark.parametrize("kind", READ)
def test_all_that_is_loaded_of_a_book_is_as_before(kind: str, monkeypatch: pytest.MonkeyPatch) -> None:
    assert list(loaded(book_of(kind, monkeypatch))) == (HERE / f"{kind[1:]}.txt").read_text("utf-8").splitlines()


def book_of(kind: str, patched: pytest.MonkeyPatch) -> Book:
    """The book as it is loaded; the library for old ones is left as it was."""
    import xlrd

    for of, name in ((xlrd.sheet.Sheet, "put_cell_unragged"), (xlrd.book.Book, "get_record_parts")):
        patched.setattr(of, name, getattr(of, name))
    for name in ("read", "handle_txo"):
        patched.setattr(xlrd.sheet.Sheet, name, getattr(xlrd.sheet.Sheet, name))
    return READ[kind](StoredFile(name=f"many{kind}", data=(HERE / f"many{kind}").read_bytes()))


def make() -> None:
    """The .xlsx anew, and out of it the other two."""
    import xlsxwriter

    from tests.shared.office import saved_again

    book = xlsxwriter.Workbook(HERE / "many.xlsx")
    struck, raised, white = ({"font_strikeout": True}, {"font_script": 1}, {"font_color": "#FFFFFF"})
    style: dict[str, Any] = {name: book.add_format(one) for name, one in (("s", struck), ("r", raised), ("w", white))}
    shown = [
        ("0.000", 2.0134), ('0.000" g"', 2.021), ('0" mg"', 1998), ("0.0%", 0.982), ("0%", 1), ("#,##0.00", 2013.25),
        ("yyyy-mm-dd", date(2026, 10, 30)), ("yyyy-mm-dd hh:mm", datetime(2026, 10, 30, 9, 15)), ("hh:mm", time(9, 15)),
        ('"lot "0', 7), ("0.00E+00", 0.002013), ("General", 1e-7), ("General", 12345678901), ("@", "2.013"),
        ('[>2]"heavy "0.0;0.0', 2.5), ("0.000;-0.000;;", 0), ("# ?/?", 0.5), ("0.000_);(0.000)", -2.013),
    ]  # fmt: skip
    sheet = book.add_worksheet("Week 12")
    sheet.write_row("A1", ["Unit", "Mass (g)", "Note", "Gross (g)", "Tare (g)"])
    for row, (look, value) in enumerate(shown, start=1):
        sheet.write(row, 0, f"N {row}")
        write = sheet.write_datetime if isinstance(value, date | time) else sheet.write
        write(row, 1, value, book.add_format({"num_format": look}))
    formulas = {
        "=D2-E2": 2.1, "=SUM(B2:B4)": 6.1, "=Notes!A1": "kept cold", '=A2&" x"': "N 1 x", "=1/0": "#DIV/0!", "=B2>2": 1,
        "=$D$2*0.5": 1,
    }  # fmt: skip
    for row, (formula, stored) in enumerate(formulas.items(), start=1):
        sheet.write_formula(row, 2, formula, None, stored)
    sheet.write_row("D2", [2.6, 0.5])
    sheet.write_row("D3", [True, "  two \n lines\t"])
    sheet.write("D4", "struck", style["s"])
    sheet.write_rich_string("D5", "2.", style["r"], "1", "5")
    sheet.write_rich_string("D6", "a", style["s"], "b", style["w"], "c")
    sheet.write("D7", 2.2, style["s"])
    sheet.write("D8", 2.3, style["w"])
    sheet.write_comment("B2", "weighed twice", {"author": "A. Rossi"})
    sheet.write_comment("G9", "on no cell")
    sheet.write_url("D9", "https://example.org/x", string="a page", tip="where it stands")
    sheet.merge_range("F2:G3", "over four", style["r"])
    sheet.merge_range("H2:H4", 2.5)
    sheet.insert_textbox("J2", "A box\nof two lines")
    sheet.insert_textbox("J12", "2.013 in a box")
    chart = book.add_chart({"type": "line"})
    chart.add_series({"values": "='Week 12'!$B$2:$B$4", "name": "masses"})
    chart.set_title({"name": "Title of a chart"})
    sheet.insert_chart("L2", chart)
    sheet.set_header("&LLeft &D&CLot 7&Rright")
    sheet.set_footer("&Cfoot &P of &N")
    sheet.set_row(10, None, None, {"hidden": True})
    sheet.set_row(12, 0)
    sheet.set_column("E:E", 9, None, {"hidden": True})
    sheet.set_column("K:L", 0)
    sheet.data_validation("C2:C9", {"validate": "any", "input_title": "Weigh", "input_message": "in foil"})
    sheet.data_validation("B2:B9", {"validate": "any", "input_title": "Mass (g)", "input_message": "net"})
    sheet.data_validation("D2", {"validate": "any", "input_message": "alone"})
    book.define_name("Second_half", "='Week 12'!$B$5:$B$9")
    notes = book.add_worksheet("Notes")
    book.define_name("Kept_here", "=Notes!$A$1")
    notes.write("A1", "kept cold")
    notes.write_array_formula("B1:B2", "{=A1:A2}", None, "kept cold")
    notes.write("C700", 2.013)
    notes.hide()
    book.add_worksheet(" It's \u00e4 ")
    book.close()
    for kind in ("ods", "xls"):
        saved_again([HERE / "many.xlsx"], kind, HERE)


if __name__ == "__main__":
    if sys.argv[1:] == ["make"]:
        make()
    for kind in READ:
        with pytest.MonkeyPatch.context() as patched:
            lines = loaded(book_of(kind, patched))
            (HERE / f"{kind[1:]}.txt").write_text("\n".join(lines) + "\n", encoding="utf-8")
