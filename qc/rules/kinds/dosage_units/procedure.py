"""Harmonised uniformity of dosage units: the acceptance value against its limits, in one stage or two."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from decimal import Decimal
from fractions import Fraction
from typing import Any

from msgspec.structs import replace

from qc.quantities import mean
from qc.results import Limit, Message, TestResult, Verdict, message
from qc.rules import looks
from qc.rules.kinds.dosage_units.acceptance_value import AcceptanceValue, acceptance_value, beside_l1, figures_of_value
from qc.rules.kinds.dosage_units.record import DosageUnitRule, Route
from qc.rules.measured import Measured, Stages
from qc.stats.second_stage import can_be_passed

ToPercent = Callable[[Sequence[Measured]], list[Measured]]
"""Turns the units of one look into contents in % of label; by mass variation they depend on the mean of that look."""


def stage_cases(
    *, stage: int, together: bool, n: Any, met: Any, outside: Any, hidden: Any, rule: Any, clearable: Any = True
) -> looks.Cases:
    """What a stage of a dosage-unit test comes to, in the order in which the rule decides.

    Parameters
    ----------
    stage : int
        The first stage, or 2 for the units of both stages.
    together : bool
        Whether nobody said which of the units of both stages came first.
    n : int or Expression
        Units of the stage.
    met : bool or Expression
        Whether the acceptance value is at most L1.
    outside, hidden : number or Expression
        Units of the stage, and others measured, that lie outside L2 [units].
    rule : DosageUnitRule or namespace of Expression
        Its sizes.
    clearable : bool or Expression
        Whether a second stage could still be passed.
    """
    if stage == 2:
        of_all = (
            (met & (outside < 1) & (hidden < 1), Verdict.COMPLIES),
            (True, Verdict.DOES_NOT_COMPLY),
        )
        return ((n < rule.first_size + rule.second_size, Verdict.TOO_FEW_UNITS), *of_all) if together else of_all
    return (
        (n < rule.first_size, Verdict.TOO_FEW_UNITS),
        (met & (hidden > 0), Verdict.DOES_NOT_COMPLY),
        (met, Verdict.COMPLIES),
        (clearable, Verdict.SECOND_STAGE),
        (True, Verdict.DOES_NOT_COMPLY),
    )


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
    if not stages.first:
        return looks.not_begun(stages, rule=rule, active=active)
    together = stages.together
    asked = rule.first_size + (rule.second_size if together else 0)
    if len(stages.first) < asked:
        return _too_few(stages, asked=asked, to_percent=to_percent, rule=rule, active=active, target=target_percent)

    every = to_percent((*stages.pooled, *stages.others))

    def value_of(
        units: Sequence[Measured], stage: int, whole: looks.Look | None = None
    ) -> tuple[AcceptanceValue, looks.Look, dict[str, Limit]]:
        k = rule.first_k if stage == 1 else rule.second_k
        av = acceptance_value(to_percent(units), stage=stage, k=k, target_percent=target_percent, rule=rule)
        look = looks.look_at(av.units, others=every[len(units) :], centre=av.reference_percent, stage=stage)
        return av, look, _limits(av, look, rule=rule, whole=whole)

    missing = rule.second_size - len(stages.second)
    whole = value_of(stages.pooled, 2) if rule.second_size and missing <= 0 and not together else None
    pooled = {} if whole is None else whole[2]
    av, look, limits = value_of(stages.first, 2 if together else 1, None if whole is None else whole[1])
    first = limits
    # By mass variation the contents known change with the masses to come, so nothing is certain before they are there.
    decided = together or limits["acceptance_value"].met or missing <= 0 or route is Route.MASS
    never = not (decided or _clearable(stages, target=target_percent, rule=rule))
    verdict = looks.first_that_holds(
        stage_cases(together=together, clearable=not never, rule=rule, **_found(look, limits))
    )
    if verdict is Verdict.SECOND_STAGE and whole is not None:
        av, look, limits = whole
        verdict = looks.first_that_holds(stage_cases(together=together, rule=rule, **_found(look, limits)))
    if verdict is Verdict.SECOND_STAGE:
        limits = {**limits, "acceptance_value": replace(limits["acceptance_value"], met=None)}
    if never:
        limits |= _never_inside(stages, look, target=target_percent, rule=rule)
    return looks.written_down(
        look,
        rule=rule,
        active=active,
        verdict=verdict,
        reasons=_reasons(verdict, first, pooled, limits, missing=missing, never=never),
        opening=(
            message("tests.found_by", by_mass=route is Route.MASS),
            *([message("tests.together", n=look.n)] if together else []),
        ),
        remarks=stages.remarks,
        limits=limits.values(),
        figures=figures_of_value(look, av, target=target_percent, rule=rule),
        outside=look.outside(inner=rule.l2_percent, outer=rule.l2_percent),
        working=_working(av, target=target_percent, rule=rule),
        more_units=missing if verdict is Verdict.SECOND_STAGE else 0,
    )


def _too_few(
    stages: Stages, *, asked: int, to_percent: ToPercent, rule: DosageUnitRule, active: str, target: Decimal
) -> TestResult:
    units = to_percent(stages.first)
    look = looks.look_at(units, centre=mean([unit.value for unit in units]), stage=2 if stages.together else 1)
    return looks.written_down(
        look,
        rule=rule,
        active=active,
        verdict=Verdict.TOO_FEW_UNITS,
        figures=figures_of_value(look, None, target=target, rule=rule),
        reasons=[message("tests.no_constant", asked=asked, n=look.n)],
        remarks=stages.remarks,
        limits=[Limit(what="units_assayed", figure=look.n, bound=asked, unit="units")],
        working=[message("working.mean", n=look.n, mean=look.mean, unit="% of label")],
        more_units=asked - look.n,
    )


def _limits(
    av: AcceptanceValue, look: looks.Look, *, rule: DosageUnitRule, whole: looks.Look | None = None
) -> dict[str, Limit]:
    """The acceptance value and the counts of single units beside their bounds, by what is compared.

    Where the units of both stages were assayed (`whole`), those beside the first are laid against its M at each stage.
    """
    value, last, percent = beside_l1(av, rule=rule), av.stage == 2, rule.l2_percent

    def count(what: str, names: Sequence[str], *, of: int, allowed: int | None, decides: bool) -> Limit:
        within = not names if decides else None
        return looks.count_limit(
            what, names, of=of, allowed=allowed, met=within, percent=percent, centre="M", as_range=True
        )

    limits = [
        value,
        count("outside_l2", look.beyond(percent), of=look.n, allowed=0 if last else None, decides=last),
    ]
    if look.others:
        # Before the second stage what lies outside the range of single units fails only a sample that would pass.
        hidden = (whole or look).beside(look.n, percent)
        of = len(look.others)
        limits.append(count("others_beyond", hidden, of=of, allowed=0, decides=bool(value.met) or last))
    return {limit.what: limit for limit in limits}


def _found(look: looks.Look, limits: Mapping[str, Limit]) -> dict[str, Any]:
    """What the cases of the decision ask for."""
    found = {"stage": look.stage, "n": look.n, "met": limits["acceptance_value"].met}
    return found | looks.figures_of(limits, outside="outside_l2", hidden="others_beyond")


_HOPELESS = "beyond_every_reference"


def _clearable(stages: Stages, *, target: Decimal, rule: DosageUnitRule) -> bool:
    """Whether further units can still bring those known through the second stage."""
    low, high = rule.reference_ends(target)
    return can_be_passed(
        [unit.value for unit in stages.pooled],
        beside=[unit.value for unit in stages.others],
        whole=rule.first_size + rule.second_size,
        reference=(Fraction(low), Fraction(high)),
        limit=Fraction(rule.l1_below),
        share=Fraction(rule.l2_percent) / 100,
        k=Fraction(rule.second_k),
    )


def _never_inside(stages: Stages, look: looks.Look, *, target: Decimal, rule: DosageUnitRule) -> dict[str, Limit]:
    """The units that lie outside L2 whatever M comes to, where they are what no second stage can clear.

    `now` counts those that lie outside it by the M of the units known.
    """
    share, (low, high) = rule.l2_percent / 100, rule.reference_ends(target)
    least, most = Fraction(low * (1 - share)), Fraction(high * (1 + share))
    every = (*stages.pooled, *stages.others)
    names = [unit.unit for unit in every if not least <= unit.value <= most]
    now = len(look.beyond(rule.l2_percent)) + len(look.beside(look.n, rule.l2_percent))
    about = {"percent": rule.l2_percent, "centre": "M", "as_range": True, "reference": (low, high)}
    about |= {"ends": (low * (1 - share), high * (1 + share))}
    found = looks.count_limit(_HOPELESS, names, of=len(every), allowed=0, met=False, now=now, **about)
    return {_HOPELESS: found} if names else {}


def _reasons(
    verdict: Verdict,
    first: Mapping[str, Limit],
    pooled: Mapping[str, Limit],
    limits: Mapping[str, Limit],
    *,
    missing: int,
    never: bool,
) -> list[Message]:
    value = message("tests.acceptance_value", limit=first["acceptance_value"])
    if verdict is Verdict.SECOND_STAGE:
        return [message("tests.acceptance_value", limit=first["acceptance_value"], missing=missing)]
    if never:
        l1 = first["acceptance_value"].bound
        inside = message("tests.never_inside", limit=limits[_HOPELESS]) if _HOPELESS in limits else None
        return [value, inside or message("tests.never_cleared", left=missing, l1=l1)]
    failed = [
        message("tests.exceeded", limit=limits[what])
        for what in ("outside_l2", "others_beyond")
        if what in limits and limits[what].met is False
    ]
    if first["acceptance_value"].met:
        would_fail = pooled and pooled["acceptance_value"].met is False and not failed
        after = [message("tests.pooled_would_fail", limit=pooled["acceptance_value"])] if would_fail else failed
        return [value, *after]
    if limits is first:
        return [value, *failed]
    of_all = limits["acceptance_value"]
    return [
        message("tests.at_first_stage", reason=value),
        message("tests.of_all", reason=message("tests.acceptance_value", limit=of_all), n=of_all.values["n"]),
        *failed,
    ]


def _working(av: AcceptanceValue, *, target: Decimal, rule: DosageUnitRule) -> list[Message]:
    n = len(av.units)
    return [
        *(
            message("working.content", name=unit.unit, value=unit.value, difference=unit.value - av.mean_percent)
            for unit in av.units
        ),
        message("working.mean", n=n, mean=av.mean_percent, unit="% of label"),
        message("working.spread", n=n, variance=av.variance, unit="% of label"),
        message(
            "working.reference",
            value=av.reference_percent,
            mean=av.mean_percent,
            target=target,
            ends=rule.reference_ends(target),
        ),
        message(
            "working.acceptance_value",
            reference=av.reference_percent,
            mean=av.mean_percent,
            k=av.k,
            variance=av.variance,
            value=av.value,
            rounded=av.rounded(rule.rounding_decimals),
        ),
        message("working.ends", percent=rule.l2_percent, value=av.reference_percent, unit="% of label", centre="M"),
    ]
