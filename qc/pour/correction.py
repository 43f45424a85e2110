"""Take the differences between cavities out of a series, before it is asked whether the melt changed."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from msgspec import Struct

from qc.batch import Batch
from qc.pour.layout import calibrated_base, cavity_share, layout_of
from qc.pour.series import Kind, Series
from qc.results.messages import Message, message
from qc.stats.drift import centred_by_level
from qc.stats.isotonic import Floats


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
        What the size of the change is worked out from; `size_levels` get heights of their own in that fit.
    size_levels : tuple of int
    blocks : tuple of int
        Moulds poured one after the other whose differences are still in the values; empty when there are none.
    taken_out : bool
        Whether differences between cavities were taken out.
    how : Message or ""
        What was done, "" when cavities were not entered.
    loose_cavities : bool
        Cavities were entered, and their differences are still in the values.
    """

    series: Series
    tested: Floats
    levels: tuple[int, ...]
    sized: Floats
    size_levels: tuple[int, ...]
    blocks: tuple[int, ...] = ()
    taken_out: bool = False
    how: Message | str = ""
    loose_cavities: bool = False


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
        size_levels=levels,
        blocks=blocks,
        taken_out=calibrated or has_levels,
        how=how,
        loose_cavities=layout.loose_cavities and not calibrated,
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
    if series.kind is Kind.CONCENTRATION:
        return Corrected(series=series, tested=series.values, levels=flat, sized=series.values, size_levels=flat)
    layout = layout_of(series.units)
    fills = _relative_fill(masses, batch)
    values, taken_out = series.values, False
    if fills and all(name in fills for name in series.names):
        values = values / np.array([fills[name] for name in series.names])
        taken_out = True
    return Corrected(
        series=series,
        tested=values,
        levels=flat,
        sized=values,
        size_levels=flat,
        blocks=layout.blocks if not taken_out or masses.blocks else (),
        taken_out=taken_out,
        how=message("pour.fill_taken_out") if taken_out else "",
        loose_cavities=not taken_out and any(unit.cavity is not None for unit in series.units),
    )


def _relative_fill(masses: Corrected, batch: Batch) -> Mapping[str, float]:
    """What each unit's cavity holds, relative to the mean cavity; empty where it is not known."""
    if len(set(masses.levels)) > 1 and masses.series.values.mean() > 0:
        share = cavity_share(masses.series.values, masses.levels)
        return dict(zip(masses.series.names, 1 + share / masses.series.values.mean(), strict=True))
    bases = calibrated_base(batch)
    if bases:
        middle = float(np.mean(list(bases.values())))
        return {name: base / middle for name, base in bases.items()}
    return {}
