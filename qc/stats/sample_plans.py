"""What a test asks of a sample, in floats: the plans that chances of passing are worked out from.

There are two kinds. One judges the acceptance value, a distance of the mean plus a multiple of the SD; the other counts
units beyond limits about a centre. Only for chances: a batch in hand is judged on exact decimals by its rule.
"""

from __future__ import annotations

import itertools
import math

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from qc.stats.arrays import Floats


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
    def corners(self) -> tuple[float, float, float, float]:
        """The means at which the boundary bends, the outermost ones that can pass among them [% of label]."""
        return self.low - self.limit, self.low, self.high, self.high + self.limit

    @property
    def panels(self) -> tuple[tuple[float, float], ...]:
        """The stretches of means on which the boundary is straight, from left to right; empty ones left out."""
        return tuple((start, end) for start, end in itertools.pairwise(self.corners) if end > start)

    def distance(self, mean: Floats) -> Floats:
        """Distance of each mean from the reference range [% of label]."""
        return np.maximum(np.maximum(self.low - mean, mean - self.high), 0.0)

    def reference(self, mean: Floats) -> Floats:
        """Reference value M of each mean [% of label]."""
        return np.clip(mean, self.low, self.high)

    def with_sample_of(self, n: int) -> AcceptanceGeometry:
        """The first stage with another number of units, and no second one."""
        return replace(self, first_size=n, second_size=0)


class CountPlan(Struct, frozen=True, kw_only=True):
    """A rule that counts units beyond limits about the sample mean, or about a labelled mass.

    Parameters
    ----------
    first_size, second_size : int
        Units of the first stage, and further units of the second.
    inner, outer : float
        Limits on both sides of a mean [fraction of that mean].
    passes_with, continues_with : int
        With more than the first and no more than the second beyond the inner limit about the first mean, and none
        beyond the outer, the second stage is asked for.
    second_passes_with : int
        Greatest count beyond the inner limit about the common mean that passes; none may be beyond the outer.
    most_outer : int
        Units that may lie beyond the outer limit at the first stage; at the second none may.
    mean_low, mean_high : float
        Ends within which the mean of the first stage has to lie [% of label].
    about_label : bool
        Whether the limits stand about 100 % of a labelled mass, not about the sample mean.
    """

    first_size: int
    second_size: int
    inner: float
    outer: float
    passes_with: int
    continues_with: int
    second_passes_with: int
    most_outer: int = 0
    mean_low: float = -math.inf
    mean_high: float = math.inf
    about_label: bool = False

    @property
    def bounds_the_mean(self) -> bool:
        """Whether the mean has to lie between ends of its own."""
        return math.isfinite(self.mean_low) or math.isfinite(self.mean_high)

    def with_sample_of(self, n: int) -> CountPlan:
        """The first stage with another number of units, its counts in proportion, and no second one."""
        return replace(
            self,
            first_size=n,
            second_size=0,
            passes_with=self.passes_with * n // self.first_size,
            most_outer=self.most_outer * n // self.first_size,
        )


SamplePlan = AcceptanceGeometry | CountPlan
"""What any rule asks of a sample of units."""
