"""A run of masses or contents that stands twice, to the last digit: a block that was copied, or typed again."""

from __future__ import annotations

from collections import Counter
from collections.abc import Hashable, Sequence
from decimal import Decimal
from itertools import accumulate, groupby, takewhile
from math import ceil, log
from operator import add, attrgetter, itemgetter, sub

from msgspec.structs import replace

from qc.readers.plausible import MeasuredColumn

# How often at most a run of figures repeats itself by chance where it is told (common practice), and its least length.
CHANCE, SHORTEST = 0.001, 3
# From how many pairs on they are asked; by how many last digits two weighings of one unit differ, and how many times
# as far units lie apart (common practice).
FEWEST_TWINS, MOST_DIGITS, FAR_APART = 5, 3, 4
# Units are weighed by tens; over how many last digits units scatter of which few equal their mean by chance.
TEN, FINE = 10, 20


def repeated_run(values: Sequence[Hashable]) -> tuple[int, int, int] | None:
    """The first run of values that stands again further on, too long to repeat itself by chance.

    Two values drawn at random agree with the probability p that two of these do; fewer than n^2 / 2 pairs of runs of
    length k begin among n values, and each pair agrees with p^k.

    Parameters
    ----------
    values : sequence of hashable
        In the order in which they stand.

    Returns
    -------
    tuple or None
        Where the run begins [-], where it begins again [-], and its length [-].

    Examples
    --------
    >>> repeated_run([2.013, 2.021, 1.998, 2.007, 2.016, 2.03, 2.013, 2.021, 1.998, 2.007, 2.016, 2.041])
    (0, 6, 5)
    >>> repeated_run([2.0, 2.0, 2.1, 2.0, 2.0, 2.1]) is None
    True
    """
    count = len(values)
    alike = sum(often * (often - 1) for often in Counter(values).values()) / max(1, count * (count - 1))
    # In a list that stands there twice every value has its like; at most half of that agrees by chance.
    if not 0 < alike < 1:
        return None
    length = max(SHORTEST, ceil(log(2 * CHANCE / count**2) / log(alike)))
    first: dict[tuple[Hashable, ...], int] = {}
    for start in range(count - length + 1):
        before = first.setdefault(tuple(values[start : start + length]), start)
        if start - before >= length:
            pairs = zip(values[before:start], values[start:], strict=False)
            return before, start, len(list(takewhile(lambda pair: pair[0] == pair[1], pairs)))
    return None


def _twins(values: Sequence[Decimal]) -> str:
    """What of a list is like two weighings of each unit: they differ by last digits, and by far less than units do."""
    half = len(values) // 2
    if 2 * half != len(values) or half < FEWEST_TWINS:
        return ""
    finest: int = min(map(attrgetter("exponent"), map(Decimal.as_tuple, values)))
    digit = Decimal(1).scaleb(max(-6, finest))
    pairs = {
        "neighbours": (map(sub, values[::2], values[1::2]), map(sub, values[1::2], values[2::2])),
        "the second half and the first": (
            map(sub, values[:half], values[half:]),
            map(sub, values[:half], values[half + 1 :]),
        ),
    }
    for which, (own, other) in pairs.items():
        squares = [[apart**2 for apart in some] for some in (own, other)]
        here, there = (sum(some, Decimal(0)) / len(some) for some in squares)
        # Of few pairs a small sum comes about by chance.
        times = FAR_APART if half >= 2 * FEWEST_TWINS else 2 * FAR_APART
        if here <= (MOST_DIGITS * digit) ** 2 and 0 < there >= here * times**2:
            return f"{which} that differ as little as two weighings of one unit"
    return ""


def _filled(values: Sequence[Decimal], *, nameless: bool) -> str:
    """What of a list was filled in or worked out: equal figures or steps, or a figure of the tens that stand before."""
    steps, finest = {*map(sub, values[1:], values)}, min(map(attrgetter("exponent"), map(Decimal.as_tuple, values)))
    if len(values) >= TEN and len(steps) == 1:
        return f"figures that rise by {step:f} each" if (step := next(iter(steps))) else "the same figure throughout"
    half = len(values) // 2
    if 2 * half == len(values) >= 4 * FEWEST_TWINS and Counter(values[:half]) == Counter(values[half:]):
        return "the figures of the first half again in the second"
    digit = Decimal(1).scaleb(max(-6, finest))
    least, greatest, sums = (list(accumulate(values, of)) for of in (min, max, add))
    for count in range(TEN, len(values), TEN):
        after, ends = values[count : count + 2], [least[count - 1], greatest[count - 1]]
        if sorted(after) == ends:
            return f"numbers {count + 1}, {count + 2}: least, greatest so far"
        # Among units with names one of the others may weigh as much as their mean.
        alone = nameless or count + 1 == len(values)
        middle = sums[count - 1] / count
        if alone and ends[1] - ends[0] >= FINE * digit and 2 * abs(middle - after[0]) <= digit:
            return f"number {count + 1}, the mean of those before it"
    return ""


def tell_of_repeats(column: MeasuredColumn) -> None:
    """A notice where figures of some units stand again one after the other; refused where a whole list stands again.

    Of several determinations of a unit the first is asked.
    """
    column = replace(column, rows=[next(own) for _, own in groupby(column.rows, key=itemgetter(0))])
    values = [value for *_, value in column.rows]
    of_names = [(entry.cell("name"), entry.cell(column.attribute)) for _, entry, _ in column.rows]
    nameless = all(name and cell and name.address == cell.address for name, cell in of_names)
    found = repeated_run(values)
    # Who names units of two halves otherwise has looked at each; it is told below.
    if nameless and found and values == values[: found[1]] * (len(values) // found[1]):
        cell = column.rows[found[1]][1].cell(column.attribute)
        said = f"the first {found[1]} figures stand again from here on, to the last digit and in their order"
        column.table.refuse_at(cell.address if cell else "", said, "Take out what was entered twice")
        return
    if how := _twins(values) or (_filled(values, nameless=nameless) if values else ""):
        cells = [cell for _, entry, _ in column.rows if (cell := entry.cell(column.attribute)) is not None]
        column.table.findings.tell(column.table.table, cells, how)
    if found is None:
        return
    first, again, length = found
    one, other = (column.rows[start : start + length] for start in (first, again))
    names = [f"{rows[0][0]} to {rows[-1][0]}" for rows in (one, other)]
    cells = [cell for _, entry, _ in other if (cell := entry.cell(column.attribute)) is not None]
    said = f"units {names[1]} repeat units {names[0]}"
    text = f"The figures of {said} to the last digit: see whether a block was entered twice."
    column.table.findings.tell(column.table.table, cells, said, text)
