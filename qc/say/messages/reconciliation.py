"""The balance of melt, units and active: its arithmetic line by line, what was left out, and what does not add up."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction

from qc.results import Limit
from qc.say.limits import line
from qc.say.numbers import as_typed, fixed, grams

SENTENCES = {
    "units_weighed": "Units: sum of {n} masses = {total_g:grams} g.",
    "more_came_out": "More came out than went in, by {excess_g:grams} g: a mass was misread or a weighing is missing.",
    "fewer_than_entered": "Units obtained is {obtained}, but {entered} units are entered.",
    "more_than_poured": "Units obtained is {obtained}, more than the {poured} poured.",
    "counts": "Units: {obtained} obtained - {released} released - {rejected} rejected - {sampled} sampled = "
    "{difference}.",
    "melt": "Not accounted for: {prepared_g:typed} - {units_g:grams} (units) - {trimmings_g:typed} (trimmings) - "
    "{left_g:typed} (dish) = {unaccounted_g:grams} g, {share_percent:+.2f} % of the melt.",
    "in_units": "{active} in units: mean of {n} assays {mean_mg:.4f} mg x {units} units = {found_mg:.2f} mg.",
    "in_trimmings": "{active} in trimmings, at the same content per gram: {found_mg:.2f} mg.",
    "in_dish": "{active} in the dish: {found_mg:typed} mg.",
    "no_trimmings": "{active} in the trimmings was not counted: enter Trimmings (g), 0 where there were none.",
    "dish_of_several": "Dish assay (mg) was not counted for {active}: there are several actives.",
    "no_dish": "{active} in the dish was not counted: enter Dish assay (mg), or 0 g of melt left.",
    "one_assay": "{active}: one unit assayed gives no interval for what was found.",
    "all_within": "Every balance lies within its limit.",
    "nothing_entered": "Nothing was entered.",
}

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


def units_estimated(n: int, obtained: int, mean_g: Fraction, total_g: Fraction, half_g: float | None) -> str:
    """All units, from the mean of those weighed."""
    if half_g is None:
        return f"Units: {obtained} x {grams(mean_g)} g, the one mass known, = {grams(total_g)} g (estimated)."
    interval = f"± {fixed(half_g, decimals=3)} g at 95 %"
    return f"Units: {obtained} x {grams(mean_g)} g, the mean of {n}, = {grams(total_g)} g (estimated, {interval})."


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
        melt_over_plan = f"{as_typed(melt_g)} g of melt / {grams(planned_g)} g planned"
        of = f"{melt_over_plan} = {fixed(theoretical, decimals=2)} units"
    else:
        of = f"{theoretical} units poured"
    return f"Yield: {obtained} units of {of} = {fixed(yield_percent, decimals=2)} %."


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


def beyond_limit(limit: Limit) -> str:
    """A balance beyond the limit of the house."""
    shown_as = line(limit)
    return f"{shown_as.what}: {shown_as.figure}, the limit is {shown_as.limit}."
