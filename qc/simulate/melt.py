"""A melt that settles while it is poured: from the top of the dish, unit by unit, down to what stays in the dish.

A still melt clears from the top while it is emptied from the top. What sinks rains into the layers below and onto the
floor; the last units scrape some of it up, the rest stays in the dish. Partial stirring brings some of it back.
"""

from __future__ import annotations

import numpy as np
from msgspec import Struct

from qc.simulate.settling import Suspension, hindered_velocity
from qc.stats.arrays import Floats

LAYERS_A_UNIT = 3


class Melt(Suspension, frozen=True, kw_only=True):
    """A suspension in its dish.

    Parameters
    ----------
    depth_mm : float
        Depth of the melt in the dish when the pour begins [mm].
    minutes_since_stir : float
        From the last stir to the first unit [min].
    pour_minutes : float
        From the first unit to the last [min].
    solids_fraction : float
        Volume fraction of active in the stirred melt [-].
    stirring : float
        Share of the active that a stirring spreads evenly again, 0 (still) to 1 (all of it) [-].
    stir_every : int
        How many units are poured from one stirring to the next.
    scraped : float
        Share of the deposit on the floor that the last units scrape up [-].
    scraping_units : int
        How many of the last units scrape.
    excess : float
        Melt made beyond the units poured, as a share of what is poured [-].

    Examples
    --------
    >>> Melt(particle_um=60.0, viscosity_mpas=35.0).pour_minutes
    8.0
    """

    depth_mm: float = 40.0
    minutes_since_stir: float = 2.0
    pour_minutes: float = 8.0
    solids_fraction: float = 0.08
    stirring: float = 0.0
    stir_every: int = 1
    scraped: float = 0.5
    scraping_units: int = 3
    excess: float = 0.05


class Poured(Struct, frozen=True, kw_only=True):
    """Where the active went, as shares of what was weighed: units in pour order, and what stays in the dish."""

    units: Floats
    dish: float

    @property
    def relative(self) -> Floats:
        """Content of each unit over the content it would have had from an even melt [-]."""
        return self.units / self.even

    even: float
    """Share of the active that a unit of an even melt holds."""


def pour_settling_melt(melt: Melt, *, units: int) -> Poured:
    """Pour a settling melt into units of equal volume.

    Parameters
    ----------
    melt : Melt
        The suspension and how it is poured.
    units : int
        How many units are poured.

    Returns
    -------
    Poured
        Shares of the active weighed; units and dish add up to 1 within rounding of the last digit.

    Raises
    ------
    ValueError
        When there is no unit, none between two stirrings, or a share lies outside 0 to 1.

    Notes
    -----
    Layers of a third of a unit, twelve size classes; each class sinks at its Stokes speed, hindered by all the solids
    of its layer (Richardson and Zaki). The flux is taken from the layer above, so nothing is lost between layers.
    """
    if units < 1:
        raise ValueError(f"{units} units cannot be poured; pour at least one")
    if melt.stir_every < 1:
        raise ValueError(
            f"the melt cannot be stirred every {melt.stir_every} units; give 1 or more, and stirring 0 for never"
        )
    for name in ("stirring", "scraped", "solids_fraction"):
        share = getattr(melt, name)
        if not 0.0 <= share <= 1.0:
            raise ValueError(f"{name} {share} is not a share between 0 and 1")
    spare = round(melt.excess * units * LAYERS_A_UNIT)
    count = units * LAYERS_A_UNIT + spare
    thickness = melt.depth_mm * 1e-3 / count
    speeds, shares = melt.speeds()
    solids_a_share = melt.solids_fraction * count

    def settled(layers: Floats, floor: Floats, *, seconds: float) -> tuple[Floats, Floats]:
        return _settle(layers, floor, speeds, thickness=thickness, seconds=seconds, solids_a_share=solids_a_share)

    stirred = shares[None, :] / count * np.ones((count, shares.size))
    layers, floor = settled(stirred, np.zeros_like(shares), seconds=melt.minutes_since_stir * 60.0)
    contents = np.zeros(units)
    for unit in range(units):
        contents[unit] = layers[:LAYERS_A_UNIT].sum()
        layers = layers[LAYERS_A_UNIT:]
        if layers.shape[0] and unit < units - 1:
            layers, floor = settled(layers, floor, seconds=melt.pour_minutes * 60.0 / max(units - 1, 1))
            if (unit + 1) % melt.stir_every == 0:
                layers, floor = _stir(layers, floor, share=melt.stirring)
    contents, floor_left = _scrape(contents, float(floor.sum()), melt)
    return Poured(units=contents, dish=float(layers.sum()) + floor_left, even=LAYERS_A_UNIT / count)


def _settle(
    layers: Floats, floor: Floats, speeds: Floats, *, thickness: float, seconds: float, solids_a_share: float
) -> tuple[Floats, Floats]:
    """Let every class sink for a while; rising particles gather in the top layer."""
    if seconds <= 0.0:
        return layers, floor
    # A class that crosses the dish several times over has settled; its speed is cut so that the steps stay few.
    most = 3.0 * thickness * layers.shape[0] / seconds
    limited = np.clip(speeds, -most, most)
    steps = max(1, int(np.ceil(float(np.abs(limited).max()) * seconds / thickness)))
    share = seconds / steps / thickness
    for _ in range(steps):
        crowding = np.minimum(layers.sum(axis=1, keepdims=True) * solids_a_share, 0.6)
        moved = hindered_velocity(limited[None, :], solids_fraction=crowding) * share * layers
        # Rounding lets no layer give more than it holds.
        moved = np.clip(moved, -layers, layers)
        down, up = np.maximum(moved, 0.0), np.maximum(-moved, 0.0)
        up[0] = 0.0
        settled = layers - down - up
        settled[1:] += down[:-1]
        settled[:-1] += up[1:]
        floor = floor + down[-1]
        layers = settled
    return layers, floor


def _stir(layers: Floats, floor: Floats, *, share: float) -> tuple[Floats, Floats]:
    if share == 0.0:
        return layers, floor
    lifted = share * (layers.sum(axis=0) + floor)
    return layers * (1.0 - share) + lifted[None, :] / layers.shape[0], floor * (1.0 - share)


def _scrape(contents: Floats, floor: float, melt: Melt) -> tuple[Floats, float]:
    """The last units take up some of the deposit, each more than the one before it."""
    reach = min(max(melt.scraping_units, 1), contents.size)
    weights = np.arange(1.0, reach + 1.0)
    taken = melt.scraped * floor * weights / weights.sum()
    scraped = contents.copy()
    scraped[-reach:] += taken
    return scraped, floor * (1.0 - melt.scraped)
