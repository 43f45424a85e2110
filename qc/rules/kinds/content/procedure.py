"""Uniformity of content about the sample's own mean, in one stage or two."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction

from msgspec import Struct

from qc.contents import Scale
from qc.quantities import deviation_percent, mean, sample_variance, square_root
from qc.results import Criterion, Outside, TestResult, Verdict
from qc.rules.closing import count_line, therefore_line
from qc.rules.display import MINUS, at_most, counted, listed, plain, shown, signed
from qc.rules.first_stage import without_first_stage
from qc.rules.kinds.content.record import ContentRule
from qc.rules.measured import Measured, Stages

TEST = "content-uniformity"


class _Look(Struct, frozen=True, kw_only=True):
    """The units of one stage laid against the limits about their own mean."""

    stage: int
    units: tuple[Measured, ...]
    centre: Fraction
    beyond_inner: tuple[str, ...]
    beyond_outer: tuple[str, ...]
    hidden: tuple[str, ...]
    """Units assayed beyond the sample that lie outside the outer limits."""


def judge_contents(stages: Stages, *, rule: ContentRule, active: str, scale: Scale) -> TestResult:
    """Judge the contents of single units by a content-uniformity rule.

    Parameters
    ----------
    stages : Stages
        Contents of whole units [mg] or [% of label], shared out over the stages.
    rule : ContentRule
    active : str
    scale : Scale

    Returns
    -------
    TestResult
        `figures`: mean_mg and/or mean_percent (of label), sd_mg or sd_percent, rsd_percent, inner_percent,
        outer_percent, beyond_inner, beyond_outer, stage.
    """
    first = _look(stages, rule=rule, stage=1)
    if first is None:
        return without_first_stage(
            stages, test=TEST, rule_id=rule.id, active=active, first_size=rule.first_size, second_size=rule.second_size
        )
    look, verdict, reasons = _decide(first, stages, rule=rule, scale=scale)
    pooled = (*stages.first, *stages.second) if verdict is Verdict.SECOND_STAGE else look.units
    return TestResult(
        id=TEST,
        rule=rule.id,
        active=active,
        verdict=verdict,
        n=len(look.units),
        figures=_figures(look, rule=rule, scale=scale),
        outside=_outside(look, stages, rule=rule),
        reasons=(*reasons, *stages.remarks),
        criteria=_criteria(look, verdict=verdict, rule=rule, scale=scale),
        sample=tuple(unit.unit for unit in look.units),
        more_units=_more_units(verdict, measured=len(pooled), rule=rule),
        working=(
            *_working(look, rule=rule, scale=scale),
            *_closing(look, stages, rule=rule),
            therefore_line(verdict, reasons=reasons),
        ),
    )


def _look(stages: Stages, *, rule: ContentRule, stage: int) -> _Look | None:
    units = stages.first if stage == 1 else (*stages.first, *stages.second)
    if not units:
        return None
    centre = mean([unit.value for unit in units])
    if centre == 0:
        return _Look(stage=stage, units=units, centre=centre, beyond_inner=(), beyond_outer=(), hidden=())
    rest = (*stages.second, *stages.others) if stage == 1 else stages.others
    return _Look(
        stage=stage,
        units=units,
        centre=centre,
        beyond_inner=_beyond(units, centre=centre, limit=rule.inner_percent),
        beyond_outer=_beyond(units, centre=centre, limit=rule.outer_percent),
        hidden=_beyond(rest, centre=centre, limit=rule.outer_percent),
    )


def _beyond(units: Sequence[Measured], *, centre: Fraction, limit: Decimal) -> tuple[str, ...]:
    return tuple(unit.unit for unit in units if abs(deviation_percent(unit.value, centre=centre)) > Fraction(limit))


def _decide(first: _Look, stages: Stages, *, rule: ContentRule, scale: Scale) -> tuple[_Look, Verdict, tuple[str, ...]]:
    """The look that decides, its verdict, and why."""
    outer = _range(rule.outer_percent)
    if first.centre == 0:
        return first, Verdict.DOES_NOT_COMPLY, ("No active was found in the sample.",)
    if len(first.units) < rule.first_size:
        so_far = f"{counted(len(first.beyond_inner), 'unit')} outside {_range(rule.inner_percent)} %"
        reason = (
            f"The rule asks for {rule.first_size} units; {len(first.units)} were assayed, so the test cannot be passed "
            f"yet. So far {so_far} of their mean, {len(first.beyond_outer)} outside {outer} %."
        )
        return first, Verdict.TOO_FEW_UNITS, (reason,)
    if first.beyond_outer:
        return first, Verdict.DOES_NOT_COMPLY, (_outer_reason(first.beyond_outer, outer=outer),)
    mean_reason = _mean_outside(first, rule=rule, scale=scale)
    if mean_reason:
        return first, Verdict.DOES_NOT_COMPLY, (mean_reason,)
    if rule.inner_applies and len(first.beyond_inner) > rule.continues_with:
        return (
            first,
            Verdict.DOES_NOT_COMPLY,
            (
                f"{counted(len(first.beyond_inner), 'unit')} of {len(first.units)} "
                f"({listed(first.beyond_inner)}) outside {_range(rule.inner_percent)} % of the mean; "
                f"more than {rule.continues_with} end the test at the first stage.",
            ),
        )
    if rule.inner_applies and len(first.beyond_inner) > rule.passes_with:
        return _decide_second(first, stages, rule=rule)
    if first.hidden:
        return first, Verdict.DOES_NOT_COMPLY, (_hidden_reason(first.hidden, outer=outer),)
    return first, Verdict.COMPLIES, _passed(first, stages, rule=rule)


def _decide_second(first: _Look, stages: Stages, *, rule: ContentRule) -> tuple[_Look, Verdict, tuple[str, ...]]:
    inner, outer = _range(rule.inner_percent), _range(rule.outer_percent)
    opening = (
        f"{counted(len(first.beyond_inner), 'unit')} of {len(first.units)} ({listed(first.beyond_inner)}) outside "
        f"{inner} % of the mean: the first stage allows {at_most(rule.passes_with)}"
    )
    missing = rule.second_size - len(stages.second)
    if missing > 0:
        return first, Verdict.SECOND_STAGE, (f"{opening}; {missing} more units decide.",)
    pooled = _look(stages, rule=rule, stage=2)
    assert pooled is not None
    if pooled.beyond_outer:
        return pooled, Verdict.DOES_NOT_COMPLY, (_outer_reason(pooled.beyond_outer, outer=outer),)
    if pooled.hidden:
        return pooled, Verdict.DOES_NOT_COMPLY, (_hidden_reason(pooled.hidden, outer=outer),)
    closing = (
        f"{counted(len(pooled.beyond_inner), 'unit')} of all {len(pooled.units)} outside {inner} % of their mean "
        f"({at_most(rule.second_passes_with)} allowed), {counted(len(pooled.beyond_outer), 'unit')} outside {outer} %."
    )
    passed = len(pooled.beyond_inner) <= rule.second_passes_with
    return pooled, Verdict.COMPLIES if passed else Verdict.DOES_NOT_COMPLY, (f"{opening}.", closing)


def _passed(first: _Look, stages: Stages, *, rule: ContentRule) -> tuple[str, ...]:
    inner, outer = _range(rule.inner_percent), _range(rule.outer_percent)
    if not rule.inner_applies:
        reasons = [f"All {len(first.units)} units within {outer} % of the mean."]
    else:
        reasons = [
            f"{counted(len(first.beyond_inner), 'unit')} of {len(first.units)} outside {inner} % of the mean "
            f"({at_most(rule.passes_with)} allowed), none outside {outer} %."
        ]
    pooled = _look(stages, rule=rule, stage=2) if len(stages.second) == rule.second_size > 0 else None
    if pooled is not None and len(pooled.beyond_inner) > rule.second_passes_with:
        reasons.append(
            f"The first stage ends the test, yet all {len(pooled.units)} units together would not meet the second "
            f"stage: {len(pooled.beyond_inner)} outside {inner} % of their mean."
        )
    return tuple(reasons)


def _mean_outside(look: _Look, *, rule: ContentRule, scale: Scale) -> str:
    if rule.mean_low_percent is None or rule.mean_high_percent is None:
        return ""
    if scale.label is None:
        return "The rule bounds the mean in % of label, and no label claim is given."
    percent = look.centre / scale.label * 100
    if Fraction(rule.mean_low_percent) <= percent <= Fraction(rule.mean_high_percent):
        return ""
    return (
        f"The mean is {shown(percent, decimals=2)} % of label, outside {plain(rule.mean_low_percent)} to "
        f"{plain(rule.mean_high_percent)} %."
    )


def _outer_reason(names: Sequence[str], *, outer: str) -> str:
    units = f"Unit {names[0]} lies" if len(names) == 1 else f"Units {listed(names)} lie"
    return f"{units} outside {outer} % of the mean; the rule allows none."


def _hidden_reason(names: Sequence[str], *, outer: str) -> str:
    units = f"Unit {names[0]} lies" if len(names) == 1 else f"Units {listed(names)} lie"
    return (
        f"{units} outside {outer} % of the mean of the sample, although assayed beyond it; a unit known to be outside "
        "the outer limits is not hidden."
    )


def _range(limit: Decimal) -> str:
    return f"{plain(100 - limit)} to {plain(100 + limit)}"


def _more_units(verdict: Verdict, *, measured: int, rule: ContentRule) -> int:
    if verdict is Verdict.TOO_FEW_UNITS:
        return rule.first_size - measured
    if verdict is Verdict.SECOND_STAGE:
        return rule.first_size + rule.second_size - measured
    return 0


def _figures(look: _Look, *, rule: ContentRule, scale: Scale) -> dict[str, float | int | None]:
    values = [unit.value for unit in look.units]
    variance = sample_variance(values) if len(values) > 1 else None
    figures: dict[str, float | int | None] = {}
    if scale.unit == "mg":
        figures["mean_mg"] = float(look.centre)
        figures["sd_mg"] = None if variance is None else square_root(variance)
    if scale.label is not None:
        figures["mean_percent"] = float(look.centre / scale.label * 100)
        figures["sd_percent"] = None if variance is None else square_root(variance / scale.label**2 * 10000)
    relative = None if variance is None or look.centre == 0 else square_root(variance / look.centre**2 * 10000)
    return figures | {
        "rsd_percent": relative,
        "inner_percent": float(rule.inner_percent),
        "outer_percent": float(rule.outer_percent),
        "beyond_inner": len(look.beyond_inner),
        "beyond_outer": len(look.beyond_outer),
        "stage": look.stage,
    }


def _outside(look: _Look, stages: Stages, *, rule: ContentRule) -> tuple[Outside, ...]:
    if look.centre == 0:
        return ()
    rest = (*stages.second, *stages.others) if look.stage == 1 else stages.others
    limit = rule.inner_percent if rule.inner_applies else rule.outer_percent
    laid = [(unit, True) for unit in look.units] + [(unit, False) for unit in rest]
    found = []
    for unit, in_sample in laid:
        deviation = deviation_percent(unit.value, centre=look.centre)
        if abs(deviation) > Fraction(limit):
            found.append(
                Outside(
                    unit=unit.unit,
                    deviation_percent=float(deviation),
                    in_sample=in_sample,
                    beyond_outer=abs(deviation) > Fraction(rule.outer_percent),
                )
            )
    return tuple(found)


def _criteria(look: _Look, *, verdict: Verdict, rule: ContentRule, scale: Scale) -> tuple[Criterion, ...]:
    n, wanted = len(look.units), rule.first_size if look.stage == 1 else rule.first_size + rule.second_size
    enough = n >= wanted
    allowed = rule.passes_with if look.stage == 1 else rule.second_passes_with
    inner_met: bool | None = len(look.beyond_inner) <= allowed
    if not enough or verdict is Verdict.SECOND_STAGE:
        inner_met = None
    criteria = [
        Criterion(what="units assayed", figure=str(n), limit=str(wanted), met=True if enough else None),
        Criterion(
            what=f"units outside {_range(rule.outer_percent)} % of the mean",
            figure=f"{len(look.beyond_outer)} of {n}",
            limit="none",
            met=not look.beyond_outer if enough else None,
        ),
    ]
    if rule.inner_applies:
        inner = Criterion(
            what=f"units outside {_range(rule.inner_percent)} % of the mean",
            figure=f"{len(look.beyond_inner)} of {n}",
            limit=at_most(allowed),
            met=inner_met,
        )
        criteria.insert(1, inner)
    if rule.mean_low_percent is not None and rule.mean_high_percent is not None and scale.label is not None:
        percent = look.centre / scale.label * 100
        criteria.append(
            Criterion(
                what="mean, % of label",
                figure=f"{shown(percent, decimals=2)} %",
                limit=f"{plain(rule.mean_low_percent)} to {plain(rule.mean_high_percent)} %",
                met=not _mean_outside(look, rule=rule, scale=scale) if enough else None,
            )
        )
    return tuple(criteria)


def _working(look: _Look, *, rule: ContentRule, scale: Scale) -> tuple[str, ...]:
    n = len(look.units)
    total = n * look.centre
    mean_text = shown(look.centre, decimals=4)
    lines = [f"Mean of {n} contents = {shown(total, decimals=4)} / {n} = {mean_text} {scale.unit}."]
    for percent in (rule.inner_percent, rule.outer_percent):
        share = Fraction(percent) / 100
        lines.append(
            f"{_range(percent)} % of the mean = {shown(look.centre * (1 - share), decimals=4)} to "
            f"{shown(look.centre * (1 + share), decimals=4)} {scale.unit}."
        )
    if look.centre != 0:
        lines += [
            f"Unit {unit.unit}: ({shown(unit.value, decimals=4)} {MINUS} {mean_text}) / {mean_text} × 100 = "
            f"{signed(deviation_percent(unit.value, centre=look.centre), decimals=3)} %."
            for unit in look.units
        ]
    return tuple(lines)


def _closing(look: _Look, stages: Stages, *, rule: ContentRule) -> tuple[str, ...]:
    """Who lies outside each range, beside what the rule allows at this stage."""
    n, lines = len(look.units), []
    if rule.inner_applies:
        allowed = f"{at_most(rule.passes_with if look.stage == 1 else rule.second_passes_with)} allowed"
        if look.stage == 1 and rule.second_size:
            allowed += f", a second stage up to {rule.continues_with}"
        where = f"Outside {_range(rule.inner_percent)} % of the mean"
        lines.append(count_line(where, look.beyond_inner, of=n, allowed=allowed))
    where = f"Outside {_range(rule.outer_percent)} % of the mean"
    lines.append(count_line(where, look.beyond_outer, of=n, allowed="none allowed"))
    rest = (*stages.second, *stages.others) if look.stage == 1 else stages.others
    if rest:
        where = f"Assayed beyond the sample, outside {_range(rule.outer_percent)} % of its mean"
        lines.append(count_line(where, look.hidden, of=len(rest), allowed="none allowed"))
    return tuple(lines)
