"""The numbers of a dosage-unit rule as floats: where the acceptance value of a mean and SD meets its limit."""

from __future__ import annotations

import itertools
from decimal import Decimal

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from qc.rules.kinds.dosage_units.record import DosageUnitRule


class AcceptanceGeometry(Struct, frozen=True, kw_only=True):
    """A dosage-unit rule with its target, as the quadrature needs it. Contents in % of label.

    Parameters
    ----------
    first_size, second_size : int
        Units of the first stage, and further units of the second; 0 where there is one stage.
    first_k, second_k : float
        Acceptability constants [-].
    limit : float
        Greatest acceptance value that passes; half a rounding step more where values are rounded first [% of label].
    low, high : float
        Ends of the reference range [% of label].
    unit_fraction : float
        Greatest distance of a single unit at the second stage [fraction of the reference value].
    """

    first_size: int
    second_size: int
    first_k: float
    second_k: float
    limit: float
    low: float
    high: float
    unit_fraction: float

    @property
    def pooled_size(self) -> int:
        """Units of both stages together."""
        return self.first_size + self.second_size

    @property
    def panels(self) -> tuple[tuple[float, float], ...]:
        """The stretches of means on which the boundary is straight, from left to right; empty ones left out."""
        corners = (self.low - self.limit, self.low, self.high, self.high + self.limit)
        return tuple((start, end) for start, end in itertools.pairwise(corners) if end > start)

    def distance(self, mean: NDArray[np.float64]) -> NDArray[np.float64]:
        """Distance of each mean from the reference range [% of label]."""
        return np.maximum(np.maximum(self.low - mean, mean - self.high), 0.0)

    def reference(self, mean: NDArray[np.float64]) -> NDArray[np.float64]:
        """Reference value M of each mean [% of label]."""
        return np.clip(mean, self.low, self.high)


def geometry_of(rule: DosageUnitRule, *, target_percent: float = 100.0, rounded: bool = False) -> AcceptanceGeometry:
    """The rule as floats, with the upper end of its reference range moved to a target above it.

    Parameters
    ----------
    rule : DosageUnitRule
    target_percent : float
        Target content at the time of manufacture, T [% of label].
    rounded : bool
        Whether the acceptance value is rounded, a five going up, before it is compared.

    Returns
    -------
    AcceptanceGeometry
    """
    step = Decimal(1).scaleb(-rule.rounding_decimals)
    return AcceptanceGeometry(
        first_size=rule.first_size,
        second_size=rule.second_size,
        first_k=float(rule.first_k),
        second_k=float(rule.second_k),
        limit=float(rule.l1_percent + step / 2 if rounded else rule.l1_percent),
        low=float(rule.reference_low_percent),
        high=max(float(rule.reference_high_percent), target_percent),
        unit_fraction=float(rule.l2_percent) / 100.0,
    )
