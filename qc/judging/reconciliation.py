"""What went into a batch against what came out of it: melt, units, and the active itself, with its uncertainty."""

from __future__ import annotations

import math
from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction

from msgspec import Struct, field

from qc.batch import Active, Batch
from qc.judging.active_balance import balance_active
from qc.quantities import mean, sample_variance
from qc.results import Limit, Message, PlannedMass, Reconciliation, TestResult, Verdict, message
from qc.rules.kinds.reconciliation import ReconciliationRule
from qc.stats.student import two_sided_quantile

CONFIDENCE = 0.95
_MELT = ("melt_prepared_g", "melt_left_g", "trimmings_g")
_COUNTS = ("units_obtained", "units_rejected", "units_sampled", "units_released")


class UnitsMass(Struct, frozen=True, kw_only=True):
    """Mass of all units obtained [g], exact where every one was weighed, with half its interval where it can be had."""

    total_g: Fraction
    estimated: bool
    half_g: float | None
    working: Message


class _Told(Struct, kw_only=True):
    """What is said beside the figures."""

    missing: list[Message] = field(default_factory=list)
    remarks: list[Message] = field(default_factory=list)
    working: list[Message] = field(default_factory=list)

    def left_out(self, balance: str, *enter: str) -> None:
        self.missing.append(message("reconciliation.left_out", balance=balance, enter=enter))


def reconcile(batch: Batch, *, actives: Sequence[Active], plan: PlannedMass | None) -> Reconciliation | None:
    """Work out every balance whose figures were entered; None when none of the fields is filled.

    Parameters
    ----------
    batch : Batch
    actives : sequence of Active
    plan : PlannedMass or None
        For the theoretical yield.

    Returns
    -------
    Reconciliation or None
    """
    if all(getattr(batch, name) is None for name in (*_MELT, *_COUNTS, "dish_assay_mg")):
        return None
    told = _Told()
    units = units_mass(batch)
    if units is None:
        told.left_out("units_mass", "units_obtained", "mass_g")
    else:
        told.working.append(units.working)
    unaccounted, share = _melt(batch, units=units, told=told)
    difference = _counts(batch, told=told)
    theoretical, yielded = _yield(batch, plan=plan, told=told)
    balances = []
    for active in actives:
        balance, lines, lacks = balance_active(batch, active=active, only_one=len(actives) == 1)
        told.working += lines
        told.missing += lacks
        balances += [balance] if balance is not None else []
    total = None if units is None else float(units.total_g)
    half = None if units is None else units.half_g
    return Reconciliation(
        **{name: getattr(batch, name) for name in (*_MELT, *_COUNTS)},
        units_g=total,
        units_estimated=units is not None and units.estimated,
        units_low_g=None if total is None or half is None else total - half,
        units_high_g=None if total is None or half is None else total + half,
        unaccounted_g=unaccounted,
        unaccounted_percent=share,
        units_difference=difference,
        theoretical_units=theoretical,
        yield_percent=yielded,
        actives=tuple(balances),
        missing=tuple(told.missing),
        remarks=tuple(told.remarks),
        working=tuple(told.working),
    )


def units_mass(batch: Batch) -> UnitsMass | None:
    """Mass of all units obtained: their sum where each was weighed, else the mean times their number.

    The 95 % interval of an estimate is N s t / sqrt(n) sqrt(1 - n/N), t with n - 1 degrees of freedom.

    References
    ----------
    Cochran, Sampling Techniques, 3rd edition, section 2.8 (from memory).
    """
    masses = [unit.mass_g for unit in batch.weighed if unit.mass_g is not None]
    obtained = batch.units_obtained
    if not masses or obtained is None or obtained < len(masses):
        return None
    n = len(masses)
    if n == obtained:
        total = sum((Fraction(mass) for mass in masses), Fraction(0))
        working = message("reconciliation.units_weighed", n=n, total_g=total)
        return UnitsMass(total_g=total, estimated=False, half_g=None, working=working)
    average = mean(masses)
    total = average * obtained
    half = None
    if n > 1:
        spread = math.sqrt(sample_variance(masses))
        half = obtained * spread * two_sided_quantile(CONFIDENCE, df=n - 1) / math.sqrt(n) * math.sqrt(1 - n / obtained)
    working = message(
        "reconciliation.units_estimated", n=n, obtained=obtained, mean_g=average, total_g=total, half_g=half
    )
    return UnitsMass(total_g=total, estimated=True, half_g=half, working=working)


def _melt(batch: Batch, *, units: UnitsMass | None, told: _Told) -> tuple[Fraction | None, Fraction | None]:
    """What of the melt is not accounted for [g], [% of melt prepared]; exact where every unit was weighed."""
    prepared, left, trimmings = batch.melt_prepared_g, batch.melt_left_g, batch.trimmings_g
    if None in (prepared, left, trimmings):
        told.left_out("melt", *(name for name in _MELT if getattr(batch, name) is None))
    if units is None or prepared is None or left is None or trimmings is None:
        return None, None
    unaccounted = Fraction(prepared) - units.total_g - Fraction(trimmings) - Fraction(left)
    share = unaccounted / Fraction(prepared) * 100
    told.working.append(
        message(
            "reconciliation.melt",
            prepared_g=prepared,
            units_g=units.total_g,
            trimmings_g=trimmings,
            left_g=left,
            unaccounted_g=unaccounted,
            share_percent=share,
        )
    )
    if unaccounted < 0:
        told.remarks.append(message("reconciliation.more_came_out", excess_g=-unaccounted))
    return unaccounted, share


def _counts(batch: Batch, *, told: _Told) -> int | None:
    """Units obtained less released, rejected and sampled."""
    obtained, rejected = batch.units_obtained, batch.units_rejected
    sampled, released = batch.units_sampled, batch.units_released
    if obtained is not None and obtained < len(batch.units):
        told.remarks.append(message("reconciliation.fewer_than_entered", obtained=obtained, entered=len(batch.units)))
    if obtained is not None and batch.units_poured is not None and obtained > batch.units_poured:
        told.remarks.append(message("reconciliation.more_than_poured", obtained=obtained, poured=batch.units_poured))
    if obtained is None or rejected is None or sampled is None or released is None:
        told.left_out("counts", *(name for name in _COUNTS if getattr(batch, name) is None))
        return None
    difference = obtained - rejected - sampled - released
    counts = {"obtained": obtained, "released": released, "rejected": rejected, "sampled": sampled}
    told.working.append(message("reconciliation.counts", **counts, difference=difference))
    if difference:
        told.remarks.append(message("reconciliation.counts_differ", **counts, difference=difference))
    return difference


def _yield(batch: Batch, *, plan: PlannedMass | None, told: _Told) -> tuple[Fraction | None, Fraction | None]:
    """Units the melt would give at the planned mass, else units poured; and units obtained over that [%]."""
    if batch.units_obtained is None:
        told.left_out("yield", "units_obtained")
        return None, None
    melt = batch.melt_prepared_g
    planned = None if plan is None or plan.planned_g is None or melt is None else Fraction(plan.planned_g)
    if planned and melt is not None:
        theoretical = Fraction(melt) / planned
    elif batch.units_poured is not None:
        theoretical = Fraction(batch.units_poured)
    else:
        told.left_out("yield", "units_poured_or_plan")
        return None, None
    yielded = batch.units_obtained / theoretical * 100
    told.working.append(
        message(
            "reconciliation.units_yield",
            obtained=batch.units_obtained,
            theoretical=theoretical,
            yield_percent=yielded,
            melt_g=melt,
            planned_g=planned,
        )
    )
    return theoretical, yielded


def judge_reconciliation(found: Reconciliation | None, *, rule: ReconciliationRule, required: bool) -> TestResult:
    """Lay the balances against the limits of the house; counts that do not add up never comply.

    Limits are compared with the exact figures where sums decide, with the estimate where units were estimated.
    """
    limits, lacking = ([], [_NOTHING]) if found is None else _limits(found, rule=rule)
    failed = [one for one in limits if one.met is False]
    verdict = Verdict.DOES_NOT_COMPLY if failed else Verdict.NOT_ASSESSED if lacking else Verdict.COMPLIES
    reasons = [message("reconciliation.beyond_limit", limit=one) for one in failed]
    reasons += found.missing if found is not None and lacking else ()
    if not reasons:
        reasons.append(message("reconciliation.nothing_entered") if lacking else message("reconciliation.all_within"))
    return TestResult(
        id=rule.test,
        rule=rule.id,
        verdict=verdict,
        figures=_figures(found),
        criteria=tuple(limits),
        reasons=tuple(reasons),
        missing="; ".join(lacking) if verdict is Verdict.NOT_ASSESSED else "",
        working=() if found is None else found.working,
        required=required,
    )


_NOTHING = "Units obtained, Melt prepared (g) and the other fields of the reconciliation"


def _limits(found: Reconciliation, *, rule: ReconciliationRule) -> tuple[list[Limit], list[str]]:
    """Every balance beside the limit of the house, where it has one; and what lacks for the others."""
    limits: list[Limit] = []
    lacking: list[str] = []
    size = None if found.unaccounted_percent is None else abs(found.unaccounted_percent)
    recovery = (rule.recovery_low_percent, rule.recovery_high_percent)
    for what, about, value, bound in (
        ("yield_of_melt", "yield", found.yield_percent, (rule.yield_low_percent, rule.yield_high_percent)),
        ("melt_unaccounted", "melt not accounted for", size, (None, rule.unaccounted_percent)),
        *(("active_found", one.active, one.recovery_percent, recovery) for one in found.actives),
    ):
        if bound == (None, None):
            continue
        if value is None:
            lacking.append(f"the figures for the {about}")
        else:
            limits.append(_limit(what, value, bound=bound, about=about))
    if recovery != (None, None) and not found.actives:
        lacking.append("the active weighed and assays of whole units")
    if found.units_difference is None:
        lacking.append("the counts of units")
    else:
        met = found.units_difference == 0
        limits.append(Limit(what="units_unaccounted", figure=found.units_difference, bound=0, met=met, unit="units"))
    return limits, lacking


def _limit(what: str, exact: Fraction, *, bound: tuple[Decimal | None, Decimal | None], about: str) -> Limit:
    low, high = bound
    met = (low is None or exact >= Fraction(low)) and (high is None or exact <= Fraction(high))
    return Limit(what=what, figure=exact, bound=bound, met=met, unit="%", values={"about": about})


def _figures(found: Reconciliation | None) -> dict[str, float | int | None]:
    if found is None:
        return {}
    return {
        "yield_percent": None if found.yield_percent is None else float(found.yield_percent),
        "unaccounted_percent": None if found.unaccounted_percent is None else float(found.unaccounted_percent),
        "units_difference": found.units_difference,
    }
