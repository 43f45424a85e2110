"""The dose of one unit from its mass, and how unsure it is.

A unit holds its cavity's worth of base, plus what the active weighs, less the base that it displaces:
m = m_base + d (1 - 1/f), with f the displacement value (g of active that displaces 1 g of base). Turned round, the mass
gives the dose.
"""

from __future__ import annotations

import numpy as np
from msgspec import Struct


class Estimate(Struct, frozen=True, kw_only=True):
    """A dose with what is unsure about it, in the unit of the masses.

    `between_sd` is the part that differs from unit to unit; `shared_sd` the part that all units share through f.
    """

    dose: float
    between_sd: float
    shared_sd: float

    @property
    def sd(self) -> float:
        """Standard deviation of the dose."""
        return float(np.hypot(self.between_sd, self.shared_sd))


def dose_from_mass(
    mass: float, *, base: float, displacement_value: float, mass_sd: float, base_sd: float, displacement_sd: float
) -> Estimate:
    """The dose of one unit from its mass, with first-order uncertainty (delta method).

    Parameters
    ----------
    mass : float
        Mass of the unit [g].
    base : float
        What its cavity holds of plain base [g].
    displacement_value : float
        g of active that displaces 1 g of base, not 1 [g/g].
    mass_sd, base_sd : float
        Standard deviations of both masses, fill included [g].
    displacement_sd : float
        Standard deviation of the displacement value [g/g].

    Returns
    -------
    Estimate
        In g.

    Notes
    -----
    First order only. Where the displacement value is unsure by a tenth of its distance from 1, the curvature adds about
    0.7 % to the dose and 3 % to its standard deviation (4,000,000 draws: 0.30207 and 0.02846 in the example below).

    References
    ----------
    The law of propagation of uncertainty: JCGM 100:2008, section 5.1.2 (from memory).

    Examples
    --------
    >>> found = dose_from_mass(
    ...     2.10, base=2.00, displacement_value=1.5, mass_sd=0.005, base_sd=0.004, displacement_sd=0.05
    ... )
    >>> round(found.dose, 4), round(found.sd, 5)
    (0.3, 0.02773)
    """
    f = displacement_value
    signal = 1 - 1 / f
    dose = (mass - base) / signal
    return Estimate(
        dose=dose,
        between_sd=float(np.hypot(mass_sd, base_sd)) / abs(signal),
        shared_sd=abs(dose / (f * (f - 1))) * displacement_sd,
    )
