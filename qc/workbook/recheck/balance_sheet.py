"""The sheet of the balance: what went into the batch against what came out of it, in melt and in units."""

from __future__ import annotations

from collections.abc import Sequence

from qc import expr
from qc.expr import CellRange, CellRef, Expression
from qc.workbook.page import Block, Page
from qc.workbook.recheck.data import DataCells
from qc.workbook.recheck.unit_sheet import Recalculated


def write_balance(page: Page, *, data: DataCells, planned: CellRef | None) -> Recalculated:
    """Write the balance of melt and units.

    Parameters
    ----------
    data : DataCells
    planned : CellRef or None
        Planned mass of a unit [g]; None where no plan is known.
    """
    page.head("What went in and what came out", "From the fields of the sheet Batch and the masses of the sheet Units.")
    page.set_widths(38, 18, 60)
    facts, block = data.facts, Block(page=page)
    obtained, prepared = facts["Units obtained"], facts["Melt prepared (g)"]
    block.head("Figures", "Value", "How")
    units = block.one(
        "Mass of all units obtained (g)",
        _units(data.mass_range, obtained=obtained),
        note="their sum where each was weighed, else mean × units obtained",
    )
    unaccounted = block.one(
        "Melt not accounted for (g)",
        _rest((prepared, units, facts["Trimmings (g)"], facts["Melt left in dish (g)"])),
        note="prepared - units - trimmings - left in dish",
    )
    share = expr.when(expr.is_number(unaccounted), unaccounted / prepared * 100)
    unaccounted_percent = block.one("Melt not accounted for (% of melt)", share)
    difference = block.one(
        "Units without a fate",
        _rest((obtained, *(facts[f"Units {fate}"] for fate in ("rejected", "sampled", "released")))),
        note="obtained - rejected - sampled - released",
    )
    poured = expr.when(expr.is_number(facts["Units poured"]), facts["Units poured"])
    of_melt = poured if planned is None else expr.when(expr.is_number(prepared), prepared / planned, poured)
    theoretical = block.one(
        "Units that the melt would give",
        expr.when(expr.is_number(obtained), of_melt),
        note="melt prepared / planned mass, else units poured",
    )
    both = expr.all_of(expr.is_number(obtained), expr.is_number(theoretical))
    yielded = block.one("Yield (%)", expr.when(both, obtained / theoretical * 100), note="units obtained over that")
    return Recalculated(
        figures={
            "units_g": units,
            "unaccounted_g": unaccounted,
            "unaccounted_percent": unaccounted_percent,
            "units_difference": difference,
            "theoretical_units": theoretical,
            "yield_percent": yielded,
        },
    )


def _units(masses: CellRange, *, obtained: CellRef) -> Expression:
    """The mass of all units [g]; nothing where none was weighed or fewer were obtained than weighed."""
    weighed = expr.count(masses)
    every = expr.when(weighed.equals(obtained), expr.total(masses), expr.average(masses) * obtained)
    return expr.when(
        expr.any_of(weighed.equals(0), expr.negated(expr.is_number(obtained)), obtained < weighed), "", every
    )


def _rest(parts: Sequence[CellRef]) -> Expression:
    """The first less the others; nothing where one of them is missing."""
    rest: Expression = parts[0]
    for part in parts[1:]:
        rest = rest - part
    return expr.when(expr.count(*parts).equals(len(parts)), rest)
