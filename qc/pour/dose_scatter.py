"""How unsure a dose from the balance is: the scatter of the fill, and whether assays bear the estimates out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from msgspec import Struct

from qc.batch import Active, Batch
from qc.contents import contents_found
from qc.pour.assay_list import ASSAY_PERCENT
from qc.pour.correction import Corrected, calibrated_base, pours_of_cavities
from qc.stats.chi_square import chi_square_cdf
from qc.stats.student import two_sided_quantile

NORMAL_95 = 1.959963984540054
# Estimates that are borne out miss their assays by more than this chance allows once in twenty batches.
BORNE_OUT_LEVEL = 0.05


class Fill(Struct, frozen=True, kw_only=True):
    """Scatter of one fill and of a cavity's base mass [g], and what they come from.

    `own_sd` is the scatter of the masses of the batch, `careful_sd` that of the calibration pours of one cavity; None
    where these are too few.
    """

    fill_sd: float
    base_sd: float
    own_sd: float
    careful_sd: float | None

    @property
    def of(self) -> dict[str, float | None]:
        """Both scatters, as the words for them take them."""
        return {"own_sd": self.own_sd, "careful_sd": self.careful_sd}


class BorneOut(Struct, frozen=True, kw_only=True):
    """Estimates laid beside the assays of the same units.

    Parameters
    ----------
    n : int
        Units with both.
    chi_square, p_value : float
        Of the differences, given the standard deviations stated [-].
    """

    n: int
    chi_square: float
    p_value: float

    @property
    def of(self) -> dict[str, float]:
        """The test, as the words for it take it."""
        return {"n": self.n, "chi_square": self.chi_square, "p": self.p_value}

    @property
    def holds(self) -> bool:
        """Whether the standard deviations allow the differences."""
        return self.p_value >= BORNE_OUT_LEVEL

    @property
    def widen(self) -> float:
        """By what the standard deviations are to be widened [-].

        References
        ----------
        Birge, The calculation of errors by the method of least squares, Physical Review 40 (1932) 207-227 (from
        memory): the root of chi-square over its degrees of freedom.
        """
        return 1.0 if self.holds else max(1.0, float(np.sqrt(self.chi_square / self.n)))


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
        return Fill(fill_sd=own, base_sd=0.0, own_sd=own, careful_sd=None)
    squares = sum(float(np.var(masses_of)) * len(masses_of) for masses_of in pours.values())
    # A scatter from few replicates is itself unsure: widened so that 1.96 of it is a 95 % interval.
    careful = float(np.sqrt(squares / df)) * two_sided_quantile(0.95, df=df) / NORMAL_95
    base_sd = careful / float(np.sqrt(len(batch.cavity_pours) / len(pours)))
    return Fill(fill_sd=max(careful, own), base_sd=base_sd, own_sd=own, careful_sd=careful)


def _own_scatter(batch: Batch, masses: Corrected) -> float:
    """What the masses of the batch scatter by, cavities taken out [g]."""
    count, levels = len(masses.tested), len(set(masses.levels))
    if count > levels and count > 1:
        away = masses.tested - masses.tested.mean()
        return float(np.hypot(np.sqrt(float(away @ away) / (count - levels)), masses.series.least_scatter))
    bases = calibrated_base(batch)
    above = [float(unit.mass_g) - bases.get(unit.name, 0.0) for unit in batch.weighed if unit.mass_g is not None]
    return float(np.std(above, ddof=1)) if len(above) > 1 else 0.0


def assayed_g(batch: Batch, active: Active) -> dict[str, tuple[float, float]]:
    """The content of each unit assayed whole, and its standard deviation, by unit [g]."""
    share = float(active.assay_repeatability_percent or ASSAY_PERCENT) / 100
    found = contents_found(batch, active=active)
    return {
        one.unit: (grams := float(one.mg) / 1000, share * grams / float(np.sqrt(one.determinations)))
        for one in found
        if one.mg is not None
    }


def borne_out(
    units: Sequence[str],
    *,
    doses: Sequence[float],
    between_sd: Sequence[float],
    shared_sd: Sequence[float],
    assays: Mapping[str, tuple[float, float]],
) -> BorneOut | None:
    """Lay the estimates beside the assays of the same units.

    Parameters
    ----------
    units : sequence of str
    doses, between_sd, shared_sd : sequence of float
        Of each unit: its estimate, the standard deviation that differs from unit to unit, and the one all share [g].
    assays : mapping
        Content and its standard deviation by unit [g].

    Returns
    -------
    BorneOut or None
        None when no unit has both.

    Notes
    -----
    Chi-square of the differences with their covariance, the shared part being one error common to all (the inverse of
    a diagonal plus one outer product, by Sherman and Morrison).
    """
    both = [place for place, unit in enumerate(units) if unit in assays]
    if not both:
        return None
    dose = np.array([doses[place] for place in both])
    found = np.array([assays[units[place]] for place in both])
    away = dose - found[:, 0]
    own = np.array([between_sd[place] for place in both]) ** 2 + found[:, 1] ** 2
    if not float(own.min()) > 0.0:
        return None
    shared = np.sign(dose) * np.array([shared_sd[place] for place in both])
    along = float((away * shared / own).sum())
    chi_square = float((away**2 / own).sum()) - along**2 / (1.0 + float((shared**2 / own).sum()))
    p_value = 1.0 - float(chi_square_cdf(chi_square, degrees=len(both)))
    return BorneOut(n=len(both), chi_square=chi_square, p_value=p_value)
