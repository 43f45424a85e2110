"""The posterior distribution of the chance that another sample of a pour passes, given the units that were measured.

The chance of passing is a function of how the units of the pour are spread. That is not known: it may be normal,
heavy-tailed, skewed, or hold a share of units of another kind. Each shape with each middle and scale is weighed by its
prior and by the likelihood of the measured units; each has its chance of passing; the weighed chances are the posterior
distribution of the one chance of this pour. Its mean is the chance that another sample, drawn at random, passes; its
lower quantile bounds the chance from below.

References
----------
Posterior of a function of the parameters, and averaging over models by their marginal likelihoods: A. Gelman et al.,
Bayesian Data Analysis, 3rd ed. (2013), sections 1.3 and 7.4, equations 1.1 and 7.12 (from memory). For normal units
alone the quantile is a generalised confidence limit: S. Weerahandi, Generalized confidence intervals, J. Am. Stat.
Assoc. 88 (1993) 899-905, and K. Krishnamoorthy & T. Mathew, Statistical Tolerance Regions (2009), section 1.4.
"""

from __future__ import annotations

import functools
import math
from statistics import median

import numpy as np
from msgspec import Struct
from msgspec.structs import replace
from numpy.typing import NDArray

from qc.assurance.samples_passed import shares_passed
from qc.stats.arrays import Floats
from qc.stats.chi_square import chi_square_quantile
from qc.stats.proportion import upper_bound
from qc.stats.sample_plans import SamplePlan
from qc.stats.standard_samples import Core, Spread, density

PRIOR: dict[Spread, float] = {
    Spread(): 0.58,
    Spread(core=Core.STUDENT_5): 0.10,
    Spread(core=Core.STUDENT_3): 0.10,
    Spread(core=Core.POOR_TAIL): 0.07,
    Spread(core=Core.RICH_TAIL): 0.07,
    **{Spread(share=share, away=away): 0.02 for away in (-6.0, 6.0) for share in (0.05, 0.20)},
}
SOUND_PRIOR, FEWER_PRIOR, SPOILT_PRIOR, MORE_PRIOR = 0.67, 0.05, 0.12, 0.16
SPOILT = 0.025
MOST_SPOILT = 0.30
"""How likely each shape, and each share of spoilt units beside it, is before anything was measured: our own choice. Ten
or thirty units without a spoilt one do not rule out one in forty, and no number rules out one in as many: that share is
taken for possible whatever was measured, a fifth of it too, and greater ones up to the most in proportion to their
size, which count once a spoilt unit was measured. What follows from it stands in the study,
tests/benchmarks/results/assurance.md."""
FEW, BINS = 50, 25.0
"""More units than so many are taken together in bins of their core's scale by that number; a finer look at the scales
follows their narrower posterior [-]."""
ANYWHERE = 200.0
"""A spoilt unit holds anything from nothing to this [% of label, or of the mean]; no sample with one passes."""

POINTS = 200
"""Equally likely points by which the posterior stands for itself [-]."""
MOST_ASSURED = 1.0 - 1e-6
"""No data assure certainty [-]."""
_SCALES, _MIDDLES, _REACH = 24, 15, 5.5
_LIKELY = 1e-5


class PosteriorSpread(Struct, frozen=True, kw_only=True):
    """One shape with its likely middles, scales and shares of spoilt units, and how many `points` each stands for."""

    spread: Spread
    spoilt: Floats
    middles: Floats
    scales: Floats
    points: NDArray[np.intp]


class PassChance(Struct, frozen=True, kw_only=True):
    """The chance of another sample.

    Parameters
    ----------
    mean, low : float
        Mean of its posterior distribution, and the bound that holds whatever share of the units is spoilt [-]: so far
        off that no sample with it passes. Where no unit measured was, that share is taken at its own upper bound.
    spoilt_at_most, low_supposed : float or None
        A share of spoilt units, and the bound that holds where no more are so [-]. None where units measured were
        spoilt: how many there may be, the bound then takes in by itself.
    """

    mean: float
    low: float
    spoilt_at_most: float | None
    low_supposed: float | None


def spoilt_shares(n: int) -> dict[float, float]:
    """The shares of spoilt units with their priors, for so many units measured [-].

    Examples
    --------
    >>> {round(share, 3): round(prior, 3) for share, prior in spoilt_shares(10).items()}
    {0.0: 0.67, 0.005: 0.05, 0.025: 0.12, 0.057: 0.019, 0.131: 0.043, 0.3: 0.098}
    """
    possible = min(SPOILT, 1.0 / n)
    more = np.geomspace(possible, MOST_SPOILT, 1 + round(math.log2(MOST_SPOILT / possible) / 1.3))[1:]
    shares = dict(zip(more.tolist(), (MORE_PRIOR * more / more.sum()).tolist(), strict=True))
    return {0.0: SOUND_PRIOR, possible / 5.0: FEWER_PRIOR, possible: SPOILT_PRIOR, **shares}


def pass_chance(values: tuple[float, ...], *, plan: SamplePlan, confidence: float) -> PassChance | None:
    """The chance that another sample of the pour passes, and the bounds that the chance of the pour lies above.

    Parameters
    ----------
    values : tuple of float
        Contents or masses of every unit measured, a random draw of the pour [% of label, or of the mean].
    plan : AcceptanceGeometry or CountPlan
        What the rule asks of a sample.
    confidence : float
        Of the bound [-].

    Returns
    -------
    PassChance or None
        None where the units do not differ.
    """
    if len(values) < 2 or min(values) == max(values):
        return None
    every, supposed = chances_of(values, plan=plan), min(SPOILT, 1.0 / len(values))
    seen = sum(int(one.points[one.spoilt > 0.0].sum()) for one in posterior(values)) > 0.5 * POINTS
    at = math.floor((1.0 - confidence) * POINTS)
    low = min(float(every[at]), MOST_ASSURED)
    found = PassChance(mean=min(float(every.mean()), MOST_ASSURED), low=low, spoilt_at_most=None, low_supposed=None)
    if seen:
        return found
    unseen = chances_of(values, plan=plan, spoilt_at_least=upper_bound(0, n=len(values), confidence=confidence))
    return replace(found, low=float(unseen[at]), spoilt_at_most=supposed, low_supposed=low)


def chances_of(values: tuple[float, ...], *, plan: SamplePlan, spoilt_at_least: float = 0.0) -> Floats:
    """The chance of another sample at each point of the posterior distribution, ascending, shape (points,) [-].

    With `spoilt_at_least` no point has a lesser share of spoilt units [-].
    """
    spoilt, first, later, points = _of_sound_units(values, plan)
    sound = 1.0 - np.maximum(spoilt, spoilt_at_least)
    chances = first * sound**plan.first_size + later * sound ** (plan.first_size + plan.second_size)
    return np.sort(np.repeat(chances, points))


@functools.lru_cache(maxsize=8)
def _of_sound_units(values: tuple[float, ...], plan: SamplePlan) -> tuple[Floats, Floats, Floats, NDArray[np.intp]]:
    """Of each point its share of spoilt units, the chances of sound ones at the first stage and later, its weight."""
    found = posterior(values)
    passed = [shares_passed(one.middles, one.scales, plan=plan, spread=one.spread) for one in found]
    first, overall = (np.concatenate(stage) for stage in zip(*passed, strict=True))
    spoilt, points = (np.concatenate([getattr(one, name) for one in found]) for name in ("spoilt", "points"))
    return spoilt, first, overall - first, points


@functools.lru_cache(maxsize=8)
def posterior(values: tuple[float, ...]) -> tuple[PosteriorSpread, ...]:
    """The posterior distribution of shape, middle, scale and spoilt units; flat before in middle and log scale.

    Parameters
    ----------
    values : tuple of float
        At least two that differ [% of label, or of the mean].

    Returns
    -------
    tuple of PosteriorSpread
        The shapes that stand for any point; their `points` add up to `POINTS`.
    """
    units = np.array(values)
    count, sd = units.size, float(units.std(ddof=1))
    # The median of numpy loads its masked arrays, which takes longer than all of this.
    centre = median(values)
    core = 1.4826 * median(abs(value - centre) for value in values)
    least = max(0.3 * core, sd / 50.0)
    most = sd * math.sqrt((count - 1) / chi_square_quantile(0.0005, degrees=count - 1))
    priors = spoilt_shares(count)
    shares = np.array(list(priors))
    width = max(core, sd / 50.0) / BINS
    units, times = np.unique(np.round(units / width) * width if count > FEW else units, return_counts=True)
    for _ in range(1 if count <= FEW else 2):
        scales = np.geomspace(least, most, _SCALES)[:, None]
        middles = centre + scales * np.linspace(-_REACH, _REACH, _MIDDLES) / math.sqrt(count)
        logs = _log_likelihoods(units, times, priors, middles, scales) - (count - 1) * np.log(scales)
        weights = np.exp(logs - logs.max())
        by_scale = weights.sum(axis=(0, 1, 3))
        (likely,) = np.nonzero(by_scale > _LIKELY * by_scale.max())
        least, most = (float(scales[place, 0]) for place in (max(likely[0] - 1, 0), min(likely[-1] + 1, _SCALES - 1)))
    heaped = np.cumsum(weights)
    at = np.searchsorted(heaped, (np.arange(POINTS) + 0.5) / POINTS * heaped[-1])
    cells, points = np.unique(at, return_counts=True)
    shape, spoilt, scale, middle = np.unravel_index(cells, weights.shape)
    return tuple(
        PosteriorSpread(
            spread=spread,
            spoilt=shares[spoilt[here]],
            middles=middles[scale[here], middle[here]],
            scales=scales[scale[here], 0],
            points=points[here],
        )
        for place, spread in enumerate(PRIOR)
        if (here := shape == place).any()
    )


def _log_likelihoods(
    units: Floats, times: NDArray[np.intp], spoilt: dict[float, float], middles: Floats, scales: Floats
) -> Floats:
    """Log of prior and likelihood, shapes x spoilt x scales x middles, in units of the scale for each unit measured."""
    standard = (units - middles[:, :, None]) / scales[:, :, None]
    anywhere = scales[:, :, None] / ANYWHERE
    logs = []
    for spread, prior in PRIOR.items():
        sound = density(spread, standard)
        for share, likely in spoilt.items():
            mixed = (1.0 - share) * sound + share * anywhere
            logs.append(np.log(np.maximum(mixed, 1e-300)) @ times + math.log(prior * likely))
    return np.reshape(logs, (len(PRIOR), len(spoilt), *middles.shape))
