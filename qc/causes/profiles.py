"""Shapes that the concentration takes along a pour that settles, each scaled to a fitted rise of 1.

A library of profiles of the melt model (qc/simulate/settling_melt.py) worked out beforehand, and plain shapes: a
straight rise, late and early ones, and steps where a pour was interrupted.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path

import numpy as np

from qc.causes.rows import Floats

Shape = Callable[[Floats], Floats]

# A plain table: as TOML, a thousand figures take longer to read than the causes take to weigh.
STORED_PROFILES = Path(__file__).parent / "data" / "settling_profiles.csv"


def rise_of(logarithms: Floats) -> float:
    """Rise from first to last of a straight line fitted to equally spaced values.

    Examples
    --------
    >>> round(rise_of(np.array([0.0, 0.1, 0.2])), 12)
    0.2
    """
    place = np.linspace(-0.5, 0.5, logarithms.size)
    return float((place * logarithms).sum() / (place**2).sum())


@cache
def _stored() -> tuple[tuple[float, ...], ...]:
    lines = STORED_PROFILES.read_text(encoding="utf-8").splitlines()
    return tuple(tuple(map(float, line.split(","))) for line in lines if not line.startswith("#"))


def _straight(position: Floats) -> Floats:
    return position - 0.5


def _late(position: Floats) -> Floats:
    return _scaled(position, lambda at: np.exp((at - 1.0) / 0.15))


def _early(position: Floats) -> Floats:
    return _scaled(position, lambda at: -np.exp(-at / 0.15))


def _step(position: Floats) -> Floats:
    return _scaled(position, lambda at: (at > 0.5).astype(np.float64))


def _scaled(position: Floats, shape: Shape) -> Floats:
    even = shape(np.linspace(0.0, 1.0, 101))
    scaled: Floats = (shape(position) - even.mean()) / rise_of(even)
    return scaled


def _quadratic(position: Floats) -> Floats:
    return _scaled(position, lambda at: at**2)


def _slowing(position: Floats) -> Floats:
    return _scaled(position, lambda at: at**0.5)


def _first_quarter(position: Floats) -> Floats:
    return _scaled(position, lambda at: (at > 0.25).astype(np.float64))


def _last_quarter(position: Floats) -> Floats:
    return _scaled(position, lambda at: (at > 0.75).astype(np.float64))


PLAIN: tuple[Shape, ...] = (
    _straight,
    _late,
    _early,
    _step,
    _quadratic,
    _slowing,
    _first_quarter,
    _last_quarter,
)


def profile_library(position: Floats) -> Floats:
    """Every shape at the given places in the pour.

    Parameters
    ----------
    position : array
        Place in the pour, 0 first, 1 last [-].

    Returns
    -------
    array of shape (shapes, rows)
        Logarithm of the concentration over that of an even melt, for a fitted rise of 1 [-].
    """
    stored = [np.interp(position, np.linspace(0.0, 1.0, len(profile)), profile) for profile in _stored()]
    return np.array(stored + [plain(position) for plain in PLAIN for _ in range(_repeats())])


def _repeats() -> int:
    # The plain shapes together weigh as much as the stored profiles: nobody pours quite like the model.
    return max(1, len(_stored()) // len(PLAIN))
