"""What a review says: series, signals, parts of the spread and the next batch in words."""

from __future__ import annotations

from datetime import date, timedelta
from math import sqrt
from statistics import fmean

from qc.history.change import Change
from qc.history.components import Components
from qc.history.products import BatchSeries, Product
from qc.say.numbers import fixed, interval, signed

WHAT = {
    "mass-mean": "Mean mass",
    "mass-sd": "SD of mass within the batch",
    "content-mean": "Mean content",
    "content-sd": "SD of content within the batch",
    "cavity": "Units of",
}
PART = {
    "batch": "from batch to batch",
    "cavity": "between cavities",
    "mould": "between moulds",
    "made by": "between those who made it",
    "base lot": "between lots of base",
    "active lot": "between lots of active",
}


def of_series(one: BatchSeries) -> str:
    """What a series follows.

    Examples
    --------
    >>> WHAT["mass-mean"]
    'Mean mass'
    """
    return f"{WHAT[one.id]} {one.of}" if one.id == "cavity" else f"{WHAT[one.id]}{f', {one.of}' if one.of else ''}"


def unit_of(one: BatchSeries) -> str:
    """The name of the axis with its unit of measure."""
    return f"{'SD' if one.id.endswith('sd') else 'Mean'} [{one.unit}]"


def decimals_of(one: BatchSeries) -> int:
    """How many decimals its values are shown with."""
    return 4 if one.unit == "g" else 2 if one.id.endswith("sd") else 1


def day_of(product: Product, one: BatchSeries, place: int) -> str:
    """The day of a batch of a series."""
    return product.batches[one.places[place]].day or f"batch {product.batches[one.places[place]].number}"


def which_way(change: Change) -> str:
    """Whether what changed is greater now."""
    return "rose" if change.after[0] > change.before[0] else "fell"


def change_in_words(product: Product, one: BatchSeries, change: Change) -> str:
    """One change in a sentence: which way, how far, and when."""
    before, after = one.shown(change.before[0]), one.shown(change.after[0])
    digits = decimals_of(one)
    unit = "% of the batch mean" if one.id == "cavity" else one.unit
    show = signed if one.id == "cavity" else fixed
    levels = f"from {show(before, decimals=digits)} to {show(after, decimals=digits)} {unit}"
    way = which_way(change)
    first, last = day_of(product, one, change.first), day_of(product, one, change.last)
    if change.kind == "creep":
        return f"{of_series(one)} {way} little by little {levels}, from about {first} to {last}"
    return f"{of_series(one)} {way} {levels} on {first}"


def ends_in_words(one: BatchSeries, level: tuple[float, float, float]) -> str:
    """A level with its interval."""
    digits = decimals_of(one)
    low, high = one.shown(level[1]), one.shown(level[2])
    return f"{fixed(one.shown(level[0]), decimals=digits)} ({interval(low, high, decimals=digits)})"


def worth_working_on(what: str, found: Components) -> str:
    """Which part of the spread is the largest."""
    parts = {PART[name]: variance for name, variance in found.variances.items()}
    parts["from unit to unit"] = found.residual
    largest = max(parts, key=lambda part: parts[part])
    share = parts[largest] / found.total if found.total else 0.0
    of_all, sd = fixed(100.0 * share, decimals=0), fixed(sqrt(parts[largest]), decimals=2)
    return f"The largest part of the spread of {what} is that {largest}: {of_all} % of the variance (SD {sd} %)."


def events_near(product: Product, first: str, last: str, *, within: int = 31) -> str:
    """The events noted within a month of a change, as what may lie behind it."""
    near = timedelta(days=within)
    try:
        begin, end = date.fromisoformat(first) - near, date.fromisoformat(last) + near
    except ValueError:
        # The day on which a batch was made may be entered in another way.
        return ""
    return "; ".join(
        f"{one.day}: {one.text}" for one in product.events if begin.isoformat() <= one.day <= end.isoformat()
    )


def far_from_level(one: BatchSeries, place: int) -> str:
    """How far a single batch lies from the level of those about it."""
    others = next(values for level, values in one.levels if place in level)
    value, level = one.shown(one.points[place].value), one.shown(fmean(others))
    digits = decimals_of(one)
    return f"{fixed(value, decimals=digits)} {one.unit}, the others {fixed(level, decimals=digits)}"
