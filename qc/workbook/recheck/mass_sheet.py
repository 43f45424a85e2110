"""The sheet of a mass test: every unit's deviation, the counts beyond the limits, the limits by mass, the verdict."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from fractions import Fraction
from math import comb
from types import SimpleNamespace

from qc import expr
from qc.expr import YES
from qc.expr.parts import COMPARED_DECIMALS, CellRef, Expression, Value, known
from qc.rules.forms import find_form
from qc.rules.kinds.mass.procedure import BOUND_CONFIDENCE, LEAST_SHARE_PERCENT, mass_cases
from qc.rules.kinds.mass.record import MassBand, MassBasis, MassRule
from qc.stats.proportion import upper_bound
from qc.workbook.page import FIRST_ROW, GREY, HEADING, REMARK, Cells, Content, FromRow, Style, column_of
from qc.workbook.recheck import unit_sheet

_LIMITS = ("sample_size", "most_beyond_limit", "most_beyond_outer")
_HOLDS: Style = {**GREY, "align": "center", "num_format": '[=1]"yes";[=0]"no";General'}
_SHARE = "samples_that_comply_percent"
_LIMIT, _OUTER = "Limit (%)", "Outer limit (%)"
_ENDS = {"More than (mg)": ">", "From (mg)": ">=", "Less than (mg)": "<", "Up to (mg)": "<="}


def write_mass(case: unit_sheet.Case, rule: MassRule) -> unit_sheet.Recalculated:
    """Write the sheet of one mass test."""
    units = unit_sheet.masses_measured(case, asked=rule.sample_size)
    labelled = case.data.facts["planned_mass_g"]
    by_label = rule.basis is MassBasis.LABELLED_MASS and labelled.value is not None
    counted = sum(expr.expression(one).value == YES for one in units.marks if one is not None)
    too_few = counted < rule.sample_size and not by_label
    width = (8 if _SHARE in case.figures else 5) + too_few
    sheet = unit_sheet.new_unit_sheet(case, rule=rule, units=units, heading="Mass (g)", width=width, staged=False)
    block, (look,) = sheet.block, sheet.looks
    limits = sheet.limits(_LIMITS)
    confidence = block.one(
        "Confidence of the bound below", Decimal(str(BOUND_CONFIDENCE)), note="for information; no rule asks for it"
    )
    block.head("Figures", "Value", "How")
    sheet.statistics(unit="g", suffix="g")
    if by_label:
        centre = block.one("Compared with: labelled mass (g)", labelled, note="as planned, sheet Batch")
    else:
        centre = block.one("Compared with: mean (g)", look["mean_g"])
    bands = _write_bands(sheet, rule, centre=centre)
    for name, label in (("limit_percent", _LIMIT), ("outer_percent", _OUTER)):
        found = expr.beside(column_of(bands, label), first=1, within=column_of(bands, "Holds"))
        look.figures[name] = block.one(label, found, note="row of the table below that holds")
    sheet.deviation("Deviation (%)", "value", lambda _: centre)
    sheet.column("size", "Its size (%)", _size)
    sheet.beyond("over", "Beyond the limit", limit=look["limit_percent"])
    sheet.beyond("over_outer", "Beyond the outer", limit=look["outer_percent"])
    sheet.row("beyond_limit", "Units beyond the limit", lambda look: look.far("over"))
    sheet.row("beyond_double", "Units beyond the outer limit", lambda look: look.far("over_outer"))
    sheet.row(
        "hidden", "Others weighed, beyond the outer limit", lambda look: look.far("over_outer", unit_sheet.FAR_BESIDE)
    )
    sheet.row("greatest_deviation_percent", "Greatest deviation (%)", _greatest, note="the first of equal ones")
    sheet.row(
        "fraction_beyond_at_most_percent",
        "Beyond the limit in the batch, at most (%)",
        lambda look: _bound(look["beyond_limit"], look["n"], confidence),
        note="Clopper, Pearson",
    )
    failing = _write_sure(sheet, limits=limits) if too_few else (look["beyond_double"], look["hidden"])
    doubted = _write_all_weighed(sheet, rule, centre=centre, limits=limits)
    block.head("Of record", "Value")
    verdict = unit_sheet.verdict_of(
        mass_cases(
            n=look["n"],
            beyond=look["beyond_limit"],
            farther=failing[0],
            hidden=failing[1],
            rule=limits,
            doubted=doubted,
        )
    )
    return unit_sheet.Recalculated(
        figures={name: look[name] for name in case.figures if name in look.figures},
        verdict=block.one("Verdict", verdict),
        n=look["n"],
        deviations=sheet.deviations(look),
    )


def _write_sure(sheet: unit_sheet.UnitSheet, *, limits: SimpleNamespace) -> Sequence[CellRef]:
    """How many units of too small a sample, and beside it, fail it whatever those weigh that are still missing."""
    block, (look,), one = sheet.block, sheet.looks, expr.expression(1)
    outer, missing, total = look["outer_percent"] / 100, limits.sample_size - look["n"], look["n"] * look["mean_g"]
    block.head("Whatever the missing units weigh", "Value", "How")
    ends = "the missing ones within the outer limit of the mean of all"
    least = (one - outer) * total / (limits.sample_size - (one - outer) * missing)
    low = block.one("Fails below (g)", least, note=ends)
    room = limits.sample_size - (one + outer) * missing
    high = block.one("Fails above (g)", expr.when(room > 0, (one + outer) * total / room, ""), note=ends)

    def fails(unit: Cells, _: unit_sheet.StageCells) -> Expression:
        below, above = expr.compared(unit["value"], "<", low), expr.compared(unit["value"], ">", high)
        return expr.first_of((below, 1), (expr.negated(expr.is_number(high)), 0), (above, 1), otherwise=0)

    sheet.flags("sure", "Fails at once", fails)
    # Once the sample is whole, nothing is missing any more.
    return [
        block.one(label, expr.when(look["n"] < limits.sample_size, look.far("sure", word), look[whole]))
        for label, word, whole in (
            ("Units that fail", unit_sheet.FAR, "beyond_double"),
            ("Others that fail", unit_sheet.FAR_BESIDE, "hidden"),
        )
    ]


def _write_all_weighed(
    sheet: unit_sheet.UnitSheet, rule: MassRule, *, centre: CellRef, limits: SimpleNamespace
) -> Expression | None:
    """The counts over all units weighed, and the share of the possible samples that would comply.

    Answers whether a marked sample is doubted; None where the result document has no such share, and where no sample
    is marked.
    """
    block, (look,), every = sheet.block, sheet.looks, len(sheet.names)
    if _SHARE not in sheet.case.figures:
        return None
    block.head("All units weighed", "Value", "How")
    mean = block.one("Mean of all (g)", expr.average(column_of(look.units, "value")))
    labelled = rule.basis is MassBasis.LABELLED_MASS and sheet.case.data.facts["planned_mass_g"].value is not None
    about = centre if labelled else mean
    sheet.column(
        "of_all", "From all (%)", lambda unit, _: expr.deviation_percent(unit["value"], about), unit_sheet.DEVIATION
    )
    for name, header, flag, limit in (
        ("beyond_limit_of_all", "Of all, beyond the limit", "over_all", "limit_percent"),
        ("beyond_double_of_all", "Of all, beyond the outer", "over_outer_all", "outer_percent"),
    ):
        sheet.beyond(flag, header, limit=look[limit], of="of_all")
        look.figures[name] = block.one(f"{header}, units", look.far(flag) + look.far(flag, unit_sheet.FAR_BESIDE))
    beyond, farther = look["beyond_limit_of_all"], look["beyond_double_of_all"]
    size, whole, share = limits.sample_size, expr.expression(every), expr.expression(0)
    for grave in range(rule.most_beyond_outer + 1):
        for light in range(rule.most_beyond_limit - grave + 1):
            others = _drawn(light, of=size - grave, hits=beyond - farther, whole=whole - farther)
            share = share + _drawn(grave, of=size, hits=farther, whole=whole) * others
    share = block.one("Possible samples that comply (%)", 100 * share, note="hypergeometric")
    look.figures[_SHARE] = share
    return expr.all_of(look["n"] < every, share < LEAST_SHARE_PERCENT)


def _drawn(count: int, *, of: Expression, hits: Expression, whole: Expression) -> Expression:
    """The share of the samples `of` a size that hold a count of the hits in the whole."""

    def share(count: Expression, of: Expression, hits: Expression, whole: Expression) -> Value:
        drawn, found, size, every = (int(one.number) for one in (count, of, hits, whole))
        return Fraction(comb(size, drawn) * comb(every - size, found - drawn), comb(every, found))

    possible = expr.all_of(hits >= count, whole - hits >= of - count)
    return expr.when(possible, expr.call("HYPGEOMDIST", count, of, hits, whole, meaning=share), 0)


def _write_bands(sheet: unit_sheet.UnitSheet, rule: MassRule, *, centre: CellRef) -> Sequence[Cells]:
    """The rule's rows for this form below the units."""
    page, top = sheet.case.page, FIRST_ROW + len(sheet.names) + 1
    form = find_form(sheet.case.batch.dosage_form or "")
    assert form is not None, "a test of mass has figures only where its form is known"
    bands = [band for band in rule.bands if form.name in band.forms]
    page.put(top, 0, f"Limits of {rule.id} for {form.name}, by mass", HEADING)
    cells = page.table(
        (*_ENDS, _LIMIT, _OUTER, "Holds"),
        [_band_row(band, centre=centre) for band in bands],
        top=top + 1,
        styles={"Holds": _HOLDS},
    )
    for row, band in enumerate(bands, start=top + 2):
        remark = f"{band.masses}: {unit_sheet.source_of(rule, mark=band.mark)}"
        page.put(row, sheet.block.column, remark, REMARK)
    return cells


def _band_row(band: MassBand, *, centre: CellRef) -> dict[str, Content | FromRow]:
    """The ends of a row, its limits, and whether a mass lies inside the ends."""

    def holds(cells: Mapping[str, CellRef]) -> Expression:
        inside = (
            expr.any_of(cells[end].equals(""), expr.compared(centre * 1000, sign, cells[end]))
            for end, sign in _ENDS.items()
        )
        return expr.when(expr.all_of(*inside), 1, 0)

    ends = zip(_ENDS, (band.above_mg, band.from_mg, band.below_mg, band.up_to_mg), strict=True)
    return {**dict(ends), _LIMIT: band.limit_percent, _OUTER: band.outer_percent, "Holds": holds}


def _greatest(look: unit_sheet.StageCells) -> Expression:
    sizes = look.column("size")
    return expr.beside(look.column("deviation"), first=expr.greatest(sizes), within=sizes)


def _size(unit: Cells, _: unit_sheet.StageCells) -> Expression:
    """How far a unit of the sample lies from the centre, whichever way [%]."""
    return expr.when(expr.is_number(unit["counted"]), expr.round_to(abs(unit["deviation"]), COMPARED_DECIMALS))


def _bound(beyond_limit: CellRef, n: CellRef, confidence: CellRef) -> Expression:
    """The one-sided upper bound of the fraction beyond the limit, by the quantile of the beta distribution [%]."""

    def quantile(confidence: Expression, hits: Expression, misses: Expression) -> Value:
        found, left = int(hits.number) - 1, int(misses.number)
        return known(upper_bound(found, n=found + left, confidence=float(confidence.number)))

    found = expr.call("BETAINV", confidence, beyond_limit + 1, n - beyond_limit, meaning=quantile)
    return expr.when(beyond_limit.equals(n), 100, 100 * found)
