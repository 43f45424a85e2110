"""The unit of measure of contents that stands in a column of its own, or in each cell: put into their heading."""

from __future__ import annotations

from msgspec.structs import replace

from qc.fields.words import heading_of, measure_of, plain_words
from qc.readers.cells import CellKind, SheetCell, SheetRow, SheetTable
from qc.readers.finding.unread import about_contents, what_it_says
from qc.readers.finding.view import measure_in, number_in

_OF_CONTENTS = ("mg", "%")


def with_measures_in_headings(table: SheetTable) -> SheetTable:
    """A sheet whose headings that say content, and not in which unit, say the one that stands behind each content.

    On a sheet that says content itself, of contents found by HPLC, any other heading may say it: "Amount".
    """
    for at, head in enumerate(table.rows):
        for spot, cell in head.cells.items():
            if cell.kind is CellKind.TEXT and _says_content_in_nothing(cell, table):
                table = _with_measure(table, at, spot)
    return table


def _says_content_in_nothing(cell: SheetCell, table: SheetTable) -> bool:
    words = plain_words(cell.typed) if any(map(str.isalpha, cell.typed)) else ()
    if not words or any(map(measure_of, words)) or number_in(cell) is not None:
        return False
    return what_it_says(cell.typed) == "content" or (about_contents(table) and heading_of(cell.typed) is None)


def _with_measure(table: SheetTable, at: int, spot: int) -> SheetTable:
    rows = [row for row in table.rows[at + 1 :] if spot in row.cells and number_in(row.cells[spot]) is not None]
    inside = {measure_in(row.cells[spot]) for row in rows}
    behind = {measure_of(row.cells[spot + 1].typed) if spot + 1 in row.cells else "" for row in rows}
    measures = inside if inside != {""} else behind
    if len(rows) < 2 or len(measures) != 1 or not measures <= {*_OF_CONTENTS}:
        return table
    head = table.rows[at]
    heading = replace(head.cells[spot], text=f"{head.cells[spot].typed} ({measures.pop()})")
    gone = {row.number for row in (head, *rows)} if inside == {""} else set[int]()
    kept = [_without(row, spot + 1) if row.number in gone else row for row in table.rows]
    kept[at] = replace(kept[at], cells={**kept[at].cells, spot: heading})
    return replace(table, rows=tuple(kept))


def _without(row: SheetRow, spot: int) -> SheetRow:
    return replace(row, cells={column: cell for column, cell in row.cells.items() if column != spot})
