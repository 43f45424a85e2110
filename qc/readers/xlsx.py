"""Workbooks of the .xlsx and .xlsm kind: what their container stores, brought to cells.

A formula counts by the result that is stored with it; one without a result would read as an empty cell and is told
from it. Macros are never read.
"""

from __future__ import annotations

import re
import zipfile
from collections.abc import Sequence
from datetime import date
from math import isfinite

from qc.quantities import shown_decimal
from qc.readers.cell_formats import CellFormat, cell_formats, moment_of, moment_said
from qc.readers.cells import STRUCK, Book, CellKind, Content, SheetCell, SheetRow, SheetTable, column_number, content_of
from qc.readers.container import stored_book
from qc.readers.guards import BROKEN_ZIP, UnusableFileError, guard_zip
from qc.readers.parts import refused
from qc.readers.sheet_part import LAST_COLUMN, NOT_WRITTEN_OUT, StoredSheet
from qc.readers.stored import StoredFile

# What a program writes before a comment for programs that show no answers to it.
_THREAD = re.compile(r"\s*\[Threaded comment\].*?Comment:\s*", re.DOTALL)


def read_xlsx(file: StoredFile) -> Book:
    """Read every sheet of a workbook.

    Raises
    ------
    UnusableFileError
        When the file is no workbook, is locked, damaged or outsized.
    """
    guard_zip(file.name, file.data)
    try:
        with zipfile.ZipFile(file.stream()) as archive:
            book = stored_book(archive)
            formats = cell_formats(archive, book.styles)
        tables = tuple(_table(file, sheet, formats, from_1904=book.from_1904) for sheet in book.sheets)
    except UnusableFileError:
        raise
    except BROKEN_ZIP as error:
        raise UnusableFileError(
            f"the workbook could not be opened ({type(error).__name__})",
            mend="Open it in the spreadsheet program and save it anew as .xlsx, without charts and pictures",
        ) from error
    return Book(file=file.name, tables=tables)


def _table(file: StoredFile, sheet: StoredSheet, formats: Sequence[CellFormat], *, from_1904: bool) -> SheetTable:
    rows: dict[int, dict[int, SheetCell]] = {}
    # A formula may have no value.
    for place in dict.fromkeys((*sheet.filled, *sheet.formulas)):
        letters = place.rstrip("0123456789")
        column, row = column_number(letters), int(place[len(letters) :])
        style = sheet.styles.get(place, 0)
        if style >= len(formats):
            raise refused(f"{sheet.name}!{place} has a style that the file does not hold")
        format = formats[style]
        kind, text = sheet.filled.get(place, ("", ""))
        content = _content(kind, text, format, from_1904=from_1904)
        if content is None and place in sheet.formulas:
            text = NOT_WRITTEN_OUT if place in sheet.origins else sheet.formulas[place]
            content = (CellKind.UNSAVED, text, None)
        if content is not None:
            unit = format.shown.unit if content[0] is CellKind.NUMBER else ""
            formula, origin = sheet.formulas.get(place, ""), sheet.origins.get(place, "")
            look = STRUCK if format.struck else sheet.looks.get(place, "")
            comment = _THREAD.sub("", sheet.comments.get(place, ""))
            cell = SheetCell(column, place, *content, unit, formula, origin, look, comment)
            rows.setdefault(row, {})[column] = cell
    hidden_columns: set[int] = set()
    past = 1
    for first, last in sorted(sheet.hidden_columns):
        # Those that lie over each other are gone over once.
        hidden_columns.update(range(max(first, past), min(last, LAST_COLUMN) + 1))
        past = max(past, last + 1)
    return SheetTable(
        file=file.name,
        sheet=sheet.name.strip(),
        name=sheet.name,
        rows=tuple(
            SheetRow(number=number, cells=dict(sorted(cells.items())), hidden=number in sheet.hidden_rows)
            for number, cells in sorted(rows.items())
        ),
        hidden=sheet.hidden,
        hidden_columns=frozenset(hidden_columns),
        merges=sheet.merges,
    )


def _content(kind: str, text: str, format: CellFormat, *, from_1904: bool) -> Content | None:
    """Kind, text and number of a cell; None when it is empty."""
    if not text:
        return None
    if kind == "e":
        return CellKind.ERROR, text, None
    if kind == "b":
        return content_of(text == "1")
    if kind == "d":
        return _moment(moment_said(text), None)
    if kind != "n":
        return content_of(text)
    # A spreadsheet knows no zero below zero.
    number = float(text) or 0.0
    if not isfinite(number):
        return CellKind.ERROR, text, None
    if not format.is_date:
        return content_of(number, percent=format.shown.percent, places=format.shown.places)
    try:
        return _moment(moment_of(number, is_duration=format.is_duration, from_1904=from_1904), number)
    except (OverflowError, ValueError):
        return CellKind.ERROR, "#VALUE!", None


def _moment(moment: object, serial: float | None) -> Content | None:
    if isinstance(moment, date):
        return content_of(moment, serial=serial)
    return CellKind.DATE, str(moment), None if serial is None else shown_decimal(serial)
