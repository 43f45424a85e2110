"""How well a cause predicts the measurements: Gaussian algebra for what is linear, sums for what is not.

A likelihood adds variance to kernels and shifts the means along shapes, each by one of several amplitudes. Given a
node of the background and an amplitude the rows are jointly normal; the evidence is the average over all of them.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import log

import numpy as np
from msgspec import Struct, field
from msgspec.structs import replace
from numpy.typing import NDArray

from qc.causes.background import Field
from qc.causes.rows import Floats

Places = NDArray[np.int64]

# So many of the likeliest combinations of shape and amplitude are kept where two shifts act at once.
KEPT_TOGETHER = 72
SHAPES_TOGETHER = 16
KEPT_TO_PREDICT = 24
# Of a sum of exponentials the terms smaller than the greatest by this much are lost in the rounding of a float.
COUNTS = 50.0


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


class Likelihood(Struct, frozen=True, kw_only=True):
    """One way in which a cause acts; a cause has one or several, whose weights add up to 1."""

    weight: float = 1.0
    added: Mapping[str, Floats] = field(default_factory=dict)
    shifts: tuple[Shift, ...] = ()

    def together_with(self, other: Likelihood) -> Likelihood:
        """Both at once."""
        nothing = np.zeros(1)
        names = sorted({*self.added, *other.added})
        return Likelihood(
            weight=self.weight * other.weight,
            added={name: self.added.get(name, nothing) + other.added.get(name, nothing) for name in names},
            shifts=self.shifts + other.shifts,
        )


class Prediction(Struct, frozen=True, kw_only=True):
    """One particular way things may have been: its share, its node, and the shift of every row."""

    log_weight: float
    node: int
    shift: Floats
    likelihood: Likelihood


class Moves(Struct, frozen=True, kw_only=True):
    """The shifts that one factor of a likelihood was tried with: each an amplitude of one of the shapes."""

    shapes: Floats
    shape: Places
    amplitude: Floats

    def shift(self, number: int) -> Floats:
        """The shift of every row."""
        moved: Floats = self.amplitude[number] * self.shapes[self.shape[number]]
        return moved


class Fit(Struct, frozen=True, kw_only=True):
    """The evidence for one likelihood, and how likely each of its particulars made the measurements.

    Parameters
    ----------
    log_evidence : float
        Logarithm of the sum over all particulars.
    likelihood : Likelihood
    logs : array
        Logarithm of the likelihood of each particular, times its weight: nodes, then one axis for each of `moves`.
    moves : tuple of Moves
    rows : int
        How many rows there are.
    """

    log_evidence: float
    likelihood: Likelihood
    logs: Floats
    moves: tuple[Moves, ...]
    rows: int

    def weighed(self, weight: float) -> Fit:
        """The same fit as one of several ways in which a cause acts."""
        return replace(self, log_evidence=self.log_evidence + log(weight))

    def predictions(self) -> tuple[Prediction, ...]:
        """Particulars that stand for equal shares of the evidence."""
        running = np.cumsum(np.exp(self.logs.ravel() - self.logs.max()))
        steps = (np.arange(KEPT_TO_PREDICT) + 0.5) / KEPT_TO_PREDICT * running[-1]
        picked = np.minimum(np.searchsorted(running, steps), running.size - 1)
        share = self.log_evidence - float(np.log(picked.size))
        kept = []
        for place in picked.tolist():
            node, *numbers = (int(at) for at in np.unravel_index(place, self.logs.shape))
            shift = np.zeros(self.rows)
            for one, number in zip(self.moves, numbers, strict=True):
                shift += one.shift(number)
            kept.append(Prediction(log_weight=share, node=node, shift=shift, likelihood=self.likelihood))
        return tuple(kept)


class Solved(Struct, frozen=True, kw_only=True):
    """The precision of the measured rows at every node, and what it makes of the values."""

    measured: Places
    precision: Floats
    pull: Floats
    plain: Floats
    """Log likelihood at every node without any shift, with the weight of the node."""


def even_shift(shapes: Floats, amplitudes: Floats, *, shape_weights: Floats | None = None) -> Shift:
    """A shift with equally likely amplitudes, the same for every shape."""
    count = shapes.shape[0]
    weights = np.full(count, 1.0 / count) if shape_weights is None else shape_weights / shape_weights.sum()
    grid = np.broadcast_to(amplitudes, (count, amplitudes.size))
    return Shift(
        shapes=shapes,
        amplitudes=grid,
        log_weights=np.broadcast_to(log_shares(weights)[:, None] - np.log(amplitudes.size), grid.shape),
    )


def covariance(field_: Field, likelihood: Likelihood) -> Floats:
    """Covariance of the measured rows at every node."""
    variances = _variances(field_, likelihood)
    kernels = np.stack([field_.measured_kernel(name) for name in variances])
    table = np.stack(list(variances.values()), axis=1)
    return np.tensordot(table, kernels, axes=1)


def covariance_at(field_: Field, likelihood: Likelihood, *, node: int) -> Floats:
    """Covariance of all rows, measured and thought of, at one node."""
    total = np.zeros((len(field_.rows.rows), len(field_.rows.rows)))
    for name, variance in _variances(field_, likelihood).items():
        total += variance[node] * field_.kernel(name)
    return total


def _variances(field_: Field, likelihood: Likelihood) -> dict[str, Floats]:
    """The variance of every kernel at every node."""
    variances = dict(field_.background)
    for name, value in likelihood.added.items():
        variances[name] = variances.get(name, np.zeros(1)) + np.broadcast_to(value, field_.nodes)
    return variances


def fit(field_: Field, likelihood: Likelihood) -> Fit:
    """Weigh one likelihood against the measurements.

    Parameters
    ----------
    field_ : Field
        The rows and their background.
    likelihood : Likelihood
        Without a shift, with one, or with two.

    Returns
    -------
    Fit
        Logarithm of the evidence, without the weight of the likelihood.
    """
    solved = _solve(field_, likelihood)
    shifts = likelihood.shifts
    if len(shifts) == 2:
        shifts = tuple(_most_telling(shift, solved) for shift in shifts)
    slopes = [shift.shapes[:, solved.measured] for shift in shifts]
    pulls = [solved.pull @ slope.T for slope in slopes]
    moved = [slope @ solved.precision for slope in slopes]
    curbs = [(one * slope).sum(axis=2) for one, slope in zip(moved, slopes, strict=True)]
    gains = [_gain(*each) for each in zip(shifts, pulls, curbs, strict=True)]
    logs: Floats = solved.plain
    moves: tuple[Moves, ...] = ()
    if len(shifts) == 1:
        logs, moves = _with_one(logs, shifts[0], gains[0])
    elif len(shifts) == 2:
        logs, moves = _with_two(logs, shifts, gains, crossed=moved[0] @ slopes[1].T)
    return Fit(log_evidence=log_sum(logs), likelihood=likelihood, logs=logs, moves=moves, rows=len(field_.rows.rows))


def _most_telling(shift: Shift, solved: Solved) -> Shift:
    """The shapes that fit best of themselves; the others keep their weight and are taken to explain nothing."""
    if shift.shapes.shape[0] <= SHAPES_TOGETHER:
        return shift
    slope = shift.shapes[:, solved.measured]
    curb = ((slope @ solved.precision[0]) * slope).sum(axis=1)
    score = (solved.pull[0] @ slope.T) ** 2 / np.maximum(curb, 1e-300)
    best = np.argpartition(score, score.size - SHAPES_TOGETHER)[-SHAPES_TOGETHER:]
    return Shift(shapes=shift.shapes[best], amplitudes=shift.amplitudes[best], log_weights=shift.log_weights[best])


def _solve(field_: Field, likelihood: Likelihood) -> Solved:
    """Factorise the covariance at every node, once for all likelihoods that add the same variance."""
    key = tuple((name, tuple(np.ravel(value))) for name, value in sorted(likelihood.added.items()))
    if key not in field_.solved:
        measured = np.flatnonzero(field_.rows.measured)
        values = field_.rows.value[measured]
        spread = covariance(field_, likelihood)
        precision: Floats = np.asarray(np.linalg.inv(spread), dtype=np.float64)
        half_log_determinant = 0.5 * np.linalg.slogdet(spread)[1]
        pull = precision @ values
        plain = -0.5 * (pull @ values) - half_log_determinant - 0.5 * values.size * np.log(2.0 * np.pi)
        field_.solved[key] = Solved(
            measured=measured, precision=precision, pull=pull, plain=plain - np.log(field_.nodes)
        )
    found: Solved = field_.solved[key]
    return found


def _gain(shift: Shift, pull: Floats, curb: Floats) -> Floats:
    """Gain in log likelihood of every amplitude of every shape at every node, with its weight."""
    amplitudes = shift.amplitudes[None]
    return amplitudes * pull[:, :, None] - 0.5 * amplitudes**2 * curb[:, :, None] + shift.log_weights[None]


def _with_one(plain: Floats, shift: Shift, gain: Floats) -> tuple[Floats, tuple[Moves, ...]]:
    """Every amplitude of every shape at every node."""
    shapes, steps = shift.amplitudes.shape
    logs = (gain + plain[:, None, None]).reshape(plain.size, -1)
    return logs, (_moves(shift, np.arange(shapes * steps)),)


def _moves(shift: Shift, chosen: Places) -> Moves:
    shape, step = np.divmod(chosen, shift.amplitudes.shape[1])
    return Moves(shapes=shift.shapes, shape=shape, amplitude=shift.amplitudes[shape, step])


def _with_two(
    plain: Floats, shifts: tuple[Shift, ...], gains: list[Floats], *, crossed: Floats
) -> tuple[Floats, tuple[Moves, ...]]:
    """Two shifts at once: the likeliest amplitudes of each, given the best of the other, are combined in full."""
    start = 0 if gains[0].max() >= gains[1].max() else 1
    conditional = list(gains)
    for turn in (start, 1 - start, start, 1 - start):
        base = plain[:, None, None] + conditional[turn]
        _, shape, step = np.unravel_index(int(base.argmax()), base.shape)
        amplitude = shifts[turn].amplitudes[shape, step]
        between = crossed[:, shape, :] if turn == 0 else crossed[:, :, shape]
        other = 1 - turn
        conditional[other] = gains[other] - (amplitude * shifts[other].amplitudes)[None] * between[:, :, None]
    chosen = []
    for turn in (0, 1):
        score = (plain[:, None, None] + conditional[turn]).max(axis=0).ravel()
        count = min(KEPT_TOGETHER, score.size)
        chosen.append(np.argpartition(score, score.size - count)[-count:])
    moves = tuple(_moves(shift, places) for shift, places in zip(shifts, chosen, strict=True))
    one, two = moves
    logs: Floats = crossed[:, one.shape[:, None], two.shape[None, :]]
    logs *= -np.multiply.outer(one.amplitude, two.amplitude)
    first, second = (gain.reshape(plain.size, -1)[:, places] for gain, places in zip(gains, chosen, strict=True))
    logs += (plain[:, None] + first)[:, :, None]
    logs += second[:, None, :]
    return logs, moves


def two_way_shift(shapes: Floats, rises: Floats, *, falling: float) -> Shift:
    """A shift that rises by one of several amounts, or falls by one of them.

    Parameters
    ----------
    shapes : array of shape (shapes, rows)
        Equally likely; the shift of the logarithm of each row for a rise of 1.
    rises : array
        Equally likely sizes of the rise, or of the fall [-].
    falling : float
        Probability that it falls [-].
    """
    count, steps = len(shapes), len(rises)
    weights = np.concatenate([np.full(steps, 1.0 - falling), np.full(steps, falling)]) / steps / count
    return Shift(
        shapes=shapes,
        amplitudes=np.broadcast_to(np.concatenate([rises, -rises]), (count, 2 * steps)),
        log_weights=np.broadcast_to(log_shares(weights), (count, 2 * steps)),
    )


def log_shares(shares: Floats) -> Floats:
    """Logarithms of shares, minus infinity for a share of nothing.

    Examples
    --------
    >>> log_shares(np.array([1.0, 0.0])).tolist()
    [0.0, -inf]
    """
    return np.log(shares, where=shares > 0.0, out=np.full(shares.shape, -np.inf))


def log_sum(logs: Floats) -> float:
    """Logarithm of the sum of exponentials.

    Examples
    --------
    >>> round(log_sum(np.log(np.array([1.0, 2.0, 3.0]))), 6) == round(float(np.log(6.0)), 6)
    True
    """
    top = float(np.max(logs))
    return top + float(np.log(np.exp(logs[logs > top - COUNTS] - top).sum()))
