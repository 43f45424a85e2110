"""Workbooks of the .xlsx and .xlsm kind, read by openpyxl.

The first load keeps formulas; only where a known column or an unknown sheet holds one is the book loaded again for the
stored results, because a formula without a stored result would otherwise read as an empty cell. Macros are never read.
"""

from __future__ import annotations

import re
import warnings
import zipfile
from datetime import date, time, timedelta
from typing import TYPE_CHECKING
from xml.etree.ElementTree import ParseError

from qc.fields.field import plain
from qc.fields.sheets import BARE_UNITS, SHEETS, SHOWN_ONLY
from qc.quantities import shown_decimal
from qc.readers.cells import Book, CellKind, Content, Merge, SheetCell, SheetRow, SheetTable, address, content_of
from qc.readers.container import check_loaded, stored_sheets
from qc.readers.guards import BROKEN_ZIP, UnusableFileError, guard_zip
from qc.readers.headings import header_row, known_fields
from qc.readers.stored import StoredFile

if TYPE_CHECKING:
    from openpyxl.cell.cell import Cell as StoredCell
    from openpyxl.cell.cell import MergedCell
    from openpyxl.workbook import Workbook
    from openpyxl.worksheet.worksheet import Worksheet

# What openpyxl was seen to raise on thousands of damaged workbooks (the tests of the readers hold the study).
LOAD_FAILURES = (*BROKEN_ZIP, AttributeError, IndexError, OverflowError, ParseError, TypeError)
_NOT_A_FORMAT = re.compile(r'"[^"]*"|\\.|\[[^\]]*\]')


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
    book = _load(file, stored_results=False)
    check_loaded(stored, {sheet.title: _filled(sheet) for sheet in book.worksheets})
    tables = [_table(file, sheet, None, book) for sheet in book.worksheets]
    if any(_asks_for_results(table) for table in tables):
        results = _load(file, stored_results=True)
        tables = [_table(file, sheet, results[sheet.title], results) for sheet in book.worksheets]
    return Book(file=file.name, tables=tuple(tables))


def _filled(sheet: Worksheet) -> set[str]:
    """The addresses of the cells that were loaded with something in them."""
    return {address(*spot) for spot, cell in sheet._cells.items() if cell.value is not None}


def _asks_for_results(table: SheetTable) -> bool:
    """Whether a formula stands where it will be read: in a known column, or anywhere while the headings are unknown."""
    name = plain(table.sheet)
    sheet = BARE_UNITS if name == plain(BARE_UNITS.name) else SHEETS.get(name)
    if sheet is None:
        formulas = (cell.kind is CellKind.UNSAVED for row in table.rows for cell in row.cells.values())
        return name not in SHOWN_ONLY and any(formulas)
    header = header_row(table, sheet)
    known = {} if header is None else known_fields(header, sheet)
    return any(
        header is None or row.number == header.number or (row.number > header.number and spot in known)
        for row in table.rows
        for spot, cell in row.cells.items()
        if cell.kind is CellKind.UNSAVED
    )


def _load(file: StoredFile, *, stored_results: bool) -> Workbook:
    from openpyxl import load_workbook

    try:
        with warnings.catch_warnings():
            # They tell of ornaments that openpyxl leaves out (drop-down lists, conditional colours), not of cells.
            warnings.simplefilter("ignore")
            return load_workbook(file.stream(), data_only=stored_results, keep_links=False, keep_vba=False)
    except LOAD_FAILURES as error:
        raise UnusableFileError(
            f"the workbook could not be opened ({type(error).__name__})",
            mend="Open it in the spreadsheet program and save it anew as .xlsx, without charts and pictures",
        ) from error


def _table(file: StoredFile, sheet: Worksheet, results: Worksheet | None, book: Workbook) -> SheetTable:
    rows: dict[int, dict[int, SheetCell]] = {}
    # Only the cells that the file holds: walking the used range would never end when one cell lies in the far corner.
    for (row, column), stored in sorted(sheet._cells.items()):
        content = _content(stored, book)
        if stored.data_type == "f" and results is not None and (row, column) in results._cells:
            content = _content(results._cells[row, column], book) or content
        if content is not None:
            rows.setdefault(row, {})[column] = SheetCell(column, address(row, column), *content)
    hidden = {number for number, look in sheet.row_dimensions.items() if look.hidden}
    hidden_columns: set[int] = set()
    for look in sheet.column_dimensions.values():
        if look.hidden and look.min is not None and look.max is not None:
            hidden_columns.update(range(look.min, min(look.max, 16384) + 1))
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
    )


def _content(stored: StoredCell | MergedCell, book: Workbook) -> Content | None:
    """Kind, text and number of a cell; None when it is empty."""
    value = stored.value
    if value is None:
        return None
    if stored.data_type == "f":
        # Array formulas and data tables are objects that carry their text.
        text = str(getattr(value, "text", None) or value)
        return CellKind.UNSAVED, text if text.startswith("=") else f"={text}", None
    if stored.data_type == "e":
        return CellKind.ERROR, str(value), None
    if isinstance(value, date | time | timedelta):
        from openpyxl.utils.datetime import to_excel

        serial = float(to_excel(value, epoch=book.epoch) or 0)  # type: ignore[no-untyped-call]  # the stubs leave it open
        if not isinstance(value, date):
            return CellKind.DATE, str(value), shown_decimal(serial)
        return content_of(value, serial=serial)
    return content_of(value, percent="%" in _NOT_A_FORMAT.sub("", str(stored.number_format)))
