"""Moulds and cavities along the pour: which differences can be told from a change in the melt, and which cannot.

A cavity that is filled again in every round can be told apart: its own level is taken out, and values are permuted
among the fillings of one cavity only. Moulds that are poured one after the other cannot: a light mould and a change of
the melt make the same picture, unless calibration pours tell how heavy each cavity is.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from msgspec import Struct

from qc.batch import Batch, Unit
from qc.stats.drift import centred_by_level
from qc.stats.isotonic import Floats

# Below three fillings a cavity, taking its level out costs more than it mends (power study: 0.90 falls to 0.70).
FEWEST_ROUNDS = 3
FEWEST_LEFT_OVER = 5


class Layout(Struct, frozen=True, kw_only=True):
    """How the units of a series lie in moulds and cavities.

    Parameters
    ----------
    levels : tuple of int
        Cavity level of each unit; all 0 when none is taken out.
    levels_are : str
        "cavity", "mould" or "" when none is taken out.
    blocks : tuple of int
        Which mould-after-mould block each unit lies in; empty when moulds do not follow one another in blocks.
    loose_cavities : bool
        Whether cavities were entered but cannot be told apart, each being filled too seldom.
    """

    levels: tuple[int, ...]
    levels_are: str = ""
    blocks: tuple[int, ...] = ()
    loose_cavities: bool = False

    @property
    def has_levels(self) -> bool:
        """Whether a cavity level is taken out."""
        return len(set(self.levels)) > 1


def layout_of(units: Sequence[Unit]) -> Layout:
    """Read the layout off the moulds and cavities of units in pour order.

    Parameters
    ----------
    units : sequence of Unit
        In pour order.

    Returns
    -------
    Layout
    """
    moulds = [unit.mould for unit in units]
    blocks: tuple[int, ...] = ()
    if units and None not in moulds and len(set(moulds)) > 1:
        runs = np.concatenate([[0], np.cumsum([a != b for a, b in pairwise(moulds)])])
        count, kinds = int(runs[-1]) + 1, len(set(moulds))
        # Moulds that come back often enough average out along the pour; moulds that hardly do are blocks.
        if count <= kinds + kinds // 2 and count < len(units):
            blocks = tuple(int(run) for run in runs)
    cavities = [unit.cavity for unit in units]
    choices: list[tuple[str, list[object]]] = []
    if None not in cavities:
        if not blocks:
            choices.append(("cavity", [(unit.mould, unit.cavity) for unit in units]))
        choices.append(("cavity", list(cavities)))
    if None not in moulds and not blocks:
        choices.append(("mould", list(moulds)))
    for name, keys in choices:
        if _told_apart(keys):
            numbers = {key: number for number, key in enumerate(dict.fromkeys(keys))}
            return Layout(levels=tuple(numbers[key] for key in keys), levels_are=name, blocks=blocks)
    loose = None not in cavities and len(set(cavities)) > 1
    return Layout(levels=(0,) * len(units), blocks=blocks, loose_cavities=loose)


def _told_apart(keys: list[object]) -> bool:
    """Whether each level comes back often enough, and spread over the pour, to be told from a change along it."""
    count = len(set(keys))
    runs = 1 + sum(a != b for a, b in pairwise(keys))
    return (
        count > 1
        and len(keys) >= FEWEST_ROUNDS * count
        and len(keys) - count - 1 >= FEWEST_LEFT_OVER
        and runs >= 2 * count
    )


def calibrated_base(batch: Batch) -> dict[str, float]:
    """Mass of plain base that the cavity of each unit holds, from the calibration pours.

    Parameters
    ----------
    batch : Batch

    Returns
    -------
    dict
        Unit name to mean base mass [g]; units whose cavity was never calibrated are missing.
    """
    pours: dict[tuple[str | None, str], list[float]] = {}
    for pour in batch.cavity_pours:
        pours.setdefault((pour.mould, pour.cavity), []).append(float(pour.base_mass_g))
    found: dict[str, float] = {}
    for unit in batch.units:
        if unit.cavity is None:
            continue
        # A calibration without a mould serves the cavity in every mould.
        masses = pours.get((unit.mould, unit.cavity)) or pours.get((None, unit.cavity))
        if masses:
            found[unit.name] = float(np.mean(masses))
    return found


def cavity_share(values: Floats, levels: Sequence[int]) -> Floats:
    """What the level of each unit adds to the mean of all, by the means of the levels.

    Parameters
    ----------
    values : array, one a unit
    levels : sequence of int
        The level of each value.

    Returns
    -------
    array, one a unit
        In the unit of the values.
    """
    centred: Floats = values - values.mean()
    share: Floats = centred - centred_by_level(values, levels)
    return share
