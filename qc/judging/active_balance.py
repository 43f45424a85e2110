"""Active weighed beside active found: units, trimmings and dish, with the uncertainty of what was assayed."""

from __future__ import annotations

import math
from fractions import Fraction

from msgspec import Struct

from qc.batch import Active, Batch
from qc.contents import contents_found
from qc.quantities import mean, sample_variance, square_root
from qc.results import ActiveBalance, Message, message
from qc.stats.student import two_sided_quantile

CONFIDENCE = 0.95


class _Shares(Struct, frozen=True, kw_only=True):
    """Where the active was found [mg]; None where it was not measured."""

    units_mg: Fraction
    trimmings_mg: Fraction | None
    dish_mg: Fraction | None
    unit_equivalents: Fraction
    """Units, and trimmings as so many units: what the mean content was multiplied by."""

    @property
    def total_mg(self) -> Fraction:
        return self.units_mg + (self.trimmings_mg or 0) + (self.dish_mg or 0)


def balance_active(
    batch: Batch, *, active: Active, only_one: bool
) -> tuple[ActiveBalance | None, list[Message], list[Message]]:
    """Lay the active weighed beside the active found.

    Parameters
    ----------
    batch : Batch
    active : Active
    only_one : bool
        Whether it is the only active of the batch; the dish assay is about that one.

    Returns
    -------
    ActiveBalance or None, the working, and what is missing

    Notes
    -----
    Found = N' m + D, m being the mean content of a unit, N' the units and the trimmings counted as so many units, D
    the assay of the dish. Its uncertainty, by propagation, is

        u^2 = N'^2 (s_u^2 / n (1 - n/N) + s_a^2 / n) + s_D^2

    s_a being the repeatability of the assay, s_D that of the dish assay, s_u^2 = s^2 - s_a^2 (not below 0) the spread
    of the units. The interval is t u with n - 1 degrees of freedom, the fewest that any part has. What shifts every
    assay alike (the standard, the balance) is not in it.

    References
    ----------
    JCGM 100:2008 (GUM), 5.1.2, equation 10; the factor 1 - n/N: Cochran, Sampling Techniques, 3rd edition, section 2.6
    (from memory).
    """
    found = contents_found(batch, active=active)
    contents = [one.mg for one in found if one.mg is not None]
    if len(contents) < len(found):
        contents = []  # Some cannot be put in mg: the mean of the others would be that of a part of the sample.
    if active.amount_weighed_g is None or not contents or batch.units_obtained is None:
        entered = {
            "amount_weighed_g": active.amount_weighed_g is not None,
            "contents": bool(contents),
            "units_obtained": batch.units_obtained is not None,
        }
        lacking = tuple(name for name, there in entered.items() if not there)
        return None, [], [message("reconciliation.left_out", balance="active", enter=lacking, active=active.name)]
    shares, working, missing = _shares(batch, active=active, contents=contents, only_one=only_one)
    weighed_mg = active.amount_weighed_g * 1000
    recovery = shares.total_mg / Fraction(weighed_mg) * 100
    half = _half_width(batch, active=active, contents=contents, shares=shares)
    half_percent = None if half is None else half / float(weighed_mg) * 100
    working.append(
        message(
            "reconciliation.active_found",
            active=active.name,
            found_mg=shares.total_mg,
            weighed_mg=weighed_mg,
            recovery_percent=recovery,
            half_percent=half_percent,
        )
    )
    if half is None:
        missing.append(message("reconciliation.one_assay", active=active.name))
    balance = ActiveBalance(
        active=active.name,
        weighed_mg=weighed_mg,
        in_units_mg=float(shares.units_mg),
        in_trimmings_mg=None if shares.trimmings_mg is None else float(shares.trimmings_mg),
        in_dish_mg=None if shares.dish_mg is None else float(shares.dish_mg),
        found_mg=float(shares.total_mg),
        recovery_percent=recovery,
        recovery_low_percent=None if half_percent is None else float(recovery) - half_percent,
        recovery_high_percent=None if half_percent is None else float(recovery) + half_percent,
        n=len(contents),
    )
    return balance, working, missing


def _shares(
    batch: Batch, *, active: Active, contents: list[Fraction], only_one: bool
) -> tuple[_Shares, list[Message], list[Message]]:
    average = mean(contents)
    units = Fraction(batch.units_obtained or 0)
    in_units = average * units
    name = active.name
    working = [
        message(
            "reconciliation.in_units",
            active=name,
            n=len(contents),
            mean_mg=average,
            units=int(units),
            found_mg=in_units,
        )
    ]
    missing: list[Message] = []
    equivalents = units
    in_trimmings = None
    masses = [unit.mass_g for unit in batch.weighed if unit.mass_g is not None]
    if batch.trimmings_g is not None and masses:
        as_units = Fraction(batch.trimmings_g) / mean(masses)
        in_trimmings = average * as_units
        equivalents += as_units
        working.append(message("reconciliation.in_trimmings", active=name, found_mg=in_trimmings))
    elif batch.trimmings_g is None:
        missing.append(message("reconciliation.no_trimmings", active=name))
    in_dish = None
    if batch.dish_assay_mg is not None and only_one:
        in_dish = Fraction(batch.dish_assay_mg)
        working.append(message("reconciliation.in_dish", active=name, found_mg=batch.dish_assay_mg))
    elif batch.dish_assay_mg is not None:
        missing.append(message("reconciliation.dish_of_several", active=name))
    elif batch.melt_left_g != 0:
        missing.append(message("reconciliation.no_dish", active=name))
    shares = _Shares(units_mg=in_units, trimmings_mg=in_trimmings, dish_mg=in_dish, unit_equivalents=equivalents)
    return shares, working, missing


def _half_width(batch: Batch, *, active: Active, contents: list[Fraction], shares: _Shares) -> float | None:
    """Half of the 95 % interval of the active found [mg]; None with a single assay."""
    n = len(contents)
    if n < 2:
        return None
    repeatability = Fraction(active.assay_repeatability_percent or 0) / 100
    assay_variance = (repeatability * mean(contents)) ** 2
    unit_variance = max(sample_variance(contents) - assay_variance, Fraction(0))
    share = min(Fraction(n, batch.units_obtained or n), Fraction(1))
    of_the_mean = unit_variance / n * (1 - share) + assay_variance / n
    dish_variance = (repeatability * (shares.dish_mg or 0)) ** 2
    variance = shares.unit_equivalents**2 * of_the_mean + dish_variance
    root = square_root(variance)
    assert math.isfinite(root)
    return root * two_sided_quantile(CONFIDENCE, df=n - 1)
