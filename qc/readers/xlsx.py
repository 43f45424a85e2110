"""Workbooks of the .xlsx and .xlsm kind, read by openpyxl.

The first load keeps formulas; only where a known column holds one is the book loaded again for the stored results,
because a formula without a stored result would otherwise read as an empty cell. Macros are never loaded.
"""

from __future__ import annotations

import re
import warnings
import zipfile
import zlib
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING
from xml.etree.ElementTree import ParseError

from qc.fields.headings import plain
from qc.fields.sheets import SHEETS
from qc.quantities import shown_decimal
from qc.readers.guards import UnusableFileError, guard_zip
from qc.readers.headings import header_row
from qc.readers.tables import Book, CellKind, Merge, SheetCell, SheetRow, SheetTable, address

if TYPE_CHECKING:
    from openpyxl.cell.cell import Cell as StoredCell
    from openpyxl.cell.cell import MergedCell
    from openpyxl.workbook import Workbook
    from openpyxl.worksheet.worksheet import Worksheet

# What openpyxl was seen to raise on thousands of damaged workbooks (the tests of the readers hold the study).
LOAD_FAILURES = (
    AttributeError,
    EOFError,
    IndexError,
    KeyError,
    NotImplementedError,
    OSError,
    OverflowError,
    ParseError,
    RuntimeError,
    TypeError,
    ValueError,
    zipfile.BadZipFile,
    zlib.error,
)
_NOT_A_FORMAT = re.compile(r'"[^"]*"|\\.|\[[^\]]*\]')


def read_xlsx(path: Path) -> Book:
    """Read every sheet of a workbook.

    Raises
    ------
    UnusableFileError
        When the file is no workbook, is locked, damaged or outsized.
    """
    guard_zip(path)
    book = _load(path, stored_results=False)
    tables = [_table(path, sheet, None, book) for sheet in book.worksheets]
    if any(_asks_for_results(table) for table in tables):
        results = _load(path, stored_results=True)
        tables = [_table(path, sheet, results[sheet.title], results) for sheet in book.worksheets]
    return Book(file=path.name, tables=tuple(tables))


def _asks_for_results(table: SheetTable) -> bool:
    """Whether a formula stands where it will be read: in a known column, or anywhere while the headings are unknown."""
    formulas = [
        (row.number, spot) for row in table.rows for spot, cell in row.cells.items() if cell.kind is CellKind.UNSAVED
    ]
    sheet = SHEETS.get(table.sheet.casefold())
    if not formulas or sheet is None:
        return False
    header = header_row(table, sheet)
    if header is None:
        return True
    known = {spot for spot, cell in header.cells.items() if plain(cell.text) in sheet.columns}
    return any(number == header.number or (number > header.number and spot in known) for number, spot in formulas)


def _load(path: Path, *, stored_results: bool) -> Workbook:
    from openpyxl import load_workbook

    try:
        with warnings.catch_warnings():
            # They tell of ornaments that openpyxl leaves out (drop-down lists, conditional colours), not of cells.
            warnings.simplefilter("ignore")
            # openpyxl leaves a file open that it could not read; this one is closed here.
            with path.open("rb") as stream:
                return load_workbook(stream, data_only=stored_results, keep_links=False, keep_vba=False)
    except LOAD_FAILURES as error:
        raise UnusableFileError(
            f"the workbook could not be opened ({type(error).__name__})",
            mend="Open it in the spreadsheet program and save it anew as .xlsx, without charts and pictures",
        ) from error


def _table(path: Path, sheet: Worksheet, results: Worksheet | None, book: Workbook) -> SheetTable:
    rows: dict[int, dict[int, SheetCell]] = {}
    # Only the cells that the file holds: walking the used range would never end when one cell lies in the far corner.
    for (row, column), stored in sorted(sheet._cells.items()):
        cell = _cell(stored, (row, column), book)
        if cell is not None and cell.kind is CellKind.UNSAVED and results is not None:
            result = results._cells.get((row, column))
            known = None if result is None else _cell(result, (row, column), book)
            cell = known or cell
        if cell is not None:
            rows.setdefault(row, {})[column] = cell
    hidden = {number for number, look in sheet.row_dimensions.items() if look.hidden}
    hidden_columns: set[int] = set()
    for look in sheet.column_dimensions.values():
        if look.hidden and look.min is not None and look.max is not None:
            hidden_columns.update(range(look.min, min(look.max, 16384) + 1))
    return SheetTable(
        file=path.name,
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


def _cell(stored: StoredCell | MergedCell, place: tuple[int, int], book: Workbook) -> SheetCell | None:
    value = stored.value
    kind, text, number = CellKind.TEXT, "", None
    if value is None:
        return None
    if stored.data_type == "f":
        # Array formulas and data tables are objects that carry their text.
        kind, text = CellKind.UNSAVED, str(getattr(value, "text", None) or value)
        text = text if text.startswith("=") else f"={text}"
    elif stored.data_type == "e":
        kind, text = CellKind.ERROR, str(value)
    elif isinstance(value, bool):
        kind, text = CellKind.BOOLEAN, str(value).upper()
    elif isinstance(value, int | float):
        kind, text, number = _number(value, stored)
    elif isinstance(value, datetime | date | time | timedelta):
        kind, text, number = _date(value, book)
    else:
        text = str(value)
        if not text.strip():
            return None
    return SheetCell(
        row=place[0],
        column=place[1],
        address=address(*place),
        kind=kind,
        text=text,
        number=number,
    )


def _number(value: float, stored: StoredCell | MergedCell) -> tuple[CellKind, str, Decimal | None]:
    try:
        shown = shown_decimal(float(value))
    except (ValueError, OverflowError):
        return CellKind.ERROR, str(value), None
    percent = "%" in _NOT_A_FORMAT.sub("", str(stored.number_format))
    return (CellKind.PERCENT if percent else CellKind.NUMBER), f"{shown:f}", shown


def _date(value: datetime | date | time | timedelta, book: Workbook) -> tuple[CellKind, str, Decimal | None]:
    from openpyxl.utils.datetime import to_excel

    serial = to_excel(value, epoch=book.epoch)  # type: ignore[no-untyped-call]  # the stubs leave it open
    text = str(value)
    if isinstance(value, datetime):
        text = value.date().isoformat() if value.time() == time() else value.isoformat(sep=" ", timespec="seconds")
    return CellKind.DATE, text, None if serial is None else shown_decimal(float(serial))
