"""Operating characteristics: the chance that a batch of normal units passes the test of any rule."""

from __future__ import annotations

import numpy as np
from msgspec import Struct
from numpy.typing import ArrayLike

from qc.assurance.dosage_unit_chance import PICTURE, dosage_unit_chances
from qc.assurance.own_mean_chance import QUADRATURE_ERROR, count_chances
from qc.results.chance import OperatingCurve
from qc.rules.records import Rule
from qc.stats.arrays import Floats
from qc.stats.sample_plans import CountPlan, SamplePlan


class PassChances(Struct, frozen=True, kw_only=True, eq=False):
    """Chances of passing, in the common shape of the means and SDs asked about.

    Parameters
    ----------
    mean_percent, sd_percent : ndarray
        True mean and SD [% of label, or of the mean].
    first_stage, overall : ndarray
        Chance of passing at the first stage, and in all [-].
    error_bound : ndarray
        The error of `overall` is no greater than this [-].
    """

    mean_percent: Floats
    sd_percent: Floats
    first_stage: Floats
    overall: Floats
    error_bound: Floats


LARGEST = 1_000_000
"""Means and SDs beyond it [% of label] are none of anything that is weighed and assayed."""


def plan_chances(mean: ArrayLike, sd: ArrayLike, *, plan: SamplePlan, fine: float = 1.0) -> PassChances:
    """The chance that a batch of normal units passes the test of a rule.

    Parameters
    ----------
    mean, sd : array_like
        True mean and SD of the units; they are broadcast against each other [% of label].
    plan : AcceptanceGeometry or CountPlan
        What the rule asks of a sample, as its kind gives it (`Kind.plan`).
    fine : float
        How finely the acceptance value is integrated, of the usual.

    Returns
    -------
    PassChances
        Deterministic; no random numbers are used.

    Raises
    ------
    ValueError
        When a mean is not positive or an SD is negative.
    """
    means, sds = np.broadcast_arrays(np.asarray(mean, dtype=np.float64), np.asarray(sd, dtype=np.float64))
    flat_mean, flat_sd = means.ravel().copy(), sds.ravel().copy()
    _refuse_impossible(flat_mean, flat_sd)
    if isinstance(plan, CountPlan):
        first, overall = count_chances(flat_mean, flat_sd, plan=plan)
        error = np.full(flat_mean.shape, QUADRATURE_ERROR)
    else:
        first, overall, error = dosage_unit_chances(flat_mean, flat_sd, geometry=plan, fine=fine)
    return PassChances(
        mean_percent=means.copy(),
        sd_percent=sds.copy(),
        first_stage=first.reshape(means.shape),
        overall=overall.reshape(means.shape),
        error_bound=error.reshape(means.shape),
    )


def operating_curve(*, plan: SamplePlan, rule: Rule, mean: float, reach: float, points: int = 61) -> OperatingCurve:
    """Chance of passing of normal units against their true SD at one true mean, as finely as a picture shows.

    Parameters
    ----------
    plan : AcceptanceGeometry or CountPlan
        What the rule asks of a sample.
    rule : Rule
        For its id and its test.
    mean, reach : float
        True mean, and the greatest SD [% of label].
    points : int
        Points along the curve.

    Returns
    -------
    OperatingCurve
    """
    sds = np.linspace(0.0, reach, points)
    found = plan_chances(mean, sds, plan=plan, fine=PICTURE)
    return OperatingCurve(
        test=rule.test,
        rule=rule.id,
        mean_percent=mean,
        sds_percent=tuple(sds.tolist()),
        first_stage=tuple(found.first_stage.tolist()),
        overall=tuple(found.overall.tolist()),
    )


def _refuse_impossible(mean: Floats, sd: Floats) -> None:
    for name, values, wrong in (("mean", mean, ~(mean > 0.0)), ("SD", sd, ~(sd >= 0.0))):
        bad = values[wrong | ~(values <= LARGEST)]
        if bad.size:
            need = "greater than 0" if name == "mean" else "0 or greater"
            need = f"up to {LARGEST}" if bad[0] > LARGEST else need
            shown = np.format_float_positional(bad[0], trim="-")
            raise ValueError(f"the {name} {shown} cannot be used; give a number {need}, in % of label")
