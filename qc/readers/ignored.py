"""Cells that the call leaves out of account: nobody reads them, they are told, and none of them is what a unit has."""

from __future__ import annotations

import re
from collections.abc import Sequence

from msgspec.structs import replace

from qc.fields.field import same_name
from qc.patterns import pattern
from qc.problems import BY_CALL, quoted
from qc.readers.cells import Book, Noted, SheetCell, SheetRow, SheetTable, areas, column_number, row_of
from qc.readers.finding.set_aside import MEASURED
from qc.readers.finding.unit_names import UnitNames
from qc.readers.finding.view import number_in
from qc.readers.guards import UnusableFileError
from qc.readers.located import LocatedTable

_AREA = pattern(r"(?:(.*)!)?([A-Z]{1,3})([1-9]\d{0,6})(?::([A-Z]{1,3})([1-9]\d{0,6}))?", re.ASCII)


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


def columns_ignored(ignored: tuple[str, ...]) -> set[int]:
    """The columns, counted from 1, of ranges that the call leaves out of account.

    Examples
    --------
    >>> columns_ignored(("Week3!D2:D21", "A1:B1"))
    {1, 2, 4}
    """
    ends = [
        (column_number(match.group(2)), column_number(match.group(4) or match.group(2)))
        for said in ignored
        for part in said.split(",")
        if (match := _AREA.fullmatch(part.strip())) is not None
    ]
    return {column for first, last in ends for column in range(first, last + 1)}


def refuse_ignored_units(units: LocatedTable, ignored: tuple[tuple[str, SheetCell], ...]) -> None:
    """Refuse to leave out of account what a unit weighs or holds: that is told under Left out because."""
    gone = {(row_of(cell), cell.column): cell for name, cell in ignored if name == units.table.name}
    kept = {(row.number, column): cell for row in units.table.rows for column, cell in row.cells.items()}
    names = UnitNames.of([cell.shown for entry in units.entries if (cell := entry.cell("name")) is not None])
    pairs = [(entry.cell("name"), cell) for entry in units.entries for one in MEASURED if (cell := entry.cell(one))]
    # Units that were numbered here bear their number where their mass stands.
    nameless = [cell for name, cell in pairs if name is None or name.address == cell.address]
    steps = {
        (row_of(name) - row_of(cell), name.column - cell.column, row_of(cell), cell.column)
        for name, cell in pairs
        if name is not None and name.address != cell.address
    }
    # In a list the name stands in another column than the mass, across in another row.
    lines = {(down, right, None, column) if right else (down, 0, row, None) for down, right, row, column in steps}
    for (row, column), cell in gone.items():
        at = {**kept, **gone}
        in_line = [(down, right) for down, right, *own in lines if own in ([row, None], [None, column])]
        labels = [label for down, right in in_line if (label := at.get((row + down, column + right))) is not None]
        whose = [f"the unit {label.quoted}" for label in labels if not names.is_odd(label.shown)]
        if not whose and number_in(cell) is not None and _in_line(cell, nameless):
            whose = ["a unit without a name"]
        if whose:
            found = f"--ignore leaves out {cell.quoted}, which is what {whose[0]} weighs or holds"
            mend = "Give the reason under Left out because; the unit stays in the record"
            mend += "" if labels else "; or write beside it what it is, such as Mean, where it is no mass"
            units.refuse_at(cell.address, found, mend)


def _in_line(cell: SheetCell, others: Sequence[SheetCell]) -> bool:
    """Whether a cell stands in the one column or row of others, or among them where they have several of both."""
    rows, columns = {row_of(one) for one in others}, {one.column for one in others}
    if len(columns) == 1 or len(rows) == 1:
        return cell.column in columns if len(columns) == 1 else row_of(cell) in rows
    return bool(others) and min(rows) <= row_of(cell) <= max(rows) and min(columns) <= cell.column <= max(columns)


def _without(table: SheetTable, gone: set[str]) -> list[SheetRow]:
    rows = [
        replace(row, cells={spot: cell for spot, cell in row.cells.items() if cell.address not in gone})
        for row in table.rows
    ]
    return [row for row in rows if row.cells]
