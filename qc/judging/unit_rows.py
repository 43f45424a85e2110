"""One row a unit: mass, deviation, contents, and where each lies with regard to the limits."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction
from typing import Any

from msgspec import Struct

from qc.batch import Active, Batch
from qc.contents import contents_found, scale_of
from qc.judging.applicable import AskedTest
from qc.judging.mass import sample_mean_g
from qc.judging.samples import mass_sample
from qc.judging.weighed_again import second_counts, with_counting_masses
from qc.quantities import deviation_percent, mean
from qc.results import Place, TestResult, UnitContent, UnitRow
from qc.rules.kinds.content.record import ContentRule
from qc.rules.kinds.mass.record import MassBasis, MassRule

JudgedTests = Sequence[tuple[AskedTest[Any], TestResult]]
"""Tests of units as they were asked for, each with its result."""


class Against(Struct, frozen=True, kw_only=True):
    """What the values of one series are laid against: the mean of a sample or what stands for it, and two limits.

    `limits` are the limit and the outer limit, exact [% of the centre]; None where no test was judged by any.
    """

    sample: frozenset[str]
    centre: Fraction | None
    limits: tuple[Decimal, Decimal] | None

    def deviation(self, value: Decimal | Fraction | None) -> Fraction | None:
        """How far a value lies from the centre [% of the centre], exact."""
        return None if value is None or not self.centre else deviation_percent(value, centre=self.centre)

    def place(self, deviation: Fraction | None) -> Place | None:
        """Where a deviation lies with regard to the limits, decided exactly [%].

        Examples
        --------
        >>> about = Against(sample=frozenset(), centre=Fraction(2), limits=(Decimal(5), Decimal(10)))
        >>> about.place(Fraction(-5))
        <Place.INSIDE: 'inside'>
        """
        if deviation is None or self.limits is None:
            return None
        inner, outer = self.limits
        if abs(deviation) > Fraction(outer):
            return Place.BEYOND_OUTER
        return Place.BEYOND_INNER if abs(deviation) > Fraction(inner) else Place.INSIDE


def masses_against(batch: Batch, judged: JudgedTests) -> Against:
    """What the masses are laid against: the centre and the limits of the first mass rule asked for."""
    weighed, limits = mass_sample(batch), None
    centre = sample_mean_g(weighed)
    for asked, test in judged:
        if isinstance(asked.rule, MassRule):
            weighed, limits = mass_sample(batch, asked=asked.rule.sample_size), test.mass_limits
            centre = sample_mean_g(weighed)
            if asked.rule.basis is MassBasis.LABELLED_MASS and batch.planned_mass_g is not None and weighed.sample:
                centre = Fraction(batch.planned_mass_g)
            break
    return Against(sample=frozenset(unit.unit for unit in weighed.sample), centre=centre, limits=limits)


def unit_rows(batch: Batch, *, masses: Against, actives: Sequence[Active], judged: JudgedTests) -> tuple[UnitRow, ...]:
    """Lay every unit of a batch against the limits it was judged by.

    Parameters
    ----------
    batch : Batch
    masses : Against
        What the masses are compared with [g].
    actives : sequence of Active
    judged : sequence of (AskedTest, TestResult)
        The tests of units; the first content-uniformity test of an active gives the places of its contents.
    """
    contents = {active.name: _contents(batch, active=active, judged=judged) for active in actives}
    counting = {unit.name: unit.mass_g for unit in with_counting_masses(batch).units}
    deviations = {name: masses.deviation(mass_g) for name, mass_g in counting.items()}
    return tuple(
        UnitRow(
            unit=unit.name,
            pour_order=unit.pour_order,
            weighing_order=unit.weighing_order,
            mould=unit.mould,
            cavity=unit.cavity,
            mass_g=unit.mass_g,
            weighed_again_g=unit.weighed_again_g,
            weighed_again_because=unit.weighed_again_because,
            second_mass_counts=None if unit.weighed_again_g is None else second_counts(batch, unit),
            deviation_percent=_float(deviations[unit.name]),
            in_mass_sample=unit.name in masses.sample,
            place=masses.place(deviations[unit.name]),
            contents={name: found[unit.name] for name, found in contents.items() if unit.name in found},
            seen=unit.seen,
            left_out_because=unit.left_out_because,
            note=unit.note,
        )
        for unit in batch.units
    )


def _contents(batch: Batch, *, active: Active, judged: JudgedTests) -> dict[str, UnitContent]:
    """The contents of one active by unit."""
    found = contents_found(batch, active=active)
    scale = scale_of(batch, active=active)
    on_scale = {} if scale is None else {content.unit: content.on(scale) for content in found}
    values = {unit: value for unit, value in on_scale.items() if value is not None}
    sample, limits = frozenset(values), None
    own = [(asked.rule, test) for asked, test in judged if test.active == active.name]
    if of_contents := [(rule, test) for rule, test in own if isinstance(rule, ContentRule)]:
        rule, test = of_contents[0]
        sample, limits = frozenset(test.sample), (rule.inner_percent, rule.outer_percent)
    tested = [value for unit, value in values.items() if unit in sample]
    about = Against(sample=sample, centre=mean(tested) if tested else None, limits=limits)
    masses = {unit.name: unit.mass_g for unit in with_counting_masses(batch).weighed}
    rows = {}
    for content in found:
        deviation = about.deviation(values.get(content.unit))
        mass_g = masses.get(content.unit)
        rows[content.unit] = UnitContent(
            mg=_float(content.mg),
            percent_of_label=_float(content.percent),
            percent_of_mean=None if deviation is None else float(100 + deviation),
            concentration_mg_per_g=float(content.mg / Fraction(mass_g)) if content.mg is not None and mass_g else None,
            determinations=content.determinations,
            in_sample=content.unit in sample,
            place=about.place(deviation),
        )
    return rows


def _float(value: Fraction | None) -> float | None:
    return None if value is None else float(value)
