"""Doses estimated by mass, laid beside the assays of the same units."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from msgspec import Struct

from qc.batch import Active, Batch
from qc.contents import contents_found
from qc.pour.assay_list import ASSAY_PERCENT
from qc.pour.dose_estimate import Estimate
from qc.results.messages import Message, message
from qc.stats.chi_square import chi_square_cdf

# Estimates that are borne out miss their assays by more than this chance allows once in twenty batches.
BORNE_OUT_LEVEL = 0.05


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

    @property
    def missed(self) -> Message:
        """That the estimates are not borne out, with the test."""
        return message("doses.missed", n=self.n, chi_square=self.chi_square)

    @property
    def told(self) -> Message:
        """How the estimates stand beside the assays, and by what their intervals are widened."""
        if self.holds:
            return message("doses.agrees", n=self.n)
        return message("doses.widened", missed=self.missed, widen=self.widen)


def assayed_g(batch: Batch, active: Active) -> dict[str, tuple[float, float]]:
    """The content of each unit assayed whole, and its standard deviation, by unit [g]."""
    share = float(active.assay_repeatability_percent or ASSAY_PERCENT) / 100
    found = contents_found(batch, active=active)
    return {
        one.unit: (grams := float(one.mg) / 1000, share * grams / float(np.sqrt(one.determinations)))
        for one in found
        if one.mg is not None
    }


def borne_out(estimates: Mapping[str, Estimate], *, assays: Mapping[str, tuple[float, float]]) -> BorneOut | None:
    """Lay the estimates beside the assays of the same units.

    Parameters
    ----------
    estimates : mapping
        By unit [g].
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
    both = [
        (found.dose, found.between_sd, found.shared_sd, *assays[unit])
        for unit, found in estimates.items()
        if unit in assays
    ]
    if not both:
        return None
    dose, between, shared, content, of_assay = np.array(both).T
    away = dose - content
    own = between**2 + of_assay**2
    if not float(own.min()) > 0.0:
        return None
    shared = np.sign(dose) * shared
    along = float((away * shared / own).sum())
    chi_square = float((away**2 / own).sum()) - along**2 / (1.0 + float((shared**2 / own).sum()))
    p_value = 1.0 - float(chi_square_cdf(chi_square, degrees=len(both)))
    return BorneOut(n=len(both), chi_square=chi_square, p_value=p_value)
