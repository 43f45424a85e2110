"""Cells that the call leaves out of account: nobody reads them, they are told, and none of them is what a unit has."""

from __future__ import annotations

import re

from msgspec.structs import replace

from qc.fields.field import same_name
from qc.problems import BY_CALL, quoted
from qc.readers.cells import Book, Noted, SheetCell, SheetRow, SheetTable, areas, column_number, row_of
from qc.readers.finding.lines import UnitNames
from qc.readers.finding.set_aside import MEASURED
from qc.readers.guards import UnusableFileError
from qc.readers.located import LocatedTable

_AREA = re.compile(r"(?:(.*)!)?([A-Z]{1,3})([1-9]\d{0,6})(?::([A-Z]{1,3})([1-9]\d{0,6}))?", re.ASCII)


def without_ignored(book: Book, ignored: tuple[str, ...], findings: Noted) -> Book:
    """A book without the cells that the call leaves out of account, with a notice for each range of them.

    Raises
    ------
    UnusableFileError
        When a range is none, lies on no sheet or holds nothing: a call is never ignored in silence.
    """
    for said in ignored:
        match = _AREA.fullmatch(said.strip())
        name = (match.group(1) or "").strip("'\"") if match else ""
        tables = [one for one in book.tables if not name or same_name(one.name) == same_name(name)]
        if match is None or len(tables) != 1:
            found = f"--ignore {quoted(said)} names no cells of one sheet"
            raise UnusableFileError(found, mend="Give the sheet and the cells, for example Week3!D2:D21")
        (table,) = tables
        left, top, right, bottom = match.group(2), int(match.group(3)), match.group(4), match.group(5)
        columns = sorted((column_number(left), column_number(right or left)))
        rows = sorted((top, int(bottom or top)))
        cells = [
            cell
            for row in table.rows
            for cell in row.cells.values()
            if rows[0] <= row.number <= rows[1] and columns[0] <= cell.column <= columns[1]
        ]
        if not cells:
            raise UnusableFileError(
                f"--ignore {quoted(said)} names cells that are empty", mend="Give those that are meant"
            )
        text = f"Left out of account by --ignore: {areas(table, cells)}."
        findings.ignore(table, "", text, cells=cells, what=BY_CALL)
        kept = replace(table, rows=tuple(_without(table, {cell.address for cell in cells})))
        everything = tuple(kept if one is table else one for one in book.tables)
        book = replace(book, tables=everything, ignored=(*book.ignored, *((table.name, cell) for cell in cells)))
    return book


def refuse_ignored_units(units: LocatedTable, ignored: tuple[tuple[str, SheetCell], ...]) -> None:
    """Refuse to leave out of account what a unit weighs or holds: that is told under Left out because."""
    gone = {(row_of(cell), cell.column): cell for name, cell in ignored if name == units.table.name}
    kept = {(row.number, column): cell for row in units.table.rows for column, cell in row.cells.items()}
    names = UnitNames.of([cell.shown for entry in units.entries if (cell := entry.cell("name")) is not None])
    pairs = [(entry.cells.get("name"), entry.cells.get(one)) for entry in units.entries for one in MEASURED]
    steps = {
        (row_of(name) - row_of(cell), name.column - cell.column, row_of(cell), cell.column)
        for name, cell in pairs
        if name is not None and cell is not None
    }
    # In a list the name stands in another column than the mass, across in another row.
    lines = {(down, right, None, column) if right else (down, 0, row, None) for down, right, row, column in steps}
    for (row, column), cell in gone.items():
        for down, right, own_row, own_column in lines:
            label = {**kept, **gone}.get((row + down, column + right))
            in_line = row == own_row or column == own_column
            if in_line and label is not None and not names.is_odd(label.shown):
                found = f"--ignore leaves out {cell.quoted}, which is what the unit {label.quoted} weighs or holds"
                mend = "Give the reason under Left out because; the unit stays in the record"
                units.refuse_at(cell.address, found, mend)


def _without(table: SheetTable, gone: set[str]) -> list[SheetRow]:
    rows = [
        replace(row, cells={spot: cell for spot, cell in row.cells.items() if cell.address not in gone})
        for row in table.rows
    ]
    return [row for row in rows if row.cells]
