"""What is written on a sheet and stands in no cell: on a text box, at an empty cell, on the margin of the page."""

from __future__ import annotations

from qc.fields.remarks import other_masses
from qc.problems import IgnoredCells, Notice, quoted
from qc.readers.cells import ON_MARGIN, CellKind, SheetCell
from qc.readers.finding.beside import tells_masses
from qc.readers.finding.view import number_in
from qc.readers.located import LocatedTable


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
    for where, text, cell in [*said, *((f"comment on {cell.quoted}", cell.comment, cell) for cell in commented)]:
        told = SheetCell(column=0, address="", kind=CellKind.TEXT, text=text)
        near = bool(masses) and tells_masses(told, min(masses) / 2, 2 * max(masses), decimals=1)
        if near or other_masses(text, count=len(masses)):
            found = f"the {where} says {quoted(text)}, which may be about the masses"
            mend = "Put into the cells what it says of a unit, and take it out of there"
            located.refuse_at(cell.address if cell else "", found, mend)
        elif cell is not None:
            remark = f"The {where} was not read: {quoted(text)}."
            located.findings.ignore(
                located.table, cell.address, remark, cells=[cell], what="comment", said=quoted(text)
            )
        elif where != ON_MARGIN:
            remark = f"The {where} was not read: {quoted(text)}."
            ignored = IgnoredCells(cells=where, what=where, said=quoted(text))
            located.findings.notices.append(Notice(where=located.table.name, text=remark, ignored=ignored))
