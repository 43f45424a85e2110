"""Uniformity of content: contents of single units about the sample's own mean, in one stage or two."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from fractions import Fraction
from typing import Any

from msgspec.structs import replace

from qc.contents import Scale
from qc.quantities import mean
from qc.results import Limit, Message, TestResult, Verdict, message
from qc.rules import looks
from qc.rules.kinds.content.record import ContentRule
from qc.rules.measured import Measured, Stages

_ABOUT_MEAN = {"centre": "mean", "as_range": True}


def stage_cases(
    *,
    stage: int,
    together: bool,
    n: Any,
    beyond: Any,
    farther: Any,
    hidden: Any,
    mean_out: Any,
    nothing_found: Any,
    rule: Any,
) -> looks.Cases:
    """What a stage of a content test comes to, in the order in which the rule decides.

    Parameters
    ----------
    stage : int
        The first stage, or 2 for the units of both stages.
    together : bool
        Whether nobody said which of the units of both stages came first.
    n, beyond, farther, hidden : number or Expression
        Units of the stage, those of them outside the inner and the outer limits, and others outside the outer ones [-].
    mean_out : bool or Expression
        Whether the mean lies outside its bounds.
    nothing_found : bool or Expression
        Whether the mean is zero, about which no unit lies outside.
    rule : ContentRule or namespace of Expression
        Its sizes and counts.
    """
    size = rule.first_size + rule.second_size if together else rule.first_size
    begun = ((nothing_found, Verdict.DOES_NOT_COMPLY), (n < size, Verdict.TOO_FEW_UNITS))
    if stage == 2:
        return (
            *(begun if together else ()),
            (mean_out, Verdict.DOES_NOT_COMPLY),
            ((farther > 0) | (hidden > 0) | (beyond > rule.second_passes_with), Verdict.DOES_NOT_COMPLY),
            (True, Verdict.COMPLIES),
        )
    return (
        *begun,
        (farther > 0, Verdict.DOES_NOT_COMPLY),
        (mean_out, Verdict.DOES_NOT_COMPLY),
        (beyond > rule.continues_with, Verdict.DOES_NOT_COMPLY),
        (beyond > rule.passes_with, Verdict.SECOND_STAGE),
        (hidden > 0, Verdict.DOES_NOT_COMPLY),
        (True, Verdict.COMPLIES),
    )


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
    if not stages.first:
        return looks.not_begun(stages, rule=rule, active=active)
    together = stages.together
    wanted = rule.first_size + (rule.second_size if together else 0)
    look = _look(stages.first, others=(*stages.second, *stages.others), stage=2 if together else 1)
    missing, whole = rule.second_size - len(stages.second), None
    if rule.second_size and missing <= 0:
        whole = _look(stages.pooled, others=stages.others, stage=2)
    first = limits = _limits(look, rule=rule, scale=scale, whole=whole)
    verdict = looks.first_that_holds(stage_cases(together=together, rule=rule, **_found(look, first)))
    pooled = limits if together else {}
    if whole is not None:
        pooled = _limits(whole, rule=rule, scale=scale)
    if verdict is Verdict.SECOND_STAGE and whole is not None:
        look, limits = whole, pooled
        verdict = looks.first_that_holds(stage_cases(together=together, rule=rule, **_found(look, limits)))
    elif verdict is Verdict.SECOND_STAGE:
        limits = {**first, "beyond_inner": replace(first["beyond_inner"], met=None)}
    return looks.written_down(
        look,
        rule=rule,
        active=active,
        verdict=verdict,
        reasons=_reasons(verdict, first, pooled, stage=1 if together else look.stage, missing=missing),
        opening=[message("tests.together", n=look.n)] if together else (),
        remarks=stages.remarks,
        limits=limits.values(),
        figures=_figures(look, rule=rule, scale=scale),
        outside=look.outside(inner=rule.inner_percent, outer=rule.outer_percent),
        working=[
            message("working.mean", n=look.n, mean=look.centre, unit=scale.unit),
            *looks.limits_and_units(look, (rule.inner_percent, rule.outer_percent), unit=scale.unit, centre="mean"),
        ],
        more_units={
            Verdict.TOO_FEW_UNITS: wanted - look.n,
            Verdict.SECOND_STAGE: missing,
        }.get(verdict, 0),
    )


def _look(units: Sequence[Measured], *, others: Sequence[Measured], stage: int) -> looks.Look:
    return looks.look_at(units, others=others, centre=mean([unit.value for unit in units]), stage=stage)


def _found(look: looks.Look, limits: Mapping[str, Limit]) -> dict[str, Any]:
    """What the cases of a decision ask for."""
    mean_out = "mean_of_label" in limits and limits["mean_of_label"].met is False
    found = {"stage": look.stage, "n": look.n, "nothing_found": look.centre == 0, "mean_out": mean_out}
    return found | looks.figures_of(limits, beyond="beyond_inner", farther="beyond_outer", hidden="others_beyond")


def _limits(look: looks.Look, *, rule: ContentRule, scale: Scale, whole: looks.Look | None = None) -> dict[str, Limit]:
    """Every figure of one stage beside its bound, by what is compared; open where there are too few units.

    Where the units of both stages were assayed (`whole`), those beside the first are laid about the mean of all at each
    stage: about that of the first ten they could fail the one and pass the other, and a tighter limit let them pass.
    """
    wanted = rule.first_size if look.stage == 1 else rule.first_size + rule.second_size
    enough = look.n >= wanted

    def count(what: str, names: Sequence[str], percent: Decimal, *, allowed: int = 0, **more: object) -> Limit:
        met = len(names) <= allowed if enough else None
        of = len(look.others) if what == "others_beyond" else look.n
        return looks.count_limit(what, names, of=of, allowed=allowed, met=met, percent=percent, **_ABOUT_MEAN, **more)

    limits = [Limit(what="units_assayed", figure=look.n, bound=wanted, met=True if enough else None, unit="units")]
    if look.centre == 0:
        # About a mean of zero no unit lies outside, and yet the sample fails.
        limits.append(Limit(what="mean_content", figure=look.centre, bound=look.centre, met=False, unit=scale.unit))
    if rule.inner_applies:
        allowed = rule.passes_with if look.stage == 1 else rule.second_passes_with
        continues = rule.continues_with if look.stage == 1 and rule.second_size else None
        inside = look.beyond(rule.inner_percent)
        limits.append(count("beyond_inner", inside, rule.inner_percent, allowed=allowed, continues=continues))
    limits.append(count("beyond_outer", look.beyond(rule.outer_percent), rule.outer_percent))
    if look.others:
        limits.append(count("others_beyond", (whole or look).beside(look.n, rule.outer_percent), rule.outer_percent))
    low, high = rule.mean_low_percent, rule.mean_high_percent
    if low is not None or high is not None:
        percent = None if scale.label is None else look.centre / scale.label * 100
        # A bound on the mean in % of label is not met where no label claim is known.
        met = (
            percent is not None
            and (low is None or percent >= Fraction(low))
            and (high is None or percent <= Fraction(high))
        )
        limits.append(
            Limit(what="mean_of_label", figure=percent, bound=(low, high), met=met if enough else None, unit="%")
        )
    return {limit.what: limit for limit in limits}


def _reasons(
    verdict: Verdict, first: Mapping[str, Limit], pooled: Mapping[str, Limit], *, stage: int, missing: int
) -> list[Message]:
    limits = first if stage == 1 else pooled
    inner, outer = limits.get("beyond_inner"), limits["beyond_outer"]
    if verdict is Verdict.TOO_FEW_UNITS:
        return [message("tests.too_few_assayed", limit=first["units_assayed"], inner=inner, outer=outer)]
    if verdict is Verdict.SECOND_STAGE:
        return [message("tests.second_stage_due", limit=inner, missing=missing)]
    reasons = [] if stage == 1 else [message("tests.first_stage_not_passed", limit=first["beyond_inner"])]
    if verdict is Verdict.COMPLIES:
        reasons.append(message("tests.within", inner=inner, outer=outer))
        if stage == 1 and "beyond_inner" in pooled and pooled["beyond_inner"].met is False:
            reasons.append(message("tests.pooled_would_fail", limit=pooled["beyond_inner"]))
        return reasons
    order = (limits.get("mean_content"), outer, limits.get("mean_of_label"), inner, limits.get("others_beyond"))
    failed = [one for one in order if one is not None and one.met is False]
    return [*reasons, message("tests.exceeded", limit=failed[0])]


def _figures(look: looks.Look, *, rule: ContentRule, scale: Scale) -> dict[str, float | int | None]:
    figures: dict[str, float | int | None] = {}
    if scale.unit == "mg":
        figures["mean_mg"] = float(look.centre)
        figures["sd_mg"] = look.spread()
    if scale.label is not None:
        figures["mean_percent"] = float(look.centre / scale.label * 100)
        figures["sd_percent"] = look.spread(per=scale.label / 100)
    return figures | {
        "rsd_percent": look.spread(per=look.centre / 100),
        "inner_percent": float(rule.inner_percent),
        "outer_percent": float(rule.outer_percent),
        "beyond_inner": len(look.beyond(rule.inner_percent)),
        "beyond_outer": len(look.beyond(rule.outer_percent)),
        "stage": look.stage,
    }
