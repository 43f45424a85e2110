"""How much one fill of a cavity scatters, by calibration pours and by the masses of the batch."""

from __future__ import annotations

import numpy as np
from msgspec import Struct

from qc.batch import Batch
from qc.pour.correction import Corrected, calibrated_base, pours_of_cavities
from qc.stats.student import two_sided_quantile

NORMAL_95 = 1.959963984540054


class Fill(Struct, frozen=True, kw_only=True):
    """Scatter of one fill by two ways of finding it, and of a cavity's base mass [g].

    `own_sd` is the scatter of the masses of the batch, `careful_sd` that of the calibration pours of one cavity; None
    where these are too few.
    """

    own_sd: float
    careful_sd: float | None = None
    base_sd: float = 0.0

    @property
    def fill_sd(self) -> float:
        """The larger of both scatters [g]."""
        return max(self.own_sd, self.careful_sd or 0.0)


def fill_scatter(batch: Batch, masses: Corrected) -> Fill:
    """The scatter of the fill: the larger of what careful calibration pours show and what the batch shows.

    Parameters
    ----------
    batch : Batch
    masses : Corrected
        Masses in pour order, differences between cavities taken out.

    Returns
    -------
    Fill

    Notes
    -----
    The masses of the batch scatter by dose as well as by fill, and how much by which is not known; all of it is taken
    for fill, so that the doses are stated less sure than they may be and never surer.
    """
    own = _own_scatter(batch, masses)
    pours = pours_of_cavities(batch)
    df = sum(len(masses_of) - 1 for masses_of in pours.values())
    if df < len(batch.cavity_pours) / 3 or df < 3:
        return Fill(own_sd=own)
    squares = sum(float(np.var(masses_of)) * len(masses_of) for masses_of in pours.values())
    # A scatter from few replicates is itself unsure: widened so that 1.96 of it is a 95 % interval.
    careful = float(np.sqrt(squares / df)) * two_sided_quantile(0.95, df=df) / NORMAL_95
    base_sd = careful / float(np.sqrt(len(batch.cavity_pours) / len(pours)))
    return Fill(own_sd=own, careful_sd=careful, base_sd=base_sd)


def _own_scatter(batch: Batch, masses: Corrected) -> float:
    """What the masses of the batch scatter by, cavities taken out [g]."""
    count, levels = len(masses.tested), len(set(masses.levels))
    if count > levels and count > 1:
        away = masses.tested - masses.tested.mean()
        return float(np.hypot(np.sqrt(float(away @ away) / (count - levels)), masses.series.least_scatter))
    bases = calibrated_base(batch)
    above = [float(unit.mass_g) - bases.get(unit.name, 0.0) for unit in batch.weighed if unit.mass_g is not None]
    return float(np.std(above, ddof=1)) if len(above) > 1 else 0.0
