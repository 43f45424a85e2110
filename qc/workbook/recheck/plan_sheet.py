"""The sheet of the plan: planned mass by the displacement arithmetic, and the mean of the sample beside it."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

from msgspec import Struct

from qc.results import Verdict
from qc.rules.records import MeanMassRule
from qc.workbook.recheck.blocks import Block, Recalculated, source_of
from qc.workbook.recheck.cells import Cell, Page, Reckoned, Span
from qc.workbook.recheck.data import FIRST_ROW, HEADER_ROW, ActiveCells, DataCells
from qc.workbook.recheck.formulas import COMPARED_DECIMALS, NO, YES, deviation_of, same_as
from qc.workbook.recheck.look import set_page

_BLOCK_COLUMN = 7


class PlanCells(Struct, frozen=True, kw_only=True):
    """What the sheet of the plan hands to the Summary; a cell is None where its inputs are missing."""

    figures: Mapping[str, Cell]
    met: Cell | None
    recalculated: Recalculated | None
    """The test of the mean against the plan, where a rule has a limit for it."""


def write_plan(page: Page, *, data: DataCells, rule: MeanMassRule | None) -> PlanCells:
    """Write the planned mass and the mean beside it; a plan must be known."""
    page.text(0, 0, "Planned mass", page.look.title)
    page.text(
        1,
        0,
        "Unit = base that the cavity holds + dose × (1 - factor) over the actives; factor = g of base displaced by 1 g "
        "of active = 1 / displacement value.",
        page.look.small,
    )
    page.sheet.set_row(HEADER_ROW, 30)
    headers = (
        "Active",
        "Dose d (g)",
        "Displacement number",
        "Given as",
        "Factor",
        "d × (1 - factor) (g)",
    )
    for column, header in enumerate(headers):
        page.text(HEADER_ROW, column, header, page.look.header)
    added = [_write_active(page, active, row=row) for row, active in enumerate(data.actives.values(), start=FIRST_ROW)]
    block = Block(page=page, column=_BLOCK_COLUMN)
    block.head("Figures", "Value", "How")
    planned = _planned(block, data=data, added=added)
    figures = {"planned_g": planned}
    met = recalculated = None
    if data.sample_mean is not None:
        figures["mean_g"] = block.one("Mean of the test sample (g)", data.sample_mean, remark="sheet Units")
        difference = block.one("Mean against plan (% of plan)", deviation_of(figures["mean_g"], planned))
        figures["difference_percent"] = difference
        if rule is not None:
            block.head("Limit", "Value", "Source")
            limit = block.stated("Limit (± % of plan)", rule.limit_percent, source=source_of(rule))
            figures["limit_percent"] = limit
            within = abs(difference.exact) <= limit.exact
            compared = f"ROUND(ABS({difference.address})-{limit.address},{COMPARED_DECIMALS})<=0"
            met = block.one("Met", Reckoned(formula=f'IF({compared},"{YES}","{NO}")', value=YES if within else NO))
            passes, fails = Verdict.COMPLIES.value, Verdict.DOES_NOT_COMPLY.value
            said = Reckoned(
                formula=f'IF({met.address}="{YES}","{passes}","{fails}")', value=passes if within else fails
            )
            verdict = block.one("Verdict, where the rule is asked for", said)
            n = block.one("n, units of the test sample", data.sample_count)
            recalculated = Recalculated(figures=figures, verdict=verdict, n=n, deviations={})
    for column, width in enumerate((20, 12, 14, 31, 12, 14, 3, 34, 15, 36)):
        page.sheet.set_column(column, column, width)
    set_page(page.sheet, landscape=True, header_row=HEADER_ROW)
    return PlanCells(figures=figures, met=met, recalculated=recalculated)


def _write_active(page: Page, active: ActiveCells, *, row: int) -> Cell | None:
    """One active; answers what it adds to the mass of a unit [g], None where claim or displacement is missing."""
    page.text(row, 0, active.name, page.look.wrapped)
    page.fit(row, (active.name, 20))
    if active.label_mg.value is None or active.displacement.value is None:
        for column in range(1, 6):
            page.blank(row, column)
        return None
    label, number = active.label_mg, active.displacement
    dose = page.reckon(row, 1, Reckoned(formula=f"{label.address}/1000", value=label.exact / 1000), page.look.live)
    given = page.reckon(row, 2, same_as(number), page.look.live)
    if active.by_value:
        page.text(row, 3, "value, g of active for 1 g of base")
        factor = Reckoned(formula=f"1/{given.address}", value=1 / given.exact)
    else:
        page.text(row, 3, "factor, g of base for 1 g of active")
        factor = same_as(given)
    share = page.reckon(row, 4, factor, page.look.live)
    added = Reckoned(formula=f"{dose.address}*(1-{share.address})", value=dose.exact * (1 - share.exact))
    return page.reckon(row, 5, added, page.look.live)


def _planned(block: Block, *, data: DataCells, added: list[Cell | None]) -> Cell:
    """The planned mass: as entered, or worked out [g]."""
    nominal, entered = data.facts["Nominal mass (g)"], data.facts["Planned mass (g)"]
    known = [cell for cell in added if cell is not None]
    worked_out = None
    if nominal.value is not None and known and len(known) == len(added):
        column = Span(cells=tuple(known))
        base = block.one("Base that the cavity holds (g)", same_as(nominal), remark="sheet Batch, nominal mass")
        worked_out = block.one(
            "Planned mass, worked out (g)",
            Reckoned(
                formula=f"{base.address}+SUM({column.address})", value=base.exact + sum(column.exact, Fraction(0))
            ),
            remark="base + sum of d × (1 - factor)",
        )
    if entered.value is not None:
        return block.one("Planned mass, as entered (g): goes before", same_as(entered), remark="sheet Batch")
    if worked_out is None:
        raise ValueError("no planned mass is known; this sheet is for batches that have one")
    return worked_out
