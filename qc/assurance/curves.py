"""Chances of passing laid out for a picture, along the SD at one mean.

They are worked out as finely as a picture shows, with an error of 0.05 % at most; `pass_chances` gives them in full.
"""

from __future__ import annotations

import numpy as np

from qc.assurance.dosage_unit_chance import Precision
from qc.assurance.joint_region import JointRegion
from qc.assurance.operating import plan_chances
from qc.results.chance import OperatingCurve as OperatingCurve
from qc.rules.records import Rule
from qc.stats.sample_plans import SamplePlan


def operating_curve(
    *,
    plan: SamplePlan,
    rule: Rule,
    mean: float = 100.0,
    region: JointRegion | None = None,
    sds: tuple[float, float] = (0.0, 12.0),
    points: int = 61,
) -> OperatingCurve:
    """Chance of passing against the true SD at one true mean.

    Parameters
    ----------
    plan : AcceptanceGeometry or CountPlan
        What the rule asks of a sample.
    rule : Rule
        For its id and its test.
    mean : float
        True mean [% of label].
    region : JointRegion, optional
        Of the sample in hand, for its place on the curve.
    sds : tuple of float
        Ends of the range of SDs [% of label].
    points : int
        Points along the curve.

    Returns
    -------
    OperatingCurve
    """
    sd_grid = np.linspace(sds[0], sds[1], points)
    found = plan_chances(mean, sd_grid, plan=plan, precision=Precision.PICTURE)
    return OperatingCurve(
        test=rule.test,
        rule=rule.id,
        mean_percent=mean,
        sds_percent=tuple(sd_grid.tolist()),
        first_stage=tuple(found.first_stage.tolist()),
        overall=tuple(found.overall.tolist()),
        sample_sd_percent=None if region is None else region.sd,
        sd_high_percent=None if region is None else region.sd_high,
        region=() if region is None else region.corners,
        confidence=None if region is None else region.confidence,
    )
