"""How large a change along an order is, whatever its shape: an average over many shapes, weighed by how well each fits.

Nobody knows beforehand whether a pour drifts, steps, or only its last unit is rich. A line fitted to a late rise gives
an interval that misses the true change more often than not; so every shape gives its own estimate, and the interval
is that of all of them together.

References
----------
Hoeting, Madigan, Raftery and Volinsky, Bayesian model averaging: a tutorial, Statistical Science 14 (1999) 382-417,
equations 1 to 3 (the average over models and its weights; from memory).
"""

from __future__ import annotations

import functools
import math
from collections.abc import Sequence
from statistics import fmean

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from qc.stats.arrays import Floats
from qc.stats.increasing_root import last_below
from qc.stats.shapes import APART, EARLY, END_STEP, LATE, STEP, Shapes, shapes_along
from qc.stats.sphere import student_cdf
from qc.stats.student import two_sided_quantile

# Half of the belief goes to shapes put together from two.
OF_ONE = 0.5
# A kind of shape is named where it has two thirds of the weight of single shapes, and these a tenth of all.
DECIDED, LEAST_SINGLE = 2 / 3, 1 / 10
# An average leans towards the shapes believed in: its middle 95 % hold in 90 % where one end unit alone is off, and its
# middle 98 % in 95 %, or in 93 % where scatter has heavy tails. This share of what may lie outside is used
# (tests/benchmarks).
LEANING = 0.4
# Each end of an interval is found to 1 in so many of its first range.
STEPS = 2**16
# Shapes less likely than this beside the best are left out of the average.
NEGLIGIBLE = 1e-4


class ChangeFit(Struct, frozen=True, kw_only=True):
    """A change averaged over shapes, in the unit of the values.

    Parameters
    ----------
    change, low, high : float
        From the first place of the pour to the last, with the interval.
    measured : tuple of float
        From the first value to the last, with its interval: the same where these are the ends of the pour.
    scatter : float
        Standard deviation about the fit.
    shape : str
        The kind that has most of the weight; empty where none has.
    after : int
        For a step, how many values stand before it; else 0.
    apart : array of bool, one a value
        The values that a change sets apart from the rest; of one that goes through all of them, or whose shape is not
        known, the shorter part of the step that comes nearest to it.
    apart_by : tuple of float
        Mean of the values set apart less that of the others, with its interval.
    fitted, half_band : array, one a value
        The averaged curve (levels averaged) and the half width of its pointwise band.
    level_effects : array
        What its level adds to each value, about the mean of the levels; zeros when there are none.
    """

    change: float
    low: float
    high: float
    measured: tuple[float, float, float]
    scatter: float
    shape: str
    after: int
    apart: NDArray[np.bool_]
    apart_by: tuple[float, float, float]
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
    different = sorted(set(levels))
    if len(different) == 1:
        return np.asarray(values - values.mean(axis=-1, keepdims=True))
    labels = np.asarray(levels)
    # numpy's own `unique` loads its masked arrays, which takes longer than a whole analysis.
    one_hot = (labels[:, None] == np.array(different)[None, :]).astype(float)
    means = values @ one_hot / one_hot.sum(axis=0)
    centred: Floats = values - means @ one_hot.T
    return centred


class _Models(Struct, frozen=True, kw_only=True):
    """Every shape and every two of them, by number; `second` is the empty shape, the last one, where there is but one.

    `inverse` holds the three entries of the inverse of the products of both shapes, and `chance` the logarithm of what
    is believed of each model.
    """

    shapes: Shapes
    centred: Floats
    first: NDArray[np.intp]
    second: NDArray[np.intp]
    inverse: tuple[Floats, Floats, Floats]
    coefficients: NDArray[np.intp]
    chance: Floats


@functools.lru_cache(maxsize=16)
def _models(places: tuple[float, ...], levels: tuple[int, ...]) -> _Models | None:
    """What does not depend on the values; None where no shape can be told from the levels."""
    shapes, left = shapes_along(np.array(places)), len(places) - len(set(levels))
    # The empty shape has a product of its own, so that the same formula serves models of one shape.
    centred = np.vstack([centred_by_level(shapes.columns, levels), np.zeros(len(places))])
    products = centred @ centred.T
    none, seen = len(centred) - 1, np.flatnonzero(products.diagonal() > 1e-9)
    if left < 2 or not seen.size:
        return None
    products[none, none] = 1.0
    one, two = np.triu_indices(len(seen) if left > 3 else 0, 1)
    first, second = np.append(seen, seen[one]), np.append(np.full(seen.size, none), seen[two])
    own, other, crossed = products[first, first], products[second, second], products[first, second]
    determinant = own * other - crossed**2
    # Two shapes that are nearly the same column make no model of two.
    told = determinant > 1e-6 * own * other
    first, second, alone = first[told], second[told], second[told] == none
    believed = np.append(shapes.believed, 1.0)
    chance = believed[first] * believed[second]
    chance /= np.where(alone, chance[alone].sum() / OF_ONE, chance[~alone].sum() / (1 - OF_ONE))
    return _Models(
        shapes=shapes,
        centred=centred,
        first=first,
        second=second,
        inverse=(other[told] / determinant[told], -crossed[told] / determinant[told], own[told] / determinant[told]),
        coefficients=np.where(alone, 1, 2),
        chance=np.log(chance),
    )


class _Fits(Struct, frozen=True, kw_only=True):
    """The models that have weight, fitted: shapes by number, coefficients and their covariance, SD, degrees, weight."""

    first: NDArray[np.intp]
    second: NDArray[np.intp]
    slopes: Floats
    inverse: Floats
    sd: Floats
    df: NDArray[np.intp]
    weights: Floats

    @classmethod
    def of(cls, values: Floats, known: _Models, *, levels: Sequence[int], least_scatter: float) -> _Fits:
        """Fit every model, and keep those whose weight is not negligible."""
        centred = centred_by_level(values, levels)
        left, right = (known.centred @ centred)[np.stack([known.first, known.second])]
        a, b, c = known.inverse
        slopes = np.stack([a * left + b * right, b * left + c * right])
        df = len(values) - len(set(levels)) - known.coefficients
        total = float(centred @ centred)
        # Below this a sum of squares is what is left of a float.
        least = np.maximum(max(1e-12 * total, 1e-24 * float(values @ values), 1e-300), df * least_scatter**2)
        squares = np.maximum(total - slopes[0] * left - slopes[1] * right, least)
        mean_squares = squares / df
        chance = known.chance - df / 2 * np.log(mean_squares / mean_squares.min())
        weights = np.exp(chance - chance.max())
        kept = weights > NEGLIGIBLE
        return cls(
            first=known.first[kept],
            second=known.second[kept],
            slopes=slopes[:, kept],
            inverse=np.stack(known.inverse)[:, kept],
            sd=np.sqrt(mean_squares[kept]),
            df=df[kept],
            weights=weights[kept] / weights[kept].sum(),
        )

    def told_by(self, heights: Floats) -> tuple[Floats, Floats]:
        """What each model says of a quantity that is linear in the shapes, and its standard deviation.

        Parameters
        ----------
        heights : array, one a shape
            What one of each shape adds to it, nothing for the empty one [-].
        """
        one, two = heights[self.first], heights[self.second]
        a, b, c = self.inverse
        found = one * self.slopes[0] + two * self.slopes[1]
        return found, self.sd * np.sqrt(np.maximum(a * one**2 + 2 * b * one * two + c * two**2, 0.0))

    def along(self, columns: Floats) -> tuple[Floats, Floats]:
        """The averaged curve at each value and its variance, within the models and between them.

        Parameters
        ----------
        columns : array, shapes x values
            Height of each shape at each value, nothing for the empty one [-].
        """
        size, (a, b, c) = len(columns), self.inverse * self.sd**2
        one, two = self.slopes
        mean, squares = np.zeros(size), np.zeros((size, size))
        np.add.at(mean, self.first, self.weights * one)
        np.add.at(mean, self.second, self.weights * two)
        np.add.at(squares, (self.first, self.first), self.weights * (a + one**2))
        np.add.at(squares, (self.first, self.second), self.weights * 2 * (b + one * two))
        np.add.at(squares, (self.second, self.second), self.weights * (c + two**2))
        curve = mean @ columns
        return curve, np.maximum(((squares @ columns) * columns).sum(axis=0) - curve**2, 0.0)

    def interval(self, heights: Floats, *, confidence: float) -> tuple[float, float, float]:
        """The mean of such a quantity over all models, and the middle part of their Student distributions together."""
        found, sd = self.told_by(heights)
        groups = [(df, np.flatnonzero(self.df == df)) for df in sorted(set(self.df.tolist()))]
        reach = sd.copy()
        for df, of in groups:
            reach[of] *= two_sided_quantile(confidence, df=df)
        # A quantile of the mixture lies between those of its parts.
        least, most, spread = (found - reach).min(), (found + reach).max(), np.maximum(sd, 1e-300)
        step, odds = (most - least) / STEPS, (1 + confidence) / (1 - confidence)

        def beyond(at: Floats) -> Floats:
            """The log odds of lying below some steps, less those of the ends of the middle part."""
            away = (least + step * at[:, None] - found) / spread
            below = sum(student_cdf(away[:, of], df=df) @ self.weights[of] for df, of in groups)
            below = np.clip(below, 1e-12, 1 - 1e-12)
            return np.asarray(np.log(below / (1 - below)) + np.array([1, -1]) * math.log(odds))

        first, last = (least + step * (last_below(beyond, steps=STEPS, count=2) + 0.5)).tolist()
        return float(self.weights @ found), first, last


def averaged_change(
    values: Floats, along: Floats, *, levels: Sequence[int], confidence: float = 0.95, least_scatter: float = 0.0
) -> ChangeFit | None:
    """The change along an order, averaged over shapes, each level (cavity) with a height of its own.

    Parameters
    ----------
    values : array
        The series, in order.
    along : array
        Places, 0 at the first of the whole pour and 1 at the last [-].
    levels : sequence of int
        Level of each value; one level throughout when there are none.
    confidence : float
        Of the interval and of the band, between 0 and 1.
    least_scatter : float
        Scatter that rounding alone makes; no fit claims less [unit of the values].

    Returns
    -------
    ChangeFit or None
        None when no degree of freedom is left, or when no shape can be told from the levels.

    Notes
    -----
    A model is one shape or the sum of two, fitted by least squares. Its weight is what was believed of it, times its
    residual mean square to the power -df/2, the likelihood of normal scatter less what its coefficients cost. The
    interval holds the middle of the Student distributions of all models, added up by weight: 98 % of it for 95 %.
    """
    known = _models(tuple(along.tolist()), tuple(levels))
    if known is None:
        return None
    within = 1 - LEANING * (1 - confidence)
    fits = _Fits.of(values, known, levels=levels, least_scatter=least_scatter)
    columns = np.vstack([known.shapes.columns, np.zeros(len(values))])
    rises, seen = np.append(known.shapes.rises, 0.0), columns[:, -1] - columns[:, 0]
    change, low, high = whole = fits.interval(rises, confidence=within)
    shape, best = _likeliest(fits, known.shapes)
    curve, variance = fits.along(columns - columns.mean(axis=1, keepdims=True))
    apart = _set_apart(shape, columns[best])
    if shape not in APART or apart.all() or not apart.any():
        # A bend whose greater part lies where nothing was measured sets no value apart.
        apart = _set_apart(STEP, columns[_nearest_step(curve, known.shapes)])
    away = columns @ (apart / apart.sum() - ~apart / (~apart).sum())
    apart_by = fits.interval(away, confidence=within)
    scatter = math.sqrt(float(fits.weights @ fits.sd**2))
    without = values - curve
    heights = without - centred_by_level(without, levels)
    factor = two_sided_quantile(confidence, df=int(fits.df.max()))
    return ChangeFit(
        change=change,
        low=low,
        high=high,
        measured=whole if np.array_equal(rises, seen) else fits.interval(seen, confidence=within),
        scatter=scatter,
        shape=shape,
        after=len(values) - int(columns[best].sum()) if shape == STEP else 0,
        apart=apart,
        apart_by=apart_by,
        fitted=values.mean() + curve,
        half_band=factor * np.sqrt(scatter**2 / len(values) + variance),
        level_effects=heights - fmean(dict(zip(levels, heights.tolist(), strict=True)).values()),
    )


def _likeliest(fits: _Fits, shapes: Shapes) -> tuple[str, int]:
    """The kind of shape that has most of the weight among single ones, "" where none is decidedly ahead, and the best.

    The best single shape is given by number.
    """
    kinds = np.array([STEP if kind == END_STEP else kind for kind in shapes.kinds] + [""])
    # Two bends of one kind are a bend of that kind too.
    one, two = kinds[fits.first], kinds[fits.second]
    alike = (two == "") | ((one == two) & np.isin(one, (EARLY, LATE)))
    single = np.bincount(fits.first[alike], weights=fits.weights[alike], minlength=len(kinds))
    best = int(single.argmax())
    ahead = float(single[kinds == kinds[best]].sum())
    decided = single.sum() > LEAST_SINGLE and ahead > DECIDED * single.sum()
    return (str(kinds[best]) if decided else "", best)


def _nearest_step(curve: Floats, shapes: Shapes) -> int:
    """The step that explains most of a curve, by number."""
    steps = np.isin(shapes.kinds, (STEP, END_STEP))
    centred = shapes.columns - shapes.columns.mean(axis=1, keepdims=True)
    gains = (centred @ curve) ** 2 / np.maximum((centred**2).sum(axis=1), 1e-300)
    return int(np.where(steps, gains, -1.0).argmax())


def _set_apart(shape: str, column: Floats) -> NDArray[np.bool_]:
    """The values that a change sets apart: the greater part of a bend, else the shorter part of a step."""
    rich = column > (1 / 3 if shape == LATE else 2 / 3)
    return np.asarray(~rich if shape == EARLY or (shape != LATE and rich.sum() > len(column) / 2) else rich)
