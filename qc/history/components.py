"""Where the spread comes from: variance components of crossed or nested random factors by REML, and what each level is.

Restricted maximum likelihood by penalised least squares (Bates, Mächler, Bolker & Walker 2015, Journal of Statistical
Software 67(1), section 3; from memory), for any number of factors. The tests hold it against printed components of
balanced and unbalanced examples.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import log, pi, sqrt
from typing import Any, cast

import numpy as np
from msgspec import Struct

from qc.stats.one_thread import one_thread

Floats = np.ndarray[Any, np.dtype[np.floating[Any]]]

# Where a ratio of SD is as good as nothing, and where it is as good as all: the search leaps far beyond, and there the
# products are no longer those of a sum [-].
NOTHING_LEFT, NOTHING_BESIDE = 1e-4, 1e4


class Level(Struct, frozen=True, kw_only=True):
    """One level of a factor: how far it lies from the mean, drawn towards it by as much as its data leave open.

    Parameters
    ----------
    name : str
    n : int
        Measurements at it.
    effect, se : float
        Predicted effect and the SD of what is not known of it.
    """

    name: str
    n: int
    effect: float
    se: float


class Components(Struct, frozen=True, kw_only=True):
    """Mean, the variance of each factor, and what is left from unit to unit.

    Parameters
    ----------
    mean, mean_se : float
    variances : dict
        Variance by factor; 0 where the data show none.
    residual : float
        Variance within.
    levels : dict
        By factor, each level.
    criterion : float
        REML criterion, -2 log of the restricted likelihood.
    """

    mean: float
    mean_se: float
    variances: dict[str, float]
    residual: float
    levels: dict[str, tuple[Level, ...]]
    criterion: float

    @property
    def total(self) -> float:
        """All variances together."""
        return sum(self.variances.values()) + self.residual


def components(values: Sequence[float], factors: Mapping[str, Sequence[str]]) -> Components:
    """Variance components of measurements that belong to a level of each factor.

    Parameters
    ----------
    values : sequence of float
    factors : mapping
        By name of the factor, the level of each measurement.

    Examples
    --------
    Dyestuff, Davies & Goldsmith 1972, 6.4: 1764.05 and 2451.25 are printed.

    >>> yields = {"A": [1545, 1440, 1440, 1520, 1580], "B": [1540, 1555, 1490, 1560, 1495]}
    >>> yields |= {"C": [1595, 1550, 1605, 1510, 1560], "D": [1445, 1440, 1595, 1465, 1545]}
    >>> yields |= {"E": [1595, 1630, 1515, 1635, 1625], "F": [1520, 1455, 1450, 1480, 1445]}
    >>> batches = [batch for batch, five in yields.items() for _ in five]
    >>> found = components([one for five in yields.values() for one in five], {"batch": batches})
    >>> round(found.variances["batch"], 2), round(found.residual, 2)
    (1764.05, 2451.25)
    """
    from scipy.linalg import solve_triangular
    from scipy.optimize import minimize

    y = np.asarray(values, dtype=float)
    names = {factor: sorted(set(levels)) for factor, levels in factors.items()}
    places = {
        factor: np.searchsorted(names[factor], np.asarray(levels, dtype=object)) for factor, levels in factors.items()
    }
    # Cross products alone, so that the work grows with the levels and hardly with the measurements.
    sizes = [len(names[factor]) for factor in factors]
    starts = np.concatenate([[0], np.cumsum(sizes)]).astype(int)
    q, n = int(starts[-1]), len(y)
    cross, sums, counts = np.zeros((q, q)), np.zeros(q), np.zeros(q)
    columns = [starts[k] + places[factor] for k, factor in enumerate(factors)]
    for one in columns:
        np.add.at(sums, one, y)
        np.add.at(counts, one, 1.0)
        for other in columns:
            np.add.at(cross, (one, other), 1.0)
    owner = np.repeat(np.arange(len(sizes)), sizes)

    def solved(ratios: Floats) -> tuple[float, float, float, Floats, Floats, float]:
        """Criterion, mean, residual variance, effects before scaling, triangular factor, weight of the mean."""
        scale = ratios[owner]
        lower = np.linalg.cholesky(cross * np.outer(scale, scale) + np.eye(q))
        of_mean, of_y = (solve_triangular(lower, scale * one, lower=True) for one in (counts, sums))
        left = n - float(of_mean @ of_mean)
        mean = (float(y.sum()) - float(of_mean @ of_y)) / left
        spherical = solve_triangular(lower, of_y - of_mean * mean, lower=True, trans=1)
        squares = float(((y - mean) ** 2).sum()) - float((scale * (sums - counts * mean)) @ spherical)
        # Below this a sum of squares is what is left of a float.
        free, squares = n - 1, max(squares, 1e-24 * float(y @ y))
        value = 2.0 * float(np.log(np.diag(lower)).sum()) + log(left) + free * (1.0 + log(2.0 * pi * squares / free))
        return value, mean, squares / free, spherical, lower, left

    start, search = np.full(len(sizes), 0.5), cast(Any, minimize)
    fine = {"ftol": 1e-15, "gtol": 1e-8}
    with one_thread():
        best = search(
            lambda ratios: solved(ratios)[0],
            start,
            method="L-BFGS-B",
            jac="3-point",
            bounds=[(0.0, NOTHING_BESIDE)] * len(sizes),
            options=fine,
        )
        ratios = np.where(best.x < NOTHING_LEFT, 0.0, best.x)
        criterion, mean, residual, spherical, lower, left = solved(ratios)
        inverse = np.linalg.inv(lower)
    scale = ratios[owner]
    effects = scale * spherical
    spread = np.sqrt(residual * np.maximum((inverse**2).sum(axis=0), 0.0)) * scale
    return Components(
        mean=mean,
        mean_se=sqrt(residual / left),
        variances={factor: float(residual * ratios[k] ** 2) for k, factor in enumerate(factors)},
        residual=residual,
        levels={
            factor: tuple(
                Level(name=name, n=int(counts[i]), effect=float(effects[i]), se=float(spread[i]))
                for i, name in enumerate(names[factor], start=int(starts[k]))
            )
            for k, factor in enumerate(factors)
        },
        criterion=criterion,
    )
