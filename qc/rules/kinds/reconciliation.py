"""Reconciliation: what went into the batch against what came out."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction
from typing import Annotated

from qc.results import Limit, Reconciliation, TestResult, Verdict, message
from qc.rules.kind import Kind
from qc.rules.records import Rule
from qc.rules.schema import About

_NONE_SET = "none; a house rule can set one"


class ReconciliationRule(Rule, frozen=True, kw_only=True):
    """What went into the batch against what came out; every limit is the house's own [%]."""

    yield_low_percent: Annotated[
        Decimal | None, About("yield, at least", "%", _NONE_SET, tighter="more", not_above="yield_high_percent")
    ] = None
    yield_high_percent: Annotated[Decimal | None, About("yield, at most", "%", _NONE_SET, tighter="less")] = None
    unaccounted_percent: Annotated[
        Decimal | None, About("melt not accounted for, at most", "%", _NONE_SET, tighter="less")
    ] = None
    recovery_low_percent: Annotated[
        Decimal | None,
        About("active found, at least", "%", _NONE_SET, tighter="more", not_above="recovery_high_percent"),
    ] = None
    recovery_high_percent: Annotated[Decimal | None, About("active found, at most", "%", _NONE_SET, tighter="less")] = (
        None
    )


KIND = Kind(record=ReconciliationRule, tests=("reconciliation",), place=10, of_units=False)


def judge_reconciliation(
    found: Reconciliation | None,
    *,
    rule: ReconciliationRule,
    required: bool,
    counts: Sequence[Limit] = (),
) -> TestResult:
    """Lay the balances against the limits of the house; counts that do not add up never comply.

    Limits are compared with the exact figures where sums decide, with the estimate where units were estimated.

    Parameters
    ----------
    found : Reconciliation or None
        None where nothing was entered.
    rule : ReconciliationRule
    required : bool
        Whether the batch cannot comply without it; where it can, what was entered is judged and nothing is lacking.
    counts : sequence of Limit
        The counts of the ledger of units.
    """
    balances = Reconciliation() if found is None else found
    limits, lacking = _limits(balances, rule=rule)
    if found is None:
        lacking = ["the fields of the reconciliation on the Batch sheet"]
    limits += counts
    lacking = lacking if required or all(one.bound is None for one in limits) else []
    failed = [one for one in limits if one.met is False]
    verdict = Verdict.DOES_NOT_COMPLY if failed else Verdict.NOT_ASSESSED if lacking else Verdict.COMPLIES
    reasons = [message("reconciliation.beyond_limit", limit=one) for one in failed]
    reasons += balances.missing if lacking else ()
    unlimited = any(one.bound is None for one in limits)
    if not reasons:
        reasons = [
            message("reconciliation.nothing_entered")
            if lacking
            else message("reconciliation.all_within", unlimited=unlimited)
        ]
    return TestResult(
        id=rule.test,
        rule=rule.id,
        verdict=verdict,
        figures={} if found is None else _figures(found),
        criteria=tuple(limits),
        reasons=tuple(reasons),
        missing="; ".join(lacking) if verdict is Verdict.NOT_ASSESSED else "",
        working=balances.working,
        required=required,
    )


def _limits(found: Reconciliation, *, rule: ReconciliationRule) -> tuple[list[Limit], list[str]]:
    """Every balance beside the limit of the house, where it has one; and what lacks for the others."""
    limits: list[Limit] = []
    lacking: list[str] = []
    unlimited: list[Limit] = []
    size = None if found.unaccounted_percent is None else abs(found.unaccounted_percent)
    recovery = (rule.recovery_low_percent, rule.recovery_high_percent)
    for what, about, value, (low, high) in (
        ("yield_of_melt", "yield", found.yield_percent, (rule.yield_low_percent, rule.yield_high_percent)),
        ("melt_unaccounted", "melt not accounted for", size, (None, rule.unaccounted_percent)),
        *(("active_found", one.active, one.recovery_percent, recovery) for one in found.actives),
    ):
        if low is None and high is None:
            # What of the melt is missing is shown beside "no limit given", as nobody said how much may be.
            if what == "melt_unaccounted" and value is not None:
                shown = {"about": about}
                unlimited.append(Limit(what=what, figure=value, bound=None, met=None, unit="%", values=shown))
            continue
        if value is None:
            lacking.append(f"the figures for the {about}")
            continue
        met = (low is None or value >= Fraction(low)) and (high is None or value <= Fraction(high))
        limits.append(Limit(what=what, figure=value, bound=(low, high), met=met, unit="%", values={"about": about}))
    if recovery != (None, None) and not found.actives:
        lacking.append("the active weighed and assays of whole units")
    if found.units_difference is None:
        lacking.append("the counts of units")
    else:
        figure, laid = found.units_difference, {"found": found}
        limits.append(
            Limit(what="units_unaccounted", figure=figure, bound=0, met=not figure, unit="units", values=laid)
        )
    return [*unlimited, *limits], lacking


def _figures(found: Reconciliation) -> dict[str, float | int | None]:
    return {
        "yield_percent": None if found.yield_percent is None else float(found.yield_percent),
        "unaccounted_percent": None if found.unaccounted_percent is None else float(found.unaccounted_percent),
        "units_difference": found.units_difference,
    }
