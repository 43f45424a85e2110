"""Settling inside one unit, toward the tip, from the moment it is poured until it has set."""

from __future__ import annotations

import numpy as np
from msgspec import Struct

from qc.simulate.settling import hindered_velocity, size_classes, stokes_velocity


class SettingUnit(Struct, frozen=True, kw_only=True):
    """A unit in its cavity, tip down, in the trade's units.

    Parameters
    ----------
    particle_um, particle_spread : float
        Median diameter [um] and geometric standard deviation [-].
    particle_density_g_cm3, melt_density_g_cm3 : float
        Densities [g/cm3].
    viscosity_mpas : float
        Viscosity while it cools toward its setting point [mPa s].
    length_mm : float
        Length of the unit from tip to end [mm].
    minutes_to_set : float
        From the pour until nothing moves any more [min].
    solids_fraction : float
        Volume fraction of active [-].
    """

    particle_um: float = 40.0
    particle_spread: float = 1.6
    particle_density_g_cm3: float = 1.4
    melt_density_g_cm3: float = 0.9
    viscosity_mpas: float = 60.0
    length_mm: float = 30.0
    minutes_to_set: float = 4.0
    solids_fraction: float = 0.08


class PartsOfUnit(Struct, frozen=True, kw_only=True):
    """Concentration in the tip, middle and end third over that of the whole unit [-]; their mean is 1."""

    tip: float
    middle: float
    end: float


def settle_in_unit(unit: SettingUnit) -> PartsOfUnit:
    """Let the active of one unit sink toward the tip until the unit has set.

    Parameters
    ----------
    unit : SettingUnit
        The unit and how it cools.

    Returns
    -------
    PartsOfUnit
        The three thirds; the active is only moved, never lost.

    Notes
    -----
    Closed form: in time t a class of speed v clears the share x = v t / length from the end; below the front it keeps
    its concentration, and what has come down lies in the tip. The unit is taken as a cylinder.

    Examples
    --------
    >>> settle_in_unit(SettingUnit(minutes_to_set=0.0))
    PartsOfUnit(tip=1.0, middle=1.0, end=1.0)
    >>> parts = settle_in_unit(SettingUnit(particle_um=60.0))
    >>> parts.tip > parts.middle > parts.end
    True
    """
    sizes, shares = size_classes(unit.particle_um * 1e-6, geometric_sd=unit.particle_spread)
    free = stokes_velocity(
        sizes,
        particle_density=unit.particle_density_g_cm3 * 1e3,
        melt_density=unit.melt_density_g_cm3 * 1e3,
        viscosity=unit.viscosity_mpas * 1e-3,
    )
    speed = hindered_velocity(free, solids_fraction=unit.solids_fraction)
    cleared = np.clip(speed * unit.minutes_to_set * 60.0 / (unit.length_mm * 1e-3), -1.0, 1.0)
    sunk = np.abs(cleared)
    # Thirds counted from the side the particles move to.
    near = np.minimum(1.0 / 3.0, 1.0 - sunk) + sunk
    middle = np.clip(1.0 - sunk - 1.0 / 3.0, 0.0, 1.0 / 3.0)
    far = np.clip(1.0 - sunk - 2.0 / 3.0, 0.0, 1.0 / 3.0)
    rises = cleared < 0.0
    tip = float((np.where(rises, far, near) * shares).sum() * 3.0)
    end = float((np.where(rises, near, far) * shares).sum() * 3.0)
    return PartsOfUnit(tip=_tidy(tip), middle=_tidy(float((middle * shares).sum() * 3.0)), end=_tidy(end))


def _tidy(relative: float) -> float:
    return 1.0 if abs(relative - 1.0) < 1e-12 else relative
