"""By what a cause moves the means of the rows: shapes, the amplitudes tried with each, and their probabilities."""

from __future__ import annotations

import numpy as np
from msgspec import Struct

from qc.causes.rows import Floats

MOST_STEPS = 23


class Shift(Struct, frozen=True, kw_only=True):
    """Shapes by which the rows may be shifted, and by how much.

    Parameters
    ----------
    shapes : array of shape (shapes, rows)
        The shift of the logarithm of each row at amplitude 1.
    amplitudes : array of shape (shapes, amplitudes)
        The amplitudes tried with each shape.
    log_weights : array of shape (shapes, amplitudes)
        Logarithm of the probability of each before the measurements; they add up to 1.
    """

    shapes: Floats
    amplitudes: Floats
    log_weights: Floats


def even_shift(
    shapes: Floats, amplitudes: Floats, *, shape_weights: Floats | None = None, weights: Floats | None = None
) -> Shift:
    """A shift with the same amplitudes for every shape; shapes, and amplitudes, are equally likely if not weighted.

    Parameters
    ----------
    shapes : array of shape (shapes, rows)
    amplitudes : array of shape (amplitudes,)
        Shifts of the logarithm [-].
    shape_weights : array of shape (shapes,)
        In proportion to the probability of each shape.
    weights : array of shape (amplitudes,)
        In proportion to the probability of each amplitude.
    """
    by_shape = np.ones(len(shapes)) if shape_weights is None else shape_weights
    by_size = np.ones(amplitudes.size) if weights is None else weights
    return _weighted(shapes, amplitudes, np.outer(by_shape, by_size))


def either_way(shapes: Floats, shifts: tuple[Floats, Floats], *, shape_weights: Floats | None = None) -> Shift:
    """A shift by as much up as down, with the probability of each size."""
    up, weights = shifts
    both, each = np.concatenate([up, -up]), np.concatenate([weights, weights])
    return even_shift(shapes, both, shape_weights=shape_weights, weights=each)


def two_way_shift(shapes: Floats, rises: Floats, *, falling: float) -> Shift:
    """A shift that rises by one of several amounts, or falls by one of them.

    Parameters
    ----------
    shapes : array of shape (shapes, rows)
        Equally likely; the shift of the logarithm of each row for a rise of 1.
    rises : array of shape (amplitudes,)
        Equally likely sizes of the rise, or of the fall [-].
    falling : float
        Probability that it falls [-].
    """
    weights = np.concatenate([np.full(rises.size, 1.0 - falling), np.full(rises.size, falling)])
    return _weighted(shapes, np.concatenate([rises, -rises]), np.tile(weights, (len(shapes), 1)))


def steps(place: Floats, *, units: Floats) -> Floats:
    """From somewhere among the units on: 0 before and 1 after, between any two of them or, of many, evenly spread.

    Parameters
    ----------
    place : array of shape (rows,)
        Place of each row in an order.
    units : array of shape (units,)
        Those of the units; two or more differ.

    Returns
    -------
    array of shape (steps, rows)

    Examples
    --------
    >>> steps(np.array([0.0, 1.0, 0.5, 0.0]), units=np.array([0.0, 0.5, 1.0])).tolist()
    [[0.0, 1.0, 1.0, 0.0], [0.0, 1.0, 0.0, 0.0]]
    """
    # `np.unique` would load masked arrays for this.
    at = np.array(sorted({*units.tolist()}))
    between = (at[1:] + at[:-1]) / 2.0
    kept = between[np.linspace(0, len(between) - 1, min(len(between), MOST_STEPS)).round().astype(int)]
    return np.asarray(place > kept[:, None], dtype=np.float64)


def _weighted(shapes: Floats, amplitudes: Floats, weights: Floats) -> Shift:
    return Shift(
        shapes=shapes,
        amplitudes=np.broadcast_to(amplitudes, weights.shape),
        log_weights=log_shares(weights / weights.sum()),
    )


def log_shares(shares: Floats) -> Floats:
    """Logarithms of shares, minus infinity for a share of nothing.

    Examples
    --------
    >>> log_shares(np.array([1.0, 0.0])).tolist()
    [0.0, -inf]
    """
    return np.log(shares, where=shares > 0.0, out=np.full(shares.shape, -np.inf))
