"""Units poured together share what their pour was like: they are one value of it to the tests of order.

Units of one pour lie nearer to each other than those of two, so that taking each for a value of its own calls changes
where there are none: 40 in 100 of batches of 24 units in pours of three, instead of five.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from itertools import accumulate

import numpy as np
from msgspec.structs import replace
from numpy.typing import NDArray

from qc.pour.correction import Corrected
from qc.pour.multiple_testing import SeriesTest
from qc.stats.arrays import Floats
from qc.stats.drift import ChangeFit


def pour_of_each(one: Corrected) -> NDArray[np.intp]:
    """Which pour each unit of a series belongs to, counted from 0."""
    order = one.series.order
    return (
        np.cumsum(np.concatenate([[0], order[1:] != order[:-1]])).astype(np.intp) if len(order) else np.array([], int)
    )


def one_value_a_pour(one: Corrected) -> Corrected:
    """A series with the mean of the units poured together in place of each of them; itself where none were.

    A pour is named by its first unit, and its mould or cavity is that of its units, where they lie in the same ones.
    """
    pours = pour_of_each(one)
    if not len(pours) or pours[-1] + 1 == len(pours):
        return one
    first = np.unique(pours, return_index=True)[1]
    flat = (0,) * len(first)
    # What levels add to the values is taken out already; it has no heights of its own among means of several.
    sized = one.tested + one.sized.mean() - one.tested.mean() if len(set(one.levels)) > 1 else one.sized
    series = one.series
    return replace(
        one,
        series=replace(
            series,
            units=tuple(series.units[at] for at in first),
            values=_means(series.values, pours),
            order=series.order[first],
            along=series.along[first],
        ),
        tested=_means(one.tested, pours),
        sized=_means(sized, pours),
        levels=flat,
        sizes=tuple(np.bincount(pours).tolist()),
        blocks=_alike(one.blocks, pours),
        loose_cavities=_alike(one.loose_cavities, pours),
    )


def _means(values: Floats, pours: NDArray[np.intp]) -> Floats:
    return np.asarray(np.bincount(pours, weights=values) / np.bincount(pours))


def _alike(labels: Sequence[Hashable], pours: NDArray[np.intp]) -> tuple[int, ...]:
    """The pours that lie in the same moulds or cavities by one number; empty where there are none to tell apart."""
    sets = [
        frozenset(labels[int(at)] for at in np.flatnonzero(pours == pour))
        for pour in range(pours[-1] + 1 if labels else 0)
    ]
    numbers = {found: number for number, found in enumerate(dict.fromkeys(sets))}
    return tuple(numbers[found] for found in sets) if len(numbers) > 1 else ()


def told_of_units(test: SeriesTest | None, pours: NDArray[np.intp]) -> SeriesTest | None:
    """What was found of the pours, told of their units: one that lies apart has all of its units named."""
    if test is None or not test.lone:
        return test
    return replace(
        test, lone=tuple((int(at), away) for pour, away in test.lone for at in np.flatnonzero(pours == pour))
    )


def at_units(change: ChangeFit | None, pours: NDArray[np.intp]) -> ChangeFit | None:
    """The change fitted to the pours, at each of their units."""
    if change is None or len(change.fitted) == len(pours):
        return change
    before = [0, *accumulate(np.bincount(pours).tolist())]
    return replace(
        change,
        after=before[change.after],
        apart=change.apart[pours],
        fitted=change.fitted[pours],
        half_band=change.half_band[pours],
        level_effects=np.zeros(len(pours)),
    )
