"""How fast particles sink in a melt: Stokes, hindrance after Richardson and Zaki, sizes.

Everything in SI units; the records of the neighbouring modules speak the trade's units.
"""

from __future__ import annotations

from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

STANDARD_GRAVITY = 9.80665
RICHARDSON_ZAKI_EXPONENT = 4.65


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
