"""What is said of the pour: each series along it, and what else could have made, or hidden, a change."""

from __future__ import annotations

from collections.abc import Sequence

from qc.say.changes import Ends, moved_from_to, series_name
from qc.say.numbers import change as signed
from qc.say.numbers import p_value, percent_short

Interval = tuple[float, float]


def changed(*, series: str, active: str, clearly: bool, shape: str, size: str, p: float, n: int) -> str:
    """A change that was called; `size` in words, or "" where nothing could be fitted."""
    sized = f": it {size}. It is {shape}" if size else ""
    word = "clearly" if clearly else "possibly"
    return f"{series_name(series, active)} {word} changed along the pour{sized} ({p_value(p)}, {_units(series, n)})."


def none_seen(*, series: str, active: str, p: float, n: int, detectable: float, straight: Interval | None) -> str:
    """No change seen, and the least that would have been seen [% of mean]."""
    return (
        f"{series_name(series, active)}: no change along the pour was seen in {_units(series, n)} ({p_value(p)}). A "
        f"straight change of {percent_short(detectable)} of the mean or more would have been seen nine times in ten."
        f"{_straight_alone(straight)}"
    )


def moulds_in_order(*, series: str, active: str, p: float) -> str:
    """A pattern that differences between moulds would make as well."""
    return (
        f"{_untold(series, active)} There is a pattern along the pour ({p_value(p)}), but the moulds "
        "were poured one after the other and differences between moulds would make the same pattern."
    )


def too_few_to_show(*, series: str, active: str, n: int) -> str:
    """So few units that no order of theirs would be called."""
    return f"{_untold(series, active)} {_units(series, n)} are too few to show any change along the pour."


def too_unsure(
    *, series: str, active: str, n: int, detectable: float, important: float, straight: Interval | None
) -> str:
    """The least change that would be seen is greater than one that matters [% of mean]."""
    return (
        f"{_untold(series, active)} With {_units(series, n)} and this scatter only a straight change of "
        f"{percent_short(detectable)} of the mean or more would be seen nine times in ten, and a change "
        f"of {percent_short(important)} would already matter.{_straight_alone(straight)}"
    )


def no_places(*, series: str, active: str) -> str:
    """Nothing measured has a place in the pour."""
    return f"{_untold(series, active)} No measured unit has a place in the pour."


def too_few_places(*, series: str, active: str, n: int, needed: int) -> str:
    """Too few of the measured units have a place in the pour."""
    have = "has" if n == 1 else "have"
    return (
        f"{_untold(series, active)} Only {n} of the units measured {have} a place in the pour; at least "
        f"{needed} are needed."
    )


def one_place(*, series: str, active: str) -> str:
    """All units were poured together."""
    return f"{_untold(series, active)} All units measured were poured together, so there is no order to compare."


def zero_mean(*, series: str, active: str) -> str:
    """There is no mean to take a percentage of."""
    return f"{_untold(series, active)} The mean is zero, so a change in % of it has no meaning."


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


def straight_drift() -> str:
    """The shape of an even change."""
    return "a straight drift"


def step(*, after: str) -> str:
    """The shape of a change between two units."""
    return f"a step after unit {after}"


def bend(*, early: bool) -> str:
    """The shape of a change at one end of the pour."""
    return f"a change in the {'first' if early else 'last'} units"


def mould_not_excluded() -> str:
    """Moulds poured in order."""
    return "The moulds were poured one after the other: a difference between moulds cannot be excluded."


def cavities_not_excluded() -> str:
    """Cavities whose differences are still in the values."""
    return "Differences between cavities could not be taken out and cannot be excluded."


def influential_unit(*, unit: str) -> str:
    """One end unit makes the call."""
    return f"The finding rests on unit {unit} alone: a slip at that unit cannot be excluded. Measure it again."


def balance_not_excluded() -> str:
    """Weighing in the order of pouring."""
    return "If the units were weighed in pour order, a slow drift of the balance cannot be excluded."


def assay_not_excluded() -> str:
    """Assaying in the order of pouring."""
    return "If the units were assayed in pour order, a slow drift of the assay cannot be excluded."


def swings_not_excluded(*, autocorrelated: bool) -> str:
    """Neighbours that resemble each other."""
    still = ", as they still do here after the fitted change is taken out" if autocorrelated else ""
    return f"Slow swings of fill or temperature cannot be excluded: they make neighbours resemble each other{still}."


def end_apart(*, unit: str, first: bool) -> str:
    """An end unit far outside the others, though no change was called."""
    return (
        f"Unit {unit}, the {'first' if first else 'last'} poured, lies far from all others. One unit alone "
        "cannot show whether the pour changed there or a slip was made: measure it again, and its neighbour."
    )


def coarse() -> str:
    """Values on few steps of the balance."""
    return "The values lie on few steps of the balance: a change smaller than one step cannot be seen."


def not_covered(*, percent: float) -> str:
    """Share of the pour before the first and after the last unit of the series [%]."""
    return (
        f"{percent_short(percent)} of the pour lies before the first or after the last of these units: the straight "
        "line is extrapolated there, and what happened cannot be seen."
    )


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


def by_calibration() -> str:
    """How differences between cavities were taken out of masses."""
    return "Differences between cavities were taken out by the calibration pours."


def by_own_means(*, levels: str, rounds: int) -> str:
    """How differences between cavities, or moulds, were taken out of masses."""
    return (
        f"Differences between {_PLURAL[levels]} were taken out by their own means (each was filled {rounds} times or "
        "more often on average)."
    )


def cavities_stay() -> str:
    """Why differences between cavities are still in the masses."""
    return (
        "Differences between cavities could not be taken out: each cavity was filled too seldom, and there are no "
        "calibration pours for all of them."
    )


def fill_taken_out() -> str:
    """How the fill of the cavities was taken out of contents."""
    return "The fill of the cavities was taken out of the contents, as the masses or the calibration pours show it."


def also_changed(*, first: str, others: Sequence[tuple[str, str, bool, float | None]]) -> str:
    """The sentence of the first series that changed, and the others by name, flag and size [% of mean]."""
    told = [
        f"{_name(series, active)} {'clearly' if clearly else 'possibly'} changed"
        + ("" if size is None else f" ({signed(size)} % of the mean)")
        for series, active, clearly, size in others
    ]
    return f"{first} Also: {'; '.join(told)}."


def nothing_seen(*, series: Sequence[tuple[str, str]], detectable: float) -> str:
    """No change in any series, and the least that would have been seen in each of them [% of mean]."""
    names = [_name(*one) for one in series]
    named = names[0] if len(names) == 1 else f"{', '.join(names[:-1])} or {names[-1]}"
    each = "" if len(names) == 1 else " in each of them"
    silent = "" if len(names) > 1 else " Masses alone cannot show a change of content."
    return (
        f"No change along the pour was seen in {named}. A straight change of {detectable:.1f} % of the mean or more "
        f"would have been seen{each} nine times in ten.{silent}"
    )


def no_label(*, active: str) -> str:
    """Contents in two units of measure that nothing joins."""
    return (
        f"Some contents{f' of {active}' if active else ''} are in mg and some in % of label; the label claim that "
        "joins them is missing, so that they are left out of the pour-order analysis. Enter the label claim (mg)."
    )


def no_order() -> str:
    """No unit has a place in the pour."""
    return (
        "No pour order was entered, so nothing can be said about a change while the batch was poured. Enter the pour "
        "order of each unit (1, 2, 3 ...)."
    )


def no_order_of(*, units: Sequence[str]) -> str:
    """Some units have no place in the pour."""
    return f"No pour order was entered for {_named(units)}; left out of the pour-order analysis, not of the tests."


_PLURAL = {"cavity": "cavities", "mould": "moulds"}


def _name(series: str, active: str) -> str:
    return f"{series} of {active}" if active else series


def _named(units: Sequence[str]) -> str:
    few = list(dict.fromkeys(units))
    shown = ", ".join(few[:8]) + (f" and {len(few) - 8} more" if len(few) > 8 else "")
    return f"unit {shown}" if len(few) == 1 else f"units {shown}"


def _untold(series: str, active: str) -> str:
    return f"{series_name(series, active)}: cannot tell."


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
    low, high = straight
    return (
        f" The interval of a straight change alone ({signed(low)} to {signed(high)} % of the mean) excludes zero; the "
        "p-value allows for other shapes and for all series together."
    )
