"""The sheet of a mass test: every unit's deviation, the counts beyond the limits, the limits by mass, the verdict."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from decimal import Decimal
from fractions import Fraction

from msgspec import Struct

from qc.results import Verdict
from qc.rules.mass_bands import band_for, range_in_words
from qc.rules.records import MassBand, MassBasis, MassRule
from qc.rules.uniformity_of_mass import BOUND_CONFIDENCE
from qc.stats.proportion import upper_bound
from qc.workbook.recheck.blocks import Block, Recalculated, source_of, write_title
from qc.workbook.recheck.cells import Cell, Page, Reckoned, Span, span
from qc.workbook.recheck.data import FIRST_ROW, HEADER_ROW, DataCells
from qc.workbook.recheck.formulas import (
    COMPARED_DECIMALS,
    beyond,
    count_of,
    deviation_of,
    mean_of,
    percent_of,
    same_as,
    size_of,
    spread_of,
    total_of,
)
from qc.workbook.recheck.look import set_page

_BLOCK_COLUMN = 8
_UNIT_HEADERS = (
    "Unit",
    "Mass (g)",
    "Deviation (%)",
    "Its size (%)",
    "Beyond the limit",
    "Beyond the outer",
    "Left out because",
)


class MassCase(Struct, frozen=True, kw_only=True):
    """One judging of masses: the units of the sample, those weighed beside it, the rule and the form."""

    sample: tuple[str, ...]
    others: tuple[str, ...]
    rule: MassRule
    form: str
    figures: Sequence[str]
    """Names of the figures that the result document has."""


def write_mass(page: Page, *, case: MassCase, data: DataCells, title: str, remark: str) -> Recalculated:
    """Write the sheet of one mass test."""
    rule = case.rule
    write_title(page, rule=rule, title=title, remark=remark)
    units = (*case.sample, *case.others)
    values = [
        page.reckon(row, 1, same_as(data.masses[unit]), data.mass_shown)
        for row, unit in enumerate(units, start=FIRST_ROW)
    ]
    sample = Span(cells=tuple(values[: len(case.sample)]))
    block = Block(page=page, column=_BLOCK_COLUMN)
    block.head("Limits", "Value", "Source")
    source = source_of(rule)
    size = block.stated("Units the rule asks for", rule.sample_size, source=source)
    most = block.stated("Beyond the limit, at most", rule.most_beyond_limit, source=source)
    most_outer = block.stated("Beyond the outer limit, at most", rule.most_beyond_outer, source=source)
    confidence = block.stated(
        "Confidence of the bound below", Decimal(str(BOUND_CONFIDENCE)), source="for information; no rule asks for it"
    )
    block.head("Figures", "Value", "How")
    n = block.one("n, units of the sample", count_of(sample))
    average = block.one("Mean mass (g)", mean_of(sample), remark="sum / n")
    sd = block.one("SD (g)", spread_of(sample), remark="divisor n - 1")
    rsd = block.one("RSD (% of mean)", percent_of(sd, average), remark="SD / mean × 100")
    labelled = data.facts["Planned mass (g)"]
    if rule.basis is MassBasis.LABELLED_MASS and labelled.value is not None:
        centre = block.one("Compared with: labelled mass (g)", same_as(labelled), remark="as planned, sheet Batch")
    else:
        centre = block.one("Compared with: mean (g)", same_as(average))
    limit_at, outer_at = block.row, block.row + 1
    block.row += 2
    limit, outer = _write_bands(page, case=case, centre=centre, top=FIRST_ROW + len(units) + 1)
    limit_cell = page.reckon(limit_at, _BLOCK_COLUMN + 1, limit, page.look.live)
    outer_cell = page.reckon(outer_at, _BLOCK_COLUMN + 1, outer, page.look.live)
    for row, label in ((limit_at, "Limit (%)"), (outer_at, "Outer limit (%)")):
        page.text(row, _BLOCK_COLUMN, label)
        page.text(row, _BLOCK_COLUMN + 2, "row of the table below that holds", page.look.remark)
    deviations, sizes, over, over_outer = _write_units(
        page, units=units, values=values, centre=centre, limit=limit_cell, outer=outer_cell, data=data
    )
    inside = len(case.sample)
    count = block.one("Units beyond the limit", total_of(span(over[:inside])))
    count_outer = block.one("Units beyond the outer limit", total_of(span(over_outer[:inside])))
    hidden = block.one("Others weighed, beyond the outer limit", total_of(span(over_outer[inside:])))
    greatest = block.one(
        "Greatest deviation (%)",
        _greatest(Span(cells=tuple(deviations[:inside])), Span(cells=tuple(sizes[:inside]))),
        remark="the first of equal ones",
    )
    bound = block.one(
        "Beyond the limit in the batch, at most (%)", _bound(count, n, confidence), remark="Clopper, Pearson"
    )
    block.head("Of record", "Value")
    verdict = block.one(
        "Verdict",
        _verdict(n=n, size=size, count=count, most=most, outer=count_outer, most_outer=most_outer, hidden=hidden),
    )
    page.sheet.set_column(0, 6, 11)
    page.sheet.set_column(7, 7, 3)
    page.sheet.set_column(_BLOCK_COLUMN, _BLOCK_COLUMN, 38)
    page.sheet.set_column(_BLOCK_COLUMN + 1, _BLOCK_COLUMN + 1, 17)
    page.sheet.set_column(_BLOCK_COLUMN + 2, _BLOCK_COLUMN + 2, 32)
    set_page(page.sheet, landscape=True, header_row=HEADER_ROW)
    known = {
        "mean_g": average,
        "sd_g": sd,
        "rsd_percent": rsd,
        "limit_percent": limit_cell,
        "outer_percent": outer_cell,
        "beyond_limit": count,
        "beyond_double": count_outer,
        "greatest_deviation_percent": greatest,
        "fraction_beyond_at_most_percent": bound,
    }
    return Recalculated(
        figures={name: known[name] for name in case.figures if name in known},
        verdict=verdict,
        n=n,
        deviations=dict(zip(units, deviations, strict=True)),
    )


def _write_units(
    page: Page,
    *,
    units: Sequence[str],
    values: Sequence[Cell],
    centre: Cell,
    limit: Cell,
    outer: Cell,
    data: DataCells,
) -> tuple[list[Cell], list[Cell], list[Cell], list[Cell]]:
    for column, header in enumerate(_UNIT_HEADERS):
        page.text(HEADER_ROW, column, header, page.look.header)
    deviations, sizes, over, over_outer = [], [], [], []
    for row, (unit, value) in enumerate(zip(units, values, strict=True), start=FIRST_ROW):
        page.text(row, 0, unit)
        deviation = page.reckon(row, 2, deviation_of(value, centre), page.look.deviation)
        deviations.append(deviation)
        sizes.append(page.reckon(row, 3, size_of(deviation), page.look.live))
        over.append(page.reckon(row, 4, beyond(deviation, limit), page.look.beyond))
        over_outer.append(page.reckon(row, 5, beyond(deviation, outer), page.look.beyond))
        page.entry(row, 6, data.left_out.get(unit))
    return deviations, sizes, over, over_outer


def _write_bands(page: Page, *, case: MassCase, centre: Cell, top: int) -> tuple[Reckoned, Reckoned]:
    """The rule's rows for this form below the units; answers the limits of the row that holds at the mass."""
    bands = [band for band in case.rule.bands if case.form in band.forms]
    page.text(top, 0, f"Limits of {case.rule.id} for {case.form}, by mass", page.look.heading)
    headers = ("More than (mg)", "From (mg)", "Less than (mg)", "Up to (mg)", "Limit (%)", "Outer limit (%)", "Holds")
    for column, header in enumerate(headers):
        page.text(top + 1, column, header, page.look.header)
    page.sheet.set_row(top + 1, 30)
    mean_mg = centre.exact * 1000
    holding = band_for(case.rule, form=case.form, mean_mg=mean_mg)
    columns: list[list[Cell]] = [[], [], []]
    for row, band in enumerate(bands, start=top + 2):
        ends = [
            page.entry(row, column, end)
            for column, end in enumerate((band.above_mg, band.from_mg, band.below_mg, band.up_to_mg))
        ]
        columns[0].append(page.number(row, 4, band.limit_percent))
        columns[1].append(page.number(row, 5, band.outer_percent))
        columns[2].append(page.reckon(row, 6, _holds(ends, centre=centre, band=band, mean_mg=mean_mg), page.look.holds))
        page.text(row, 8, f"{range_in_words(band)}: {source_of(case.rule, mark=band.mark)}", page.look.remark)
    limits, outers, holds = (Span(cells=tuple(cells)) for cells in columns)
    return (
        Reckoned(
            formula=f"INDEX({limits.address},MATCH(1,{holds.address},0))",
            value=None if holding is None else holding.limit_percent,
        ),
        Reckoned(
            formula=f"INDEX({outers.address},MATCH(1,{holds.address},0))",
            value=None if holding is None else holding.outer_percent,
        ),
    )


_ENDS: tuple[tuple[str, Callable[[Fraction, Fraction], bool]], ...] = (
    (">0", lambda mass, end: mass > end),
    (">=0", lambda mass, end: mass >= end),
    ("<0", lambda mass, end: mass < end),
    ("<=0", lambda mass, end: mass <= end),
)


def _holds(ends: Sequence[Cell], *, centre: Cell, band: MassBand, mean_mg: Fraction) -> Reckoned:
    tests = [
        f'OR({end.address}="",ROUND({centre.address}*1000-{end.address},{COMPARED_DECIMALS}){sign})'
        for end, (sign, _) in zip(ends, _ENDS, strict=True)
    ]
    values = (band.above_mg, band.from_mg, band.below_mg, band.up_to_mg)
    holds = all(end is None or within(mean_mg, Fraction(end)) for end, (_, within) in zip(values, _ENDS, strict=True))
    return Reckoned(formula=f"IF(AND({','.join(tests)}),1,0)", value=int(holds))


def _greatest(deviations: Span, sizes: Span) -> Reckoned:
    return Reckoned(
        formula=f"INDEX({deviations.address},MATCH(MAX({sizes.address}),{sizes.address},0))",
        value=max(deviations.exact, key=abs),
    )


def _bound(count: Cell, n: Cell, confidence: Cell) -> Reckoned:
    """The one-sided upper bound of the fraction beyond the limit, by the quantile of the beta distribution."""
    quantile = f"BETAINV({confidence.address},{count.address}+1,{n.address}-{count.address})"
    value = 100 * upper_bound(int(count.exact), n=int(n.exact), confidence=float(confidence.exact))
    return Reckoned(formula=f"IF({count.address}={n.address},100,100*{quantile})", value=value)


def _verdict(*, n: Cell, size: Cell, count: Cell, most: Cell, outer: Cell, most_outer: Cell, hidden: Cell) -> Reckoned:
    fails, few, passes = Verdict.DOES_NOT_COMPLY, Verdict.TOO_FEW_UNITS, Verdict.COMPLIES
    if outer.exact > most_outer.exact or hidden.exact > 0:
        value = fails
    elif n.exact < size.exact:
        value = few
    else:
        value = fails if count.exact > most.exact else passes
    return Reckoned(
        formula=(
            f'IF(OR({outer.address}>{most_outer.address},{hidden.address}>0),"{fails}",'
            f'IF({n.address}<{size.address},"{few}",'
            f'IF({count.address}>{most.address},"{fails}","{passes}")))'
        ),
        value=value.value,
    )
