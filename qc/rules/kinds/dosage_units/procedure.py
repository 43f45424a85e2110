"""Harmonised uniformity of dosage units: the acceptance value against its limits, in one stage or two."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from decimal import Decimal
from fractions import Fraction

from qc.quantities import deviation_percent, mean, sample_variance, square_root
from qc.results import Criterion, Outside, TestResult, Verdict
from qc.rules.closing import count_line, therefore_line
from qc.rules.display import MINUS, listed, plain, shown, signed
from qc.rules.first_stage import without_first_stage
from qc.rules.kinds.dosage_units.acceptance_value import (
    AcceptanceValue,
    acceptance_value,
    meets_l1,
    outside_l2,
    reference_value,
)
from qc.rules.kinds.dosage_units.record import DosageUnitRule, Route
from qc.rules.measured import Measured, Stages

TEST = "dosage-unit-uniformity"

ROUTE_WORDS = {
    Route.CONTENT: "assay of single units",
    Route.MASS: "mass variation: mass of the unit, times the batch assay, over the mean mass",
}

ToPercent = Callable[[Sequence[Measured]], list[Measured]]
"""Turns the units of one look into contents in % of label; by mass variation they depend on the mean of that look."""


def judge_dosage_units(
    stages: Stages, *, to_percent: ToPercent, rule: DosageUnitRule, active: str, target_percent: Decimal, route: Route
) -> TestResult:
    """Judge the contents of single units against the label by the acceptance value.

    Parameters
    ----------
    stages : Stages
        Measured units, shared out over the stages.
    to_percent : callable
        From the measured units of a look to contents [% of label].
    rule : DosageUnitRule
    active : str
    target_percent : Decimal
        T, the target content at the time of manufacture [% of label].
    route : Route
        How the contents were found; repeated in the reasons.

    Returns
    -------
    TestResult
        `figures`: mean_percent, sd_percent, k, reference_percent, acceptance_value, acceptance_value_rounded, stage,
        target_percent, l1_percent, l2_percent, single_low_percent, single_high_percent.
    """
    if len(stages.first) < rule.first_size:
        return _too_few(stages, to_percent=to_percent, rule=rule, active=active, target_percent=target_percent)
    first = acceptance_value(to_percent(stages.first), stage=1, target_percent=target_percent, rule=rule)
    others = to_percent((*stages.first, *stages.second, *stages.others))[len(stages.first) :]
    look, verdict, reasons = _decide(first, stages, others, to_percent=to_percent, target=target_percent, rule=rule)
    if look.stage == 2:
        others = others[len(stages.second) :]
    due = verdict is Verdict.SECOND_STAGE
    hopeless = _never_inside(look.units, target=target_percent, rule=rule) if due else ()
    more = rule.second_size - len(stages.second) if due and not hopeless else 0
    return TestResult(
        id=TEST,
        rule=rule.id,
        active=active,
        verdict=verdict,
        n=len(look.units),
        figures=_figures(look, target=target_percent, rule=rule),
        outside=_outside(look, others, rule=rule),
        reasons=(f"Contents found by {ROUTE_WORDS[route]}.", *reasons, *stages.remarks),
        criteria=_criteria(look, verdict=verdict, hopeless=hopeless, rule=rule),
        sample=tuple(unit.unit for unit in look.units),
        more_units=more,
        working=(
            *_working(look, target=target_percent, rule=rule),
            *_closing(look, others, rule=rule),
            therefore_line(verdict, reasons=reasons),
        ),
    )


def _too_few(
    stages: Stages, *, to_percent: ToPercent, rule: DosageUnitRule, active: str, target_percent: Decimal
) -> TestResult:
    n = len(stages.first)
    if n == 0:
        return without_first_stage(
            stages, test=TEST, rule_id=rule.id, active=active, first_size=rule.first_size, second_size=rule.second_size
        )
    values = [unit.value for unit in to_percent(stages.first)]
    centre = mean(values)
    return TestResult(
        id=TEST,
        rule=rule.id,
        active=active,
        verdict=Verdict.TOO_FEW_UNITS,
        n=n,
        figures={
            "mean_percent": float(centre),
            "sd_percent": square_root(sample_variance(values)) if n > 1 else None,
            "k": None,
            "reference_percent": float(reference_value(centre, target_percent=target_percent, rule=rule)),
            "acceptance_value": None,
            "stage": 1,
            "target_percent": float(target_percent),
            "l1_percent": float(rule.l1_percent),
        },
        reasons=(
            f"The rule asks for {rule.first_size} units; {n} were assayed. There is no acceptability constant k for "
            f"{n} units, so there is no acceptance value.",
            *stages.remarks,
        ),
        criteria=(Criterion(what="units assayed", figure=str(n), limit=str(rule.first_size), met=None),),
        sample=tuple(unit.unit for unit in stages.first),
        more_units=rule.first_size - n,
    )


def _decide(
    first: AcceptanceValue,
    stages: Stages,
    others: Sequence[Measured],
    *,
    to_percent: ToPercent,
    target: Decimal,
    rule: DosageUnitRule,
) -> tuple[AcceptanceValue, Verdict, tuple[str, ...]]:
    if meets_l1(first, rule=rule):
        hidden = outside_l2(others, reference_percent=first.reference_percent, rule=rule)
        if hidden:
            return first, Verdict.DOES_NOT_COMPLY, (_av_sentence(first, rule=rule), _hidden_sentence(hidden, rule=rule))
        return (
            first,
            Verdict.COMPLIES,
            (_av_sentence(first, rule=rule), *_pooled_remark(stages, to_percent, target, rule)),
        )
    missing = rule.second_size - len(stages.second)
    if missing > 0:
        met_or_not = _av_sentence(first, rule=rule)
        hopeless = _never_inside(first.units, target=target, rule=rule)
        if not hopeless:
            return first, Verdict.SECOND_STAGE, (f"{met_or_not} {missing} more units decide.",)
        reason = (
            f"No second stage can clear this sample: {_lies(hopeless)} more than {plain(rule.l2_percent)} % from every "
            "M the rule can give."
        )
        return first, Verdict.SECOND_STAGE, (met_or_not, reason)
    pooled = acceptance_value(to_percent((*stages.first, *stages.second)), stage=2, target_percent=target, rule=rule)
    outside = outside_l2(pooled.units, reference_percent=pooled.reference_percent, rule=rule)
    rest = to_percent((*stages.first, *stages.second, *stages.others))[len(pooled.units) :]
    hidden = outside_l2(rest, reference_percent=pooled.reference_percent, rule=rule)
    reasons = [
        f"First stage: {_av_sentence(first, rule=rule)}",
        f"All {len(pooled.units)}: {_av_sentence(pooled, rule=rule)}",
    ]
    if outside:
        reasons.append(
            f"{_lies(outside)} outside {plain(100 - rule.l2_percent)} to {plain(100 + rule.l2_percent)} % of M."
        )
    if hidden:
        reasons.append(_hidden_sentence(hidden, rule=rule))
    passed = meets_l1(pooled, rule=rule) and not outside and not hidden
    return pooled, Verdict.COMPLIES if passed else Verdict.DOES_NOT_COMPLY, tuple(reasons)


def _pooled_remark(stages: Stages, to_percent: ToPercent, target: Decimal, rule: DosageUnitRule) -> tuple[str, ...]:
    if len(stages.second) < rule.second_size:
        return ()
    pooled = acceptance_value(to_percent((*stages.first, *stages.second)), stage=2, target_percent=target, rule=rule)
    if meets_l1(pooled, rule=rule):
        return ()
    return (
        f"The first stage ends the test, yet all {len(pooled.units)} units together would not meet the second stage: "
        f"AV {shown(pooled.value, decimals=2)}.",
    )


def _never_inside(units: Sequence[Measured], *, target: Decimal, rule: DosageUnitRule) -> tuple[str, ...]:
    """Units that no M within the rule's range could bring inside L2."""
    share = Fraction(rule.l2_percent) / 100
    lowest = Fraction(rule.reference_low_percent) * (1 - share)
    highest = max(Fraction(rule.reference_high_percent), Fraction(target)) * (1 + share)
    return tuple(unit.unit for unit in units if not lowest <= unit.value <= highest)


def _av_sentence(av: AcceptanceValue, *, rule: DosageUnitRule) -> str:
    met = meets_l1(av, rule=rule)
    text = (
        f"AV {_shown_value(av, rule=rule)} against L1 = {plain(rule.l1_percent)} "
        f"({len(av.units)} units, mean {shown(av.mean_percent, decimals=2)} %, k = {plain(av.k)}): "
        f"{'met' if met else 'not met'}."
    )
    if met != av.at_most(Fraction(rule.l1_percent)):
        text += (
            f" Unrounded it is above L1; rounded to {rule.rounding_decimals} decimal, as the rule states, it is "
            f"{av.rounded(rule.rounding_decimals)}."
        )
    return text


def _shown_value(av: AcceptanceValue, *, rule: DosageUnitRule) -> str:
    """Rounded once, as the rule states and compares it, and the unrounded figure in brackets."""
    return f"{av.rounded(rule.rounding_decimals):f} ({shown(av.value, decimals=rule.rounding_decimals + 2)})"


def _hidden_sentence(names: Sequence[str], *, rule: DosageUnitRule) -> str:
    return (
        f"{_lies(names)} outside {plain(100 - rule.l2_percent)} to {plain(100 + rule.l2_percent)} % of M, although "
        "assayed beyond the sample; a unit known to be outside the outer limits is not hidden."
    )


def _lies(names: Sequence[str]) -> str:
    return f"Unit {names[0]} lies" if len(names) == 1 else f"Units {listed(names)} lie"


def _figures(av: AcceptanceValue, *, target: Decimal, rule: DosageUnitRule) -> dict[str, float | int | None]:
    share = Fraction(rule.l2_percent) / 100
    return {
        "mean_percent": float(av.mean_percent),
        "sd_percent": square_root(av.variance),
        "k": float(av.k),
        "reference_percent": float(av.reference_percent),
        "acceptance_value": av.value,
        "acceptance_value_rounded": float(av.rounded(rule.rounding_decimals)),
        "stage": av.stage,
        "target_percent": float(target),
        "l1_percent": float(rule.l1_percent),
        "l2_percent": float(rule.l2_percent),
        "single_low_percent": float(av.reference_percent * (1 - share)),
        "single_high_percent": float(av.reference_percent * (1 + share)),
    }


def _outside(av: AcceptanceValue, others: Sequence[Measured], *, rule: DosageUnitRule) -> tuple[Outside, ...]:
    beyond = set(outside_l2((*av.units, *others), reference_percent=av.reference_percent, rule=rule))
    return tuple(
        Outside(
            unit=unit.unit,
            deviation_percent=float(deviation_percent(unit.value, centre=av.reference_percent)),
            in_sample=place < len(av.units),
            beyond_outer=True,
        )
        for place, unit in enumerate((*av.units, *others))
        if unit.unit in beyond
    )


def _criteria(
    av: AcceptanceValue, *, verdict: Verdict, hopeless: Sequence[str], rule: DosageUnitRule
) -> tuple[Criterion, ...]:
    beyond = outside_l2(av.units, reference_percent=av.reference_percent, rule=rule)
    met = meets_l1(av, rule=rule)
    singles = f"{plain(100 - rule.l2_percent)} to {plain(100 + rule.l2_percent)} % of M"
    return (
        Criterion(
            what=f"acceptance value AV, {len(av.units)} units",
            figure=_shown_value(av, rule=rule),
            limit=f"at most {plain(rule.l1_percent)}",
            met=None if verdict is Verdict.SECOND_STAGE and not hopeless else met,
        ),
        Criterion(
            what=f"units outside {singles}",
            figure=f"{len(beyond)} of {len(av.units)}",
            limit="none" if av.stage == 2 else "at stage 2",
            met=not beyond if av.stage == 2 else None,
        ),
        *_beyond_every_reference(av, hopeless),
    )


def _beyond_every_reference(av: AcceptanceValue, names: Sequence[str]) -> tuple[Criterion, ...]:
    """The line that says why a second stage cannot clear a sample."""
    if not names:
        return ()
    figure = f"{len(names)} of {len(av.units)} ({'unit' if len(names) == 1 else 'units'} {listed(names)})"
    return (Criterion(what="units that no M brings inside", figure=figure, limit="none", met=False),)


def _working(av: AcceptanceValue, *, target: Decimal, rule: DosageUnitRule) -> tuple[str, ...]:
    n = len(av.units)
    centre, total = shown(av.mean_percent, decimals=4), n * av.mean_percent
    squares = (n - 1) * av.variance
    low, high = plain(rule.reference_low_percent), plain(max(rule.reference_high_percent, target))
    sd = shown(square_root(av.variance), decimals=4)
    reference = shown(av.reference_percent, decimals=4)
    if av.reference_percent == av.mean_percent:
        choice = f"the mean lies from {low} to {high}, so M = mean"
    else:
        choice = f"the mean lies {'below' if av.mean_percent < av.reference_percent else 'above'} {low} to {high}"
    lines = [
        f"Unit {unit.unit}: content {shown(unit.value, decimals=3)} % of label, "
        f"{signed(unit.value - av.mean_percent, decimals=3)} points of label from the mean."
        for unit in av.units
    ]
    return (
        *lines,
        f"Mean = {shown(total, decimals=3)} / {n} = {centre} % of label.",
        f"s = √({shown(squares, decimals=4)} / ({n} {MINUS} 1)) = {sd} % of label.",
        f"M = {reference} (T = {plain(target)}; {choice}).",
        f"AV = |M {MINUS} mean| + k s = |{reference} {MINUS} {centre}| + {plain(av.k)} × {sd} = "
        f"{shown(av.value, decimals=4)}; rounded once: "
        f"{av.rounded(rule.rounding_decimals)}; L1 = {plain(rule.l1_percent)}.",
        f"Single units: (1 ± {plain(rule.l2_percent)}/100) × M = "
        f"{shown(av.reference_percent * (1 - Fraction(rule.l2_percent) / 100), decimals=3)} to "
        f"{shown(av.reference_percent * (1 + Fraction(rule.l2_percent) / 100), decimals=3)} % of label.",
    )


def _closing(av: AcceptanceValue, others: Sequence[Measured], *, rule: DosageUnitRule) -> tuple[str, ...]:
    """The acceptance value beside its limit, and who lies outside the range of single units."""
    met = "is not above" if meets_l1(av, rule=rule) else "is above"
    single = f"{plain(100 - rule.l2_percent)} to {plain(100 + rule.l2_percent)} % of M"
    beyond = outside_l2(av.units, reference_percent=av.reference_percent, rule=rule)
    lines = [
        f"AV {av.rounded(rule.rounding_decimals)} {met} L1 = {plain(rule.l1_percent)}.",
        count_line(
            f"Outside {single}",
            beyond,
            of=len(av.units),
            allowed="none allowed" if av.stage == 2 else "counted at the second stage only",
        ),
    ]
    if others:
        hidden = outside_l2(others, reference_percent=av.reference_percent, rule=rule)
        lines.append(
            count_line(f"Assayed beyond the sample, outside {single}", hidden, of=len(others), allowed="none allowed")
        )
    return tuple(lines)
