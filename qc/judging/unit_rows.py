"""One row a unit: mass, deviation, contents, and where each lies with regard to the limits."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction

from qc.batch import Active, Batch, Unit
from qc.contents import Found, contents_found, scale_of
from qc.judging.samples import mass_sample
from qc.quantities import deviation_percent, mean
from qc.results import Place, TestResult, UnitContent, UnitRow
from qc.rules.kinds.content.record import ContentRule
from qc.rules.kinds.mass.record import MassBand


def unit_rows(
    batch: Batch,
    *,
    centre_g: Fraction | None,
    band: MassBand | None,
    actives: Sequence[Active],
    content_tests: Sequence[tuple[TestResult, ContentRule]],
) -> tuple[UnitRow, ...]:
    """Lay every unit of a batch against the limits it was judged by.

    Parameters
    ----------
    batch : Batch
    centre_g : Fraction or None
        What the masses are compared with [g].
    band : MassBand or None
        Limits of the mass test; None where it was not judged.
    actives : sequence of Active
    content_tests : sequence of (TestResult, ContentRule)
        The content-uniformity tests judged, for the places of the contents.
    """
    sample = {unit.unit for unit in mass_sample(batch).sample}
    contents = {
        active.name: _contents(batch, active=active, judged=_judged(content_tests, active=active)) for active in actives
    }
    return tuple(
        _row(
            unit,
            in_sample=unit.name in sample,
            centre_g=centre_g,
            band=band,
            contents={name: found[unit.name] for name, found in contents.items() if unit.name in found},
        )
        for unit in batch.units
    )


def _row(
    unit: Unit, *, in_sample: bool, centre_g: Fraction | None, band: MassBand | None, contents: dict[str, UnitContent]
) -> UnitRow:
    deviation = None
    if unit.mass_g is not None and centre_g is not None:
        deviation = deviation_percent(unit.mass_g, centre=centre_g)
    place = None
    if deviation is not None and band is not None:
        place = place_of(deviation, inner=band.limit_percent, outer=band.outer_percent)
    return UnitRow(
        unit=unit.name,
        pour_order=unit.pour_order,
        mould=unit.mould,
        cavity=unit.cavity,
        mass_g=unit.mass_g,
        deviation_percent=None if deviation is None else float(deviation),
        in_mass_sample=in_sample,
        place=place,
        contents=contents,
        seen=unit.seen,
        left_out_because=unit.left_out_because,
        note=unit.note,
    )


def place_of(deviation: Fraction, *, inner: Decimal, outer: Decimal) -> Place:
    """Where a deviation lies with regard to two limits, decided exactly [all in %].

    Examples
    --------
    >>> place_of(Fraction(-5), inner=Decimal(5), outer=Decimal(10))
    <Place.INSIDE: 'inside'>
    """
    if abs(deviation) > Fraction(outer):
        return Place.BEYOND_OUTER
    return Place.BEYOND_INNER if abs(deviation) > Fraction(inner) else Place.INSIDE


def _judged(
    content_tests: Sequence[tuple[TestResult, ContentRule]], *, active: Active
) -> tuple[TestResult, ContentRule] | None:
    for test, rule in content_tests:
        if test.active == active.name:
            return test, rule
    return None


def _contents(batch: Batch, *, active: Active, judged: tuple[TestResult, ContentRule] | None) -> dict[str, UnitContent]:
    found = contents_found(batch, active=active)
    scale = scale_of(batch, active=active)
    on_scale = {} if scale is None else {content.unit: content.on(scale) for content in found}
    values = {unit: value for unit, value in on_scale.items() if value is not None}
    sample = set(values) if judged is None else set(judged[0].sample)
    in_sample = [value for unit, value in values.items() if unit in sample]
    centre = mean(in_sample) if in_sample and any(in_sample) else None
    masses = {unit.name: unit.mass_g for unit in batch.weighed}
    return {
        content.unit: _content(
            content,
            deviation=None if centre is None else deviation_percent(values[content.unit], centre=centre),
            in_sample=content.unit in sample,
            rule=None if judged is None else judged[1],
            mass_g=masses.get(content.unit),
        )
        for content in found
    }


def _content(
    content: Found,
    *,
    deviation: Fraction | None,
    in_sample: bool,
    rule: ContentRule | None,
    mass_g: Decimal | None,
) -> UnitContent:
    place = None
    if deviation is not None and rule is not None:
        place = place_of(deviation, inner=rule.inner_percent, outer=rule.outer_percent)
    return UnitContent(
        mg=None if content.mg is None else float(content.mg),
        percent_of_label=None if content.percent is None else float(content.percent),
        percent_of_mean=None if deviation is None else float(100 + deviation),
        concentration_mg_per_g=None if content.mg is None or mass_g is None else float(content.mg / Fraction(mass_g)),
        determinations=content.determinations,
        in_sample=in_sample,
        place=place,
    )
