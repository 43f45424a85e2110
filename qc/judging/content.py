"""The tests of content on one active of one batch: about the mean, and against the label."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from fractions import Fraction

from msgspec.structs import replace

from qc.batch import Active, Batch
from qc.contents import Found, contents_found, scale_of
from qc.judging.applicable import dose_at_threshold
from qc.judging.samples import mass_sample, with_all_units
from qc.quantities import mean
from qc.results import TestResult, Verdict, message
from qc.rules.kinds.content.procedure import judge_contents
from qc.rules.kinds.content.record import ContentRule
from qc.rules.kinds.dosage_units.procedure import ToPercent, judge_dosage_units
from qc.rules.kinds.dosage_units.record import DosageUnitRule, Route, route_for
from qc.rules.measured import Measured, Stages, split_by_stage
from qc.rules.records import Rule


def judge_content_rule(batch: Batch, *, rule: ContentRule, active: Active | None, required: bool) -> TestResult:
    """Judge the contents of one active about their own mean."""
    found = () if active is None else contents_found(batch, active=active)
    if active is None or not found:
        return _nothing_assayed(rule, active=active, required=required)

    def judge(less: Collection[str]) -> TestResult:
        scale = scale_of(batch, active=active, less=less)
        if scale is None:
            blank = _blank(rule, active=active, required=required)
            return replace(blank, missing=message("tests.label_claim"), reasons=(message("tests.mixed_units"),))
        kept = [one for one in found if one.unit not in less]
        measured = [Measured(unit=one.unit, value=value) for one in kept if (value := one.on(scale)) is not None]
        return judge_contents(_staged(measured, kept, rule=rule), rule=rule, active=active.name, scale=scale)

    record = with_all_units(judge, left_out=_left_out_and_assayed(batch, found))
    if record.verdict is not Verdict.NOT_ASSESSED:
        return replace(record, required=required)
    # Contents that were entered and cannot be laid on one scale keep the batch undecided, whatever the set asks for.
    return replace(record, required=True, without_left_out=None)


def judge_dosage_rule(
    batch: Batch, *, rule: DosageUnitRule, active: Active | None, form: str, required: bool
) -> TestResult:
    """Judge the contents of one active against the label; by mass where the table of forms allows it."""
    if active is None:
        return _nothing_assayed(rule, active=None, required=required)
    found = contents_found(batch, active=active)
    if not found:
        return _by_mass(batch, rule=rule, active=active, form=form, required=required)
    if any(content.percent is None for content in found):
        blank = _blank(rule, active=active, required=required)
        return replace(blank, missing=message("tests.label_claim"), reasons=(message("tests.compares_with_label"),))

    def judge(less: Collection[str]) -> TestResult:
        kept = [one for one in found if one.unit not in less]
        measured = [Measured(unit=one.unit, value=one.percent) for one in kept if one.percent is not None]
        return _against_the_label(
            _staged(measured, kept, rule=rule), to_percent=list, rule=rule, active=active, route=Route.CONTENT
        )

    record = with_all_units(judge, left_out=_left_out_and_assayed(batch, found))
    return replace(record, required=required)


def _against_the_label(
    stages: Stages, *, to_percent: ToPercent, rule: DosageUnitRule, active: Active, route: Route
) -> TestResult:
    return judge_dosage_units(
        stages,
        to_percent=to_percent,
        rule=rule,
        active=active.name,
        target_percent=active.target_percent,
        route=route,
    )


def _by_mass(batch: Batch, *, rule: DosageUnitRule, active: Active, form: str, required: bool) -> TestResult:
    """The mass route x_i = w_i A / W where it is open; else "not assessed", with its figure for information."""
    none_assayed = _nothing_assayed(rule, active=active, required=required)
    at_threshold = dose_at_threshold(batch, active=active, rule=rule)
    open_route = Route.MASS in {
        route_for(rule, form=form, at_threshold=side)
        for side in ((True, False) if at_threshold is None else (at_threshold,))
    }
    sample = mass_sample(batch).sample
    if active.batch_assay_percent is None or not sample:
        if not open_route:
            return none_assayed
        missing = message("tests.batch_assay") if active.batch_assay_percent is None else message("tests.masses")
        return replace(
            none_assayed,
            missing=message("advice.contents", number=rule.first_size, mass_route=missing),
            reasons=(*none_assayed.reasons, message("tests.route_needs", missing=missing)),
        )
    by_mass = _against_the_label(
        split_by_stage(sample, marked=[None] * len(sample), first_size=rule.first_size, second_size=rule.second_size),
        to_percent=_mass_to_percent(Fraction(active.batch_assay_percent)),
        rule=rule,
        active=active,
        route=Route.MASS,
    )
    if at_threshold is None:
        return replace(
            none_assayed,
            missing=message("tests.label_claim"),
            reasons=(message("tests.route_by_dose"),),
        )
    if open_route:
        return replace(by_mass, required=required)
    value = by_mass.figures.get("acceptance_value")
    return replace(none_assayed, reasons=(message("tests.route_closed", form=form, value=value),))


def _mass_to_percent(assay_percent: Fraction) -> ToPercent:
    def to_percent(units: Sequence[Measured]) -> list[Measured]:
        average = mean([unit.value for unit in units])
        return [Measured(unit=unit.unit, value=unit.value * assay_percent / average) for unit in units]

    return to_percent


def _staged(measured: Sequence[Measured], found: Sequence[Found], *, rule: ContentRule | DosageUnitRule) -> Stages:
    stages = [content.stage for content in found]
    return split_by_stage(measured, marked=stages, first_size=rule.first_size, second_size=rule.second_size)


def _left_out_and_assayed(batch: Batch, found: Sequence[Found]) -> list[str]:
    left_out = {unit.name for unit in batch.units if unit.left_out_because}
    return [content.unit for content in found if content.unit in left_out]


def _blank(rule: Rule, *, active: Active | None, required: bool) -> TestResult:
    name = None if active is None else active.name
    return TestResult(id=rule.test, rule=rule.id, active=name, verdict=Verdict.NOT_ASSESSED, required=required)


def _nothing_assayed(rule: ContentRule | DosageUnitRule, *, active: Active | None, required: bool) -> TestResult:
    blank = _blank(rule, active=active, required=required)
    missing = message("advice.contents", number=rule.first_size, mass_route="")
    return replace(blank, missing=missing, reasons=(message("tests.nothing_assayed", active=blank.active),))
