"""Which figure of the masses before it a number is: their mean, sum, SD, an end, a limit about the mean."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from functools import partial
from itertools import pairwise
from statistics import fmean, median, stdev

from qc.readers.cells import SheetCell, row_of
from qc.readers.finding.view import decimals_in, number_in, value_in

FEWEST_TO_COMPARE = 3
# Kinds of figures that are worked out from the masses and are held against ours.
COMPARED = ("mean", "sum", "sd", "rsd", "count", "least", "greatest")
MOST_DECIMALS = 9
# Where limits are drawn about a mean by hand, for whatever form (common practice) [% of mean].
LIMITS = (85, 90, 92.5, 95, 105, 107.5, 110, 115)
ABOUT_THE_MEAN = {f"the mean {one - 100:+g} %": one for one in LIMITS}
# From how many decimals on two units hardly weigh the same by chance.
FINE = 3


def equals_a_figure(cell: SheetCell, before: Sequence[SheetCell], *, gap: bool) -> bool:
    """Whether a number is a figure of those before it that hardly comes about by chance; behind a gap any counts."""
    what = figure_called(cell, before)
    # With two decimals units repeat each other by chance, and one of many is the middle one.
    coarse = as_fine(cell, before) and decimals_in(cell) < FINE
    return bool(what) and (gap or what in ("the mean", "the sum") or (not coarse and what != "the SD"))


def as_fine(cell: SheetCell, before: Sequence[SheetCell]) -> bool:
    """Whether a number has as many decimals as the masses before it."""
    return decimals_in(cell) == max(map(decimals_in, before), default=0)


def _share_of_mean(masses: list[float], *, percent: float) -> float:
    return fmean(masses) * percent / 100


_FIGURES: dict[str, Callable[[list[float]], float]] = {
    "the mean": fmean,
    "the sum": sum,
    "the SD": stdev,
    "the least": min,
    "the greatest": max,
    "the median": median,
    **{called: partial(_share_of_mean, percent=one) for called, one in ABOUT_THE_MEAN.items()},
}


def figure_called(cell: SheetCell, before: Sequence[SheetCell]) -> str:
    """Which figure of the masses before it a number is, to its last digit; empty where it is none."""
    return _figure_among(_FIGURES, cell, before) if len(before) >= FEWEST_TO_COMPARE else ""


def sums_up(cell: SheetCell, before: Sequence[SheetCell]) -> bool:
    """Whether a number is a figure of two or more masses before it, the SD apart."""
    return len(before) > 1 and _figure_among([name for name in _FIGURES if name != "the SD"], cell, before) != ""


def _figure_among(names: Iterable[str], cell: SheetCell, before: Sequence[SheetCell]) -> str:
    value, floats = number_in(cell), [float(value_in(one)) for one in before]
    # A figure may be rounded to fewer decimals than the masses have; the least is one of them as it stands.
    fine, coarse = last_digit(max(before, key=decimals_in)), last_digit(cell)
    halves = {"the least": fine, "the greatest": fine, "the sum": fine}
    off = ((name, abs(_FIGURES[name](floats) - float(value or 0))) for name in names)
    return next((name for name, how_far in off if how_far <= min(coarse, halves.get(name, coarse))), "")


def last_digit(cell: SheetCell) -> float:
    """Half of the last digit that a number shows; of one worked out by a formula, what binary numbers leave over."""
    return 0.5000001 * 10.0 ** -min(decimals_in(cell), MOST_DECIMALS)


def last_block(cells: Sequence[SheetCell]) -> list[SheetCell]:
    """The last of cells of one column that stand one below the other."""
    rows = sorted(cells, key=row_of)
    first = max((at for at, (one, after) in enumerate(pairwise(rows), 1) if row_of(after) - row_of(one) > 1), default=0)
    return rows[first:]
