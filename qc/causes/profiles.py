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


def _scaled(position: Floats, shape: Shape) -> Floats:
    even = shape(np.linspace(0.0, 1.0, 101))
    scaled: Floats = (shape(position) - even.mean()) / rise_of(even)
    return scaled


# Beside the straight line: late, early, a step, faster and faster, slower and slower, a step at a quarter of the pour.
BENT: tuple[Shape, ...] = (
    lambda at: np.exp((at - 1.0) / 0.15),
    lambda at: -np.exp(-at / 0.15),
    lambda at: (at > 0.5).astype(np.float64),
    lambda at: at**2,
    lambda at: at**0.5,
    lambda at: (at > 0.25).astype(np.float64),
    lambda at: (at > 0.75).astype(np.float64),
)


def plain_shapes(position: Floats) -> tuple[Floats, ...]:
    """A straight line and the bent ones at the given places in the pour, each for a fitted rise of 1 [-]."""
    return (position - 0.5, *(_scaled(position, shape) for shape in BENT))


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
    plain = plain_shapes(position)
    # The plain shapes together weigh as much as the stored profiles: nobody pours quite like the model.
    repeats = max(1, len(stored) // len(plain))
    return np.array(stored + [shape for shape in plain for _ in range(repeats)])
