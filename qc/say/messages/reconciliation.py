"""The balance of melt, units and active: its arithmetic line by line, what was left out, and what does not add up."""

from __future__ import annotations

from collections.abc import Sequence

from qc.results import ActiveBalance, Limit, Reconciliation
from qc.say.limits import line
from qc.say.numbers import as_typed, fixed, grams

SENTENCES = {
    "units_weighed": "Units: sum of {found.units_weighed} masses = {found.units_g:grams} g.",
    "more_came_out": "More came out than went in, by {excess_g:grams} g: a mass was misread or a weighing is missing.",
    "more_used": "{ledger.used} units were assayed, used in other tests, rejected or retained, of {ledger.whole} in "
    "all: some of them are not of this batch, or a count is wrong.",
    "counts": "Units: {found.units_obtained} obtained - {found.units_released} released - "
    "{found.units_rejected} rejected - {found.units_sampled} sampled = {found.units_difference}.",
    "melt": "Not accounted for: {found.melt_prepared_g:typed} - {found.units_g:grams} (units) - "
    "{found.trimmings_g:typed} (trimmings) - {found.melt_left_g:typed} (dish) = {found.unaccounted_g:grams} g, "
    "{found.unaccounted_percent:+.2f} % of the melt.",
    "in_trimmings": "{found.active} in trimmings, at the same content per gram: {found.in_trimmings_mg:.2f} mg.",
    "in_dish": "{found.active} in the dish: {found.in_dish_mg:typed} mg.",
    "no_trimmings": "{active} in the trimmings was not counted: enter Trimmings (g), 0 where there were none.",
    "dish_of_several": "Dish assay (mg) was not counted for {active}: there are several actives.",
    "no_dish": "{active} in the dish was not counted: enter Dish assay (mg), or 0 g of melt left.",
    "one_assay": "{active}: one unit assayed gives no interval for what was found.",
    "all_within": "Every balance lies within its limit{unlimited:either , as far as one is given|}.",
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


def units_estimated(found: Reconciliation) -> str:
    """All units, from the mean of those weighed."""
    assert found.units_g is not None
    assert found.units_obtained is not None
    each, total = grams(found.units_g / found.units_obtained), grams(found.units_g)
    if found.units_high_g is None:
        return f"Units: {found.units_obtained} x {each} g, the one mass known, = {total} g (estimated)."
    interval = (
        f"± {fixed(found.units_high_g - float(found.units_g), decimals=3)} g at 95 % where masses scatter normally"
    )
    mean_of = f"the mean of {found.units_weighed}"
    return f"Units: {found.units_obtained} x {each} g, {mean_of}, = {total} g (estimated, {interval})."


def _counts_differ(found: Reconciliation) -> str:
    """Counts of units that do not add up."""
    obtained, difference = found.units_obtained or 0, found.units_difference or 0
    fate = f"{difference} unaccounted for" if difference > 0 else f"{-difference} more than were obtained"
    return (
        f"The counts of units do not add up: {obtained} obtained; {found.units_released} released, "
        f"{found.units_rejected} rejected and {found.units_sampled} sampled make {obtained - difference} ({fate})."
    )


def units_yield(found: Reconciliation) -> str:
    """Units obtained over those that the melt would give, or those poured."""
    of = f"{found.theoretical_units} units poured"
    if found.planned_g is not None and found.melt_prepared_g is not None:
        melt_over_plan = f"{as_typed(found.melt_prepared_g)} g of melt / {grams(found.planned_g)} g planned"
        of = f"{melt_over_plan} = {fixed(found.theoretical_units, decimals=2)} units"
    return f"Yield: {found.units_obtained} units of {of} = {fixed(found.yield_percent, decimals=2)} %."


def in_units(found: ActiveBalance, units: int) -> str:
    """The active in all units, from the mean content of those assayed."""
    mean_of = f"mean of {found.n} assays {fixed(found.in_units_mg / units, decimals=4)} mg"
    return f"{found.active} in units: {mean_of} x {units} units = {fixed(found.in_units_mg, decimals=2)} mg."


def active_found(found: ActiveBalance) -> str:
    """The active found of that weighed, with its interval."""
    half = ""
    if found.recovery_high_percent is not None:
        half_percent = found.recovery_high_percent - float(found.recovery_percent)
        half = f" ± {fixed(half_percent, decimals=2)} % (95 %, assay repeatability and sampling)"
    of_weighed = f"{fixed(found.found_mg, decimals=2)} mg of {as_typed(found.weighed_mg)} mg weighed"
    return f"{found.active} found {of_weighed} = {fixed(found.recovery_percent, decimals=2)} %{half}."


def beyond_limit(limit: Limit) -> str:
    """A balance beyond the limit of the house, or counts of units that do not close."""
    if limit.what == "units_unaccounted":
        return _counts_differ(limit.values["found"])
    shown_as = line(limit)
    return f"{shown_as.what[0].upper()}{shown_as.what[1:]}: {shown_as.figure}, the limit is {shown_as.limit}."
