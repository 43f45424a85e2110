"""Workbooks of the .xlsx and .xlsm kind, read by openpyxl.

A formula counts by the result that is stored with it. One without a result would read as an empty cell; it is found in
the sheet part, which is read once more by itself. Macros are never read.
"""

from __future__ import annotations

import re
import sys
import warnings
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, time, timedelta
from typing import TYPE_CHECKING

from qc.fields.field import plain
from qc.fields.sheets import BARE_UNITS
from qc.patterns import pattern
from qc.quantities import shown_decimal
from qc.readers.cells import (
    FILLED,
    IN_BOX,
    ON_EMPTY,
    ON_MARGIN,
    ON_RANGE,
    STRUCK,
    Book,
    CellKind,
    Content,
    Merge,
    SheetCell,
    SheetRow,
    SheetTable,
    address,
    content_of,
)
from qc.readers.container import LAST_COLUMN, NOT_WRITTEN_OUT, StoredSheet, check_loaded, stored_sheets
from qc.readers.guards import BROKEN_ZIP, UnusableFileError, guard_zip
from qc.readers.number_format import shown_behind
from qc.readers.stored import StoredFile

if TYPE_CHECKING:
    from openpyxl.cell.cell import Cell as StoredCell
    from openpyxl.cell.cell import MergedCell
    from openpyxl.workbook import Workbook
    from openpyxl.worksheet.worksheet import Worksheet

# What openpyxl was seen to raise on thousands of damaged workbooks (the tests of the readers hold the study).
# A part that is no XML is a SyntaxError of either parser that it may use.
LOAD_FAILURES = (*BROKEN_ZIP, AttributeError, IndexError, OverflowError, SyntaxError, TypeError)

# What a program writes before a comment for programs that show no answers to it.
_THREAD = pattern(r"\s*\[Threaded comment\].*?Comment:\s*", re.DOTALL)
# How the type of a header is written: bold, italic, underlined, struck, raised, lowered.
_TYPE = pattern(r"&[BIUESXY]")
# The sheet that a formula names, in another file where a bracket stands before it.
_SHEET = pattern(r"(?:'((?:[^']|'')+)'|([\w.\[\]]+))!")


def read_xlsx(file: StoredFile) -> Book:
    """Read every sheet of a workbook.

    Raises
    ------
    UnusableFileError
        When the file is no workbook, is locked, damaged or outsized.
    """
    guard_zip(file.name, file.data)
    with zipfile.ZipFile(file.stream()) as archive:
        stored = stored_sheets(archive)
    try:
        book = _load(file)
        check_loaded(stored, {sheet.title: _filled(sheet) for sheet in book.worksheets})
        # What a cell is shown as is looked up only now, and may name a format that is not there.
        tables = [_table(file, sheet, part, book) for sheet, part in zip(book.worksheets, stored, strict=True)]
        for sheet in book.worksheets:
            # A sheet and its book hold each other: the cells would stay for as long as cycles are not sought.
            sheet._cells.clear()
    except UnusableFileError:
        raise
    except LOAD_FAILURES as error:
        raise UnusableFileError(
            f"the workbook could not be opened ({type(error).__name__})",
            mend="Open it in the spreadsheet program and save it anew as .xlsx, without charts and pictures",
        ) from error
    return Book(file=file.name, tables=tuple(tables))


def _filled(sheet: Worksheet) -> dict[str, object]:
    """The cells that were loaded with something in them, by address."""
    return {address(*spot): cell.value for spot, cell in sheet._cells.items() if cell.value not in (None, "")}


@contextmanager
def _without_pictures() -> Iterator[None]:
    """Hide the library of pictures while openpyxl is loaded, which then passes them over: a batch stands in cells."""
    if "PIL" in sys.modules:
        yield
        return
    sys.modules["PIL"] = None  # type: ignore[assignment]  # the interpreter's own mark of what cannot be imported
    try:
        yield
    finally:
        del sys.modules["PIL"]


def _load(file: StoredFile) -> Workbook:
    with _without_pictures():
        from openpyxl import load_workbook

    with warnings.catch_warnings():
        # They tell of ornaments that openpyxl leaves out (drop-down lists, conditional colours), not of cells.
        warnings.simplefilter("ignore")
        return load_workbook(file.stream(), data_only=True, keep_links=False, keep_vba=False)


def _table(file: StoredFile, sheet: Worksheet, part: StoredSheet, book: Workbook) -> SheetTable:
    rows: dict[int, dict[int, SheetCell]] = {}
    # Few books hold a font that is struck through, and a cell is asked for its own only there.
    strikes = any(font.strike for font in vars(book)["_fonts"])
    solid = {at for at, fill in enumerate(vars(book)["_fills"]) if getattr(fill, "patternType", None) == "solid"}
    fills = {at for at, style in enumerate(vars(book)["_cell_styles"]) if style.fillId in solid}
    # Only the cells that the file holds: walking the used range would never end when one cell lies in the far corner.
    for (row, column), stored in sorted(sheet._cells.items()):
        content, place = _content(stored, book), address(row, column)
        if content is None and place in part.formulas:
            text = NOT_WRITTEN_OUT if place in part.origins else part.formulas[place]
            content = (CellKind.UNSAVED, text, None)
        if (lost := _lost_sheet(part.formulas.get(place, ""), book)) and content is not None:
            content = (CellKind.ERROR, f"#REF! ({lost})", None)
        if content is not None:
            shown = shown_behind(str(stored.number_format) if content[0] is CellKind.NUMBER else "")
            formula, origin = part.formulas.get(place, ""), part.origins.get(place, "")
            look = STRUCK if strikes and stored.font.strike else part.looks.get(place, "")
            look = look or (FILLED if fills and stored.style_id in fills else "")
            comment = _comment(stored) or shown.words
            cell = SheetCell(column, place, *content, shown.unit, formula, origin, look, comment)
            rows.setdefault(row, {})[column] = cell
    hidden = {number for number, look in sheet.row_dimensions.items() if look.hidden or look.height == 0}
    every_look = sheet.column_dimensions.values()
    looks = sorted((look.min or 0, look.max or 0) for look in every_look if look.hidden or not look.width)
    hidden_columns: set[int] = set()
    past = 1
    for first, last in looks:
        # Those that lie over each other are gone over once.
        hidden_columns.update(range(max(first, past), min(last, LAST_COLUMN) + 1))
        past = max(past, last + 1)
    return SheetTable(
        file=file.name,
        sheet=sheet.title.strip(),
        name=sheet.title,
        rows=tuple(SheetRow(number=number, cells=rows[number], hidden=number in hidden) for number in sorted(rows)),
        hidden=sheet.sheet_state != "visible",
        hidden_columns=frozenset(hidden_columns),
        merges=tuple(
            Merge(top=area.min_row, left=area.min_col, bottom=area.max_row, right=area.max_col)
            for area in sheet.merged_cells.ranges
        ),
        apart=tuple(_apart(sheet, part, book)),
    )


def _lost_sheet(formula: str, book: Workbook) -> str:
    """The first sheet that a formula names and that the file does not hold, be it one of another file; or nothing."""
    if "!" not in formula:
        return ""
    known = {name.casefold() for name in book.sheetnames}
    named = (one.replace("''", "'") or other for one, other in _SHEET.findall(formula))
    return next((name for name in named if name.casefold() not in known), "")


def _comment(stored: StoredCell | MergedCell) -> str:
    """What is written on a cell, also where the pointer rests on its link."""
    link = getattr(stored, "hyperlink", None)
    texts = (_THREAD.sub("", stored.comment.text) if stored.comment is not None else "", link and link.tooltip)
    return "; ".join(filter(None, texts))


def _apart(sheet: Worksheet, part: StoredSheet, book: Workbook) -> Iterator[tuple[str, str]]:
    """The texts that stand in no cell."""
    yield from ((IN_BOX, text) for text in part.boxes)
    for name, defined in (*book.defined_names.items(), *sheet.defined_names.items()):
        for title, area in defined.destinations if defined.type == "RANGE" and not defined.is_reserved else ():
            if title == sheet.title:
                yield ON_RANGE.format(area.replace("$", "")), name.replace("_", " ")
    for one in sheet.data_validations.dataValidation:
        # Our own sheet prompts under its own headings.
        own = plain(one.promptTitle or "") in BARE_UNITS.columns
        if (text := " ".join(filter(None, (one.promptTitle, one.prompt)))) and not own:
            yield ON_RANGE.format(str(one.sqref)), text
    for stored in sheet._cells.values():
        if stored.value is None and (text := _comment(stored)):
            yield ON_EMPTY.format(stored.coordinate), text
    pages = (sheet.oddHeader, sheet.oddFooter, sheet.evenHeader, sheet.evenFooter, sheet.firstHeader, sheet.firstFooter)
    for page in filter(None, pages):
        for side in (page.left, page.center, page.right):
            if side is not None and side.text:
                yield ON_MARGIN, _TYPE.sub("", side.text)


def _content(stored: StoredCell | MergedCell, book: Workbook) -> Content | None:
    """Kind, text and number of a cell; None when it is empty."""
    value = stored.value
    if value is None:
        return None
    if stored.data_type == "e":
        return CellKind.ERROR, str(value), None
    if isinstance(value, date | time | timedelta):
        from openpyxl.utils.datetime import to_excel

        serial = float(to_excel(value, epoch=book.epoch) or 0)  # type: ignore[no-untyped-call]  # the stubs leave it open
        if not isinstance(value, date):
            return CellKind.DATE, str(value), shown_decimal(serial)
        return content_of(value, serial=serial)
    if not isinstance(value, int | float):
        return content_of(value)
    shown = shown_behind(str(stored.number_format))
    return content_of(value, percent=shown.percent, places=shown.places)
