"""What went into a batch against what came out of it: melt, units, and the active itself, with its uncertainty."""

from __future__ import annotations

import math
from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction

from msgspec import Struct

from qc.batch import Active, Batch
from qc.judging.active_balance import balance_active
from qc.quantities import mean, sample_variance
from qc.results import Criterion, PlannedMass, Reconciliation, TestResult, Verdict
from qc.rules.display import plain, shown, signed
from qc.rules.records import ReconciliationRule
from qc.stats.student import two_sided_quantile

CONFIDENCE = 0.95


class UnitsMass(Struct, frozen=True, kw_only=True):
    """Mass of all units obtained [g], exact where every one was weighed."""

    total_g: Fraction
    estimated: bool
    low_g: float | None
    high_g: float | None
    working: str


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
    fields = (
        batch.melt_prepared_g,
        batch.melt_left_g,
        batch.trimmings_g,
        batch.units_obtained,
        batch.units_rejected,
        batch.units_sampled,
        batch.units_released,
        batch.dish_assay_mg,
    )
    if all(value is None for value in fields):
        return None
    missing: list[str] = []
    remarks: list[str] = []
    working: list[str] = []
    units = units_mass(batch)
    if units is None:
        missing.append("The mass of the units was left out: enter Units obtained and the masses of single units.")
    else:
        working.append(units.working)
    unaccounted, share = _melt(batch, units=units, missing=missing, remarks=remarks, working=working)
    difference = _counts(batch, missing=missing, remarks=remarks, working=working)
    theoretical, yielded = _yield(batch, plan=plan, missing=missing, working=working)
    balances = []
    for active in actives:
        balance, lines, lacks = balance_active(batch, active=active, only_one=len(actives) == 1)
        working += lines
        missing += lacks
        if balance is not None:
            balances.append(balance)
    return Reconciliation(
        melt_prepared_g=batch.melt_prepared_g,
        trimmings_g=batch.trimmings_g,
        melt_left_g=batch.melt_left_g,
        units_g=None if units is None else float(units.total_g),
        units_estimated=units is not None and units.estimated,
        units_low_g=None if units is None else units.low_g,
        units_high_g=None if units is None else units.high_g,
        unaccounted_g=unaccounted,
        unaccounted_percent=share,
        units_obtained=batch.units_obtained,
        units_rejected=batch.units_rejected,
        units_sampled=batch.units_sampled,
        units_released=batch.units_released,
        units_difference=difference,
        theoretical_units=theoretical,
        yield_percent=yielded,
        actives=tuple(balances),
        missing=tuple(missing),
        remarks=tuple(remarks),
        working=tuple(working),
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
        working = f"Units: sum of {n} masses = {_grams(total)} g."
        return UnitsMass(total_g=total, estimated=False, low_g=None, high_g=None, working=working)
    average = mean(masses)
    total = average * obtained
    if n == 1:
        working = f"Units: {obtained} x {_grams(average)} g, the one mass known, = {_grams(total)} g (estimated)."
        return UnitsMass(total_g=total, estimated=True, low_g=None, high_g=None, working=working)
    spread = math.sqrt(sample_variance(masses))
    half = obtained * spread * two_sided_quantile(CONFIDENCE, df=n - 1) / math.sqrt(n) * math.sqrt(1 - n / obtained)
    working = (
        f"Units: {obtained} x {_grams(average)} g, the mean of {n}, = {_grams(total)} g "
        f"(estimated, ± {half:.3f} g at 95 %)."
    )
    return UnitsMass(
        total_g=total, estimated=True, low_g=float(total) - half, high_g=float(total) + half, working=working
    )


def _grams(value: Fraction | Decimal) -> str:
    return shown(value, decimals=4).rstrip("0").rstrip(".")


def _melt(
    batch: Batch, *, units: UnitsMass | None, missing: list[str], remarks: list[str], working: list[str]
) -> tuple[Fraction | None, Fraction | None]:
    """What of the melt is not accounted for [g], [% of melt prepared]; exact where every unit was weighed."""
    prepared, left, trimmings = batch.melt_prepared_g, batch.melt_left_g, batch.trimmings_g
    named = (("Melt prepared (g)", prepared), ("Melt left in dish (g)", left), ("Trimmings (g)", trimmings))
    lacking = [name for name, value in named if value is None]
    if lacking:
        missing.append(f"The balance of the melt was left out: enter {', '.join(lacking)} (0 where there was none).")
    if units is None or prepared is None or left is None or trimmings is None:
        return None, None
    unaccounted = Fraction(prepared) - units.total_g - Fraction(trimmings) - Fraction(left)
    share = unaccounted / Fraction(prepared) * 100
    working.append(
        f"Not accounted for: {prepared:f} - {_grams(units.total_g)} (units) - {trimmings:f} (trimmings) - {left:f} "
        f"(dish) = {_grams(unaccounted)} g, {signed(share, decimals=2)} % of the melt."
    )
    if unaccounted < 0:
        remarks.append(
            f"More came out than went in, by {_grams(-unaccounted)} g: a mass was misread or a weighing is missing."
        )
    return unaccounted, share


def _counts(batch: Batch, *, missing: list[str], remarks: list[str], working: list[str]) -> int | None:
    """Units obtained less released, rejected and sampled."""
    obtained, rejected = batch.units_obtained, batch.units_rejected
    sampled, released = batch.units_sampled, batch.units_released
    if obtained is not None and obtained < len(batch.units):
        remarks.append(f"Units obtained is {obtained}, but {len(batch.units)} units are entered.")
    if obtained is not None and batch.units_poured is not None and obtained > batch.units_poured:
        remarks.append(f"Units obtained is {obtained}, more than the {batch.units_poured} poured.")
    named = (
        ("Units obtained", obtained),
        ("Units rejected", rejected),
        ("Units sampled", sampled),
        ("Units released", released),
    )
    lacking = [name for name, value in named if value is None]
    if lacking:
        missing.append(f"The balance of units was left out: enter {', '.join(lacking)}.")
    if obtained is None or rejected is None or sampled is None or released is None:
        return None
    difference = obtained - rejected - sampled - released
    working.append(
        f"Units: {obtained} obtained - {released} released - {rejected} rejected - {sampled} sampled = {difference}."
    )
    if difference:
        fate = f"{difference} without a fate" if difference > 0 else f"{-difference} more than were obtained"
        remarks.append(
            f"The counts of units do not add up: {obtained} obtained; {released} released, {rejected} rejected and "
            f"{sampled} sampled make {obtained - difference} ({fate})."
        )
    return difference


def _yield(
    batch: Batch, *, plan: PlannedMass | None, missing: list[str], working: list[str]
) -> tuple[Fraction | None, Fraction | None]:
    """Units the melt would give at the planned mass, else units poured; and units obtained over that [%]."""
    if batch.units_obtained is None:
        missing.append("The yield was left out: enter Units obtained.")
        return None, None
    planned = None if plan is None or plan.planned_g is None else Fraction(plan.planned_g)
    if planned and batch.melt_prepared_g is not None:
        theoretical = Fraction(batch.melt_prepared_g) / planned
        melt = f"{batch.melt_prepared_g:f} g of melt / {_grams(planned)} g planned"
        of = f"{melt} = {shown(theoretical, decimals=2)} units"
    elif batch.units_poured is not None:
        theoretical = Fraction(batch.units_poured)
        of = f"{batch.units_poured} units poured"
    else:
        missing.append("The yield was left out: enter Units poured, or Melt prepared (g) and Planned mass (g).")
        return None, None
    yielded = batch.units_obtained / theoretical * 100
    working.append(f"Yield: {batch.units_obtained} units of {of} = {shown(yielded, decimals=2)} %.")
    return theoretical, yielded


def judge_reconciliation(found: Reconciliation | None, *, rule: ReconciliationRule, required: bool) -> TestResult:
    """Lay the balances against the limits of the house; counts that do not add up never comply.

    Limits are compared with the exact figures where sums decide, with the estimate where units were estimated.
    """
    criteria: list[Criterion] = []
    lacking: list[str] = []
    if found is None:
        lacking.append("Units obtained, Melt prepared (g) and the other fields of the reconciliation")
    else:
        for what, value, low, high in (
            ("yield", found.yield_percent, rule.yield_low_percent, rule.yield_high_percent),
            ("melt not accounted for", _size(found.unaccounted_percent), None, rule.unaccounted_percent),
            *(
                (f"{one.active} found", one.recovery_percent, rule.recovery_low_percent, rule.recovery_high_percent)
                for one in found.actives
            ),
        ):
            if low is None and high is None:
                continue
            if value is None:
                lacking.append(f"the figures for the {what}")
            else:
                criteria.append(_criterion(what, value, low=low, high=high))
        wants_recovery = rule.recovery_low_percent is not None or rule.recovery_high_percent is not None
        if wants_recovery and not found.actives:
            lacking.append("the active weighed and assays of whole units")
        if found.units_difference is None:
            lacking.append("the counts of units")
        else:
            met = found.units_difference == 0
            criteria.append(
                Criterion(what="units without a fate", figure=str(found.units_difference), limit="0", met=met)
            )
    failed = [one for one in criteria if one.met is False]
    verdict = Verdict.DOES_NOT_COMPLY if failed else Verdict.NOT_ASSESSED if lacking else Verdict.COMPLIES
    reasons = [f"{one.what}: {one.figure}, the limit is {one.limit}." for one in failed]
    reasons += list(found.missing) if found is not None and lacking else []
    if not reasons:
        reasons = ["Every balance lies within its limit." if not lacking else "Nothing was entered."]
    return TestResult(
        id=rule.test,
        rule=rule.id,
        verdict=verdict,
        figures=_figures(found),
        criteria=tuple(criteria),
        reasons=tuple(reasons),
        missing="; ".join(lacking) if verdict is Verdict.NOT_ASSESSED else "",
        working=() if found is None else found.working,
        required=required,
    )


def _size(value: Fraction | None) -> Fraction | None:
    return None if value is None else abs(value)


def _criterion(what: str, exact: Fraction, *, low: Decimal | None, high: Decimal | None) -> Criterion:
    met = (low is None or exact >= Fraction(low)) and (high is None or exact <= Fraction(high))
    if low is not None and high is not None:
        limit = f"{plain(low)} to {plain(high)} %"
    else:
        limit = f"at least {plain(low)} %" if low is not None else f"at most {plain(high or Decimal(0))} %"
    return Criterion(what=what, figure=f"{shown(exact, decimals=2)} %", limit=limit, met=met)


def _figures(found: Reconciliation | None) -> dict[str, float | int | None]:
    if found is None:
        return {}
    return {
        "yield_percent": None if found.yield_percent is None else float(found.yield_percent),
        "unaccounted_percent": None if found.unaccounted_percent is None else float(found.unaccounted_percent),
        "units_difference": found.units_difference,
    }
