"""How well a cause predicts the measurements: Gaussian algebra for what is linear, sums for what is not.

A likelihood adds variance to kernels and shifts the means along shapes, each by one of several amplitudes. Given a
node of the background and an amplitude the rows are jointly normal; the evidence is the average over all of them.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from msgspec import Struct, field

from qc.causes.background import Background
from qc.causes.rows import Floats, Places

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

    def rows_at(self, place: int) -> Floats:
        """The shift of every row, by the place among all amplitudes of all shapes."""
        shape, step = divmod(place, self.amplitudes.shape[1])
        moved: Floats = self.amplitudes[shape, step] * self.shapes[shape]
        return moved


class Likelihood(Struct, frozen=True, kw_only=True):
    """One way in which a cause acts; a cause has one or several, whose weights add up to 1.

    Parameters
    ----------
    weight : float
        Probability that the cause acts in this way [-].
    added : mapping
        The variance that it adds to kernels of the background, shape (nodes,) or (1,).
    shifts : tuple of Shift
        By what it moves the logarithms of the rows: none, one or two at once.
    """

    weight: float = 1.0
    added: Mapping[str, Floats] = field(default_factory=dict)
    shifts: tuple[Shift, ...] = ()

    def together_with(self, other: Likelihood) -> Likelihood:
        """Both at once, as the only way."""
        nothing = np.zeros(1)
        names = sorted({*self.added, *other.added})
        return Likelihood(
            added={name: self.added.get(name, nothing) + other.added.get(name, nothing) for name in names},
            shifts=self.shifts + other.shifts,
        )


class Prediction(Struct, frozen=True, kw_only=True):
    """One particular way things may have been: its share, its node, and the shift of every row."""

    log_weight: float
    node: int
    shift: Floats
    likelihood: Likelihood


class Fit(Struct, frozen=True, kw_only=True):
    """The evidence for one likelihood, and how likely each of its particulars made the measurements.

    Parameters
    ----------
    log_evidence : float
        Logarithm of the sum over all particulars, times the weight of the likelihood.
    likelihood : Likelihood
    logs : array
        Logarithm of the likelihood of each particular: nodes, then one axis for each shift.
    shifts : tuple of Shift
    tried : tuple of array
        Of each shift, the places among its amplitudes that stand along its axis of `logs`.
    rows : int
        How many rows there are.
    """

    log_evidence: float
    likelihood: Likelihood
    logs: Floats
    shifts: tuple[Shift, ...]
    tried: tuple[Places, ...]
    rows: int

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
            for one, tried, number in zip(self.shifts, self.tried, numbers, strict=True):
                shift += one.rows_at(int(tried[number]))
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
    """A shift with equally likely amplitudes, the same for every shape; the shapes are equally likely if not weighted.

    Parameters
    ----------
    shapes : array of shape (shapes, rows)
    amplitudes : array of shape (amplitudes,)
        Shifts of the logarithm [-].
    shape_weights : array of shape (shapes,)
        In proportion to the probability of each shape.
    """
    weights = np.ones(len(shapes)) if shape_weights is None else shape_weights
    return _weighted(shapes, amplitudes, np.outer(weights / weights.sum(), np.full(amplitudes.size, 1.0)))


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


def _weighted(shapes: Floats, amplitudes: Floats, weights: Floats) -> Shift:
    return Shift(
        shapes=shapes,
        amplitudes=np.broadcast_to(amplitudes, weights.shape),
        log_weights=log_shares(weights / weights.sum()),
    )


def scattered(background: Background, cause: str, *, kernel: str, alike: str, column: int) -> tuple[Likelihood, ...]:
    """Scatter of a kernel beyond that of a sound batch: each unit on its own, or neighbours in the pour alike.

    Parameters
    ----------
    background : Background
    cause : str
        Its section of the priors has a `spread`, the probability of the second way by the name of `alike`, and
        `reach_units`, the e-fold of the correlation of neighbours.
    kernel, alike : str
        The kernel of units on their own; with `-ALIKE` behind it, that of neighbours alike.
    column : int
        The column of points that gives the spread at each node.
    """
    added = background.spreads(cause, "spread", column=column) ** 2
    share, reach = (background.priors.number(cause, key) for key in (alike, "reach_units"))
    return (
        Likelihood(weight=1.0 - share, added={kernel: added}),
        Likelihood(weight=share, added={f"{kernel}-{alike}:{reach}": added}),
    )


def covariance(background: Background, likelihood: Likelihood) -> Floats:
    """Covariance of the measured rows at every node, shape (nodes, measured, measured)."""
    variances = _variances(background, likelihood)
    kernels = np.stack([background.kernel(name, measured=True) for name in variances])
    table = np.stack(list(variances.values()), axis=1)
    return np.tensordot(table, kernels, axes=1)


def covariance_at(background: Background, likelihood: Likelihood, *, node: int) -> Floats:
    """Covariance of all rows, measured and thought of, at one node, shape (rows, rows)."""
    total = np.zeros((len(background.rows.rows), len(background.rows.rows)))
    for name, variance in _variances(background, likelihood).items():
        total += variance[node] * background.kernel(name)
    return total


def _variances(background: Background, likelihood: Likelihood) -> dict[str, Floats]:
    """The variance of every kernel at every node."""
    variances = dict(background.variances)
    for name, value in likelihood.added.items():
        variances[name] = variances.get(name, np.zeros(1)) + np.broadcast_to(value, background.nodes)
    return variances


def fit(background: Background, likelihood: Likelihood) -> Fit:
    """Weigh one likelihood against the measurements.

    Parameters
    ----------
    background : Background
        The rows and their background.
    likelihood : Likelihood
        Without a shift, with one, or with two.

    Returns
    -------
    Fit
        Logarithm of the evidence, the weight of the likelihood included.

    Notes
    -----
    At a node with covariance S, a shift by a d changes the logarithm of the normal density of the values y by
    a d' S^-1 y - a^2 d' S^-1 d / 2.
    """
    solved = _solve(background, likelihood)
    shifts = likelihood.shifts
    if len(shifts) == 2:
        shifts = tuple(_most_telling(shift, solved) for shift in shifts)
    slopes = [shift.shapes[:, solved.measured] for shift in shifts]
    pulls = [solved.pull @ slope.T for slope in slopes]
    moved = [slope @ solved.precision for slope in slopes]
    curbs = [(one * slope).sum(axis=2) for one, slope in zip(moved, slopes, strict=True)]
    gains = [_gain(*each) for each in zip(shifts, pulls, curbs, strict=True)]
    logs: Floats = solved.plain
    tried: tuple[Places, ...] = ()
    if len(shifts) == 1:
        logs = (gains[0] + logs[:, None, None]).reshape(logs.size, -1)
        tried = (np.arange(logs.shape[1]),)
    elif len(shifts) == 2:
        logs, tried = _with_two(logs, shifts, gains, crossed=moved[0] @ slopes[1].T)
    return Fit(
        log_evidence=log_sum(logs) + float(np.log(likelihood.weight)),
        likelihood=likelihood,
        logs=logs,
        shifts=shifts,
        tried=tried,
        rows=len(background.rows.rows),
    )


def _most_telling(shift: Shift, solved: Solved) -> Shift:
    """The shapes that fit best of themselves; the others keep their weight and are taken to explain nothing."""
    if shift.shapes.shape[0] <= SHAPES_TOGETHER:
        return shift
    slope = shift.shapes[:, solved.measured]
    curb = ((slope @ solved.precision[0]) * slope).sum(axis=1)
    score = (solved.pull[0] @ slope.T) ** 2 / np.maximum(curb, 1e-300)
    best = np.argpartition(score, score.size - SHAPES_TOGETHER)[-SHAPES_TOGETHER:]
    return Shift(shapes=shift.shapes[best], amplitudes=shift.amplitudes[best], log_weights=shift.log_weights[best])


def _solve(background: Background, likelihood: Likelihood) -> Solved:
    """Factorise the covariance at every node, once for all likelihoods that add the same variance."""
    key = tuple((name, tuple(np.ravel(value))) for name, value in sorted(likelihood.added.items()))
    if key not in background.solved:
        measured = np.flatnonzero(background.rows.measured)
        values = background.rows.value[measured]
        spread = covariance(background, likelihood)
        precision: Floats = np.asarray(np.linalg.inv(spread), dtype=np.float64)
        half_log_determinant = 0.5 * np.linalg.slogdet(spread)[1]
        pull = precision @ values
        plain = -0.5 * (pull @ values) - half_log_determinant - 0.5 * values.size * np.log(2.0 * np.pi)
        background.solved[key] = Solved(
            measured=measured, precision=precision, pull=pull, plain=plain - np.log(background.nodes)
        )
    found: Solved = background.solved[key]
    return found


def _gain(shift: Shift, pull: Floats, curb: Floats) -> Floats:
    """Gain in log likelihood of every amplitude of every shape at every node, with its weight."""
    amplitudes = shift.amplitudes[None]
    return amplitudes * pull[:, :, None] - 0.5 * amplitudes**2 * curb[:, :, None] + shift.log_weights[None]


def _with_two(
    plain: Floats, shifts: tuple[Shift, ...], gains: list[Floats], *, crossed: Floats
) -> tuple[Floats, tuple[Places, ...]]:
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
    tried = []
    for turn in (0, 1):
        score = (plain[:, None, None] + conditional[turn]).max(axis=0).ravel()
        count = min(KEPT_TOGETHER, score.size)
        tried.append(np.argpartition(score, score.size - count)[-count:])
    shapes = [places // shift.amplitudes.shape[1] for shift, places in zip(shifts, tried, strict=True)]
    amplitudes = [shift.amplitudes.ravel()[places] for shift, places in zip(shifts, tried, strict=True)]
    first, second = (gain.reshape(plain.size, -1)[:, places] for gain, places in zip(gains, tried, strict=True))
    logs: Floats = crossed[:, shapes[0][:, None], shapes[1][None, :]]
    logs *= -np.multiply.outer(*amplitudes)
    logs += (plain[:, None] + first)[:, :, None]
    logs += second[:, None, :]
    return logs, tuple(tried)


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
