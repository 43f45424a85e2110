"""The sheet of the balance: what went into the batch against what came out of it, in melt and in units."""

from __future__ import annotations

from collections.abc import Mapping

from qc.results import Reconciliation
from qc.workbook.recheck.blocks import Block
from qc.workbook.recheck.cells import Cell, Page, Reckoned
from qc.workbook.recheck.data import HEADER_ROW, DataCells
from qc.workbook.recheck.look import set_page


def write_balance(page: Page, *, found: Reconciliation, data: DataCells, planned: Cell | None) -> dict[str, Cell]:
    """Write the balance of melt and units; answers its figures by the names of the result document.

    Parameters
    ----------
    found : Reconciliation
    data : DataCells
    planned : Cell or None
        Planned mass of a unit [g]; None where no plan is known.
    """
    page.text(0, 0, "What went in and what came out", page.look.title)
    page.text(1, 0, "From the fields of the sheet Batch and the masses of the sheet Units.", page.look.small)
    facts = data.facts
    block = Block(page=page, column=0)
    block.head("Figures", "Value", "How")
    obtained, prepared = facts["Units obtained"], facts["Melt prepared (g)"]
    units = block.one(
        "Mass of all units obtained (g)",
        _units(data.mass_range, obtained=obtained, value=found.units_g),
        remark="their sum where each was weighed, else mean × units obtained",
    )
    trimmings, left = facts["Trimmings (g)"], facts["Melt left in dish (g)"]
    parts = (prepared, units, trimmings, left)
    known = f"COUNT({','.join(part.address for part in parts)})=4"
    unaccounted = block.one(
        "Melt not accounted for (g)",
        Reckoned(formula=f'IF({known},{"-".join(part.address for part in parts)},"")', value=found.unaccounted_g),
        remark="prepared - units - trimmings - left in dish",
    )
    share = block.one(
        "Melt not accounted for (% of melt)",
        Reckoned(
            formula=f'IF(ISNUMBER({unaccounted.address}),{unaccounted.address}/{prepared.address}*100,"")',
            value=found.unaccounted_percent,
        ),
    )
    counts = (obtained, facts["Units rejected"], facts["Units sampled"], facts["Units released"])
    counted = f"COUNT({','.join(count.address for count in counts)})=4"
    difference = block.one(
        "Units without a fate",
        Reckoned(
            formula=f'IF({counted},{"-".join(count.address for count in counts)},"")', value=found.units_difference
        ),
        remark="obtained - rejected - sampled - released",
    )
    theoretical = block.one(
        "Units that the melt would give",
        _theoretical(facts, planned=planned, value=found),
        remark="melt prepared / planned mass, else units poured",
    )
    yielded = block.one(
        "Yield (%)",
        Reckoned(
            formula=(
                f"IF(AND(ISNUMBER({obtained.address}),ISNUMBER({theoretical.address})),"
                f'{obtained.address}/{theoretical.address}*100,"")'
            ),
            value=found.yield_percent,
        ),
        remark="units obtained over that",
    )
    page.sheet.set_column(0, 0, 38)
    page.sheet.set_column(1, 1, 18)
    page.sheet.set_column(2, 2, 60)
    set_page(page.sheet, landscape=True, header_row=HEADER_ROW)
    return {
        "units_g": units,
        "unaccounted_g": unaccounted,
        "unaccounted_percent": share,
        "units_difference": difference,
        "theoretical_units": theoretical,
        "yield_percent": yielded,
    }


def _units(mass_range: str, *, obtained: Cell, value: float | None) -> Reckoned:
    weighed, count = f"COUNT({mass_range})", obtained.address
    total = f"IF({weighed}={count},SUM({mass_range}),AVERAGE({mass_range})*{count})"
    return Reckoned(
        formula=f'IF(OR({weighed}=0,NOT(ISNUMBER({count})),{count}<{weighed}),"",{total})',
        value=value,
    )


def _theoretical(facts: Mapping[str, Cell], *, planned: Cell | None, value: Reconciliation) -> Reckoned:
    poured, prepared = facts["Units poured"].address, facts["Melt prepared (g)"].address
    obtained = facts["Units obtained"].address
    fallback = f'IF(ISNUMBER({poured}),{poured},"")'
    of_melt = fallback if planned is None else f"IF(ISNUMBER({prepared}),{prepared}/{planned.address},{fallback})"
    return Reckoned(formula=f'IF(ISNUMBER({obtained}),{of_melt},"")', value=value.theoretical_units)
