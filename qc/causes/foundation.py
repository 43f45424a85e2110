"""The covariance of a sound batch at every node, factorised once, and what a cause adds to it by low rank.

The noise of a batch is normal, or it is normal with outliers: units filled, and assays read, with a spread several
times the usual one. The outliers are those that a sound batch would be likelier with, each at its price; they stand in
nodes of their own, so that every cause is weighed with them and without.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cached_property

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from qc.causes.background import MANY_ROWS, Background
from qc.causes.by_active import ByActive, Precision, by_active, joined
from qc.causes.rows import Floats, Places, RowKind

# By how much the spread of an outlier exceeds the usual one: it is taken from the priors which share of units are so.
SPREADS = (3.0, 5.0)
MOST_OUTLIERS = 10

# Matrices of so many rows and fewer are inverted at once.
SMALL = 12
# So many numbers of a matrix a node stay near the processor.
NEAR = 2**17
# A sum of squares is taken for so much more of itself that rounding never leaves less than nothing.
SPARE = 1e-6

OF_NODES = ("origin", "spread", "precision", "half_log", "log_weight", "outlying", "squares")
"""What the background has an entry of for every node."""


Added = Sequence[tuple[Floats, Floats]]
"""What is added to a covariance: of each kernel its variance at every node, and it itself as covariances are kept."""


class Solved(Struct, frozen=True, kw_only=True, dict=True):
    """The background factorised at every node, with what a cause adds to it.

    Parameters
    ----------
    measured : array of int
        The rows measured.
    values : array (measured,)
    origin : array (nodes,)
        Which point of the background each node has; nodes with outliers have that of a node without.
    apart : ByActive or None
        How the rows fall apart where they are many, of several actives.
    spread : array (nodes, measured, measured) or (nodes, kept)
        The covariance of the background; as it is kept where the rows fall apart.
    precision : array (nodes, measured, measured) or Precision
        Its inverse.
    half_log : array (nodes,)
        Half the logarithm of the determinant of the covariance.
    log_weight : array (nodes,)
        Logarithm of the share of each node.
    outlying : array (nodes, possible outliers)
        Variance that outliers add, each along its column of `outlier_directions`.
    root : array (nodes, disturbances, disturbances)
        Of what is added to the background, as `lowering` gives it; no disturbance where nothing is.
    crossed, sd : array (nodes, measured, disturbances), array (nodes, disturbances)
        Precision times the disturbances, and how large these are.
    squares : array (nodes,)
        Values times precision times values, with what is added.
    """

    measured: Places
    values: Floats
    origin: Places
    apart: ByActive | None
    spread: Floats
    precision: Floats | Precision
    half_log: Floats
    log_weight: Floats
    outlying: Floats
    root: Floats
    crossed: Floats
    sd: Floats
    squares: Floats

    @cached_property
    def lowered(self) -> Floats:
        """The precision is that of the background less the product of this with itself.

        Shape (nodes, disturbances, measured); where only the likelihood itself is asked for, nobody needs it.
        """
        return np.asarray(
            (inverse_of_lower(self.root) * self.sd[:, None, :]) @ self.crossed.swapaxes(1, 2), dtype=np.float64
        )

    @cached_property
    def pull(self) -> Floats:
        """Precision times values, shape (nodes, measured)."""
        low = self.lowered @ self.values
        pull: Floats = (self.precision @ self.values[:, None])[:, :, 0] - (low[:, None, :] @ self.lowered)[:, 0, :]
        return pull

    @cached_property
    def plain(self) -> Floats:
        """Log likelihood at every node without any shift, with the weight of the node."""
        constant = 0.5 * self.values.size * np.log(2.0 * np.pi)
        plain: Floats = -0.5 * self.squares - self.half_log - constant + self.log_weight
        return plain


def inverse_of_lower(root: Floats) -> Floats:
    """The inverses of lower triangular matrices, by halves: products of matrices take less time than a factorisation.

    Examples
    --------
    >>> inverse_of_lower(np.array([[[2.0, 0.0], [1.0, 4.0]]])).tolist()
    [[[0.5, 0.0], [-0.125, 0.25]]]
    """
    half = root.shape[-1] // 2
    if half < SMALL:
        return np.asarray(np.linalg.inv(root), dtype=np.float64)
    inverse = np.zeros(root.shape)
    inverse[:, :half, :half] = inverse_of_lower(root[:, :half, :half])
    inverse[:, half:, half:] = inverse_of_lower(root[:, half:, half:])
    inverse[:, half:, :half] = -inverse[:, half:, half:] @ (root[:, half:, :half] @ inverse[:, :half, :half])
    return inverse


def foundation(background: Background) -> Solved:
    """The background by itself, factorised once."""
    if "foundation" not in background.solved:
        background.solved["foundation"] = _with_outliers(background, _without_outliers(background))
    found: Solved = background.solved["foundation"]
    return found


def sound_covariance(background: Background, *, node: int) -> Floats:
    """Covariance of all rows of a sound batch at one node, measured and thought of, shape (rows, rows)."""
    solved = foundation(background)
    total = sum(
        variance[solved.origin[node]] * background.kernel(name) for name, variance in background.variances.items()
    )
    directions = outlier_directions(background)
    return np.asarray(total + directions * solved.outlying[node] @ directions.T)


def plain_of(base: Solved, added: Added) -> Floats:
    """Log likelihood at every node without any shift, with more added to the covariance, shape (nodes,).

    Notes
    -----
    As in `with_added` the values are one row more of what is factorised.
    """
    if base.apart is not None:
        return factorised(base, added).plain
    rows, most = base.values.size, base.squares * (1.0 + SPARE) + 1.0
    last, half_log = np.empty(most.shape), np.empty(most.shape)
    for of in few_nodes(base):
        inner = np.empty((most[of].size, rows + 1, rows + 1))
        inner[:, :rows, :rows] = spread_with(base, added, of=of)
        inner[:, rows, :rows] = inner[:, :rows, rows] = base.values
        inner[:, rows, rows] = most[of]
        whole = np.asarray(np.linalg.cholesky(inner), dtype=np.float64)
        last[of], half_log[of] = whole[:, rows, rows], _half_log(whole[:, :rows, :rows])
    return replace(base, squares=most - last**2, half_log=half_log).plain


def with_added(base: Solved, factor: Floats, *, sd: Floats) -> Solved:
    """The background with a few disturbances added to its covariance.

    Parameters
    ----------
    base : Solved
        The background by itself.
    factor : array (measured, disturbances)
        How each disturbance shows in each row.
    sd : array (nodes, disturbances)
        Standard deviation of each disturbance at each node.

    Notes
    -----
    With F the factor times the deviations, (S + F F')^-1 = P - P F (1 + F' P F)^-1 F' P and
    ln det(S + F F') = ln det S + ln det(1 + F' P F). Of the inner matrix with the values as a further disturbance the
    last entry of the Cholesky factor is the root of the sum of squares that is left, and one.

    References
    ----------
    Woodbury's identity and the matrix determinant lemma: Petersen and Pedersen (2012), The Matrix Cookbook, equations
    156 and 24 (from memory).
    """
    crossed, many = base.precision @ factor, factor.shape[1]
    scaled = crossed * sd[:, None, :]
    inner = np.empty((len(sd), many + 1, many + 1))
    inner[:, :many, :many] = sd[:, :, None] * (factor.T @ scaled)
    inner[:, many, :many] = inner[:, :many, many] = base.values @ scaled
    spare = SPARE * base.squares
    inner[:, many, many] = base.squares + spare
    inner += np.eye(many + 1)
    whole = np.linalg.cholesky(inner)
    root = whole[:, :many, :many]
    squares = whole[:, many, many] ** 2 - 1.0 - spare
    return replace(base, root=root, crossed=crossed, sd=sd, squares=squares, half_log=base.half_log + _half_log(root))


def _without_outliers(background: Background) -> Solved:
    rows, measured = background.rows, np.flatnonzero(background.rows.measured)
    apart = by_active(rows.active[measured], rows.unit[measured]) if measured.size > MANY_ROWS else None
    kernels = np.stack([measured_kernel(background, name, measured, apart) for name in background.variances])
    spread = np.tensordot(np.stack(list(background.variances.values()), axis=1), kernels, axes=1)
    return factorised(
        Solved(
            measured=measured,
            values=rows.value[measured],
            origin=np.arange(background.nodes),
            apart=apart,
            spread=spread,
            precision=spread,
            half_log=np.zeros(background.nodes),
            log_weight=np.full(background.nodes, -np.log(background.nodes)),
            outlying=np.zeros((background.nodes, outlier_directions(background).shape[1])),
            root=np.zeros((1, 0, 0)),
            crossed=np.zeros((1, measured.size, 0)),
            sd=np.zeros((1, 0)),
            squares=np.zeros(background.nodes),
        ),
    )


def measured_kernel(background: Background, name: str, measured: Places, apart: ByActive | None) -> Floats:
    """A kernel of the rows measured, as covariances are kept."""
    if apart is not None:
        return apart.kept(background.factor(name)[measured])
    return background.kernel(name)[np.ix_(measured, measured)]


def factorised(base: Solved, added: Added = ()) -> Solved:
    """The same rows and nodes with more added to the covariance, which stays as it was in what is given back."""
    precision, half_log = _inverse(base, added)
    squares = (precision @ base.values[:, None])[:, :, 0] @ base.values
    return replace(base, precision=precision, half_log=half_log, squares=squares)


def _inverse(base: Solved, added: Added) -> tuple[Floats | Precision, Floats]:
    """The inverses of the covariance with more added to it, and half the logarithm of each determinant."""
    if base.apart is not None:
        return base.apart.inverse(spread_with(base, added, of=slice(None)))
    precision, half_log = np.empty(base.spread.shape), np.empty(len(base.spread))
    for of in few_nodes(base):
        root = np.asarray(np.linalg.cholesky(spread_with(base, added, of=of)), dtype=np.float64)
        lowered = inverse_of_lower(root)
        np.matmul(lowered.swapaxes(1, 2), lowered, out=precision[of])
        half_log[of] = _half_log(root)
    return precision, half_log


def few_nodes(base: Solved) -> Iterator[slice]:
    """All nodes, so many at a time that what is worked out for them stays near the processor."""
    many = max(1, NEAR // base.values.size**2)
    return (slice(at, at + many) for at in range(0, len(base.spread), many))


def spread_with(base: Solved, added: Added, *, of: slice) -> Floats:
    """The covariance at some nodes with more added to it, as covariances are kept."""
    spread = base.spread[of]
    for variance, kernel in added:
        spread = spread + np.multiply.outer(variance[of], kernel)
    return spread


def _half_log(root: Floats) -> Floats:
    """Half the logarithm of the determinant, from the Cholesky factor."""
    return np.asarray(np.log(np.diagonal(root, axis1=1, axis2=2)).sum(axis=1), dtype=np.float64)


def outlier_directions(background: Background) -> Floats:
    """What may be an outlier, shape (rows, possible): the fill of each unit, each assay, each base pour."""
    own = np.eye(len(background.rows.rows))
    others = (background.rows.active >= 0) | background.rows.of(RowKind.BASE_POUR)
    return np.hstack([background.factor("fill"), own[:, others & background.rows.measured]])


def _usual(background: Background, directions: Floats) -> Floats:
    """The variance of each possible outlier while it is none, at every node, shape (nodes, possible)."""
    rows, variances = background.rows, background.variances
    shares = {
        "mixing": (rows.active >= 0).astype(np.float64),
        "assay": background.assay_sd(stated=False) ** 2,
        "part": rows.of(RowKind.PART).astype(np.float64),
        "base-pour": rows.of(RowKind.BASE_POUR).astype(np.float64),
    }
    each = background.assay_sd(stated=True) ** 2 + np.zeros((background.nodes, len(rows.rows)))
    for name, one in shares.items():
        each += variances[name][:, None] * one
    fills = background.factor("fill").shape[1]
    places = directions[:, fills:].argmax(axis=0)
    return np.hstack([np.repeat(variances["fill"][:, None], fills, axis=1), each[:, places]])


def _with_outliers(background: Background, normal: Solved) -> Solved:
    """The same nodes, and beside them half as many with the outliers that a sound batch is likelier with.

    Outliers are taken one by one, each time the one that raises the likelihood most, for as long as it raises it by
    more than its price. Where there is none, nothing is added.
    """
    priors = background.priors
    shares = [priors.number("outliers", key) for key in ("share_three_times", "share_five_times")]
    heavy = priors.number("outliers", "weight")
    nodes = max(1, background.nodes // 2)
    directions = outlier_directions(background)
    factor = directions[normal.measured]
    usual = _usual(background, directions)[:nodes]
    crossed = normal.precision[:nodes] @ factor
    curb = np.einsum("nrp,rp->np", crossed, factor)
    pulls = normal.pull[:nodes] @ factor
    outlying, price = np.zeros(usual.shape), np.zeros(nodes)
    at = np.arange(nodes)
    taken_off: list[tuple[Floats, Floats]] = []
    for _ in range(MOST_OUTLIERS if heavy > 0.0 else 0):
        added = np.stack([(spread**2 - 1.0) * usual for spread in SPREADS])
        gain = 0.5 * added * pulls**2 / (1.0 + added * curb) - 0.5 * np.log1p(added * curb)
        gain += np.log(shares)[:, None, None] - 1e9 * (outlying > 0.0)
        best = gain.transpose(1, 0, 2).reshape(nodes, -1).argmax(axis=1)
        which, column = np.divmod(best, usual.shape[1])
        taken = gain[which, at, column] > 0.0
        if not taken.any():
            break
        more = np.where(taken, added[which, at, column], 0.0)
        price += np.where(taken, np.log(shares)[which], 0.0)
        outlying[at, column] += more
        along = crossed[at, :, column] @ factor
        for step, other in taken_off:
            along = along - (step * other[at, column])[:, None] * other
        step = more / (1.0 + more * curb[at, column])
        pulls = pulls - (step * pulls[at, column])[:, None] * along
        curb = curb - step[:, None] * along**2
        taken_off.append((step, along))
    if not outlying.any():
        return normal
    some, any_of = replace(normal, **{name: getattr(normal, name)[:nodes] for name in OF_NODES}), outlying.any(axis=0)
    apart = normal.apart
    each = [np.multiply.outer(one, one) if apart is None else apart.kept(one[:, None]) for one in factor[:, any_of].T]
    found = list(zip(outlying[:, any_of].T, each, strict=True))
    beside = factorised(replace(some, spread=spread_with(some, found, of=slice(None))))
    beside = replace(beside, outlying=outlying, log_weight=np.log(heavy / nodes) + price)
    normal = replace(normal, log_weight=normal.log_weight + np.log1p(-heavy))
    both = {name: joined(getattr(normal, name), getattr(beside, name)) for name in OF_NODES}
    return replace(normal, **both)
