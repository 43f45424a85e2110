"""What a rule asks of a sample, in floats: the plans that chances of passing are worked out from.

There are two kinds. One judges the acceptance value, a distance of the mean plus a multiple of the SD; the other counts
units beyond limits about a centre. Only for chances: a batch in hand is judged on exact decimals by its rule.
"""

from __future__ import annotations

import itertools
import math
from decimal import Decimal

import numpy as np
from msgspec import Struct
from msgspec.structs import replace
from numpy.typing import NDArray

from qc.rules.kinds.content.record import ContentRule
from qc.rules.kinds.dosage_units.record import DosageUnitRule
from qc.rules.kinds.mass.record import MassBand, MassBasis, MassRule
from qc.rules.records import Rule
from qc.stats.own_mean_counts import TwoStageCounts

Array = NDArray[np.float64]
Truth = NDArray[np.bool_]


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

    def distance(self, mean: Array) -> Array:
        """Distance of each mean from the reference range [% of label]."""
        return np.maximum(np.maximum(self.low - mean, mean - self.high), 0.0)

    def reference(self, mean: Array) -> Array:
        """Reference value M of each mean [% of label]."""
        return np.clip(mean, self.low, self.high)

    def with_sample_of(self, n: int) -> AcceptanceGeometry:
        """The first stage with another number of units, and no second one."""
        return replace(self, first_size=n, second_size=0)

    def passes_first(self, sample: Array) -> tuple[Truth, Truth]:
        """Which samples pass at the first stage, and for which a second is asked for.

        Parameters
        ----------
        sample : array, samples x units of the first stage
            Contents [% of label].
        """
        passed = self._value(sample, self.first_k) <= self.limit
        return passed, ~passed

    def passes_pooled(self, sample: Array) -> Truth:
        """Which samples pass at the second stage: samples x units of both stages [% of label]."""
        reference = self.reference(sample.mean(axis=1))
        away = np.abs(sample - reference[:, None]).max(axis=1)
        within = self._value(sample, self.second_k) <= self.limit
        return np.asarray(within & (away <= self.unit_fraction * reference), dtype=np.bool_)

    def _value(self, sample: Array, k: float) -> Array:
        """The acceptance value of each sample [% of label]."""
        spread: Array = sample.std(axis=1, ddof=1)
        return self.distance(sample.mean(axis=1)) + k * spread


class CountPlan(TwoStageCounts, frozen=True, kw_only=True):
    """A rule that counts units beyond limits about the sample mean, or about a labelled mass.

    Parameters
    ----------
    most_outer : int
        Units that may lie beyond the outer limit at the first stage; at the second none may.
    mean_low, mean_high : float
        Ends within which the mean of the first stage has to lie [% of label].
    about_label : bool
        Whether the limits stand about 100 % of a labelled mass, not about the sample mean.
    """

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

    def passes_first(self, sample: Array) -> tuple[Truth, Truth]:
        """Which samples pass at the first stage, and for which a second is asked for.

        Parameters
        ----------
        sample : array, samples x units of the first stage
            Contents or masses [% of label].
        """
        beyond, farther = self._beyond(sample)
        mean = sample.mean(axis=1)
        kept = (farther <= self.most_outer) & (mean >= self.mean_low) & (mean <= self.mean_high)
        passed = kept & (beyond <= self.passes_with)
        return passed, kept & ~passed & (beyond <= self.continues_with)

    def passes_pooled(self, sample: Array) -> Truth:
        """Which samples pass at the second stage: samples x units of both stages [% of label]."""
        beyond, farther = self._beyond(sample)
        return np.asarray((farther == 0) & (beyond <= self.second_passes_with), dtype=np.bool_)

    def _beyond(self, sample: Array) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """How many units of each sample lie beyond the inner and the outer limit."""
        centre = np.full((len(sample), 1), 100.0) if self.about_label else sample.mean(axis=1, keepdims=True)
        away = np.abs(sample - centre) / centre
        return (away > self.inner).sum(axis=1), (away > self.outer).sum(axis=1)


SamplePlan = AcceptanceGeometry | CountPlan
"""What any rule asks of a sample of units."""


def plan_of(
    rule: Rule, *, band: MassBand | None = None, target_percent: float = 100.0, rounded: bool = False
) -> SamplePlan:
    """What a rule asks of a sample, in floats.

    Parameters
    ----------
    rule : MassRule, ContentRule or DosageUnitRule
    band : MassBand, optional
        The row of the table of a mass rule; may be left out where the table has one row.
    target_percent : float
        Target content of the dosage-unit test, T [% of label].
    rounded : bool
        Whether the acceptance value is rounded as the rule says before it is compared.

    Returns
    -------
    AcceptanceGeometry or CountPlan

    Raises
    ------
    ValueError
        When the rule judges no sample of units, or its table has several rows and none is named: a chance by the
        limits of another form would be wrong.
    """
    if isinstance(rule, DosageUnitRule):
        return geometry_of(rule, target_percent=target_percent, rounded=rounded)
    if isinstance(rule, ContentRule):
        return _content_plan(rule)
    if not isinstance(rule, MassRule):
        raise ValueError(f"{rule.id} compares a mean with a plan; no chance of passing is worked out for it")
    if band is None and len(rule.bands) != 1:
        raise ValueError(f"{rule.id} has {len(rule.bands)} rows of limits; name the dosage form and the mass of a unit")
    return _mass_plan(rule, band or rule.bands[0])


def _mass_plan(rule: MassRule, band: MassBand) -> CountPlan:
    return CountPlan(
        first_size=rule.sample_size,
        second_size=0,
        inner=float(band.limit_percent) / 100.0,
        outer=float(band.outer_percent) / 100.0,
        passes_with=rule.most_beyond_limit,
        continues_with=rule.most_beyond_limit,
        second_passes_with=rule.most_beyond_limit,
        most_outer=rule.most_beyond_outer,
        about_label=rule.basis is MassBasis.LABELLED_MASS,
    )


def _content_plan(rule: ContentRule) -> CountPlan:
    # Where the inner limit does not apply, no unit may lie beyond the outer one: that is an inner limit of no units.
    inner = rule.inner_percent if rule.inner_applies else rule.outer_percent
    return CountPlan(
        first_size=rule.first_size,
        second_size=rule.second_size,
        inner=float(inner) / 100.0,
        outer=float(rule.outer_percent) / 100.0,
        passes_with=rule.passes_with if rule.inner_applies else 0,
        continues_with=rule.continues_with,
        second_passes_with=rule.second_passes_with,
        mean_low=-math.inf if rule.mean_low_percent is None else float(rule.mean_low_percent),
        mean_high=math.inf if rule.mean_high_percent is None else float(rule.mean_high_percent),
    )


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
