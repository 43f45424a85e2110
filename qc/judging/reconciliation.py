"""What went into a batch against what came out of it: melt, units, and the active itself, with its uncertainty."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from msgspec import Struct, field

from qc.batch import Active, Batch
from qc.contents import contents_found
from qc.quantities import Exact, mean, sample_variance, square_root
from qc.results import ActiveBalance, Message, PlannedMass, Reconciliation, message
from qc.stats.student import two_sided_quantile

CONFIDENCE = 0.95
_MELT = ("melt_prepared_g", "melt_left_g", "trimmings_g")
_COUNTS = ("units_obtained", "units_rejected", "units_sampled", "units_released")


class _Told(Struct, kw_only=True):
    """What is said beside the figures."""

    missing: list[Message] = field(default_factory=list)
    remarks: list[Message] = field(default_factory=list)
    working: list[Message] = field(default_factory=list)

    def left_out(self, balance: str, *enter: str, active: str = "") -> None:
        """Name a balance that could not be made, and what to enter for it."""
        self.missing.append(message("reconciliation.left_out", balance=balance, enter=enter, active=active))


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

    Notes
    -----
    The mass of all units is their sum where each was weighed, else their mean times their number N, with the interval
    N s t / sqrt(n) sqrt(1 - n/N). The active found is N' m + D, m being the mean content of a unit, N' the units and
    the trimmings counted as so many units, D the assay of the dish. Its uncertainty, by propagation, is

        u^2 = N'^2 (s_u^2 / n (1 - n/N) + s_a^2 / n) + s_D^2

    s_a being the repeatability of the assay, s_D that of the dish assay, s_u^2 = s^2 - s_a^2 (not below 0) the spread
    of the units. Each interval is t u with n - 1 degrees of freedom at 95 %, the fewest that any part has. What shifts
    every assay alike (the standard, the balance) is not in it.

    References
    ----------
    JCGM 100:2008 (GUM), 5.1.2, equation 10; the factor 1 - n/N: Cochran, Sampling Techniques, 3rd edition, sections 2.6
    and 2.8 (from memory).
    """
    if all(getattr(batch, name) is None for name in (*_MELT, *_COUNTS, "dish_assay_mg")):
        return None
    told = _Told()
    total, half = _units(batch, told=told)
    unaccounted, share = _melt(batch, units_g=total, told=told)
    difference = _counts(batch, told=told)
    theoretical, yielded = _yield(batch, plan=plan, told=told)
    only_one = len(actives) == 1
    balances = [_balance(batch, active=active, only_one=only_one, told=told) for active in actives]
    return Reconciliation(
        **{name: getattr(batch, name) for name in (*_MELT, *_COUNTS)},
        units_g=None if total is None else float(total),
        units_estimated=total is not None and batch.units_obtained != len(_masses(batch)),
        units_low_g=None if total is None or half is None else float(total) - half,
        units_high_g=None if total is None or half is None else float(total) + half,
        unaccounted_g=unaccounted,
        unaccounted_percent=share,
        units_difference=difference,
        theoretical_units=theoretical,
        yield_percent=yielded,
        actives=tuple(balance for balance in balances if balance is not None),
        missing=tuple(told.missing),
        remarks=tuple(told.remarks),
        working=tuple(told.working),
    )


def _masses(batch: Batch) -> list[Exact]:
    return [unit.mass_g for unit in batch.weighed if unit.mass_g is not None]


def _units(batch: Batch, *, told: _Told) -> tuple[Fraction | None, float | None]:
    """Mass of all units obtained [g], exact where every one was weighed; and half of its interval."""
    masses, obtained = _masses(batch), batch.units_obtained
    n = len(masses)
    if not masses or obtained is None or obtained < n:
        told.left_out("units_mass", "units_obtained", "mass_g")
        return None, None
    average = mean(masses)
    total = average * obtained
    if n == obtained:
        told.working.append(message("reconciliation.units_weighed", n=n, total_g=total))
        return total, None
    half = _half_width(masses, of=obtained, times=Fraction(obtained))
    told.working.append(
        message("reconciliation.units_estimated", n=n, obtained=obtained, mean_g=average, total_g=total, half_g=half)
    )
    return total, half


def _half_width(
    values: Sequence[Exact],
    *,
    of: int,
    times: Fraction,
    assay_variance: Fraction = Fraction(0),
    added_variance: Fraction = Fraction(0),
) -> float | None:
    """Half of the 95 % interval of `times` the mean of some of the units [unit of the values]; None from one value."""
    n = len(values)
    if n < 2:
        return None
    units_variance = max(sample_variance(values) - assay_variance, Fraction(0))
    share = min(Fraction(n, of or n), Fraction(1))
    variance = times**2 * (units_variance * (1 - share) + assay_variance) / n + added_variance
    return square_root(variance) * two_sided_quantile(CONFIDENCE, df=n - 1)


def _melt(batch: Batch, *, units_g: Fraction | None, told: _Told) -> tuple[Fraction | None, Fraction | None]:
    """What of the melt is not accounted for [g], [% of melt prepared]; exact where every unit was weighed."""
    prepared, left, trimmings = batch.melt_prepared_g, batch.melt_left_g, batch.trimmings_g
    if prepared is None or left is None or trimmings is None:
        told.left_out("melt", *(name for name in _MELT if getattr(batch, name) is None))
        return None, None
    if units_g is None:
        return None, None
    unaccounted = Fraction(prepared) - units_g - Fraction(trimmings) - Fraction(left)
    share = unaccounted / Fraction(prepared) * 100
    told.working.append(
        message(
            "reconciliation.melt",
            prepared_g=prepared,
            units_g=units_g,
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
    obtained, melt = batch.units_obtained, batch.melt_prepared_g
    if obtained is None:
        told.left_out("yield", "units_obtained")
        return None, None
    planned = None if plan is None or plan.planned_g is None or melt is None else Fraction(plan.planned_g)
    if planned and melt is not None:
        theoretical = Fraction(melt) / planned
    elif batch.units_poured is not None:
        theoretical = Fraction(batch.units_poured)
    else:
        told.left_out("yield", "units_poured_or_plan")
        return None, None
    yielded = obtained / theoretical * 100
    told.working.append(
        message(
            "reconciliation.units_yield",
            obtained=obtained,
            theoretical=theoretical,
            yield_percent=yielded,
            melt_g=melt,
            planned_g=planned,
        )
    )
    return theoretical, yielded


def _balance(batch: Batch, *, active: Active, only_one: bool, told: _Told) -> ActiveBalance | None:
    """The active weighed beside the active found; the dish assay is about the only active of a batch."""
    found, name = contents_found(batch, active=active), active.name
    contents = [one.mg for one in found if one.mg is not None]
    # Where some cannot be put in mg, the mean of the others would be that of a part of the sample.
    in_mg = bool(contents) and len(contents) == len(found)
    weighed_g, obtained = active.amount_weighed_g, batch.units_obtained
    if weighed_g is None or not in_mg or obtained is None:
        entered = {"amount_weighed_g": weighed_g, "contents": in_mg or None, "units_obtained": obtained}
        told.left_out("active", *(field for field, value in entered.items() if value is None), active=name)
        return None
    average, masses = mean(contents), _masses(batch)
    in_units, as_units = average * obtained, Fraction(0)
    in_trimmings = in_dish = None
    told.working.append(
        message(
            "reconciliation.in_units", active=name, n=len(contents), mean_mg=average, units=obtained, found_mg=in_units
        )
    )
    if batch.trimmings_g is None:
        told.missing.append(message("reconciliation.no_trimmings", active=name))
    elif masses:
        as_units = Fraction(batch.trimmings_g) / mean(masses)
        in_trimmings = average * as_units
        told.working.append(message("reconciliation.in_trimmings", active=name, found_mg=in_trimmings))
    if batch.dish_assay_mg is not None and only_one:
        in_dish = Fraction(batch.dish_assay_mg)
        told.working.append(message("reconciliation.in_dish", active=name, found_mg=batch.dish_assay_mg))
    elif batch.dish_assay_mg is not None:
        told.missing.append(message("reconciliation.dish_of_several", active=name))
    elif batch.melt_left_g != 0:
        told.missing.append(message("reconciliation.no_dish", active=name))
    total_mg, weighed_mg = in_units + (in_trimmings or 0) + (in_dish or 0), weighed_g * 1000
    recovery = total_mg / Fraction(weighed_mg) * 100
    repeatability = Fraction(active.assay_repeatability_percent or 0) / 100
    half_mg = _half_width(
        contents,
        of=obtained,
        times=obtained + as_units,
        assay_variance=(repeatability * average) ** 2,
        added_variance=(repeatability * (in_dish or 0)) ** 2,
    )
    half = None if half_mg is None else half_mg / float(weighed_mg) * 100
    told.working.append(
        message(
            "reconciliation.active_found",
            active=name,
            found_mg=total_mg,
            weighed_mg=weighed_mg,
            recovery_percent=recovery,
            half_percent=half,
        )
    )
    if half is None:
        told.missing.append(message("reconciliation.one_assay", active=name))
    return ActiveBalance(
        active=name,
        weighed_mg=weighed_mg,
        in_units_mg=float(in_units),
        in_trimmings_mg=None if in_trimmings is None else float(in_trimmings),
        in_dish_mg=None if in_dish is None else float(in_dish),
        found_mg=float(total_mg),
        recovery_percent=recovery,
        recovery_low_percent=None if half is None else float(recovery) - half,
        recovery_high_percent=None if half is None else float(recovery) + half,
        n=len(contents),
    )
