"""How well an explanation foretells the measurements: Gaussian algebra for what is linear, sums for what is not.

An explanation adds variance to kernels and shifts the means along shapes, each by one of several amplitudes. Given a
node of the background and an amplitude the rows are jointly normal; the evidence is the average over all of them.
"""

from __future__ import annotations

from collections.abc import Mapping

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
KEPT_TO_FORETELL = 24


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


class Explanation(Struct, frozen=True, kw_only=True):
    """One way in which a cause acts; a cause has one or several, whose weights add up to 1."""

    weight: float = 1.0
    added: Mapping[str, Floats] = field(default_factory=dict)
    shifts: tuple[Shift, ...] = ()

    def together_with(self, other: Explanation) -> Explanation:
        """Both at once."""
        nothing = np.zeros(1)
        names = sorted({*self.added, *other.added})
        return Explanation(
            weight=self.weight * other.weight,
            added={name: self.added.get(name, nothing) + other.added.get(name, nothing) for name in names},
            shifts=self.shifts + other.shifts,
        )


class Foretelling(Struct, frozen=True, kw_only=True):
    """One particular way things may have been: its share, its node, and the shift of every row."""

    log_weight: float
    node: int
    shift: Floats
    explanation: Explanation


class Fit(Struct, frozen=True, kw_only=True):
    """The evidence for one explanation, and its likeliest particulars."""

    log_evidence: float
    foretellings: tuple[Foretelling, ...]

    def weighed(self, log_weight: float) -> Fit:
        """The same fit as one of several ways in which a cause acts."""
        return Fit(
            log_evidence=self.log_evidence + log_weight,
            foretellings=tuple(replace(one, log_weight=one.log_weight + log_weight) for one in self.foretellings),
        )


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


def covariance(field_: Field, explanation: Explanation, *, rows: Places, node: int | None = None) -> Floats:
    """Covariance of the rows named, at every node or at one."""
    variances = dict(field_.background)
    for name, value in explanation.added.items():
        variances[name] = variances.get(name, np.zeros(1)) + np.broadcast_to(value, field_.nodes)
    names = list(variances)
    every = rows.size == len(field_.rows.rows)
    kernels = np.stack(
        [kernel if every else kernel.take(rows, axis=0).take(rows, axis=1) for kernel in map(field_.kernel, names)]
    )
    table = np.stack([variances[name] for name in names], axis=1)
    return np.tensordot(table if node is None else table[node], kernels, axes=1)


def fit(field_: Field, explanation: Explanation) -> Fit:
    """Weigh one explanation against the measurements.

    Parameters
    ----------
    field_ : Field
        The rows and their background.
    explanation : Explanation
        Without a shift, with one, or with two.

    Returns
    -------
    Fit
        Logarithm of the evidence, without the weight of the explanation.
    """
    solved = _solve(field_, explanation)
    plain = solved.plain
    if not explanation.shifts:
        return _fit_plain(field_, explanation, plain)
    shifts = explanation.shifts
    if len(shifts) == 2:
        shifts = tuple(_most_telling(shift, solved) for shift in shifts)
        explanation = replace(explanation, shifts=shifts)
    slopes = [shift.shapes[:, solved.measured] for shift in shifts]
    pulls = [solved.pull @ slope.T for slope in slopes]
    moved = [slope @ solved.precision for slope in slopes]
    curbs = [(one * slope).sum(axis=2) for one, slope in zip(moved, slopes, strict=True)]
    if len(shifts) == 1:
        return _fit_one(field_, explanation, plain, pulls[0], curbs[0])
    crossed = moved[0] @ slopes[1].T
    return _fit_two(field_, explanation, plain, pulls, curbs, crossed)


def _most_telling(shift: Shift, solved: Solved) -> Shift:
    """The shapes that fit best of themselves; the others keep their weight and are taken to explain nothing."""
    if shift.shapes.shape[0] <= SHAPES_TOGETHER:
        return shift
    slope = shift.shapes[:, solved.measured]
    curb = ((slope @ solved.precision[0]) * slope).sum(axis=1)
    score = (solved.pull[0] @ slope.T) ** 2 / np.maximum(curb, 1e-300)
    best = np.argpartition(score, score.size - SHAPES_TOGETHER)[-SHAPES_TOGETHER:]
    return Shift(shapes=shift.shapes[best], amplitudes=shift.amplitudes[best], log_weights=shift.log_weights[best])


def _solve(field_: Field, explanation: Explanation) -> Solved:
    """Factorise the covariance at every node, once for all explanations that add the same variance."""
    key = tuple((name, tuple(np.ravel(value))) for name, value in sorted(explanation.added.items()))
    if key not in field_.solved:
        measured = np.flatnonzero(field_.rows.measured)
        values = field_.rows.value[measured]
        spread = covariance(field_, explanation, rows=measured)
        precision: Floats = np.asarray(np.linalg.inv(spread), dtype=np.float64)
        half_log_determinant = 0.5 * np.linalg.slogdet(spread)[1]
        pull = precision @ values
        plain = -0.5 * (pull @ values) - half_log_determinant - 0.5 * values.size * np.log(2.0 * np.pi)
        field_.solved[key] = Solved(
            measured=measured, precision=precision, pull=pull, plain=plain - np.log(field_.nodes)
        )
    found: Solved = field_.solved[key]
    return found


def _fit_plain(field_: Field, explanation: Explanation, plain: Floats) -> Fit:
    none = np.zeros(len(field_.rows.rows))
    total, picked = _representatives(plain)
    share = total - np.log(picked.size)
    kept = tuple(Foretelling(log_weight=share, node=int(node), shift=none, explanation=explanation) for node in picked)
    return Fit(log_evidence=total, foretellings=kept)


def _representatives(logs: Floats) -> tuple[float, Places]:
    """Logarithm of the sum of the weights, and places that stand for equal shares of it."""
    top = float(logs.max())
    running = np.cumsum(np.exp(logs.ravel() - top))
    steps = (np.arange(KEPT_TO_FORETELL) + 0.5) / KEPT_TO_FORETELL * running[-1]
    picked = np.minimum(np.searchsorted(running, steps), running.size - 1)
    return top + float(np.log(running[-1])), picked


def _gain(shift: Shift, pull: Floats, curb: Floats) -> Floats:
    """Gain in log likelihood of every amplitude of every shape at every node, with its weight."""
    amplitudes = shift.amplitudes[None]
    return amplitudes * pull[:, :, None] - 0.5 * amplitudes**2 * curb[:, :, None] + shift.log_weights[None]


def _fit_one(field_: Field, explanation: Explanation, plain: Floats, pull: Floats, curb: Floats) -> Fit:
    (shift,) = explanation.shifts
    logs = plain[:, None, None] + _gain(shift, pull, curb)
    total, picked = _representatives(logs)
    kept = []
    for place in picked:
        node, shape, step = np.unravel_index(int(place), logs.shape)
        moved = shift.amplitudes[shape, step] * shift.shapes[shape]
        kept.append(
            Foretelling(
                log_weight=total - float(np.log(picked.size)), node=int(node), shift=moved, explanation=explanation
            )
        )
    return Fit(log_evidence=total, foretellings=tuple(kept))


def _fit_two(
    field_: Field, explanation: Explanation, plain: Floats, pulls: list[Floats], curbs: list[Floats], crossed: Floats
) -> Fit:
    """Two shifts at once: the likeliest amplitudes of each, given the best of the other, are combined in full."""
    first, second = explanation.shifts
    gains = [_gain(shift, pull, curb) for shift, pull, curb in zip(explanation.shifts, pulls, curbs, strict=True)]
    start = 0 if gains[0].max() >= gains[1].max() else 1
    conditional = list(gains)
    for turn in (start, 1 - start, start, 1 - start):
        base = plain[:, None, None] + conditional[turn]
        node, shape, step = np.unravel_index(int(base.argmax()), base.shape)
        amplitude = explanation.shifts[turn].amplitudes[shape, step]
        between = crossed[:, shape, :] if turn == 0 else crossed[:, :, shape]
        other = 1 - turn
        penalty = amplitude * explanation.shifts[other].amplitudes[None] * between[:, :, None]
        conditional[other] = gains[other] - penalty
    chosen = []
    for turn in (0, 1):
        score = (plain[:, None, None] + conditional[turn]).max(axis=0).ravel()
        count = min(KEPT_TOGETHER, score.size)
        chosen.append(np.argpartition(score, score.size - count)[-count:])
    shape_1, step_1 = np.unravel_index(chosen[0], first.amplitudes.shape)
    shape_2, step_2 = np.unravel_index(chosen[1], second.amplitudes.shape)
    amplitude_1, amplitude_2 = first.amplitudes[shape_1, step_1], second.amplitudes[shape_2, step_2]
    logs = (
        plain[:, None, None]
        + gains[0][:, shape_1, step_1][:, :, None]
        + gains[1][:, shape_2, step_2][:, None, :]
        - amplitude_1[None, :, None] * amplitude_2[None, None, :] * crossed[:, shape_1[:, None], shape_2[None, :]]
    )
    total, picked = _representatives(logs)
    kept = []
    for place in picked:
        node, one, two = np.unravel_index(int(place), logs.shape)
        moved = amplitude_1[one] * first.shapes[shape_1[one]] + amplitude_2[two] * second.shapes[shape_2[two]]
        kept.append(
            Foretelling(
                log_weight=total - float(np.log(picked.size)), node=int(node), shift=moved, explanation=explanation
            )
        )
    return Fit(log_evidence=total, foretellings=tuple(kept))


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
    return top + float(np.log(np.exp(logs - top).sum()))
