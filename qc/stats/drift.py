"""How large a change along an order is: a least-squares fit of one shape of change, with intervals."""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import fmean

import numpy as np
from msgspec import Struct

from qc.stats.isotonic import Floats
from qc.stats.student import two_sided_p, two_sided_quantile

STRAIGHT, EARLY, LATE, STEP = "straight", "early", "late", "step"


class DriftShape(Struct, frozen=True, kw_only=True):
    """One way to get from the first value to the last: 0 at the first place, 1 at the last.

    Parameters
    ----------
    name : str
        STRAIGHT, EARLY, LATE or STEP.
    column : array
        Height at each value of the series [-].
    after : int
        For a step, how many values stand before it; 0 for a curve.
    """

    name: str
    column: Floats
    after: int = 0


def straight(along: Floats) -> DriftShape:
    """A straight change.

    Parameters
    ----------
    along : array, one a value
        Places, 0 at the first of the whole pour and 1 at the last [-].
    """
    return DriftShape(name=STRAIGHT, column=along)


# How many e-folds the early and the late curve run through from end to end; six puts nine tenths of the change into
# two fifths of the pour (the shapes of the power study, tau = n/6).
E_FOLDS = 6.0


def other_shapes(along: Floats) -> list[DriftShape]:
    """Changes that are not straight: early, late, and a step before each place but the first.

    Parameters
    ----------
    along : array, one a value
        Places, 0 at the first of the whole pour and 1 at the last [-].
    """
    whole = 1 - math.exp(-E_FOLDS)
    shapes = [
        DriftShape(name=EARLY, column=(1 - np.exp(-E_FOLDS * along)) / whole),
        DriftShape(name=LATE, column=1 - (1 - np.exp(-E_FOLDS * (1 - along))) / whole),
    ]
    for place in sorted(set(along.tolist()))[1:]:
        column = (along >= place).astype(float)
        shapes.append(DriftShape(name=STEP, column=column, after=int(len(along) - column.sum())))
    return shapes


class DriftFit(Struct, frozen=True, kw_only=True):
    """A fitted change with its interval, in the unit of the values.

    Parameters
    ----------
    shape : Shape
    change, low, high : float
        From the first place to the last, with the interval.
    scatter : float
        Standard deviation about the fit.
    squares : float
        Sum of squares about the fit.
    p_value : float
        Two-sided, against no change, for this shape alone [-].
    fitted, half_band : array
        Fitted value of each unit (levels averaged) and the half width of its pointwise band.
    level_effects : array
        What its level adds to each value, about the mean of the levels; zeros when there are none.
    """

    shape: DriftShape
    change: float
    low: float
    high: float
    scatter: float
    squares: float
    p_value: float
    fitted: Floats
    half_band: Floats
    level_effects: Floats


def centred_by_level(values: Floats, levels: Sequence[int]) -> Floats:
    """Values less the mean of their level; works on the last axis, so on rows of permutations too.

    Parameters
    ----------
    values : array, ... x values
    levels : sequence of int
        Level of each value of the last axis.

    Returns
    -------
    array, ... x values
        In the unit of the values.
    """
    labels = np.asarray(levels)
    # numpy's own `unique` loads its masked arrays, which takes longer than a whole analysis.
    one_hot = (labels[:, None] == np.array(sorted(set(levels)))[None, :]).astype(float)
    means = values @ one_hot / one_hot.sum(axis=0)
    centred: Floats = values - means @ one_hot.T
    return centred


def fit_change(
    values: Floats, shape: DriftShape, *, levels: Sequence[int], confidence: float = 0.95, least_scatter: float = 0.0
) -> DriftFit | None:
    """Fit one shape of change, each level (cavity) with a height of its own.

    Parameters
    ----------
    values : array
        The series, in order.
    shape : Shape
    levels : sequence of int
        Level of each value; one level throughout when there are none.
    confidence : float
        Of the interval and of the band, between 0 and 1.
    least_scatter : float
        Scatter that rounding alone makes; the fit never claims less [unit of the values].

    Returns
    -------
    Change or None
        None when no degree of freedom is left, or when the shape cannot be told from the levels.

    References
    ----------
    Draper and Smith, Applied Regression Analysis, 3rd ed. 1998, chapters 1 and 14 (from memory).
    """
    count = len(set(levels))
    df = len(values) - count - 1
    column = centred_by_level(shape.column, levels)
    spread = float(column @ column)
    if df < 1 or spread < 1e-9:
        return None
    change = float(column @ values) / spread
    without = values - change * shape.column
    residuals = centred_by_level(without, levels)
    squares = float(residuals @ residuals)
    scatter = max(math.sqrt(squares / df), least_scatter)
    error = scatter / math.sqrt(spread)
    factor = two_sided_quantile(confidence, df=df)
    from_middle = shape.column - shape.column.mean()
    fitted = values.mean() + change * from_middle
    heights = without - residuals
    of_levels = dict(zip(levels, heights.tolist(), strict=True))
    return DriftFit(
        shape=shape,
        change=change,
        low=change - factor * error,
        high=change + factor * error,
        scatter=scatter,
        squares=squares,
        p_value=two_sided_p(change / error, df=df) if error > 0 else float(change == 0),
        fitted=fitted,
        half_band=factor * scatter * np.sqrt(1 / len(values) + from_middle**2 / spread),
        level_effects=heights - fmean(of_levels.values()),
    )


def best_shape(values: Floats, shapes: Sequence[DriftShape], *, levels: Sequence[int]) -> DriftShape | None:
    """The shape that leaves the least sum of squares.

    Parameters
    ----------
    values : array
        The series, in order.
    shapes : sequence of Shape
    levels : sequence of int
        Level of each value.

    Returns
    -------
    Shape or None
        None when none of them can be told from the levels.
    """
    columns = centred_by_level(np.array([shape.column for shape in shapes]), levels)
    sizes = (columns**2).sum(axis=1)
    told_apart = sizes > 1e-9
    if not told_apart.any():
        return None
    explained = np.divide((columns @ values) ** 2, sizes, out=np.zeros_like(sizes), where=told_apart)
    return shapes[int(np.argmax(explained))]


def fits_decisively_better(other: DriftFit, line: DriftFit, *, values: int, threshold: float) -> bool:
    """Whether a shape fits so much better than the straight line that the line should give way.

    Parameters
    ----------
    other, line : Change
    values : int
        Length of the series.
    threshold : float
        Least gain in twice the log-likelihood of normal errors, n ln(S1/S2) of the sums of squares [-].
    """
    if line.squares <= 0:
        return False
    return other.squares <= 0 or values * math.log(line.squares / other.squares) > threshold
