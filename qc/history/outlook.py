"""How likely the next batch is to pass each test, if nothing changes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from statistics import fmean

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from qc.assurance.operating import plan_chances
from qc.causes.priors import middles, normal_quantile
from qc.history.figures import BatchFigures
from qc.history.products import BatchSeries
from qc.rules.built_in import load_rule, rule_ids
from qc.rules.kinds import kind_of, mass
from qc.rules.kinds.mass.bands import band_for
from qc.stats.sample_plans import SamplePlan

PLACES = 15
# No batches are so much more alike than their sampling lets one expect: the least probability of it that is told apart.
MOST_ALIKE = 1e-200


class NextTest(Struct, frozen=True, kw_only=True):
    """A test of single units, its active (empty for the masses), and the next batch's chance of passing it [-]."""

    test: str
    active: str
    chance: float


def next_tests(newest: BatchFigures, series: Sequence[BatchSeries]) -> Iterator[NextTest]:
    """The chances by each built-in rule for single units that the newest batch was judged by.

    Parameters
    ----------
    newest : BatchFigures
    series : sequence of BatchSeries
        Its charts; a test is left out where mean or SD were seen in too few batches.
    """
    by_id = {(one.id, one.of): one for one in series if one.followed.spread > 0.0}
    for rule in (load_rule(id) for id in newest.rules if id in rule_ids()):
        kind, band = kind_of(rule), None
        if not kind.chance:
            continue
        if (table := mass.KIND.own(rule)) is not None:
            mean_mg = Fraction(newest.mass.mean) * 1000 if newest.mass else Fraction(0)
            band = band_for(table, form=newest.form, mean_mg=mean_mg)
            if band is None:
                continue
        plan = kind.plan(rule, band=band)
        for of in newest.contents if kind.per_active else ("",):
            what = "content" if kind.per_active else "mass"
            mean, sd = by_id.get((f"{what}-mean", of)), by_id.get((f"{what}-sd", of))
            if mean is not None and sd is not None:
                yield NextTest(test=rule.test, active=of, chance=chance_to_pass(mean, sd, plan=plan))


def chance_to_pass(mean: BatchSeries, sd: BatchSeries, *, plan: SamplePlan) -> float:
    """The chance that the next batch passes a test in all, over what its mean and SD may be [-].

    Parameters
    ----------
    mean, sd : BatchSeries
        Of the same units, at least three batches each.
    plan : SamplePlan
        What the test asks of a sample.

    Notes
    -----
    True mean and SD of the next batch are taken as independent. What the figures of the batches so far scatter by the
    sampling of their units is no part of how batches differ: the test brings that scatter by itself.
    """
    means, sds = (_true_figures(one) for one in (mean, sd))
    chances = plan_chances(means[:, None], sds[None, :], plan=plan)
    return float(chances.overall.mean())


def _true_figures(series: BatchSeries) -> NDArray[np.float64]:
    """Values that the true figure of the next batch may have, each as likely as the other, shape (PLACES,).

    Notes
    -----
    The share of the variance of a batch's figure that the sampling of its units makes is as likely to be any as another
    before the batches are seen: the variance about the level then has a scaled inverse chi-square distribution of two
    more degrees of freedom, cut off below at what the sampling alone gives. The rest lies between batches.

    References
    ----------
    Daniels (1999), A prior for the variance in hierarchical models, Can. J. Stat. 27, 567-578; Box and Tiao (1973),
    Bayesian Inference in Statistical Analysis, section 5.2 (both from memory).
    """
    from scipy import special

    found, shares = series.followed, middles(PLACES)
    sampling = fmean(point.size * point.within for point in series.points)
    counted = len(series.levels[-1][1])
    # With the doubt about the level, which the spread of the next batch holds too.
    least, squares, half = sampling * (1.0 + 1.0 / counted), found.free * found.spread**2, found.free / 2.0 + 1.0
    greatest = special.gammainc(half, squares / least / 2.0) if least > 0.0 else 1.0
    # By the lower tail, which keeps its digits where the batches are more alike than their sampling lets one expect.
    quantiles = 2.0 * special.gammaincinv(half, np.maximum(shares * greatest, MOST_ALIKE))
    variances = np.maximum(squares / quantiles, least) - sampling
    away = np.sqrt(variances)[:, None] * normal_quantile(shares)
    # The middles of equal shares of all of them.
    every = np.sort(away, axis=None)[PLACES // 2 :: PLACES]
    return np.array([series.shown(found.level + float(one)) for one in every])
