"""Which share of the fixed samples of a spread passes the test of a rule, for many middles and scales at once."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from qc.stats.arrays import Floats
from qc.stats.sample_plans import AcceptanceGeometry, CountPlan, SamplePlan
from qc.stats.standard_samples import SAMPLES, Spread, StandardSamples, standard_samples

Truth = NDArray[np.bool_]


def shares_passed(middle: Floats, scale: Floats, *, plan: SamplePlan, spread: Spread) -> tuple[Floats, Floats]:
    """The chance that a sample passes at the first stage, and in all.

    Parameters
    ----------
    middle, scale : array, cells
        Of the units [% of label, or of the mean].
    plan : AcceptanceGeometry or CountPlan
        What the rule asks of a sample.
    spread : Spread
        The shape of all units.

    Returns
    -------
    first, overall : array, cells
        Shares, off by `qc.stats.standard_samples.ERROR` at most [-].
    """
    first, open_ = _first_stage(plan, middle[:, None], scale[:, None], standard_samples(spread, plan.first_size))
    overall, here = first.copy(), open_.any(axis=1)
    if plan.second_size and here.any():
        many = standard_samples(spread, plan.first_size + plan.second_size)
        overall[here] |= open_[here] & _second_stage(plan, middle[here, None], scale[here, None], many)
    first, overall = (np.count_nonzero(passed, axis=1) / SAMPLES for passed in (first, overall))
    return first, overall


def _first_stage(plan: SamplePlan, middle: Floats, scale: Floats, few: StandardSamples) -> tuple[Truth, Truth]:
    """Which samples pass, and for which a second one is asked for: cells x samples."""
    if isinstance(plan, AcceptanceGeometry):
        passed = _value_met(plan, middle, scale, few, k=plan.first_k)
        return passed, ~passed
    centre = middle + scale * few.mean
    kept = (centre >= plan.mean_low) & (centre <= plan.mean_high)
    kept = kept & _at_most(plan.most_outer, plan, middle, scale, few, limit=plan.outer)
    passed = kept & _at_most(plan.passes_with, plan, middle, scale, few, limit=plan.inner)
    return passed, kept & ~passed & _at_most(plan.continues_with, plan, middle, scale, few, limit=plan.inner)


def _second_stage(plan: SamplePlan, middle: Floats, scale: Floats, many: StandardSamples) -> Truth:
    """Which samples pass by the units of both stages: cells x samples."""
    if not isinstance(plan, AcceptanceGeometry):
        within = _at_most(plan.second_passes_with, plan, middle, scale, many, limit=plan.inner)
        return within & _at_most(0, plan, middle, scale, many, limit=plan.outer)
    reference = plan.reference(middle + scale * many.mean)
    least, most = (middle + scale * many.units[:, end] for end in (0, -1))
    single = (least >= (1.0 - plan.unit_fraction) * reference) & (most <= (1.0 + plan.unit_fraction) * reference)
    return single & _value_met(plan, middle, scale, many, k=plan.second_k)


def _value_met(plan: AcceptanceGeometry, middle: Floats, scale: Floats, drawn: StandardSamples, *, k: float) -> Truth:
    """Whether the acceptance value is within its limit."""
    value = plan.distance(middle + scale * drawn.mean) + k * scale * drawn.sd
    return np.asarray(value <= plan.limit)


def _at_most(
    count: int, plan: CountPlan, middle: Floats, scale: Floats, drawn: StandardSamples, *, limit: float
) -> Truth:
    """Whether no more than so many units lie beyond a limit: some of the least, and the rest of the most.

    About the sample's own mean the smallest limit that a sample keeps is so many scales, whatever middle and scale are.
    """
    pairs = [(drawn.units[:, below], drawn.units[:, below - count - 1]) for below in range(count + 1)]
    if not plan.about_label:
        low, high = (1.0 - limit) * drawn.mean, (1.0 + limit) * drawn.mean
        scales = np.min([np.maximum(low - least, most - high) for least, most in pairs], axis=0, initial=np.inf)
        return np.asarray(limit * middle / scale >= scales)
    low, high = ((100.0 * end - middle) / scale for end in (1.0 - limit, 1.0 + limit))
    met = np.zeros((1, 1), dtype=np.bool_)
    for least, most in pairs:
        met = met | ((least >= low) & (most <= high))
    return met
