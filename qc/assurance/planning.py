"""Planning: which spread is allowed, how many units to test, and what a smaller sample costs either side."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence

import numpy as np
from msgspec import Struct

from qc.assurance.joint_region import assured_chance, joint_region, lower_bounds
from qc.assurance.operating import plan_chances
from qc.stats.arrays import Floats
from qc.stats.increasing_root import increasing_root
from qc.stats.sample_plans import AcceptanceGeometry, SamplePlan

MOST_SD = 100.0
"""Where the search for a true SD stops [% of label]."""


def greatest_sample_sd(
    mean: float, *, n: int, plan: AcceptanceGeometry, wanted: float = 0.95, confidence: float = 0.95
) -> float:
    """The greatest SD of n tested units with which their mean still assures the wanted chance of passing.

    Parameters
    ----------
    mean : float
        Mean of the tested units [% of label].
    n : int
        Number of tested units, at least 2.
    plan : AcceptanceGeometry
        Of a dosage-unit rule.
    wanted : float
        Chance of passing to be assured [-].
    confidence : float
        Of the assurance [-].

    Returns
    -------
    float
        Greatest sample SD [% of label]; 0 where no SD will do.

    References
    ----------
    ASTM E2810-19, tables of acceptance limits (greatest SD by mean; the method, whose printed figures were not seen).

    Examples
    --------
    >>> from qc.rules.kinds import dosage_units
    >>> from qc.rules.rule_books import load_rule
    >>> round(greatest_sample_sd(100, n=30, plan=dosage_units.KIND.plan(load_rule("harmonised-udu"))), 2)
    4.18
    """
    return _greatest_sds(np.array([mean]), n, plan, wanted, confidence)[0]


def _greatest_sds(
    means: Floats, n: int, geometry: AcceptanceGeometry, wanted: float, confidence: float
) -> tuple[float, ...]:
    """The greatest sample SD for many means at once, by halving the interval of each."""
    # The region of an SD of 1 at mean 0, to be stretched and moved.
    unit = joint_region(0.0, 1.0, n=n, confidence=confidence)
    low, high = np.zeros(means.shape), np.full(means.shape, 2.0 * geometry.limit)
    for _ in range(40):
        middle = 0.5 * (low + high)
        sds = unit.sd_high * middle
        left = lower_bounds(means + unit.mean_low * middle, sds, geometry=geometry)
        right = lower_bounds(means + unit.mean_high * middle, sds, geometry=geometry)
        assured = np.minimum(left, right) >= wanted
        low, high = np.where(assured, middle, low), np.where(assured, high, middle)
    return tuple(np.where(geometry.distance(means) < geometry.limit, low, 0.0).tolist())


class AcceptanceLimits(Struct, frozen=True, kw_only=True):
    """A table of acceptance limits: the greatest sample SD by mean (rows) and number of units (columns)."""

    wanted: float
    confidence: float
    means_percent: tuple[float, ...]
    numbers: tuple[int, ...]
    greatest_sd_percent: tuple[tuple[float, ...], ...]


def acceptance_limits(
    *,
    plan: AcceptanceGeometry,
    means: Sequence[float],
    numbers: Sequence[int],
    wanted: float = 0.95,
    confidence: float = 0.95,
) -> AcceptanceLimits:
    """The greatest sample SD for each mean and number of units.

    Parameters
    ----------
    plan : AcceptanceGeometry
        Of a dosage-unit rule.
    means : sequence of float
        Sample means [% of label].
    numbers : sequence of int
        Numbers of units [-].
    wanted, confidence : float
        The chance of passing to assure, and with which confidence [-].

    Returns
    -------
    AcceptanceLimits
        SDs [% of label], a row a mean and a column a number of units.
    """
    columns = [_greatest_sds(np.array(means, dtype=np.float64), n, plan, wanted, confidence) for n in numbers]
    return AcceptanceLimits(
        wanted=wanted,
        confidence=confidence,
        means_percent=tuple(means),
        numbers=tuple(numbers),
        greatest_sd_percent=tuple(zip(*columns, strict=True)),
    )


def units_needed(
    mean: float,
    sd: float,
    *,
    plan: AcceptanceGeometry,
    wanted: float = 0.95,
    confidence: float = 0.95,
    most: int = 1000,
) -> int | None:
    """The least number of units that assures the wanted chance of passing, if they show the mean and SD expected.

    Parameters
    ----------
    mean, sd : float
        Mean and SD that the sample is expected to show [% of label].
    plan : AcceptanceGeometry
        Of a dosage-unit rule.
    wanted, confidence : float
        Chance of passing to be assured, and the confidence [-].
    most : int
        Where to stop looking.

    Returns
    -------
    int or None
        None where not even `most` units will do.

    Examples
    --------
    >>> from qc.rules.kinds import dosage_units
    >>> from qc.rules.rule_books import load_rule
    >>> units_needed(100, 4, plan=dosage_units.KIND.plan(load_rule("harmonised-udu")))
    26
    """

    def enough(n: int) -> bool:
        return assured_chance(joint_region(mean, sd, n=n, confidence=confidence), geometry=plan) >= wanted

    n = bisect_left(range(most + 1), True, lo=2, key=enough)
    return n if n <= most else None


def greatest_true_sd(mean: float, *, plan: SamplePlan, chance: float = 0.95) -> float:
    """The greatest true SD with which a batch of a given true mean passes with a wanted chance.

    Parameters
    ----------
    mean : float
        True mean [% of label; 100 for the tests about the own mean, and the SD is then the RSD].
    plan : AcceptanceGeometry or CountPlan
        What the rule asks of a sample.
    chance : float
        Wanted chance of passing [-].

    Returns
    -------
    float
        Greatest SD [% of label]; 0 where no SD will do.

    Examples
    --------
    >>> from qc.rules.kinds import dosage_units
    >>> from qc.rules.rule_books import load_rule
    >>> round(greatest_true_sd(100, plan=dosage_units.KIND.plan(load_rule("harmonised-udu"))), 2)
    6.19
    """

    def missing(sd: float) -> float:
        return chance - float(plan_chances(mean, sd, plan=plan).overall)

    if missing(0.0) > 0.0:
        return 0.0
    return MOST_SD if missing(MOST_SD) <= 0.0 else increasing_root(missing, start=5.0)


class SampleChoice(Struct, frozen=True, kw_only=True):
    """What one size of sample does for both sides.

    Parameters
    ----------
    n : int
        Units of the sample; no more are tested.
    sound_refused, poor_passed : float
        Chance that a sound batch is refused (risk of the maker), and that a poor one is passed (risk of the patient)
        [-].
    """

    n: int
    sound_refused: float
    poor_passed: float


def price_of_sample(
    *,
    plan: SamplePlan,
    numbers: Sequence[int],
    sound: tuple[float, float],
    poor: tuple[float, float],
) -> tuple[SampleChoice, ...]:
    """What testing fewer units would cost, the limits of the rule being kept.

    A rule of one sample with fewer units is a test of its own and not the book's: this says what it would be worth.
    Counts that may lie outside are scaled with the sample and rounded down; the acceptance constant is kept.

    Parameters
    ----------
    plan : AcceptanceGeometry or CountPlan
        What the rule asks of a sample. Of two stages the first alone is looked at.
    numbers : sequence of int
        Sizes of sample, at least 6.
    sound, poor : tuple of float
        True (mean, SD) of a batch that should pass, and of one that should not [% of label].

    Returns
    -------
    tuple of SampleChoice

    Raises
    ------
    ValueError
        When a number is below 6.

    Examples
    --------
    >>> from qc.rules.kinds import content
    >>> from qc.rules.rule_books import load_rule
    >>> plan = content.KIND.plan(load_rule("ph-eur-2.9.6-b"))
    >>> few, full = price_of_sample(plan=plan, numbers=(6, 10), sound=(100, 5), poor=(100, 12))
    >>> few.poor_passed > 0.3, round(full.sound_refused, 4)
    (True, 0.0002)
    """
    choices = []
    for n in numbers:
        if n < 6:
            raise ValueError(f"a sample of {n}; chances are worked out from 6 units on")
        passed = plan_chances([sound[0], poor[0]], [sound[1], poor[1]], plan=plan.with_sample_of(n)).overall
        choices.append(SampleChoice(n=n, sound_refused=1.0 - float(passed[0]), poor_passed=float(passed[1])))
    return tuple(choices)
