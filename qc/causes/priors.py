"""What is taken to be true before the measurements are looked at, read from one data file and a house file on top."""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Mapping
from decimal import Decimal
from functools import cache
from math import isfinite, log
from pathlib import Path
from statistics import NormalDist
from typing import Any

import numpy as np
from msgspec import Struct

from qc.causes.rows import Floats
from qc.problems import InputProblems, Problem

BUILT_IN = Path(__file__).parent / "data" / "priors.toml"
# Sections under the name they had, for the hint to the name they have.
_RENAMED = {"before": "prior"}


class PriorsError(InputProblems):
    """A house file sets something that is not there, or something that cannot be."""


class LogNormal(Struct, frozen=True, kw_only=True):
    """A log-normal size: its median, its spread factor, and the bounds it is cut off at."""

    median: float
    factor: float
    least: float = 0.0
    most: float = float("inf")

    def quantile(self, share: Floats) -> Floats:
        """The size that a share of cases lies below, within the bounds.

        Parameters
        ----------
        share : array
            Between 0 and 1, exclusive [-].
        """
        spread = log(self.factor)
        low = NormalDist().cdf(log(self.least / self.median) / spread) if self.least > 0.0 else 0.0
        high = NormalDist().cdf(log(self.most / self.median) / spread)
        within = np.clip(low + share * (high - low), 1e-9, 1.0 - 1e-9)
        return self.median * np.exp(spread * normal_quantile(within))

    def equally_likely(self, count: int) -> Floats:
        """So many sizes that stand for equal shares of the cases, shape (count,)."""
        return self.quantile(middles(count))

    def shifts(self, *, sign: float, step: float) -> tuple[Floats, Floats]:
        """ln(1 + size), or ln(1 - size) with `sign` -1, at even steps, and the probability of each [-].

        A size far out is as finely divided as a usual one, so that it is found where the measurements are precise.
        """
        ends = np.abs(np.log1p(sign * np.array([self.least, self.most])))
        even = np.arange(ends[0], ends[1] + step, step)
        size = sign * np.expm1(sign * even)
        density = np.exp(-0.5 * (np.log(size / self.median) / log(self.factor)) ** 2) / size * np.exp(sign * even)
        return sign * even, density / density.sum()


class Priors(Struct, frozen=True, kw_only=True):
    """All values, by section and key.

    Examples
    --------
    >>> builtin_priors().number("pairs", "second_fault")
    0.08
    >>> builtin_priors().size("active-lost", "lost").median
    0.1
    """

    sections: Mapping[str, Mapping[str, Any]]

    def number(self, section: str, key: str) -> float:
        """A single number of a section."""
        return float(self.sections[section][key])

    def size(self, section: str, key: str) -> LogNormal:
        """A log-normal size of a section."""
        return LogNormal(**self.sections[section][key])

    def prior(self) -> dict[str, float]:
        """Prior probability of each cause, adding up to 1 [-]."""
        weights = {cause: float(weight) for cause, weight in self.sections["prior"].items()}
        total = sum(weights.values())
        return {cause: weight / total for cause, weight in weights.items()}


@cache
def builtin_priors() -> Priors:
    """The priors that come with the program."""
    return Priors(sections=tomllib.loads(BUILT_IN.read_text(encoding="utf-8")))


# No size and no weight of a cause is greater, whatever its unit.
LARGEST = 1_000_000
# The prior that the program or the house states counts as so many confirmed batches.
PRIOR_COUNTS = 20.0


def with_confirmed(priors: Priors, confirmed: Mapping[str, int]) -> Priors:
    """The priors after causes that were confirmed for so many batches.

    Only suspicious batches are looked into, so that how often nothing is wrong is not learnt from them: `sound` keeps
    its probability, and the faults share the rest by the mean of a Dirichlet distribution.

    Examples
    --------
    >>> learnt = with_confirmed(builtin_priors(), {"poor-mixing": 20}).prior()
    >>> before = builtin_priors().prior()
    >>> round(learnt["sound"] - before["sound"], 9), learnt["poor-mixing"] > 0.5 * (1.0 - before["sound"])
    (0.0, True)
    """
    prior = priors.prior()
    faults = {cause: share for cause, share in prior.items() if cause != "sound"}
    rest, seen = sum(faults.values()), sum(confirmed.get(cause, 0) for cause in faults)
    weights = {cause: PRIOR_COUNTS * share / rest + confirmed.get(cause, 0) for cause, share in faults.items()}
    learnt = {cause: rest * weight / (PRIOR_COUNTS + seen) for cause, weight in weights.items()}
    return Priors(sections={**priors.sections, "prior": {**prior, **learnt}})


def house_priors(house: Mapping[str, Any], *, file: str) -> Priors:
    """The priors with the values of a house in place of the built-in ones.

    Parameters
    ----------
    house : mapping
        Sections and keys as in the built-in file, those that differ alone: the table [causes] of a house file.
    file : str
        Name of the house file, for messages.

    Raises
    ------
    PriorsError
        When the file sets an unknown section or key, or a value that is not a number from 0 up.
    """
    return Priors(sections=_merged(house, like=builtin_priors().sections, file=file, at="causes"))


def _merged(value: Any, *, like: Any, file: str, at: str) -> Any:
    """A value of a house where one of that kind is meant: all sections, a section, a size, or a number."""

    def refused(found: str, *, mend: str, key: str = at) -> PriorsError:
        return PriorsError([Problem(file=file, sheet="", cell=key, found=found, mend=mend)])

    if isinstance(like, Mapping):
        if not isinstance(value, Mapping) and "median" in like:
            example = f"{{ median = {like['median']} }}"
            raise refused(f"{value} is not a size", mend=f"Type a size, for example {example}")
        if not isinstance(value, Mapping):
            raise refused("a value stands where a section is meant", mend=f"Put the values under a line [{at}]")
        for key in value:
            if key not in like:
                near = _RENAMED.get(key) or difflib.get_close_matches(key, list(like), n=1, cutoff=0.0)[0]
                thing = "section" if at == "causes" else "key"
                raise refused(f'there is no {thing} "{key}"', mend=f"Did you mean {near}?", key=f"{at}.{key}")
        return {key: _merged(value.get(key, own), like=own, file=file, at=f"{at}.{key}") for key, own in like.items()}
    number = not isinstance(value, bool) and isinstance(value, int | float | Decimal) and isfinite(value)
    if not number or not 0 <= value <= LARGEST:
        raise refused(f"{value} cannot be used", mend=f"Type a number from 0 to {LARGEST}, for example {like}")
    return float(value)


def normal_quantile(share: Floats) -> Floats:
    """Standard normal quantiles, of the same shape [-].

    Examples
    --------
    >>> [round(float(score), 3) for score in normal_quantile(np.array([0.5, 0.975]))]
    [0.0, 1.96]
    """
    inverse = NormalDist().inv_cdf
    flat = [inverse(float(one)) for one in np.ravel(share)]
    return np.array(flat).reshape(np.shape(share))


def quasi_random_points(count: int, *, dimensions: int) -> Floats:
    """Points that fill the unit cube evenly, the same ones every time.

    Returns
    -------
    array of shape (count, dimensions)
        Between 0 and 1, exclusive.

    References
    ----------
    Roberts (2018), "The unreasonable effectiveness of quasirandom sequences": an additive recurrence whose steps are
    powers of the inverse of the root of x^(d+1) = x + 1 (from memory).

    Examples
    --------
    >>> quasi_random_points(3, dimensions=1).round(3).ravel().tolist()
    [0.118, 0.736, 0.354]
    """
    root = 2.0
    for _ in range(60):
        root = (1.0 + root) ** (1.0 / (dimensions + 1))
    steps = root ** -np.arange(1.0, dimensions + 1.0)
    points = (0.5 + np.arange(1, count + 1)[:, None] * steps[None, :]) % 1.0
    return np.clip(points, 1e-6, 1.0 - 1e-6)


def middles(count: int) -> Floats:
    """The middles of equal shares of the unit interval.

    Examples
    --------
    >>> middles(2).tolist()
    [0.25, 0.75]
    """
    return (np.arange(count) + 0.5) / count
