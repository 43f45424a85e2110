"""The tests of content on one active of one batch: about the mean, and against the label."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from msgspec.structs import replace

from qc.batch import Active, Batch
from qc.contents import Found, contents_found, scale_of
from qc.judging.applicable import dose_at_threshold
from qc.judging.samples import mass_sample
from qc.quantities import mean
from qc.results import TestResult, Verdict, WithoutLeftOut, message
from qc.rules.kinds.content.procedure import TEST as CONTENT_TEST
from qc.rules.kinds.content.procedure import judge_contents
from qc.rules.kinds.content.record import ContentRule
from qc.rules.kinds.dosage_units.procedure import TEST as DOSAGE_UNIT_TEST
from qc.rules.kinds.dosage_units.procedure import ToPercent, judge_dosage_units
from qc.rules.kinds.dosage_units.record import DosageUnitRule, Route, route_for
from qc.rules.measured import Measured, Stages, split_by_stage


def judge_content_rule(batch: Batch, *, rule: ContentRule, active: Active | None, required: bool) -> TestResult:
    """Judge the contents of one active about their own mean."""
    if active is None:
        return _nothing_assayed(CONTENT_TEST, rule.id, rule.first_size, active=None, required=required)
    found = contents_found(batch, active=active)
    if not found:
        return _nothing_assayed(CONTENT_TEST, rule.id, rule.first_size, active=active.name, required=required)
    record = _about_the_mean(batch, found, rule=rule, active=active)
    without = None
    left_out = _left_out_and_assayed(batch, found)
    if left_out and record.verdict is not Verdict.NOT_ASSESSED:
        kept = [content for content in found if content.unit not in left_out]
        other = _about_the_mean(batch, kept, rule=rule, active=active, less=left_out)
        without = WithoutLeftOut(units=left_out, verdict=other.verdict, figures=other.figures)
    # Contents that were entered and cannot be laid on one scale keep the batch undecided, whatever the set asks for.
    lacking = record.verdict is Verdict.NOT_ASSESSED
    return replace(record, required=required or lacking, without_left_out=without)


def _about_the_mean(
    batch: Batch, found: Sequence[Found], *, rule: ContentRule, active: Active, less: Sequence[str] = ()
) -> TestResult:
    scale = scale_of(batch, active=active, less=less)
    if scale is None:
        return TestResult(
            id=CONTENT_TEST,
            rule=rule.id,
            active=active.name,
            verdict=Verdict.NOT_ASSESSED,
            missing=message("tests.label_claim"),
            reasons=(message("tests.mixed_units"),),
        )
    measured = [Measured(unit=one.unit, value=value) for one in found if (value := one.on(scale)) is not None]
    return judge_contents(
        _staged(measured, found, first_size=rule.first_size, second_size=rule.second_size),
        rule=rule,
        active=active.name,
        scale=scale,
    )


def judge_dosage_rule(
    batch: Batch, *, rule: DosageUnitRule, active: Active | None, form: str, required: bool
) -> TestResult:
    """Judge the contents of one active against the label; by mass where the table of forms allows it."""
    if active is None:
        return _nothing_assayed(DOSAGE_UNIT_TEST, rule.id, rule.first_size, active=None, required=required)
    found = contents_found(batch, active=active)
    if not found:
        return _by_mass(batch, rule=rule, active=active, form=form, required=required)
    if any(content.percent is None for content in found):
        return TestResult(
            id=DOSAGE_UNIT_TEST,
            rule=rule.id,
            active=active.name,
            verdict=Verdict.NOT_ASSESSED,
            missing=message("tests.label_claim"),
            reasons=(message("tests.compares_with_label"),),
            required=required,
        )
    record = _against_the_label(found, rule=rule, active=active)
    without = None
    left_out = _left_out_and_assayed(batch, found)
    if left_out:
        kept = [content for content in found if content.unit not in left_out]
        other = _against_the_label(kept, rule=rule, active=active)
        without = WithoutLeftOut(units=left_out, verdict=other.verdict, figures=other.figures)
    return replace(record, required=required, without_left_out=without)


def _against_the_label(found: Sequence[Found], *, rule: DosageUnitRule, active: Active) -> TestResult:
    measured = [Measured(unit=content.unit, value=content.percent) for content in found if content.percent is not None]
    return judge_dosage_units(
        _staged(measured, found, first_size=rule.first_size, second_size=rule.second_size),
        to_percent=list,
        rule=rule,
        active=active.name,
        target_percent=active.target_percent,
        route=Route.CONTENT,
    )


def _by_mass(batch: Batch, *, rule: DosageUnitRule, active: Active, form: str, required: bool) -> TestResult:
    """The mass route x_i = w_i A / W where it is open; else "not assessed", with its figure for information."""
    none_assayed = _nothing_assayed(DOSAGE_UNIT_TEST, rule.id, rule.first_size, active=active.name, required=required)
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
    by_mass = judge_dosage_units(
        split_by_stage(sample, marked=[None] * len(sample), first_size=rule.first_size, second_size=rule.second_size),
        to_percent=_mass_to_percent(Fraction(active.batch_assay_percent)),
        rule=rule,
        active=active.name,
        target_percent=active.target_percent,
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


def _staged(measured: Sequence[Measured], found: Sequence[Found], *, first_size: int, second_size: int) -> Stages:
    stages = [content.stage for content in found]
    return split_by_stage(measured, marked=stages, first_size=first_size, second_size=second_size)


def _left_out_and_assayed(batch: Batch, found: Sequence[Found]) -> tuple[str, ...]:
    left_out = {unit.name for unit in batch.units if unit.left_out_because}
    return tuple(content.unit for content in found if content.unit in left_out)


def _nothing_assayed(test: str, rule: str, size: int, *, active: str | None, required: bool) -> TestResult:
    return TestResult(
        id=test,
        rule=rule,
        active=active,
        verdict=Verdict.NOT_ASSESSED,
        missing=message("advice.contents", number=size, mass_route=""),
        reasons=(message("tests.nothing_assayed", active=active),),
        required=required,
    )
