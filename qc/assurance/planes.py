"""Chances of passing laid out for pictures: over the (mean, SD) plane, and along the SD at one mean.

They are worked out as finely as a picture shows, with an error of 0.05 % at most; `pass_chances` gives them in full.
"""

from __future__ import annotations

import numpy as np

from qc.assurance.dosage_unit_chance import Precision
from qc.assurance.joint_region import JointRegion
from qc.assurance.operating import plan_chances
from qc.results.chance import OperatingCurve as OperatingCurve
from qc.results.chance import PassPlane as PassPlane
from qc.rules.records import Rule
from qc.stats.sample_plans import SamplePlan

CONTOUR_LEVELS = (0.05, 0.5, 0.95)
"""A batch nearly sure to fail, as likely to pass as not, nearly sure to pass."""
MEANS = (80.0, 120.0)
"""Ends of the means that a plane shows [% of label]."""


def pass_plane(
    *,
    plan: SamplePlan,
    rule: Rule,
    region: JointRegion | None = None,
    sds: tuple[float, float] = (0.25, 12.0),
    points: int = 33,
) -> PassPlane:
    """Chances of passing over a rectangle of true means and SDs.

    Parameters
    ----------
    plan : AcceptanceGeometry or CountPlan
        What the rule asks of a sample.
    rule : Rule
        For its id and its test.
    region : JointRegion, optional
        Of the sample in hand, for its place on the plane, which may lie beyond the rectangle.
    sds : tuple of float
        Ends of the rectangle; its means go from 80 to 120 [% of label].
    points : int
        Points along each side; 33 draw smooth contours.

    Returns
    -------
    PassPlane
    """
    mean_grid, sd_grid = np.linspace(*MEANS, points), np.linspace(*sds, points)
    found = plan_chances(mean_grid[None, :], sd_grid[:, None], plan=plan, precision=Precision.PICTURE)
    return PassPlane(
        test=rule.test,
        rule=rule.id,
        means_percent=tuple(mean_grid.tolist()),
        sds_percent=tuple(sd_grid.tolist()),
        chances=tuple(tuple(row) for row in found.overall.tolist()),
        levels=CONTOUR_LEVELS,
        sample_mean_percent=None if region is None else region.mean,
        sample_sd_percent=None if region is None else region.sd,
        region=() if region is None else region.corners,
        confidence=None if region is None else region.confidence,
    )


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
    )
