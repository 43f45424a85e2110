"""The chances of passing that a report draws around a batch; a check without a report never works them out."""

from __future__ import annotations

from msgspec.structs import replace

from qc.results import JudgedBatch, OperatingCurve, PassPlane, TestResult
from qc.rules.kinds import dosage_units
from qc.rules.kinds.dosage_units.record import DosageUnitRule
from qc.rules.rule_books import RuleBook

CONFIDENCE = 0.95
LEAST_SD = 0.05
REACH_OF_SD = 0.8
"""How far the planes reach, as a share of the limit of the acceptance value; no batch with more is likely to pass."""
POINTS_OF_PLANE = 33
POINTS_OF_CURVE = 41


def with_planes(judged: JudgedBatch, *, book: RuleBook) -> JudgedBatch:
    """A judged batch with the plane and the curve of every dosage-unit test that has a mean and a spread.

    Parameters
    ----------
    judged : JudgedBatch
        As the judge left it.
    book : RuleBook
        The rules it was judged by.

    Returns
    -------
    JudgedBatch
        The same, with `pass_planes` and `operating_curves`.
    """
    drawn = [
        found
        for test in judged.tests
        if (rule := dosage_units.KIND.own(book.rules.get(test.rule))) is not None
        and (found := _of_test(test, rule)) is not None
    ]
    return replace(
        judged,
        pass_planes=tuple(plane for plane, _ in drawn),
        operating_curves=tuple(curve for _, curve in drawn),
    )


def _of_test(test: TestResult, rule: DosageUnitRule) -> tuple[PassPlane, OperatingCurve] | None:
    from qc.assurance.joint_region import joint_region
    from qc.assurance.planes import operating_curve, pass_plane

    mean, sd = test.figures.get("mean_percent"), test.figures.get("sd_percent")
    if mean is None or not sd or test.n < 2:
        return None
    target = test.figures.get("target_percent")
    target = 100.0 if target is None else float(target)
    region = joint_region(float(mean), float(sd), n=test.n, confidence=CONFIDENCE)
    top = float(rule.l1_percent) * REACH_OF_SD
    # The grid stays where chances change, however far out the sample lies; its region is drawn as far as there is room.
    plan = dosage_units.KIND.plan(rule, target_percent=target)
    plane = pass_plane(plan=plan, rule=rule, region=region, sds=(LEAST_SD, top), points=POINTS_OF_PLANE)
    top = max(top, 1.25 * float(sd))
    curve = operating_curve(
        plan=plan, rule=rule, mean=float(mean), region=region, sds=(0.0, top), points=POINTS_OF_CURVE
    )
    return replace(plane, active=test.active), replace(curve, active=test.active)
