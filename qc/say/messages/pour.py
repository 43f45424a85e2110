"""What is said of the pour: each series along it, and what else could have made, or hidden, a change."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction

from qc.say.changes import Ends, moved_from_to, series_name
from qc.say.numbers import grams, interval, p_value, percent_short, plain_limit, signed

SENTENCES = {
    "filling": "The content of {active} changes along the pour and its concentration was not seen to change: this "
    "points to the filling, not to settling.",
    "straight_drift": "a straight drift",
    "step": "a step after unit {after}",
    "mould_not_excluded": "The moulds were poured one after the other: a difference between moulds cannot be excluded.",
    "cavities_not_excluded": "Differences between cavities could not be taken out and cannot be excluded.",
    "influential_unit": "The finding rests on unit {unit} only: a mistake at that unit cannot be excluded. Measure it "
    "again.",
    "balance_not_excluded": "If the units were weighed in pour order, a slow drift of the balance cannot be excluded.",
    "assay_not_excluded": "If the units were assayed in pour order, a slow drift of the assay cannot be excluded.",
    "coarse": "The values lie on few steps of the balance: a change smaller than one step cannot be seen.",
    "not_covered": "{percent:percent} of the pour lies before the first or after the last of these units: the straight "
    "line is extrapolated there, and what happened cannot be seen.",
    "by_calibration": "Differences between cavities were taken out by the calibration pours.",
    "by_own_means": "Differences between {levels:plural} were taken out by their own means (each was filled {rounds} "
    "times or more often on average).",
    "cavities_stay": "Differences between cavities could not be taken out: each cavity was filled too seldom, and "
    "there are no calibration pours for all of them.",
    "fill_taken_out": "The fill of the cavities was taken out of the contents, as the masses or the calibration pours "
    "show it.",
    "no_label": "Some contents{active:of} are in mg and some in % of label; the label claim that joins them is "
    "missing, so that they are left out of the pour-order analysis. Enter the label claim (mg).",
    "no_order": "No pour order was entered, so nothing can be said about a change while the batch was poured. Enter "
    "the pour order of each unit (1, 2, 3 ...).",
    "no_order_of": "No pour order was entered for {units:units}; left out of the pour-order analysis, not of the "
    "tests.",
    "no_places": "{series:heading of {active}}: cannot tell. No measured unit has a place in the pour.",
    "one_place": "{series:heading of {active}}: cannot tell. All units measured were poured together, so there is no "
    "order to compare.",
    "zero_mean": "{series:heading of {active}}: cannot tell. The mean is zero, so a change in % of it has no meaning.",
    "bend": "a change in the {early:either first|last} units",
    "swings_not_excluded": "Slow swings of fill or temperature cannot be excluded: they make neighbours resemble each "
    "other{autocorrelated:either , as they still do here after the fitted change is taken out|}.",
    "end_apart": "Unit {unit}, the {first:either first|last} poured, lies far from all others. One unit cannot show "
    "whether the pour changed there or a mistake was made: measure it again, and its neighbour.",
    "moulds_in_order": "{series:heading of {active}}: cannot tell. There is a pattern along the pour ({p:p_value}), "
    "but the moulds were poured one after the other and differences between moulds would make the same pattern.",
    "too_few_to_show": "{series:heading of {active}}: cannot tell. {n:measured {series}} are too few to show any "
    "change along the pour.",
    "too_few_places": "{series:heading of {active}}: cannot tell. A place in the pour is known for {n} of the units "
    "measured; at least {needed} are needed.",
}

Interval = tuple[float, float]


def planned_unit(*, nominal_g: Decimal, doses: Sequence[tuple[str, Fraction, Decimal, bool]], mass_g: Fraction) -> str:
    """The arithmetic of a planned mass: base of a cavity, then each active, its dose, and what it displaces.

    The number of an active is its displacement value where the last entry is true, else its displacement factor.
    """
    terms = [
        f" + {active} {grams(dose_g)} g x (1 - {'1/' if by_value else ''}{number})"
        for active, dose_g, number, by_value in doses
    ]
    told = f"{nominal_g} g base{''.join(terms)} = {grams(mass_g)} g"
    conventions = [
        f"{active}: displacement value, {number} g of active displaces 1 g of base"
        if by_value
        else f"{active}: displacement factor, 1 g of active displaces {number} g of base"
        for active, _, number, by_value in doses
    ]
    return f"{told} ({'; '.join(conventions)})" if doses else told


def as_entered(*, planned_g: Decimal, worked_out: str | None) -> str:
    """A planned mass that was entered, with the one that the doses ask for where it is known."""
    return f"{planned_g} g as entered" + (f"; worked out: {worked_out}" if worked_out else "")


def changed(*, series: str, active: str, clearly: bool, shape: str, size: str, p: float, n: int) -> str:
    """A change that was called; `size` in words, or "" where nothing could be fitted."""
    sized = f": it {size}, as {shape}" if size else ""
    word = "clearly" if clearly else "possibly"
    return f"{series_name(series, active)} {word} changed along the pour{sized} ({p_value(p)}, {_units(series, n)})."


def none_seen(*, series: str, active: str, p: float, n: int, detectable: float, straight: Interval | None) -> str:
    """No change seen, and the least that would have been seen [% of mean]."""
    return (
        f"{series_name(series, active)}: no change along the pour was seen in {_units(series, n)} ({p_value(p)}). A "
        f"straight change of {percent_short(detectable)} of the mean or more would have been seen nine times in ten."
        f"{_straight_alone(straight)}"
    )


def too_unsure(
    *, series: str, active: str, n: int, detectable: float, important: float, straight: Interval | None
) -> str:
    """The least change that would be seen is greater than one that matters [% of mean]."""
    return (
        f"{series_name(series, active)}: cannot tell. With {_units(series, n)} and this scatter only a straight change "
        f"of {percent_short(detectable)} of the mean or more would be seen nine times in ten, and a change of "
        f"{percent_short(important)} would already matter.{_straight_alone(straight)}"
    )


def size(
    *, change: tuple[float, float, float], ends: Ends, measured: float, measured_ends: Ends, moulds_included: bool
) -> str:
    """A change with its interval, between which units.

    `change` over the whole pour with its interval and `measured` over the units of the series [% of mean]; `ends` and
    `measured_ends` name the units there.
    """
    percent, low, high = change
    told = moved_from_to(percent, (low, high), ends=ends, measured=measured, measured_ends=measured_ends)
    return f"{told}, differences between moulds included" if moulds_included else told


def picture_of_change(*, series: str, active: str, taken_out: bool, shape: str, stretch: Sequence[str]) -> str:
    """What the picture of a called change shows and what it cannot show."""
    marked = f", units {stretch[0]} to {stretch[-1]} marked" if stretch else ""
    return (
        f"{_drawn(series, active, taken_out)}; the curve is the fitted change ({shape}) with its 95 % band{marked}. "
        "It shows when the change came; it cannot show what caused it."
    )


def picture_of_none(*, series: str, active: str, taken_out: bool) -> str:
    """What a picture without a called change cannot show."""
    blind = (
        "a change of content that leaves the mass as it is"
        if series == "mass"
        else "what happened in units that were not assayed"
    )
    return (
        f"{_drawn(series, active, taken_out)}, with the fitted straight line and its 95 % band. It cannot show {blind}."
    )


def one_side(*, mould: str, heavy: bool, units: int, there: int, near: float, far: float, beyond: float) -> str:
    """A mould of which all units, or all but one, are light or heavy: their deviations and the bound [% of mean]."""
    count = f"All {units}" if there == units else f"{there} of the {units}"
    ends = interval(near, far, decimals=1, sign=True)
    return (
        f"{count} units of mould {mould} are {'heavy' if heavy else 'light'}, {ends} % from the mean ("
        f"more than half the limit, {plain_limit(beyond)} %)."
    )


def also_changed(*, first: str, others: Sequence[tuple[str, str, bool, float | None]]) -> str:
    """The sentence of the first series that changed, and the others by name, flag and size [% of mean]."""
    told = [
        f"{_name(series, active)} {'clearly' if clearly else 'possibly'} changed"
        + ("" if size is None else f" ({signed(size, decimals=1)} % of the mean)")
        for series, active, clearly, size in others
    ]
    return f"{first} Also: {'; '.join(told)}."


def nothing_seen(*, series: Sequence[tuple[str, str]], detectable: float) -> str:
    """No change in any series, and the least that would have been seen in each of them [% of mean]."""
    names = [_name(*one) for one in series]
    named = names[0] if len(names) == 1 else f"{', '.join(names[:-1])} or {names[-1]}"
    each = "" if len(names) == 1 else " in each of them"
    silent = "" if len(names) > 1 else " Masses without assays cannot show a change of content."
    return (
        f"No change along the pour was seen in {named}. A straight change of {percent_short(detectable)} of the mean "
        f"or more would have been seen{each} nine times in ten.{silent}"
    )


def _name(series: str, active: str) -> str:
    return f"{series} of {active}" if active else series


def _units(series: str, n: int) -> str:
    return f"{n} units" if series == "mass" else f"{n} assayed units"


def _drawn(series: str, active: str, taken_out: bool) -> str:
    how = "as weighed" if series == "mass" else "as assayed"
    out = ", and with the differences between cavities taken out" if taken_out else ""
    return f"{series_name(series, active)} by pour order, {how}{out}"


def _straight_alone(straight: Interval | None) -> str:
    """Why the interval of a straight change may exclude zero where nothing is called; "" where it does not."""
    if straight is None or not (straight[0] > 0 or straight[1] < 0):
        return ""
    ends = interval(*straight, decimals=1, sign=True)
    return (
        f" The interval of a straight change by itself ({ends} % of the mean) excludes zero; "
        "the p-value allows for other shapes and for all series together."
    )
