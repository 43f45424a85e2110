"""What is taken to be true before the measurements are looked at, read from one data file and a house file on top."""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Mapping
from decimal import Decimal
from functools import cache
from math import log
from pathlib import Path
from typing import Any

import numpy as np
from msgspec import Struct

from qc.causes.quantiles import normal_quantile
from qc.causes.rows import Floats
from qc.problems import InputProblems, Problem

BUILT_IN = Path(__file__).parent / "data" / "priors.toml"
# Sections under the name they had, for the hint to the name they have.
_RENAMED = {"before": "prior"}


class PriorsError(InputProblems):
    """A house file sets something that is not there, or something that cannot be."""

    def __init__(self, *, file: str, key: str, found: str, mend: str) -> None:
        super().__init__([Problem(file=file, sheet="", cell=key, found=found, mend=mend)])


class Size(Struct, frozen=True, kw_only=True):
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
        return self.median * np.exp(log(self.factor) * normal_quantile(self._within(share)))

    def _within(self, share: Floats) -> Floats:
        low = self._share_below(self.least) if self.least > 0.0 else 0.0
        high = self._share_below(self.most) if self.most < float("inf") else 1.0
        return np.clip(low + share * (high - low), 1e-9, 1.0 - 1e-9)

    def _share_below(self, size: float) -> float:
        from statistics import NormalDist

        return NormalDist().cdf(log(size / self.median) / log(self.factor))


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

    def size(self, section: str, key: str) -> Size:
        """A log-normal size of a section."""
        return Size(**self.sections[section][key])

    def prior(self) -> dict[str, float]:
        """Prior probability of each cause, adding up to 1 [-]."""
        weights = {cause: float(weight) for cause, weight in self.sections["prior"].items()}
        total = sum(weights.values())
        return {cause: weight / total for cause, weight in weights.items()}


@cache
def builtin_priors() -> Priors:
    """The priors that come with the program."""
    return Priors(sections=tomllib.loads(BUILT_IN.read_text(encoding="utf-8")))


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
        When the file sets an unknown section or key, or a value that is not a positive number.
    """
    built_in = builtin_priors().sections
    merged: dict[str, dict[str, Any]] = {name: dict(section) for name, section in built_in.items()}
    for section, keys in house.items():
        if section not in merged:
            raise _unknown(section, known=list(merged), file=file, key=f"causes.{section}", thing="section")
        if not isinstance(keys, Mapping):
            raise PriorsError(
                file=file,
                key=f"causes.{section}",
                found="a value stands where a section is meant",
                mend=f"Put the values under a line [causes.{section}]",
            )
        for key, value in keys.items():
            at = f"causes.{section}.{key}"
            if key not in merged[section]:
                raise _unknown(key, known=list(merged[section]), file=file, key=at, thing="key")
            merged[section][key] = _checked(value, like=merged[section][key], file=file, at=at)
    return Priors(sections=merged)


def _checked(value: Any, *, like: Any, file: str, at: str) -> Any:
    if isinstance(like, dict):
        if not isinstance(value, Mapping):
            raise PriorsError(
                file=file,
                key=at,
                found=f"{value} is not a size",
                mend=f"Type a size, for example {{ median = {like['median']} }}",
            )
        unknown = [key for key in value if key not in like]
        if unknown:
            raise _unknown(unknown[0], known=list(like), file=file, key=at, thing="key")
        return {key: _checked(value.get(key, like[key]), like=like[key], file=file, at=f"{at}.{key}") for key in like}
    if isinstance(value, bool) or not isinstance(value, int | float | Decimal) or not value >= 0:
        raise PriorsError(
            file=file,
            key=at,
            found=f"{value} cannot be used",
            mend=f"Type a number that is not negative, for example {like}",
        )
    return float(value)


def _unknown(name: str, *, known: list[str], file: str, key: str, thing: str) -> PriorsError:
    return PriorsError(file=file, key=key, found=f'there is no {thing} "{name}"', mend=_nearest(name, known))


def _nearest(name: str, known: list[str]) -> str:
    near = _RENAMED.get(name) or difflib.get_close_matches(name, known, n=1, cutoff=0.0)[0]
    return f"Did you mean {near}?"
