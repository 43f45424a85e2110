"""Moulds and cavities along the pour: which differences can be told from a change in the melt, and are taken out.

A cavity that is filled again in every round can be told apart: its own level is taken out, and values are permuted
among the fillings of one cavity only. Moulds that are poured one after the other cannot: a light mould and a change of
the melt make the same picture, unless calibration pours tell how heavy each cavity is.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise

import numpy as np
from msgspec import Struct

from qc.batch import Batch, Unit
from qc.pour.series import Series, SeriesKind
from qc.results.messages import Message, message
from qc.stats.arrays import Floats
from qc.stats.drift import centred_by_level

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
    loose_cavities : tuple of int
        Which cavity each unit lies in, where they cannot be told from a change along the pour, each being filled too
        seldom; else empty.
    """

    levels: tuple[int, ...]
    levels_are: str = ""
    blocks: tuple[int, ...] = ()
    loose_cavities: tuple[int, ...] = ()

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
    # Where moulds follow one another in blocks, a mould's own level cannot be told from a change along the pour.
    choices: tuple[tuple[str, list[object], bool], ...] = (
        ("cavity", [(unit.mould, unit.cavity) for unit in units], None not in cavities and not blocks),
        ("cavity", [*cavities], None not in cavities),
        ("mould", [*moulds], None not in moulds and not blocks),
    )
    for name, keys, usable in choices:
        if usable and _told_apart(keys):
            return Layout(levels=_numbered(keys), levels_are=name, blocks=blocks)
    loose = _numbered(choices[0][1]) if len(set(cavities)) > 1 else ()
    return Layout(levels=(0,) * len(units), blocks=blocks, loose_cavities=loose)


def _numbered(keys: Sequence[object]) -> tuple[int, ...]:
    """Different keys by number, in the order in which they come."""
    numbers = {key: number for number, key in enumerate(dict.fromkeys(keys))}
    return tuple(numbers[key] for key in keys)


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


def pours_of_cavities(batch: Batch) -> dict[tuple[str | None, str], list[float]]:
    """Masses of plain base that calibration pours found, by mould and cavity [g]."""
    pours: dict[tuple[str | None, str], list[float]] = {}
    for pour in batch.cavity_pours:
        pours.setdefault((pour.mould, pour.cavity), []).append(float(pour.base_mass_g))
    return pours


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
    pours = pours_of_cavities(batch)
    # A calibration without a mould serves the cavity in every mould.
    return {
        unit.name: float(np.mean(masses))
        for unit in batch.units
        if unit.cavity is not None
        and (masses := pours.get((unit.mould, unit.cavity)) or pours.get((None, unit.cavity)))
    }


class Corrected(Struct, frozen=True, kw_only=True):
    """A series made ready for the tests.

    Parameters
    ----------
    series : Series
    tested : array
        What the test of order sees [unit of measure of the series].
    levels : tuple of int
        Values are permuted within one level only.
    sized : array
        What the size of the change is worked out from; `levels` get heights of their own in that fit.
    blocks : tuple of int
        Moulds poured one after the other whose differences are still in the values; empty when there are none.
    taken_out : bool
        Whether differences between cavities were taken out.
    how : Message or ""
        What was done, "" when cavities were not entered.
    loose_cavities : tuple of int
        Cavity of each unit where their differences are still in the values; else empty.
    sizes : tuple of int
        Of how many units each value is the mean, where some were poured together; else empty.
    """

    series: Series
    tested: Floats
    levels: tuple[int, ...]
    sized: Floats
    blocks: tuple[int, ...] = ()
    taken_out: bool = False
    how: Message | str = ""
    loose_cavities: tuple[int, ...] = ()
    sizes: tuple[int, ...] = ()

    @property
    def exchangeable(self) -> Floats:
        """What the test of order sees, with the mean of fewer units than usual drawn toward the mean of all.

        It scatters more by itself, by no more than the root of how many times fewer they are.
        """
        if not self.sizes:
            return self.tested
        sizes, middle = np.array(self.sizes, dtype=float), self.tested.mean()
        return np.asarray(middle + (self.tested - middle) * np.sqrt(np.minimum(sizes / np.median(sizes), 1.0)))


def corrected_masses(series: Series, batch: Batch) -> Corrected:
    """Masses with the differences between cavities taken out, by their own rounds or by calibration pours.

    Parameters
    ----------
    series : Series
        Masses in pour order.
    batch : Batch
        For the calibration pours.

    Returns
    -------
    Corrected
    """
    layout = layout_of(series.units)
    values, blocks, levels = series.values, layout.blocks, layout.levels
    bases = calibrated_base(batch)
    calibrated = bool(series.units) and all(unit.name in bases for unit in series.units)
    how: Message | str = ""
    if calibrated and (blocks or not layout.has_levels):
        # Only calibration can tell a light mould from a change of the melt; where rounds can tell, they tell better.
        base = np.array([bases[name] for name in series.names])
        values, blocks, levels = values - base + base.mean(), (), (0,) * len(series.units)
        how = message("pour.by_calibration")
    elif layout.has_levels:
        rounds = len(series.units) // len(set(levels))
        how = message("pour.by_own_means", levels=layout.levels_are, rounds=rounds)
    elif layout.loose_cavities:
        how = message("pour.cavities_stay")
    has_levels = len(set(levels)) > 1
    return Corrected(
        series=series,
        tested=centred_by_level(values, levels) if has_levels else values,
        levels=levels,
        sized=values,
        blocks=blocks,
        taken_out=calibrated or has_levels,
        how=how,
        loose_cavities=() if calibrated else layout.loose_cavities,
    )


def corrected_contents(series: Series, masses: Corrected, batch: Batch) -> Corrected:
    """Contents with the fill of the cavities taken out: a cavity changes a content through its mass alone.

    Parameters
    ----------
    series : Series
        Contents or concentrations in pour order. A concentration knows no cavity and stays as it is.
    masses : Corrected
        The masses of the same batch.
    batch : Batch

    Returns
    -------
    Corrected
    """
    flat = (0,) * len(series.units)
    if series.kind is SeriesKind.CONCENTRATION:
        return Corrected(series=series, tested=series.values, levels=flat, sized=series.values)
    layout = layout_of(series.units)
    fills = _relative_fill(masses, batch)
    taken_out = bool(fills) and all(name in fills for name in series.names)
    values = series.values / np.array([fills[name] for name in series.names]) if taken_out else series.values
    return Corrected(
        series=series,
        tested=values,
        levels=flat,
        sized=values,
        blocks=layout.blocks if not taken_out or masses.blocks else (),
        taken_out=taken_out,
        how=message("pour.fill_taken_out") if taken_out else "",
        loose_cavities=() if taken_out else layout.loose_cavities or (layout.levels if layout.has_levels else ()),
    )


def _relative_fill(masses: Corrected, batch: Batch) -> Mapping[str, float]:
    """What each unit's cavity holds, relative to the mean cavity; empty where it is not known."""
    if len(set(masses.levels)) > 1 and masses.series.values.mean() > 0:
        values, middle = masses.series.values, float(masses.series.values.mean())
        share = values - middle - centred_by_level(values, masses.levels)
        return dict(zip(masses.series.names, 1 + share / middle, strict=True))
    bases = calibrated_base(batch)
    if bases:
        middle = float(np.mean(list(bases.values())))
        return {name: base / middle for name, base in bases.items()}
    return {}
