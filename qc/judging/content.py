"""The tests of content on one active of one batch: about the mean, and against the label."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from decimal import Decimal
from fractions import Fraction

from msgspec.structs import replace

from qc.batch import Active, Batch
from qc.contents import Found, contents_found, scale_of
from qc.judging.applicable import AskedTest, dose_at_threshold
from qc.judging.samples import masses_of, shared_out, with_all_units
from qc.quantities import deviation_percent, mean
from qc.results import Message, TestResult, Verdict, message
from qc.rules.kinds.content.procedure import judge_contents
from qc.rules.kinds.content.record import ContentRule
from qc.rules.kinds.dosage_units.acceptance_value import share_that_complies
from qc.rules.kinds.dosage_units.procedure import judge_dosage_units
from qc.rules.kinds.dosage_units.record import DosageUnitRule, Route, route_for
from qc.rules.kinds.large_samples import LargeSampleRule, judge_large_sample
from qc.rules.kinds.mass.procedure import LEAST_SHARE_PERCENT
from qc.rules.measured import Measured, Stages
from qc.stats.proportion import share_of_samples


def judge_content_rule(batch: Batch, asked: AskedTest[ContentRule]) -> TestResult:
    """Judge the contents of one active about their own mean."""
    active, rule = asked.active, asked.rule
    found = () if active is None else contents_found(batch, active=active)
    if active is None or not found:
        return _nothing_assayed(asked)

    def judge(less: Collection[str]) -> TestResult:
        scale = scale_of(batch, active=active, less=less)
        if scale is None:
            return asked.not_assessed(missing=message("tests.label_claim"), reason=message("tests.mixed_units"))
        stages = _staged(batch, found, lambda one: one.on(scale), less=less, rule=rule)
        return _doubted(judge_contents(stages, rule=rule, active=active.name, scale=scale), stages, rule=rule)

    return _of_record(judge, asked, left_out=_left_out_and_assayed(batch, found))


def _doubted(record: TestResult, stages: Stages, *, rule: ContentRule) -> TestResult:
    """Left open where the sample complies and hardly any other of the units assayed would, those beside it counted."""
    every = [unit.value for unit in (*stages.pooled, *stages.others)]
    if record.verdict is not Verdict.COMPLIES or len(every) == record.n or not rule.inner_applies or not any(every):
        return record
    off = [abs(deviation_percent(value, centre=mean(every))) for value in every]
    beyond, farther = (sum(one > Fraction(limit) for one in off) for limit in (rule.inner_percent, rule.outer_percent))
    allowed = rule.passes_with if record.n == rule.first_size else rule.second_passes_with
    share = share_of_samples(len(every), drawn=record.n, hits=beyond, graver=farther, most_hits=allowed)
    told = {"of": len(every), "beyond": beyond, "percent": rule.inner_percent, "asked": record.n}
    return _left_open(record, message("tests.unlikely_contents", **told, share=float(share)))


def _doubted_value(record: TestResult, stages: Stages, *, target_percent: Decimal, rule: DosageUnitRule) -> TestResult:
    """The same of a dosage-unit test: of samples drawn from all units assayed, how many would keep its limits."""
    every = [unit.value for unit in (*stages.pooled, *stages.others)]
    if record.verdict is not Verdict.COMPLIES or len(every) == record.n:
        return record
    share = share_that_complies(every, drawn=record.n, target_percent=target_percent, rule=rule)
    return _left_open(record, message("tests.unlikely_value", of=len(every), asked=record.n, share=share))


def _left_open(record: TestResult, reason: Message) -> TestResult:
    if reason.values["share"] * 100 >= LEAST_SHARE_PERCENT:
        return record
    missing = message("tests.how_drawn", asked=record.n)
    return replace(record, verdict=Verdict.NOT_ASSESSED, reasons=(reason, *record.reasons), missing=missing)


def judge_dosage_rule(batch: Batch, asked: AskedTest[DosageUnitRule]) -> TestResult:
    """Judge the contents of one active against the label; by mass where the table of forms allows it."""
    active, rule = asked.active, asked.rule
    if active is None:
        return _nothing_assayed(asked)
    found = contents_found(batch, active=active)
    if not found:
        return _by_mass(batch, asked, active=active)
    if any(content.percent is None for content in found):
        return asked.not_assessed(missing=message("tests.label_claim"), reason=message("tests.compares_with_label"))

    def judge(less: Collection[str]) -> TestResult:
        stages = _staged(batch, found, lambda one: one.percent, less=less, rule=rule)
        target = active.target_percent
        record = judge_dosage_units(
            stages, to_percent=list, rule=rule, active=active.name, target_percent=target, route=Route.CONTENT
        )
        return _doubted_value(record, stages, target_percent=target, rule=rule)

    return _of_record(judge, asked, left_out=_left_out_and_assayed(batch, found))


def judge_large_rule(batch: Batch, asked: AskedTest[LargeSampleRule]) -> TestResult:
    """Judge the contents of a large sample against the label."""
    active, rule = asked.active, asked.rule
    found = () if active is None else contents_found(batch, active=active)
    if active is None or not found:
        return asked.not_assessed(
            missing=message("tests.large_sample", asked=rule.least_units),
            reason=message("tests.nothing_assayed", active=None if active is None else active.name),
        )
    if any(content.percent is None for content in found):
        return asked.not_assessed(missing=message("tests.label_claim"), reason=message("tests.compares_with_label"))

    def judge(less: Collection[str]) -> TestResult:
        laid = [(one.unit, one.percent) for one in found if one.unit not in less]
        kept = [Measured(unit=unit, value=percent) for unit, percent in laid if percent is not None]
        return judge_large_sample(kept, rule=rule, active=active.name, target_percent=active.target_percent)

    return _of_record(judge, asked, left_out=_left_out_and_assayed(batch, found))


def _of_record(
    judge: Callable[[Collection[str]], TestResult],
    asked: AskedTest[ContentRule] | AskedTest[DosageUnitRule] | AskedTest[LargeSampleRule],
    *,
    left_out: Sequence[str],
) -> TestResult:
    record = with_all_units(judge, left_out=left_out)
    if record.verdict is not Verdict.NOT_ASSESSED:
        return replace(record, required=asked.required)
    # Contents that were entered and cannot be judged keep the batch undecided, whatever the set asks for.
    return replace(record, required=True, without_left_out=None)


def _by_mass(batch: Batch, asked: AskedTest[DosageUnitRule], *, active: Active) -> TestResult:
    """The mass route x_i = w_i A / W where it is open; else "not assessed", with its figure for information."""
    rule, assay_percent, weighed = asked.rule, active.batch_assay_percent, masses_of(batch.weighed)
    at_threshold = dose_at_threshold(batch, active=active, rule=rule)
    # Of a dose that is not known it may be open: no form has it below the threshold alone.
    open_route = route_for(rule, form=asked.form, at_threshold=at_threshold is not False) is Route.MASS
    none_assayed = _nothing_assayed(asked)
    if assay_percent is None or not weighed:
        if not open_route:
            return none_assayed
        missing = message("tests.batch_assay") if assay_percent is None else message("tests.masses")
        return replace(
            none_assayed,
            missing=message("advice.contents", number=rule.first_size, mass_route=missing),
            reasons=(*none_assayed.reasons, message("tests.route_needs", missing=missing)),
        )
    if at_threshold is None:
        return asked.not_assessed(missing=message("tests.label_claim"), reason=message("tests.route_by_dose"))
    by_mass = judge_dosage_units(
        shared_out(batch, weighed, marked=[None] * len(weighed), rule=rule),
        to_percent=lambda units: _of_the_mean(units, percent=Fraction(assay_percent)),
        rule=rule,
        active=active.name,
        target_percent=active.target_percent,
        route=Route.MASS,
    )
    if open_route:
        return replace(by_mass, required=asked.required)
    value = by_mass.figures.get("acceptance_value")
    return replace(none_assayed, reasons=(message("tests.route_closed", form=asked.form, value=value),))


def _of_the_mean(units: Sequence[Measured], *, percent: Fraction) -> list[Measured]:
    """Each value over their mean, times the percentage that the mean stands for [%]."""
    average = mean([unit.value for unit in units])
    return [Measured(unit=unit.unit, value=unit.value * percent / average) for unit in units]


def _staged(
    batch: Batch,
    found: Sequence[Found],
    value_of: Callable[[Found], Fraction | None],
    *,
    less: Collection[str],
    rule: ContentRule | DosageUnitRule,
) -> Stages:
    laid = [(one, value) for one in found if (value := value_of(one)) is not None]
    measured = [Measured(unit=one.unit, value=value) for one, value in laid]
    return shared_out(batch, measured, marked=[one.stage for one, _ in laid], rule=rule, less=less)


def _left_out_and_assayed(batch: Batch, found: Sequence[Found]) -> list[str]:
    left_out = {unit.name for unit in batch.units if unit.left_out_because}
    return [content.unit for content in found if content.unit in left_out]


def _nothing_assayed(asked: AskedTest[ContentRule] | AskedTest[DosageUnitRule]) -> TestResult:
    return asked.not_assessed(
        missing=message("advice.contents", number=asked.rule.first_size, mass_route=""),
        reason=message("tests.nothing_assayed", active=None if asked.active is None else asked.active.name),
    )
