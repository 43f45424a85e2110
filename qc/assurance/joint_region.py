"""The joint confidence region for true mean and SD, and the least chance of passing on it."""

from __future__ import annotations

import math
from statistics import NormalDist

import numpy as np
from msgspec import Struct
from numpy.typing import ArrayLike

from qc.assurance.dosage_unit_chance import acceptance_value_chance
from qc.stats.arrays import Floats
from qc.stats.chi_square import chi_square_quantile, fraction_within
from qc.stats.sample_plans import AcceptanceGeometry


class JointRegion(Struct, frozen=True, kw_only=True):
    """A region that holds the true mean and SD with a stated confidence, by its upper edge.

    Parameters
    ----------
    sd_high : float
        Upper confidence bound of the true SD, ULS [% of label].
    mean_low, mean_high : float
        The corners: the ends of the interval of the mean at `sd_high` [% of label].
    """

    sd_high: float
    mean_low: float
    mean_high: float


def joint_region(mean: float, sd: float, *, n: int, confidence: float = 0.95) -> JointRegion:
    """The joint confidence region of a random sample of single units from one normal batch.

    Parameters
    ----------
    mean, sd : float
        Of the sample [% of label].
    n : int
        Number of units, at least 2.
    confidence : float
        Of mean and SD together [-].

    Returns
    -------
    JointRegion

    Raises
    ------
    ValueError
        When n is below 2, the SD is negative or the confidence is not between 0 and 1.

    Notes
    -----
    Mean (two-sided) and SD (upper bound) each take the square root of the confidence. Sample mean and SD of normal
    units are independent, so together they hold with exactly the confidence stated.

    References
    ----------
    ASTM E2709, Standard practice for demonstrating capability to comply with an acceptance procedure; ASTM E2810-19,
    figure 2 and section 5.1 (corners of the region).

    Examples
    --------
    >>> region = joint_region(100, 3, n=30)
    >>> round(region.sd_high, 4), round(region.mean_low, 4), round(region.mean_high, 4)
    (4.0295, 98.3547, 101.6453)
    """
    if n < 2:
        raise ValueError(f"mean and SD of {n} unit; at least 2 units are needed")
    if not sd >= 0.0:
        raise ValueError(f"an SD of {sd}; it cannot be negative")
    if not 0.0 < confidence < 1.0:
        raise ValueError(f"a confidence of {confidence}; a number between 0 and 1 is needed")
    each = math.sqrt(confidence)
    z = NormalDist().inv_cdf(0.5 * (1.0 + each))
    sd_high = sd * math.sqrt((n - 1) / chi_square_quantile(1.0 - each, degrees=n - 1))
    reach = z * sd_high / math.sqrt(n)
    return JointRegion(sd_high=sd_high, mean_low=mean - reach, mean_high=mean + reach)


def lower_bounds(mean: ArrayLike, sd: ArrayLike, *, geometry: AcceptanceGeometry) -> Floats:
    """The bound of the standard method, from below, on the chance of passing at true means and SDs.

    Parameters
    ----------
    mean, sd : array_like, cells
        True means and SDs, of one length, or one of each [% of label].
    geometry : AcceptanceGeometry
        The dosage-unit rule.

    Returns
    -------
    array, cells
        The greater of the first stage's chance and of the second stage's bound: that of its acceptance value, less that
        of a unit where it might not be allowed (Bonferroni's inequality) [-].

    Notes
    -----
    The reference value of a sample is random. This bound uses the narrowest interval that holds for every reference
    value, (1 + L2) times its low end to (1 - L2) times its high end, which is more careful than a fixed 75 to 125 %
    of label; the greatest SD allowed differs by less than 0.02 % of label.

    References
    ----------
    J. S. Bergum & H. Li, Acceptance limits for the new ICH USP 29 content-uniformity test, Pharm. Technol. 31 (2007),
    pages 2 and 3 of the article: P(S2) is at least P(C21) + P(C22) - 1.

    Examples
    --------
    >>> from qc.rules.rule_books import load_rule
    >>> from qc.rules.kinds import dosage_units
    >>> lower_bounds(100, 6, geometry=dosage_units.KIND.plan(load_rule("harmonised-udu"))).round(6).tolist()
    [0.964358]
    """
    means, sds = np.atleast_1d(np.asarray(mean, dtype=np.float64)), np.atleast_1d(np.asarray(sd, dtype=np.float64))
    first = acceptance_value_chance(means, sds, n=geometry.first_size, k=geometry.first_k, geometry=geometry)
    if geometry.second_size == 0:
        return first
    low, high = (1.0 - geometry.unit_fraction) * geometry.high, (1.0 + geometry.unit_fraction) * geometry.low
    n = geometry.pooled_size
    pooled = acceptance_value_chance(means, sds, n=n, k=geometry.second_k, geometry=geometry)
    single = fraction_within(means, sds, low=low, high=high) ** n
    return np.maximum(np.maximum(first, pooled + single - 1.0), 0.0)


def assured_chance(region: JointRegion, *, geometry: AcceptanceGeometry) -> float:
    """The chance with which a fresh sample passes the dosage-unit test at least, with the region's confidence.

    Parameters
    ----------
    region : JointRegion
        From the sample in hand.
    geometry : AcceptanceGeometry
        The dosage-unit rule.

    Returns
    -------
    float
        The least bound on the region [-]. The bound falls as the SD grows, and along the upper edge it falls toward
        both ends, so the two corners are enough.

    Examples
    --------
    >>> from qc.rules.rule_books import load_rule
    >>> from qc.rules.kinds import dosage_units
    >>> rule = dosage_units.KIND.plan(load_rule("harmonised-udu"))
    >>> round(assured_chance(joint_region(97, 4, n=30), geometry=rule), 5)
    0.6447
    """
    corners = [region.mean_low, region.mean_high]
    return float(lower_bounds(corners, [region.sd_high, region.sd_high], geometry=geometry).min())
