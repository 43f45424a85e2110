"""The sheets about the batch as a whole: its planned mass, what went in and what came out, the rules that judged it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal

from qc import expr
from qc.expr import NO, YES
from qc.expr.parts import CellRange, CellRef, Expression
from qc.results import Verdict
from qc.rules.records import Rule
from qc.say.messages import words
from qc.workbook.page import Block, Content, FromRow, Page
from qc.workbook.recheck.data import DataCells
from qc.workbook.recheck.unit_sheet import Recalculated, source_of

_PLAN_GUIDE = (
    "Unit = base that the cavity holds + dose × (1 - factor) over the actives; factor = g of base displaced by 1 g of "
    "active = 1 / displacement value."
)
_DOSE, _NUMBER, _FACTOR, _ADDED = "Dose d (g)", "Displacement number", "Factor", "d × (1 - factor) (g)"
_HEADINGS = ("Active", _DOSE, _NUMBER, "Given as", _FACTOR, _ADDED)

_RULES_GUIDE = (
    "Every limit on the sheets names its rule by its id. The mark says how it came to us; the pharmacopoeia in force "
    "goes before all of it."
)
_RULES_WIDTHS = {"Rule": 22, "Clause": 10, "Text": 110, "Mark": 18}


def write_plan(page: Page, *, data: DataCells, rule: Rule | None, limit_percent: Decimal | None) -> Recalculated:
    """Write the planned mass and the mean beside it; a plan must be known.

    Parameters
    ----------
    rule : Rule or None
        The rule about the mean.
    limit_percent : Decimal or None
        Its limit [% of plan].
    """
    page.head("Planned mass", _PLAN_GUIDE)
    page.set_widths(20, 12, 14, 31, 12, 14, 3, 34, 15, 36)
    added = [row[_ADDED] for row in page.table(_HEADINGS, map(_displacing, data.actives.values()))]
    block = Block(page=page, column=len(_HEADINGS) + 1)
    block.head("Figures", "Value", "How")
    nominal, entered = data.facts["nominal_mass_g"], data.facts["planned_mass_g"]
    if nominal.value is not None and added and all(cell.value is not None for cell in added):
        base = block.one("Base that the cavity holds (g)", nominal, note="sheet Batch, nominal mass")
        mass = base + expr.total(CellRange(cells=tuple(added)))
        block.one("Planned mass, worked out (g)", mass, note="base + sum of d × (1 - factor)", name="planned_g")
    if entered.value is not None:
        block.one("Planned mass, as entered (g): goes before", entered, note="sheet Batch", name="planned_g")
    if data.sample_mean is None:
        return Recalculated(figures=block.figures)
    mean = block.one("Mean of the test sample (g)", data.sample_mean, note="sheet Units", name="mean_g")
    off = expr.deviation_percent(mean, block.figures["planned_g"])
    difference = block.one("Mean against plan (% of plan)", off, name="difference_percent")
    if rule is None or limit_percent is None:
        return Recalculated(figures=block.figures)
    block.head("Limit", "Value", "Source")
    limit = block.one("Limit (± % of plan)", limit_percent, note=source_of(rule), name="limit_percent")
    met = block.one("Met", expr.when(expr.compared(abs(difference), "<=", limit), YES, NO), name="met")
    decided = expr.when(met.equals(YES), Verdict.COMPLIES.value, Verdict.DOES_NOT_COMPLY.value)
    verdict = block.one("Verdict, where the rule is asked for", decided)
    n = block.one("n, units of the test sample", data.sample_count)
    return Recalculated(figures=block.figures, verdict=verdict, n=n)


def _displacing(active: Mapping[str, CellRef]) -> dict[str, Content | FromRow]:
    """The row of one active; empty where its claim or its displacement is missing."""
    label, value, factor = (active[name] for name in ("label_claim_mg", "displacement_value", "displacement_factor"))
    by_value = value.value is not None
    number = value if by_value else factor
    name = active["name"].value
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


def write_balance(page: Page, *, data: DataCells, planned: CellRef | None) -> Recalculated:
    """Write the balance of melt and units.

    Parameters
    ----------
    planned : CellRef or None
        Planned mass of a unit [g]; None where no plan is known.
    """
    page.head("What went in and what came out", "From the fields of the sheet Batch and the masses of the sheet Units.")
    page.set_widths(38, 18, 60)
    facts, block, masses = data.facts, Block(page=page), data.mass_range
    obtained, prepared, poured = facts["units_obtained"], facts["melt_prepared_g"], facts["units_poured"]
    weighed = expr.count(masses)
    every = expr.when(weighed.equals(obtained), expr.total(masses), expr.average(masses) * obtained)
    unknown = expr.any_of(weighed.equals(0), expr.negated(expr.is_number(obtained)), obtained < weighed)
    block.head("Figures", "Value", "How")
    units = block.one(
        "Mass of all units obtained (g)",
        expr.when(unknown, "", every),
        note="their sum where each was weighed, else mean × units obtained",
        name="units_g",
    )
    rest = block.one(
        "Melt not accounted for (g)",
        _rest(prepared, units, facts["trimmings_g"], facts["melt_left_g"]),
        note="prepared - units - trimmings - left in dish",
        name="unaccounted_g",
    )
    share = expr.when(expr.is_number(rest), rest / prepared * 100)
    block.one("Melt not accounted for (% of melt)", share, name="unaccounted_percent")
    block.one(
        "Units without a fate",
        _rest(obtained, *(facts[f"units_{fate}"] for fate in ("rejected", "sampled", "released"))),
        note="obtained - rejected - sampled - released",
        name="units_difference",
    )
    of_melt = expr.when(expr.is_number(poured), poured)
    if planned is not None:
        of_melt = expr.when(expr.is_number(prepared), prepared / planned, of_melt)
    theoretical = block.one(
        "Units that the melt would give",
        expr.when(expr.is_number(obtained), of_melt),
        note="melt prepared / planned mass, else units poured",
        name="theoretical_units",
    )
    both = expr.all_of(expr.is_number(obtained), expr.is_number(theoretical))
    yielded = expr.when(both, obtained / theoretical * 100)
    block.one("Yield (%)", yielded, note="units obtained over that", name="yield_percent")
    return Recalculated(figures=block.figures)


def _rest(first: CellRef, *others: CellRef) -> Expression:
    """The first less the others; nothing where one of them is missing."""
    rest: Expression = first
    for part in others:
        rest = rest - part
    return expr.when(expr.count(first, *others).equals(1 + len(others)), rest)


def write_rules(page: Page, *, rules: Sequence[Rule]) -> None:
    """Write the page each limit stands on, the edition, and every clause of the rules that judged the batch."""
    page.head("Rules", _RULES_GUIDE)
    page.set_widths(*_RULES_WIDTHS.values())
    lines = [(rule.id, *line) for rule in rules for line in _lines(rule)]
    page.table(_RULES_WIDTHS, [dict(zip(_RULES_WIDTHS, line, strict=True)) for line in lines])


def _lines(rule: Rule) -> list[tuple[str, str, str]]:
    reference = rule.reference
    source = f"{rule.title}. {reference.work} {reference.section}; edition: {reference.edition}."
    lines = [("source", source, reference.mark.value)]
    if reference.read_in:
        lines.append(("read in", reference.read_in, ""))
    if rule.builds_on:
        lines.append(("builds on", f"{rule.builds_on}; differs in {'; '.join(rule.differs)}", ""))
    return lines + [(clause.number, words(clause.text), clause.mark.value) for clause in rule.clauses]
