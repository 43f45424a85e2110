"""What went into a batch against what came out of it: melt, units, and the active itself, with its uncertainty."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction

from msgspec.structs import replace

from qc.batch import Active, Batch
from qc.contents import contents_found
from qc.quantities import Exact, mean
from qc.results import ActiveBalance, Message, PlannedMass, Reconciliation, message
from qc.stats.mean_interval import half_width

CONFIDENCE = 0.95
_MELT = ("melt_prepared_g", "melt_left_g", "trimmings_g")
_COUNTS = ("units_obtained", "units_rejected", "units_sampled", "units_released")


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
    entered = {name: getattr(batch, name) for name in (*_MELT, *_COUNTS)}
    if batch.dish_assay_mg is None and all(value is None for value in entered.values()):
        return None
    masses = _masses(batch)
    units_g, ends_g = _all_units(masses, obtained=batch.units_obtained)
    unaccounted_g, unaccounted_percent = _unaccounted(batch, units_g=units_g)
    theoretical, planned_g = _theoretical(batch, plan=plan)
    balances = [_balance(batch, active=active, only_one=len(actives) == 1) for active in actives]
    found = Reconciliation(
        **entered,
        units_weighed=len(masses),
        units_g=units_g,
        units_estimated=units_g is not None and batch.units_obtained != len(masses),
        units_low_g=ends_g[0],
        units_high_g=ends_g[1],
        unaccounted_g=unaccounted_g,
        unaccounted_percent=unaccounted_percent,
        units_difference=_difference(batch),
        theoretical_units=theoretical,
        planned_g=planned_g,
        yield_percent=None if theoretical is None else (batch.units_obtained or 0) / theoretical * 100,
        actives=tuple(balance for balance, _ in balances if balance is not None),
    )
    lacking = (line for _, lines in balances for line in lines)
    excess_g = [-unaccounted_g] if unaccounted_g is not None and unaccounted_g < 0 else []
    return replace(
        found,
        missing=(*_left_out(batch, found), *lacking),
        remarks=tuple(message("reconciliation.more_came_out", excess_g=one) for one in excess_g),
        working=tuple(_working(found)),
    )


def _masses(batch: Batch) -> list[Exact]:
    return [unit.mass_g for unit in batch.weighed if unit.mass_g is not None]


Ends = tuple[float, float] | tuple[None, None]
"""The ends of an interval; none where there is no interval."""


def _ends(centre: Fraction, half: float | None) -> Ends:
    return (None, None) if half is None else (float(centre) - half, float(centre) + half)


def _all_units(masses: Sequence[Exact], *, obtained: int | None) -> tuple[Fraction | None, Ends]:
    """Mass of all units obtained [g], exact where every one was weighed; else with its interval."""
    if not masses or obtained is None or obtained < len(masses):
        return None, (None, None)
    total = mean(masses) * obtained
    half = (
        half_width(masses, confidence=CONFIDENCE, of=obtained, times=Fraction(obtained))
        if obtained > len(masses)
        else None
    )
    return total, _ends(total, half)


def _unaccounted(batch: Batch, *, units_g: Fraction | None) -> tuple[Fraction | None, Fraction | None]:
    """What of the melt is not accounted for [g], [% of melt prepared]; exact where every unit was weighed."""
    prepared, left, trimmings = batch.melt_prepared_g, batch.melt_left_g, batch.trimmings_g
    if prepared is None or left is None or trimmings is None or units_g is None:
        return None, None
    unaccounted = Fraction(prepared) - units_g - Fraction(trimmings) - Fraction(left)
    return unaccounted, unaccounted / Fraction(prepared) * 100


def _difference(batch: Batch) -> int | None:
    """Units obtained less released, rejected and sampled."""
    counts = [batch.units_obtained, batch.units_released, batch.units_rejected, batch.units_sampled]
    obtained, *gone = [count for count in counts if count is not None] or [0]
    return obtained - sum(gone) if None not in counts else None


def _theoretical(batch: Batch, *, plan: PlannedMass | None) -> tuple[Fraction | None, Fraction | None]:
    """Units the melt would give at the planned mass [g], which is named beside, else units poured."""
    if batch.units_obtained is None:
        return None, None
    if plan is not None and plan.planned_g and batch.melt_prepared_g is not None:
        planned_g = Fraction(plan.planned_g)
        return Fraction(batch.melt_prepared_g) / planned_g, planned_g
    return None if batch.units_poured is None else Fraction(batch.units_poured), None


def _balance(batch: Batch, *, active: Active, only_one: bool) -> tuple[ActiveBalance | None, list[Message]]:
    """The active weighed beside the active found, and what lacks; the dish assay is about an only active."""
    found, name = contents_found(batch, active=active), active.name
    contents = [one.mg for one in found if one.mg is not None]
    # Where some cannot be put in mg, the mean of the others would be that of a part of the sample.
    in_mg = bool(contents) and len(contents) == len(found)
    weighed_g, obtained = active.amount_weighed_g, batch.units_obtained
    if weighed_g is None or not in_mg or obtained is None:
        entered = {"amount_weighed_g": weighed_g, "contents": in_mg or None, "units_obtained": obtained}
        enter = tuple(field for field, value in entered.items() if value is None)
        return None, [message("reconciliation.left_out", balance="active", enter=enter, active=name)]
    average, masses, lacking = mean(contents), _masses(batch), []
    trimmings = None
    if batch.trimmings_g is None:
        lacking.append(message("reconciliation.no_trimmings", active=name))
    elif masses:
        trimmings = Fraction(batch.trimmings_g) / mean(masses)
    in_dish = batch.dish_assay_mg if only_one else None
    if batch.dish_assay_mg is not None and not only_one:
        lacking.append(message("reconciliation.dish_of_several", active=name))
    elif in_dish is None and batch.melt_left_g != 0:
        lacking.append(message("reconciliation.no_dish", active=name))
    as_units, dish_mg, weighed_mg = obtained + (trimmings or 0), Fraction(in_dish or 0), weighed_g * 1000
    total_mg, percent = average * as_units + dish_mg, 100 / Fraction(weighed_mg)
    repeatability = Fraction(active.assay_repeatability_percent or 0) / 100
    half_percent = half_width(
        [one * percent for one in contents],
        confidence=CONFIDENCE,
        of=obtained,
        times=Fraction(as_units),
        assay_variance=(repeatability * average * percent) ** 2,
        added_variance=(repeatability * dish_mg * percent) ** 2,
    )
    if half_percent is None:
        lacking.append(message("reconciliation.one_assay", active=name))
    low, high = _ends(total_mg * percent, half_percent)
    balance = ActiveBalance(
        active=name,
        weighed_mg=weighed_mg,
        in_units_mg=average * obtained,
        in_trimmings_mg=None if trimmings is None else average * trimmings,
        in_dish_mg=in_dish,
        found_mg=total_mg,
        recovery_percent=total_mg * percent,
        recovery_low_percent=low,
        recovery_high_percent=high,
        n=len(contents),
    )
    return balance, lacking


def _left_out(batch: Batch, found: Reconciliation) -> Iterator[Message]:
    """Each balance of the batch that could not be made, and what to enter for it."""
    no_yield = ("units_obtained",) if found.units_obtained is None else ("units_poured_or_plan",)
    to_enter = {
        "units_mass": ("units_obtained", "mass_g") if found.units_g is None else (),
        "melt": tuple(name for name in _MELT if getattr(batch, name) is None),
        "counts": tuple(name for name in _COUNTS if getattr(batch, name) is None),
        "yield": no_yield if found.theoretical_units is None else (),
    }
    for balance, enter in to_enter.items():
        if enter:
            yield message("reconciliation.left_out", balance=balance, enter=enter)


def _working(found: Reconciliation) -> Iterator[Message]:
    """The arithmetic line by line, of what could be worked out."""
    if found.units_estimated:
        yield message("reconciliation.units_estimated", found=found)
    elif found.units_g is not None:
        yield message("reconciliation.units_weighed", found=found)
    if found.unaccounted_g is not None:
        yield message("reconciliation.melt", found=found)
    if found.units_difference is not None:
        yield message("reconciliation.counts", found=found)
    if found.theoretical_units is not None:
        yield message("reconciliation.units_yield", found=found)
    for one in found.actives:
        yield message("reconciliation.in_units", found=one, units=found.units_obtained)
        if one.in_trimmings_mg is not None:
            yield message("reconciliation.in_trimmings", found=one)
        if one.in_dish_mg is not None:
            yield message("reconciliation.in_dish", found=one)
        yield message("reconciliation.active_found", found=one)
