"""When a series changed, by how much, and whether at once or step by step: least squares over the batches."""

from __future__ import annotations

from collections.abc import Sequence
from math import log, sqrt
from typing import Any

import numpy as np
from msgspec import Struct

# How much likelier (as a logarithm) the likeliest batch may be than another that still may be the one. Simulated: the
# set holds the true one in 95 % of series with a step of 1.5 SD or more.
STILL_LIKELY = 3.0
FEWEST_OF_A_SLOPE = 6


class Change(Struct, frozen=True, kw_only=True):
    """One change of a series, with the levels on either side.

    Parameters
    ----------
    kind : str
        "step" or "creep": all at once, or from batch to batch.
    first, last : int
        The first batch after the change, and of a creep the last one.
    earliest, latest : int
        Between which batches it may have begun.
    seen : int
        At which batch it was signalled.
    before, after : tuple of float
        Level and the ends of its 95 % interval.
    difference : tuple of float
        After less before, with the ends of its 95 % interval.
    """

    kind: str
    first: int
    last: int
    earliest: int
    latest: int
    seen: int
    before: tuple[float, float, float]
    after: tuple[float, float, float]
    difference: tuple[float, float, float]


def split_squares(values: Any, *, weights: Any = None) -> tuple[Any, Any]:
    """Residual sums of squares: of two levels, for each number of values before the change from 1 on, and of one level.

    Values along the last axis, a series each; a weight of 0 leaves a value out.
    """
    x = np.asarray(values, dtype=float)
    w = np.ones_like(x) if weights is None else np.asarray(weights, dtype=float)
    x = x - x[..., :1]
    weight, first = np.cumsum(w, axis=-1), np.cumsum(w * x, axis=-1)
    every, total = weight[..., -1:], first[..., -1:]
    of_one = (w * x * x).sum(axis=-1, keepdims=True) - total**2 / every
    before, after = weight[..., :-1], every - weight[..., :-1]
    with np.errstate(divide="ignore", invalid="ignore"):
        between = (first[..., :-1] * every - total * before) ** 2 / (before * after * every)
    return of_one - np.where((before > 0.0) & (after > 0.0), between, 0.0), of_one[..., 0]


def split_score(values: Any, *, weights: Any = None) -> Any:
    """How much better two levels tell the values than one: the greatest two-sample t of all splits, as a normal score.

    Change-point model of Hawkins, Qiu & Kang (2003), Journal of Quality Technology 35, 355 (from memory), for unknown
    mean and variance. On this scale one limit serves for any number of values from 5 on.
    """
    from scipy.special import ndtri, stdtr

    squares, of_one = split_squares(values, weights=weights)
    n = np.shape(values)[-1] if weights is None else np.count_nonzero(weights, axis=-1)
    least = np.maximum(squares.min(axis=-1), 1e-12 * of_one)
    free = np.maximum(n - 2, 1)
    t = np.sqrt(np.maximum(of_one - least, 0.0) * free / np.where(least > 0.0, least, 1.0))
    return -ndtri(stdtr(free, -t))


def best_split(values: Any, *, weights: Any = None) -> int:
    """How many values stand before the likeliest change of level.

    Examples
    --------
    Flow of the Nile 1871 to 1900 alone (Cobb 1978): the last year before the change is the 28th, 1898.

    >>> nile = [1120, 1160, 963, 1210, 1160, 1160, 813, 1230, 1370, 1140, 995, 935, 1110, 994, 1020, 960, 1180, 799]
    >>> nile += [958, 1140, 1100, 1210, 1150, 1250, 1260, 1220, 1030, 1100, 774, 840]
    >>> best_split(nile)
    28
    """
    return int(np.argmin(split_squares(values, weights=weights)[0])) + 1


def changes(
    values: Sequence[float], *, levels: Sequence[int], seen: Sequence[int], aside: Sequence[int]
) -> list[Change]:
    """The changes between levels; those that follow each other one way and fit a slope better are one creep.

    Parameters
    ----------
    values : sequence of float
    levels : sequence of int
        Where each level begins, the first at 0.
    seen : sequence of int
        At which value each level but the first was signalled.
    aside : sequence of int
        Values that belong to no level.
    """
    if len(levels) < 2:
        return []
    ends = [*levels[1:], len(values)]
    parts = [[one for one in range(a, b) if one not in aside] for a, b in zip(levels, ends, strict=True)]
    means = [float(np.mean([values[one] for one in part])) for part in parts]
    free = sum(map(len, parts)) - len(parts)
    squares = sum((values[one] - mean) ** 2 for part, mean in zip(parts, means, strict=True) for one in part)
    if free < 1:
        return []
    sd, found, at = sqrt(squares / free), list[Change](), 1
    while at < len(parts):
        last = at
        while last + 1 < len(parts) and (means[last + 1] - means[last]) * (means[at] - means[at - 1]) > 0.0:
            last += 1
        creep = _creep(values, parts[at - 1 : last + 1], seen=seen[at - 1])
        steps = [
            _step(values, parts[one - 1], parts[one], seen=seen[one - 1], sd=sd, free=free)
            for one in range(at, last + 1)
        ]
        found += steps if creep is None else [creep]
        at = last + 1
    return found


def _creep(values: Sequence[float], parts: Sequence[Sequence[int]], *, seen: int) -> Change | None:
    """A level and from some value on a slope; None where steps tell the values as well (by BIC)."""
    places = [one for part in parts for one in part]
    x, m = np.array([values[one] for one in places]), len(places)
    of_steps = sum(float(np.var([values[one] for one in part])) * len(part) for part in parts)
    if m < FEWEST_OF_A_SLOPE or of_steps <= 0.0:
        return None
    fits = []
    # Of very many values a begin in two hundred is near enough.
    for begins in range(0, m - 2, max(1, m // 200)):
        run = np.maximum(np.arange(m) - begins, 0.0)
        design = np.column_stack([np.ones(m), run])
        inverse = np.linalg.inv(design.T @ design)
        level, slope = inverse @ design.T @ x
        squares = float(((x - design @ (level, slope)) ** 2).sum())
        end = np.array([1.0, run[-1]])
        errors = inverse[0, 0], float(end @ inverse @ end), inverse[1, 1] * run[-1] ** 2
        fits.append((squares, begins, (level, level + slope * run[-1], slope * run[-1]), np.sqrt(errors)))
    squares, begins, told, _ = min(fits, key=lambda fit: fit[0])
    # A level, a slope and its begin, against a level and a place for each step. A single step is told as one unless the
    # slope is clearly better.
    better = m * log(of_steps / max(squares, 1e-300)) + (2 * len(parts) - 1 - 3) * log(m)
    if better <= (log(m) if len(parts) == 2 else 0.0):
        return None
    reach = _t(m - 3) * sqrt(squares / (m - 3))
    likely = [fit for fit in fits if m / 2.0 * log(fit[0] / squares) <= STILL_LIKELY]
    # Where it began is not known either: the intervals reach as far as any begin that still may be the one.
    sizes, off = (np.array([fit[k] for fit in likely]) for k in (2, 3))
    low, high = (sizes - reach * off).min(axis=0), (sizes + reach * off).max(axis=0)
    before, after, difference = ((float(told[k]), float(low[k]), float(high[k])) for k in range(3))
    return Change(
        kind="creep",
        first=places[begins + 1],
        last=places[-1],
        earliest=places[min(fit[1] for fit in likely) + 1],
        latest=places[max(fit[1] for fit in likely) + 1],
        seen=seen,
        before=before,
        after=after,
        difference=difference,
    )


def _step(
    values: Sequence[float], before: Sequence[int], after: Sequence[int], *, seen: int, sd: float, free: int
) -> Change:
    """A change of level at once; the spread about a level is that of all levels together."""
    window = [*before, *after]
    squares, of_one = split_squares([values[one] for one in window])
    # Batches that were written down as equal on either side leave no squares at all.
    squares = np.maximum(squares, 1e-12 * of_one)
    likely = np.flatnonzero(len(window) / 2.0 * np.log(squares / squares.min()) <= STILL_LIKELY) + 1
    low, high = (float(np.mean([values[one] for one in part])) for part in (before, after))
    reaches = [_t(free) * sd / sqrt(len(part)) for part in (before, after)]
    both = sqrt(reaches[0] ** 2 + reaches[1] ** 2)
    return Change(
        kind="step",
        first=after[0],
        last=after[0],
        earliest=window[int(likely[0])],
        latest=window[int(likely[-1])],
        seen=seen,
        before=(low, low - reaches[0], low + reaches[0]),
        after=(high, high - reaches[1], high + reaches[1]),
        difference=(high - low, high - low - both, high - low + both),
    )


def _t(free: int) -> float:
    from scipy.special import stdtrit

    return float(stdtrit(free, 0.975))
