"""Which units a test of single units rests on, in the order of its stages, with the formula of what was measured."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction

from msgspec import Struct

from qc.batch import Active, Batch
from qc.contents import Found, active_named, contents_found, scale_of
from qc.expr import Expression, average
from qc.judging.samples import mass_sample
from qc.rules.kinds.content.record import ContentRule
from qc.rules.kinds.dosage_units.record import DosageUnitRule
from qc.rules.measured import Measured, split_by_stage
from qc.workbook.page import Page
from qc.workbook.recheck.data import DataCells


class Case(Struct, frozen=True, kw_only=True):
    """One judging of single units, with the page it is written on."""

    page: Page
    batch: Batch
    data: DataCells
    active: str
    """The active; empty for a test of masses alone."""
    less: Sequence[str]
    """Units that do not count."""
    figures: Sequence[str]
    """Names of the figures that the result document has."""
    remark: str


class UnitsMeasured(Struct, frozen=True, kw_only=True):
    """What was measured of each unit: first the units of the first stage, then of the second, then the others."""

    values: Mapping[str, Expression]
    scale: str
    """"g", "mg" or "% of label"."""
    sizes: Sequence[int]
    """How many of the units each look rests on [-]: one look, or two."""


def masses_measured(case: Case) -> UnitsMeasured:
    """The weighed units, the test sample first."""
    weighed = mass_sample(case.batch)
    sample, others = (
        [unit.unit for unit in units if unit.unit not in case.less] for units in (weighed.sample, weighed.others)
    )
    values = {name: case.data.masses[name] for name in (*sample, *others)}
    return UnitsMeasured(values=values, scale="g", sizes=(len(sample),))


def contents_measured(case: Case, rule: ContentRule) -> UnitsMeasured:
    """The units assayed, on the one scale that the contents stand on."""
    found = _found(case)
    scale = scale_of(case.batch, active=_active(case), less=case.less)
    assert scale is not None, "a test of content has figures only where its contents stand on one scale"
    return _staged_contents(case, found, scale=scale.unit, rule=rule)


def label_compared(case: Case, rule: DosageUnitRule) -> UnitsMeasured:
    """The units assayed in % of label; where none was, the masses of the test sample, by the route of mass."""
    if found := _found(case):
        return _staged_contents(case, found, scale="% of label", rule=rule)
    names = [unit.unit for unit in mass_sample(case.batch).sample]
    values = {name: case.data.masses[name] for name in names}
    return _staged(values, marked=[None] * len(names), scale="g", rule=rule)


def _found(case: Case) -> list[Found]:
    found = contents_found(case.batch, active=_active(case))
    return [content for content in found if content.unit not in case.less]


def _active(case: Case) -> Active:
    return active_named(case.batch, case.active)


def _staged_contents(
    case: Case, found: Sequence[Found], *, scale: str, rule: ContentRule | DosageUnitRule
) -> UnitsMeasured:
    values = {one.unit: average(case.data.contents[scale, case.active, one.unit]) for one in found}
    return _staged(values, marked=[one.stage for one in found], scale=scale, rule=rule)


def _staged(
    values: Mapping[str, Expression],
    *,
    marked: Sequence[int | None],
    scale: str,
    rule: ContentRule | DosageUnitRule,
) -> UnitsMeasured:
    # The stages are shared out by the order and the marks of the units alone.
    units = [Measured(unit=name, value=Fraction(0)) for name in values]
    stages = split_by_stage(units, marked=marked, first_size=rule.first_size, second_size=rule.second_size)
    first, second = len(stages.first), len(stages.second)
    return UnitsMeasured(
        values={unit.unit: values[unit.unit] for unit in (*stages.first, *stages.second, *stages.others)},
        scale=scale,
        sizes=(first, first + second) if second else (first,),
    )
