"""The sheet of the plan: planned mass by the displacement arithmetic, and the mean of the sample beside it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal

from qc import expr
from qc.expr import NO, YES, CellRange, CellRef
from qc.results import Verdict
from qc.rules.records import Rule
from qc.workbook.page import Block, Content, FromRow, Page
from qc.workbook.recheck.data import LABEL, DataCells
from qc.workbook.recheck.unit_sheet import Recalculated, source_of

_GUIDE = (
    "Unit = base that the cavity holds + dose × (1 - factor) over the actives; factor = g of base displaced by 1 g of "
    "active = 1 / displacement value."
)
_DOSE, _NUMBER, _FACTOR, _ADDED = "Dose d (g)", "Displacement number", "Factor", "d × (1 - factor) (g)"
_HEADINGS = ("Active", _DOSE, _NUMBER, "Given as", _FACTOR, _ADDED)
_BLOCK_COLUMN = 7


def write_plan(page: Page, *, data: DataCells, rule: Rule | None, limit_percent: Decimal | None) -> Recalculated:
    """Write the planned mass and the mean beside it; a plan must be known.

    Parameters
    ----------
    rule : Rule or None
        The rule about the mean.
    limit_percent : Decimal or None
        Its limit [% of plan].
    """
    page.head("Planned mass", _GUIDE)
    page.set_widths(20, 12, 14, 31, 12, 14, 3, 34, 15, 36)
    added = [row[_ADDED] for row in page.table(_HEADINGS, map(_active, data.actives.values()))]
    block = Block(page=page, column=_BLOCK_COLUMN)
    block.head("Figures", "Value", "How")
    figures = {"planned_g": _planned(block, data=data, added=added)}
    verdict = None
    if data.sample_mean is not None:
        mean = block.one("Mean of the test sample (g)", data.sample_mean, note="sheet Units")
        difference = block.one("Mean against plan (% of plan)", expr.deviation_percent(mean, figures["planned_g"]))
        figures |= {"mean_g": mean, "difference_percent": difference}
        if rule is not None and limit_percent is not None:
            block.head("Limit", "Value", "Source")
            limit = block.one("Limit (± % of plan)", limit_percent, note=source_of(rule))
            met = block.one("Met", expr.when(expr.compared(abs(difference), "<=", limit), YES, NO))
            figures |= {"limit_percent": limit, "met": met}
            decided = expr.when(met.equals(YES), Verdict.COMPLIES.value, Verdict.DOES_NOT_COMPLY.value)
            verdict = block.one("Verdict, where the rule is asked for", decided)
    n = None if verdict is None else block.one("n, units of the test sample", data.sample_count)
    return Recalculated(figures=figures, verdict=verdict, n=n)


def _active(active: Mapping[str, CellRef]) -> dict[str, Content | FromRow]:
    """The row of one active; empty where its claim or its displacement is missing."""
    label, value, factor = (active[heading] for heading in (LABEL, "Displacement value", "Displacement factor"))
    by_value = value.value is not None
    number = value if by_value else factor
    name = active["Active"].value
    if label.value is None or number.value is None:
        return {heading: name if heading == "Active" else None for heading in _HEADINGS}
    return {
        "Active": name,
        _DOSE: label / 1000,
        _NUMBER: number,
        "Given as": "value, g of active for 1 g of base" if by_value else "factor, g of base for 1 g of active",
        _FACTOR: lambda cells: 1 / cells[_NUMBER] if by_value else cells[_NUMBER],
        _ADDED: lambda cells: cells[_DOSE] * (1 - cells[_FACTOR]),
    }


def _planned(block: Block, *, data: DataCells, added: Sequence[CellRef]) -> CellRef:
    """The planned mass: as entered, or worked out [g]."""
    nominal, entered = data.facts["Nominal mass (g)"], data.facts["Planned mass (g)"]
    worked_out = None
    if nominal.value is not None and added and all(cell.value is not None for cell in added):
        base = block.one("Base that the cavity holds (g)", nominal, note="sheet Batch, nominal mass")
        mass = base + expr.total(CellRange(cells=tuple(added)))
        worked_out = block.one("Planned mass, worked out (g)", mass, note="base + sum of d × (1 - factor)")
    if entered.value is not None:
        return block.one("Planned mass, as entered (g): goes before", entered, note="sheet Batch")
    if worked_out is None:
        raise ValueError("no planned mass is known; this sheet is for batches that have one")
    return worked_out
