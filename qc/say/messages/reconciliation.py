"""The balance of melt, units and active: its arithmetic line by line, what was left out, and what does not add up."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction

from qc.results import Limit
from qc.say.limits import line
from qc.say.numbers import as_typed, fixed, signed

_BALANCES = {
    "units_mass": "The mass of the units",
    "melt": "The balance of the melt",
    "counts": "The balance of units",
    "yield": "The yield",
}
_FIELDS = {
    "melt_prepared_g": "Melt prepared (g)",
    "melt_left_g": "Melt left in dish (g)",
    "trimmings_g": "Trimmings (g)",
    "units_obtained": "Units obtained",
    "units_rejected": "Units rejected",
    "units_sampled": "Units sampled",
    "units_released": "Units released",
    "units_poured_or_plan": "Units poured, or Melt prepared (g) and Planned mass (g)",
    "amount_weighed_g": "the amount weighed",
    "contents": "contents of whole units in mg (or the label claim)",
}


def left_out(balance: str, enter: Sequence[str], active: str = "") -> str:
    """A balance that was left out, and what to enter for it."""
    what = f"{active} weighed against found" if active else _BALANCES[balance]
    if balance == "units_mass":
        return f"{what} was left out: enter Units obtained and the masses of single units."
    zero = " (0 where there was none)" if balance == "melt" else ""
    return f"{what} was left out: enter {', '.join(_FIELDS[name] for name in enter)}{zero}."


def units_weighed(n: int, total_g: Fraction) -> str:
    """All units, each weighed."""
    return f"Units: sum of {n} masses = {_grams(total_g)} g."


def units_estimated(n: int, obtained: int, mean_g: Fraction, total_g: Fraction, half_g: float | None) -> str:
    """All units, from the mean of those weighed."""
    if half_g is None:
        return f"Units: {obtained} x {_grams(mean_g)} g, the one mass known, = {_grams(total_g)} g (estimated)."
    interval = f"± {fixed(half_g, decimals=3)} g at 95 %"
    return f"Units: {obtained} x {_grams(mean_g)} g, the mean of {n}, = {_grams(total_g)} g (estimated, {interval})."


def melt(
    prepared_g: Decimal,
    units_g: Fraction,
    trimmings_g: Decimal,
    left_g: Decimal,
    unaccounted_g: Fraction,
    share_percent: Fraction,
) -> str:
    """What of the melt is not accounted for."""
    parts = f"{prepared_g:f} - {_grams(units_g)} (units) - {trimmings_g:f} (trimmings) - {left_g:f} (dish)"
    share = f"{signed(share_percent, decimals=2)} % of the melt"
    return f"Not accounted for: {parts} = {_grams(unaccounted_g)} g, {share}."


def more_came_out(excess_g: Fraction) -> str:
    """More melt was found than prepared."""
    return f"More came out than went in, by {_grams(excess_g)} g: a mass was misread or a weighing is missing."


def fewer_than_entered(obtained: int, entered: int) -> str:
    """Fewer units obtained than stand on the sheet."""
    return f"Units obtained is {obtained}, but {entered} units are entered."


def more_than_poured(obtained: int, poured: int) -> str:
    """More units obtained than poured."""
    return f"Units obtained is {obtained}, more than the {poured} poured."


def counts(obtained: int, released: int, rejected: int, sampled: int, difference: int) -> str:
    """The units by count."""
    return f"Units: {obtained} obtained - {released} released - {rejected} rejected - {sampled} sampled = {difference}."


def counts_differ(obtained: int, released: int, rejected: int, sampled: int, difference: int) -> str:
    """Counts of units that do not add up."""
    fate = f"{difference} unaccounted for" if difference > 0 else f"{-difference} more than were obtained"
    return (
        f"The counts of units do not add up: {obtained} obtained; {released} released, {rejected} rejected and "
        f"{sampled} sampled make {obtained - difference} ({fate})."
    )


def units_yield(
    obtained: int, theoretical: Fraction, yield_percent: Fraction, melt_g: Decimal | None, planned_g: Fraction | None
) -> str:
    """Units obtained over those that the melt would give, or those poured."""
    if planned_g and melt_g is not None:
        melt_over_plan = f"{as_typed(melt_g)} g of melt / {_grams(planned_g)} g planned"
        of = f"{melt_over_plan} = {fixed(theoretical, decimals=2)} units"
    else:
        of = f"{theoretical} units poured"
    return f"Yield: {obtained} units of {of} = {fixed(yield_percent, decimals=2)} %."


def in_units(active: str, n: int, mean_mg: Fraction, units: int, found_mg: Fraction) -> str:
    """The active in the units."""
    mean = f"mean of {n} assays {fixed(mean_mg, decimals=4)} mg"
    return f"{active} in units: {mean} x {units} units = {fixed(found_mg, decimals=2)} mg."


def in_trimmings(active: str, found_mg: Fraction) -> str:
    """The active in the trimmings."""
    return f"{active} in trimmings, at the same content per gram: {fixed(found_mg, decimals=2)} mg."


def in_dish(active: str, found_mg: Decimal) -> str:
    """The active left in the dish."""
    return f"{active} in the dish: {as_typed(found_mg)} mg."


def active_found(
    active: str, found_mg: Fraction, weighed_mg: Decimal, recovery_percent: Fraction, half_percent: float | None
) -> str:
    """The active found of that weighed, with its interval."""
    half = (
        ""
        if half_percent is None
        else f" ± {fixed(half_percent, decimals=2)} % (95 %, assay repeatability and sampling)"
    )
    found = f"{fixed(found_mg, decimals=2)} mg of {as_typed(weighed_mg)} mg weighed"
    return f"{active} found {found} = {fixed(recovery_percent, decimals=2)} %{half}."


def no_trimmings(active: str) -> str:
    """The trimmings were not entered."""
    return f"{active} in the trimmings was not counted: enter Trimmings (g), 0 where there were none."


def dish_of_several(active: str) -> str:
    """The dish assay could be of any of several actives."""
    return f"Dish assay (mg) was not counted for {active}: there are several actives."


def no_dish(active: str) -> str:
    """The dish was not assayed."""
    return f"{active} in the dish was not counted: enter Dish assay (mg), or 0 g of melt left."


def one_assay(active: str) -> str:
    """A single assay has no spread."""
    return f"{active}: one unit assayed gives no interval for what was found."


def beyond_limit(limit: Limit) -> str:
    """A balance beyond the limit of the house."""
    shown_as = line(limit)
    return f"{shown_as.what}: {shown_as.figure}, the limit is {shown_as.limit}."


def all_within() -> str:
    """No balance beyond its limit."""
    return "Every balance lies within its limit."


def nothing_entered() -> str:
    """No field of the balance is filled."""
    return "Nothing was entered."


def _grams(value: Fraction) -> str:
    return fixed(value, decimals=4).rstrip("0").rstrip(".")
