"""On our own layout: the rows that sum up are set aside, and what may or may not be a unit is refused."""

from __future__ import annotations

from msgspec.structs import replace

from qc.fields.sheets import ASSAY
from qc.readers.finding.lines import Aside
from qc.readers.finding.unit_names import UnitNames
from qc.readers.finding.view import number_in
from qc.readers.located import Entry, LocatedTable

MEASURED = ("mass_g", "content_mg", "content_percent")


def without_summaries(table: LocatedTable) -> tuple[LocatedTable, tuple[Aside, ...]]:
    """A table of units without the rows that hold a mean, an SD, a target and the like, and these rows.

    A row with a label that is not like the names of the units, and not known for a figure either, is refused; on the
    sheet Assay no unit has such a name.
    """
    named = "unit" if table.sheet is ASSAY else "name"
    measured = [entry for entry in table.entries if any(name in entry.cells for name in MEASURED)]
    names = UnitNames.of([cell.shown for entry in measured if (cell := entry.cell(named)) is not None])
    rows = {entry.number for entry in measured}
    kept: list[Entry] = []
    heads = False
    asides: list[Aside] = []
    for entry in table.entries:
        places = (named,) if entry.cell(named) is not None else ("mould", "cavity")
        labels = [cell for place in places if (cell := entry.cell(place)) is not None]
        if (kind := next(filter(None, map(names.figure, labels)), "")) != "":
            asides.append(Aside(cells=tuple(entry.cells.values()), label=labels[0].shown, kind=kind))
            # In a row of words each heads the figure below it.
            mass = entry.cell("mass_g")
            heads = mass is not None and number_in(mass) is None
            continue
        kept.append(entry)
        if (
            entry.number in rows
            and named == "name"
            and entry.cell(named) is not None
            and (heads or names.is_odd(labels[0].shown))
        ):
            found = f"{labels[0].quoted} stands among units that are named otherwise"
            table.refuse(entry, "name", found, "Name it as the others if it is a unit, or take the row out")
    for aside in asides:
        table.remark(aside.cells[0].address, f"Set aside {aside.cells[0].quoted}, which is no unit.")
    return replace(table, entries=tuple(kept)), tuple(asides)
