"""How fast particles sink in a melt (Stokes, hindrance after Richardson and Zaki, sizes), and settling inside one unit.

The functions of speed and size take SI units; the records speak the trade's units.
"""

from __future__ import annotations

from collections.abc import Callable
from statistics import NormalDist
from typing import TypeVar

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from qc.stats.arrays import Floats

STANDARD_GRAVITY = 9.80665
RICHARDSON_ZAKI_EXPONENT = 4.65
# Coarser than this is grit that no melt carries; an active hardly denser than the base needs it to settle at all.
COARSEST_UM = 400.0


def stokes_velocity(
    diameter: Floats | float,
    *,
    particle_density: float,
    melt_density: float,
    viscosity: float,
    gravity: float = STANDARD_GRAVITY,
) -> Floats:
    """The speed at which a single small sphere sinks in a still liquid.

    Parameters
    ----------
    diameter : array or float
        Diameter of the sphere [m].
    particle_density, melt_density : float
        Densities [kg/m3]. A particle lighter than the melt rises: the speed is negative.
    viscosity : float
        Dynamic viscosity [Pa s].
    gravity : float
        Acceleration [m/s2].

    Returns
    -------
    array
        Speed downward [m/s].

    Notes
    -----
    Holds while the particle Reynolds number stays below about 0.1 to 0.3 (`particle_reynolds`).

    References
    ----------
    Stokes (1851), Transactions of the Cambridge Philosophical Society 9, part II; in every text on fluid mechanics.

    Examples
    --------
    A 20 micrometre particle of 1300 kg/m3 in a fat melt of 890 kg/m3 and 45 mPa s sinks 0.119 mm a minute:

    >>> speed = stokes_velocity(20e-6, particle_density=1300.0, melt_density=890.0, viscosity=0.045)
    >>> round(float(speed) * 60e3, 4)
    0.1191
    """
    size = np.asarray(diameter, dtype=np.float64)
    return (particle_density - melt_density) * gravity * size**2 / (18.0 * viscosity)


def hindered_velocity(
    free_velocity: Floats | float, *, solids_fraction: Floats | float, exponent: float = RICHARDSON_ZAKI_EXPONENT
) -> Floats:
    """The speed in a crowd: the backflow of the displaced liquid holds every particle up.

    Parameters
    ----------
    free_velocity : array or float
        Speed of a single particle [m/s].
    solids_fraction : array or float
        Volume fraction of solids [-], from 0 to below 1.
    exponent : float
        4.65 for a particle Reynolds number below 0.2 [-].

    Returns
    -------
    array
        Speed [m/s].

    References
    ----------
    Richardson & Zaki (1954), Transactions of the Institution of Chemical Engineers 32, 35-53 (exponent from memory).

    Examples
    --------
    >>> round(float(hindered_velocity(22.10e-6, solids_fraction=0.30, exponent=4.5)) * 1e6, 2)
    4.44
    """
    return np.asarray(free_velocity) * (1.0 - np.asarray(solids_fraction)) ** exponent


def size_classes(median: float, *, geometric_sd: float, classes: int = 12) -> tuple[Floats, Floats]:
    """A log-normal distribution of particle sizes by mass, cut into classes of equal mass.

    Parameters
    ----------
    median : float
        Diameter that halves the mass [m].
    geometric_sd : float
        Geometric standard deviation, 1 for particles all alike [-].
    classes : int
        How many classes.

    Returns
    -------
    tuple of arrays
        Diameter at the middle of each class [m] and its share of the mass [-].

    Raises
    ------
    ValueError
        When the geometric standard deviation is below 1.

    Examples
    --------
    >>> sizes, shares = size_classes(20e-6, geometric_sd=1.0, classes=3)
    >>> [round(float(size) * 1e6, 6) for size in sizes], float(shares.sum())
    ([20.0, 20.0, 20.0], 1.0)
    """
    if geometric_sd < 1.0:
        raise ValueError(f"a geometric standard deviation of {geometric_sd} is below 1, the least there is")
    middle = (np.arange(classes) + 0.5) / classes
    scores = np.array([NormalDist().inv_cdf(float(share)) for share in middle])
    return median * geometric_sd**scores, np.full(classes, 1.0 / classes)


class Suspension(Struct, frozen=True, kw_only=True):
    """Particles in a melt, in the trade's units.

    Parameters
    ----------
    particle_um : float
        Particle diameter that halves the mass of active [um].
    particle_spread : float
        Geometric standard deviation of the diameters [-].
    particle_density_g_cm3, melt_density_g_cm3 : float
        Densities [g/cm3].
    viscosity_mpas : float
        Viscosity of the melt while the particles sink [mPa s].
    """

    particle_um: float = 40.0
    particle_spread: float = 1.6
    particle_density_g_cm3: float = 1.4
    melt_density_g_cm3: float = 0.9
    viscosity_mpas: float = 45.0

    def speeds(self) -> tuple[Floats, Floats]:
        """Speed of a single particle of every size class [m/s], and the share of the mass in each [-]."""
        sizes, shares = size_classes(self.particle_um * 1e-6, geometric_sd=self.particle_spread)
        free = stokes_velocity(
            sizes,
            particle_density=self.particle_density_g_cm3 * 1e3,
            melt_density=self.melt_density_g_cm3 * 1e3,
            viscosity=self.viscosity_mpas * 1e-3,
        )
        return free, shares


SomeSuspension = TypeVar("SomeSuspension", bound=Suspension)


def as_coarse(
    suspension: SomeSuspension,
    effect: Callable[[SomeSuspension], float],
    *,
    wanted: float,
    coarsest_um: float,
    tries: int,
) -> SomeSuspension:
    """The suspension with particles as coarse as they must be for an effect, by halving the interval of the logarithm.

    Parameters
    ----------
    suspension : Suspension
        Its particle size is the one looked for.
    effect : callable
        From a suspension to its effect, which rises with the particle size from 2 um to `coarsest_um`.
    wanted : float
        In the unit of the effect.
    coarsest_um : float
        Greatest size looked at [um].
    tries : int
        How often the interval is halved.
    """
    low, high = 2.0, coarsest_um
    for _ in range(tries):
        middle = float(np.sqrt(low * high))
        if effect(replace(suspension, particle_um=middle)) < wanted:
            low = middle
        else:
            high = middle
    return replace(suspension, particle_um=float(np.sqrt(low * high)))


class SettingUnit(Suspension, frozen=True, kw_only=True):
    """A unit in its cavity, tip down; its viscosity is that of a melt that cools toward its setting point.

    Parameters
    ----------
    length_mm : float
        Length of the unit from tip to end [mm].
    minutes_to_set : float
        From the pour until nothing moves any more [min].
    solids_fraction : float
        Volume fraction of active [-].
    """

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
    free, shares = unit.speeds()
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
