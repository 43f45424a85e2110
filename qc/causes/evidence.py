"""How well a cause predicts the measurements: Gaussian algebra for what is linear, sums for what is not.

A likelihood adds variance to kernels and shifts the means along shapes, each by one of several amplitudes. Given a
node of the background and an amplitude the rows are jointly normal; the evidence is the average over all of them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from msgspec import Struct, field

from qc.causes.background import MANY_ROWS, Background
from qc.causes.by_active import Precision
from qc.causes.foundation import (
    Solved,
    factorised,
    foundation,
    measured_kernel,
    plain_of,
    sound_covariance,
    with_added,
)
from qc.causes.rows import Floats, Places
from qc.causes.shifts import Shift

# So many of the likeliest combinations of shape and amplitude are kept where two shifts act at once.
KEPT_TOGETHER = 56
SHAPES_TOGETHER = 16
# To pick a part of a precision takes as long as to multiply so many shapes by it.
PICKED = 8
# A node whose best lies so far below the best of all does not count where two shifts act at once.
NEGLIGIBLE = 9.0
KEPT_TO_PREDICT = 24
# Of no more disturbances than this share of the rows it takes less work to add them than to factorise the whole anew.
FEW = 0.6
# Of a sum of exponentials the terms smaller than the greatest by this much are lost in the rounding of a float.
COUNTS = 50.0


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
    form : str
        What to call it, where that is told.
    """

    weight: float = 1.0
    added: Mapping[str, Floats] = field(default_factory=dict)
    shifts: tuple[Shift, ...] = ()
    form: str = ""

    def together_with(self, other: Likelihood) -> Likelihood:
        """Both at once, as the only way."""
        nothing = np.zeros(1)
        names = sorted({*self.added, *other.added})
        return Likelihood(
            added={name: self.added.get(name, nothing) + other.added.get(name, nothing) for name in names},
            shifts=self.shifts + other.shifts,
        )


class Prediction(Struct, frozen=True, kw_only=True):
    """One particular way things may have been: its share, its node, and the shift of every row.

    `sizes` are, of each shift, the number of its shape and the amplitude.
    """

    log_weight: float
    node: int
    shift: Floats
    likelihood: Likelihood
    sizes: tuple[tuple[int, float], ...] = ()


class Fit(Struct, frozen=True, kw_only=True):
    """The evidence for one likelihood, and how likely each of its particulars made the measurements.

    Parameters
    ----------
    log_evidence : float
        Logarithm of the sum over all particulars, times the weight of the likelihood.
    likelihood : Likelihood
    shape : tuple of int
        How many particulars there are: nodes, then amplitudes of each shift.
    likely : array
        Those of them that count beside the likeliest, by their place in an array of that shape laid out flat.
    shares : array
        The likelihood of each of those that count, in shares of that of the likeliest.
    nodes : array
        The nodes that stand along the first axis of `shape`.
    shifts : tuple of Shift
    tried : tuple of array
        Of each shift, the places among its amplitudes that stand along its axis of `shape`.
    rows : int
        How many rows there are.
    """

    log_evidence: float
    likelihood: Likelihood
    shape: tuple[int, ...]
    likely: Places
    shares: Floats
    nodes: Places
    shifts: tuple[Shift, ...]
    tried: tuple[Places, ...]
    rows: int

    def predictions(self, count: int = KEPT_TO_PREDICT) -> tuple[Prediction, ...]:
        """So many particulars that stand for equal shares of the evidence."""
        running = np.cumsum(self.shares)
        steps = (np.arange(count) + 0.5) / count * running[-1]
        picked = self.likely[np.minimum(np.searchsorted(running, steps), running.size - 1)]
        share = self.log_evidence - float(np.log(picked.size))
        kept = []
        for place in picked.tolist():
            node, *numbers = (int(at) for at in np.unravel_index(place, self.shape))
            shift, sizes = np.zeros(self.rows), []
            for one, tried, number in zip(self.shifts, self.tried, numbers, strict=True):
                shape, step = divmod(int(tried[number]), one.amplitudes.shape[1])
                shift += one.amplitudes[shape, step] * one.shapes[shape]
                sizes.append((shape, float(one.amplitudes[shape, step])))
            at = int(self.nodes[node])
            kept.append(
                Prediction(log_weight=share, node=at, shift=shift, likelihood=self.likelihood, sizes=tuple(sizes))
            )
        return tuple(kept)


def equal_shares(predictions: Sequence[Prediction], count: int) -> list[Prediction]:
    """So many of them, each as often as its share asks."""
    weights = np.exp(np.array([one.log_weight for one in predictions]) - max(one.log_weight for one in predictions))
    running = np.cumsum(weights)
    steps = (np.arange(count) + 0.5) / count * running[-1]
    return [predictions[int(at)] for at in np.minimum(np.searchsorted(running, steps), running.size - 1)]


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


def covariance_at(background: Background, likelihood: Likelihood, *, node: int) -> Floats:
    """Covariance of all rows, measured and thought of, at one node, shape (rows, rows)."""
    total = sound_covariance(background, node=node)
    point = foundation(background).origin[node]
    for name, value in likelihood.added.items():
        total += np.broadcast_to(value, background.nodes)[point] * background.kernel(name)
    return total


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
    if likelihood.shifts or _few_disturbances(background, likelihood):
        solved = _solve(background, likelihood)
        plain = solved.plain
        slopes = [_slope(background, solved, shift, few=len(likelihood.shifts) > 1) for shift in likelihood.shifts]
    else:
        plain, slopes = plain_of(foundation(background), _added(background, likelihood)), []
    shifts, gains = tuple(slope.shift for slope in slopes), [slope.gain for slope in slopes]
    logs, nodes = plain, np.arange(plain.size)
    tried: tuple[Places, ...] = ()
    if len(shifts) == 1:
        # In place: a great array takes longer to be made than to be filled.
        gains[0] += plain[:, None, None]
        logs = gains[0].reshape(plain.size, -1)
        tried = (np.arange(logs.shape[1]),)
    elif len(shifts) == 2:
        crossed = slopes[0].moved @ slopes[1].rows.T - slopes[0].low @ slopes[1].low.swapaxes(1, 2)
        logs, nodes, tried = _with_two(plain, shifts, gains, crossed=crossed)
    every = logs.ravel()
    top = float(every.max())
    likely = np.flatnonzero(every > top - COUNTS)
    shares = np.exp(every[likely] - top)
    return Fit(
        log_evidence=top + float(np.log(shares.sum())) + float(np.log(likelihood.weight)),
        likelihood=likelihood,
        shape=logs.shape,
        likely=likely,
        shares=shares,
        nodes=nodes,
        shifts=shifts,
        tried=tried,
        rows=len(background.rows.rows),
    )


class Slope(Struct, frozen=True, kw_only=True):
    """A shift in the measured rows, and what the precision makes of it.

    Parameters
    ----------
    shift : Shift
    rows : array (shapes, measured)
    moved : array (nodes, shapes, measured)
        Shapes times the precision of the background; nothing where the shift acts alone, which has no need of it.
    low : array (nodes, shapes, disturbances)
        Shapes times what the precision is lowered by.
    gain : array (nodes, shapes, amplitudes)
        Gain in log likelihood of every amplitude of every shape, with its weight.
    """

    shift: Shift
    rows: Floats
    moved: Floats
    low: Floats
    gain: Floats


def _slope(background: Background, solved: Solved, shift: Shift, *, few: bool) -> Slope:
    """What a shift explains beside the variance that is added.

    With `few`, only for the shapes that fit best of themselves; the others keep their weight and are taken to explain
    nothing. That is worked out once for all likelihoods that have this very shift and add the same variance.
    """
    key = id(shift), id(solved), few
    if few and key in background.solved:
        known: Slope = background.solved[key]
        return known
    rows = shift.shapes[:, solved.measured]
    whole = id(shift), id(solved.precision)
    if whole not in background.solved:
        # What has these ids stands here too, so that nothing else comes to have them.
        background.solved[whole] = _curbs(rows, solved.precision), shift, solved.precision
    curb: Floats = background.solved[whole][0]
    if few and len(rows) > SHAPES_TOGETHER:
        # By the amplitudes tried: shapes that differ in size alone would fit alike, were they taken by any.
        pulled, curbed = (rows @ solved.pull[0])[:, None], 0.5 * curb[0][:, None]
        score = (shift.log_weights + shift.amplitudes * (pulled - shift.amplitudes * curbed)).max(axis=1)
        best = np.argpartition(score, score.size - SHAPES_TOGETHER)[-SHAPES_TOGETHER:]
        rows, curb = rows[best], curb[:, best]
        shift = Shift(shapes=shift.shapes[best], amplitudes=shift.amplitudes[best], log_weights=shift.log_weights[best])
    low = rows @ solved.lowered.swapaxes(1, 2)
    curb = curb - np.einsum("nsd,nsd->ns", low, low)
    pull = solved.pull @ rows.T
    # By shape, so that the sum of the three terms is a product of small matrices.
    terms = np.stack([pull.T, -0.5 * curb.T, np.ones(pull.T.shape)], axis=2)
    powers = np.stack([shift.amplitudes, shift.amplitudes**2, shift.log_weights], axis=1)
    gain = np.empty((*pull.shape, shift.amplitudes.shape[1]))
    np.matmul(terms, powers, out=gain.swapaxes(0, 1))
    moved = (solved.precision @ rows.T).swapaxes(1, 2) if few else np.zeros((1, len(rows), rows.shape[1]))
    found = Slope(shift=shift, rows=rows, moved=moved, low=low, gain=gain)
    if few:
        background.solved[key] = found
    return found


def _curbs(rows: Floats, precision: Floats | Precision) -> Floats:
    """Each shape times the precision times itself, shape (nodes, shapes); of many rows only those that it moves.

    Where few shapes move the same rows, to pick the precision among these takes longer than to multiply them whole.
    """
    if isinstance(precision, Precision):
        return precision.curbs(rows)
    if rows.shape[1] <= MANY_ROWS:
        return np.asarray(np.einsum("nsm,sm->ns", rows @ precision, rows), dtype=np.float64)
    moves, few = rows != 0.0, np.ones(len(rows), dtype=np.bool_)
    curbs = np.empty((len(precision), len(rows)))
    _, first, of = np.unique(np.packbits(moves, axis=1), axis=0, return_index=True, return_inverse=True)
    for number, moved in enumerate(moves[first]):
        chosen, at = np.flatnonzero(of == number), np.flatnonzero(moved)
        if (PICKED + chosen.size) * at.size**2 < chosen.size * moved.size**2:
            few[chosen] = False
            some = rows[np.ix_(chosen, at)]
            curbs[:, chosen] = np.einsum("nsm,sm->ns", some @ precision[:, at[:, None], at], some)
    curbs[:, few] = np.einsum("nsm,sm->ns", rows[few] @ precision, rows[few])
    return curbs


def _solve(background: Background, likelihood: Likelihood) -> Solved:
    """The background with what a likelihood adds; kept where a shift comes with it: then others may add the same."""
    base = foundation(background)
    if not likelihood.added:
        return base
    key = tuple((name, tuple(np.ravel(value))) for name, value in sorted(likelihood.added.items()))
    if key in background.solved:
        known: Solved = background.solved[key]
        return known
    if _few_disturbances(background, likelihood):
        factors = [background.factor(name)[base.measured] for name in likelihood.added]
        spreads = [np.sqrt(np.broadcast_to(one, background.nodes)[base.origin]) for one in likelihood.added.values()]
        sd = [np.repeat(one[:, None], factor.shape[1], axis=1) for one, factor in zip(spreads, factors, strict=True)]
        found = with_added(base, np.hstack(factors), sd=np.hstack(sd))
    else:
        found = factorised(base, _added(background, likelihood))
    if likelihood.shifts:
        background.solved[key] = found
    return found


def _few_disturbances(background: Background, likelihood: Likelihood) -> bool:
    """Whether what a likelihood adds has few disturbances."""
    disturbances = sum(background.factor(name).shape[1] for name in likelihood.added)
    return bool(disturbances <= FEW * foundation(background).measured.size)


def _added(background: Background, likelihood: Likelihood) -> list[tuple[Floats, Floats]]:
    """What a likelihood adds to the covariance of the rows measured: each variance by node, and its kernel."""
    base = foundation(background)
    return [
        (
            np.broadcast_to(value, background.nodes)[base.origin],
            measured_kernel(background, name, base.measured, base.apart),
        )
        for name, value in likelihood.added.items()
    ]


def _with_two(
    plain: Floats, shifts: tuple[Shift, ...], gains: list[Floats], *, crossed: Floats
) -> tuple[Floats, Places, tuple[Places, ...]]:
    """Two shifts at once: the likeliest amplitudes of each, given the node's best of the other, are combined in full.

    Nodes at which even these do not count beside the best are left out; those that stand come with it.
    """
    start = 0 if gains[0].max() >= gains[1].max() else 1
    conditional, at = list(gains), np.arange(plain.size)
    for turn in (start, 1 - start, start, 1 - start):
        best = conditional[turn].reshape(plain.size, -1).argmax(axis=1)
        shape, step = np.divmod(best, shifts[turn].amplitudes.shape[1])
        between = crossed[at, shape, :] if turn == 0 else crossed[at, :, shape]
        between = between * shifts[turn].amplitudes[shape, step][:, None]
        other = 1 - turn
        # With the gain of the one that it is given, so that nodes can be compared.
        given = gains[turn].reshape(plain.size, -1)[at, best]
        conditional[other] = gains[other] - shifts[other].amplitudes * between[:, :, None] + given[:, None, None]
    reached = plain + np.maximum(conditional[0].max(axis=(1, 2)), conditional[1].max(axis=(1, 2)))
    nodes = np.flatnonzero(reached > reached.max() - NEGLIGIBLE)
    plain, crossed = plain[nodes], crossed[nodes]
    gains, conditional = [gain[nodes] for gain in gains], [gain[nodes] for gain in conditional]
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
    return logs, nodes, tuple(tried)


def log_sum(logs: Floats) -> float:
    """Logarithm of the sum of exponentials.

    Examples
    --------
    >>> round(log_sum(np.log(np.array([1.0, 2.0, 3.0]))), 6) == round(float(np.log(6.0)), 6)
    True
    """
    top = float(np.max(logs))
    return top + float(np.log(np.exp(logs[logs > top - COUNTS] - top).sum()))
