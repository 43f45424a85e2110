"""What a sheet says beside its cells: on a text box, at an empty cell, on the margin of the page; by a colour."""

from __future__ import annotations

from collections.abc import Sequence

from qc.fields.remarks import is_plain, other_masses
from qc.patterns import pattern
from qc.problems import TITLES, IgnoredCells, Notice, in_full, quoted
from qc.readers.cells import FILLED, IN_BOX, ON_EMPTY, ON_MARGIN, ON_RANGE, CellKind, SheetCell, column_number, row_of
from qc.readers.finding.masses_told import tells_masses
from qc.readers.finding.view import number_in
from qc.readers.located import LocatedTable

_RANGE = pattern(r"\b([A-Z]{1,3})(\d+)(?::([A-Z]{1,3})(\d+))?")
# Of so many units at most one is filled in a colour where that marks them: every second row is for the eye.
FEW = 3
# Room for a name that a hand fills in.
_BLANK = "___"
# What the program fills in on the margin: the number of the page, the day, the name of the sheet; a font and its size.
_FIELD = pattern(r'&(?:\[\w+\]|"[^"]*"|\d+|[A-Z])')


def check_apart(located: LocatedTable) -> None:
    """Refuse what is written beside the cells and speaks of masses; a notice for the rest, margins left out.

    Parameters
    ----------
    located : LocatedTable
        A known table, with the sheet on which it stands.
    """
    cells = [cell for entry in located.entries if (cell := entry.cell("mass_g")) is not None]
    masses = [number for cell in cells if (number := number_in(cell)) is not None]
    commented = [cell for row in located.table.rows for cell in row.cells.values() if cell.comment]
    said = [(where, text, None) for where, text in located.table.apart]
    # A name or a prompt is asked where it is one of the masses.
    said = [one for one in said if not one[0].startswith(ON_RANGE.format("")) or _covers(one[0], cells)]
    for where, text, cell in [*said, *((f"comment on {cell.quoted}", cell.comment, cell) for cell in commented)]:
        told = SheetCell(column=0, address="", kind=CellKind.TEXT, text=text)
        near = bool(masses) and tells_masses(told, min(masses) / 2, 2 * max(masses), decimals=1)
        if near or other_masses(text, count=len(masses)):
            found = f"the {where} says {quoted(text)}, which may be about the masses"
            mend = "Put into the cells what it says of a unit, and take it out of there"
            located.refuse_at(cell.address if cell else "", found, mend)
        elif cell is not None:
            remark = f"The {where} was not read: {in_full(text)}."
            located.findings.ignore(
                located.table, cell.address, remark, cells=[cell], what="comment", said=in_full(text)
            )
        elif where == ON_MARGIN and not (_BLANK in text or is_plain(_FIELD.sub("", text))):
            left = IgnoredCells(cells=where, what=TITLES, said=in_full(_FIELD.sub("", text).strip()))
            remark = f"The {where} was not read: {left.said}."
            located.findings.notices.append(Notice(where=located.table.name, text=remark, ignored=left))
        elif where == IN_BOX or where.startswith(ON_EMPTY.format("")):
            remark = f"The {where} was not read: {in_full(text)}."
            ignored = IgnoredCells(cells=where, what=where, said=in_full(text))
            located.findings.notices.append(Notice(where=located.table.name, text=remark, ignored=ignored))


def tell_of_colours(units: LocatedTable) -> None:
    """A notice where a few units are filled in a colour: somebody marked them."""
    filled = [
        cell
        for entry in units.entries
        for name in ("name", "mass_g")
        if (cell := entry.cell(name)) and cell.look == FILLED
    ]
    if 0 < FEW * len(set(map(row_of, filled))) < len(units.entries):
        units.findings.tell(units.table, filled, FILLED)


def _covers(where: str, cells: Sequence[SheetCell]) -> bool:
    """Whether the ranges of a name or a prompt hold one of some cells."""
    corners = [
        tuple(map(int, (column_number(a), b, column_number(c or a), d or b))) for a, b, c, d in _RANGE.findall(where)
    ]
    places = [(cell.column, row_of(cell)) for cell in cells]
    return any(
        left <= column <= right and top <= row <= bottom
        for left, top, right, bottom in corners
        for column, row in places
    )
