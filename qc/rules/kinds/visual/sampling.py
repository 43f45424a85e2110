"""Attribute sampling: how many units to look at, how many may be nonconforming, and what a count says."""

from __future__ import annotations

from msgspec.structs import asdict, replace

from qc.results import Limit, Message, SeenClass, TestResult, Verdict, VisualInspection, message
from qc.rules.kinds.visual import Grade, SamplingRule
from qc.stats.attribute_plan import acceptance_by, plan_for


def judge_visual(
    seen: VisualInspection | None, *, rule: SamplingRule, required: bool
) -> tuple[VisualInspection | None, TestResult]:
    """Lay the counts against the plan of each grade for which the house set an AQL.

    Parameters
    ----------
    seen : VisualInspection or None
        None where nothing was written.
    rule : SamplingRule
    required : bool
        Whether the batch cannot comply without it.

    Returns
    -------
    VisualInspection or None, and TestResult
        The inspection with its plans filled in, and the test `visual-inspection`.
    """
    blank = TestResult(id=rule.test, rule=rule.id, verdict=Verdict.NOT_ASSESSED, required=required)
    if all(aql is None for aql in rule.aqls.values()):
        missing = "an AQL for each grade of defect, in a house rule file"
        return seen, replace(blank, missing=missing, reasons=(message("visual.no_aql", rules=(rule.id,)),))
    if seen is None:
        missing = 'the visual inspection (column Seen; "none" for a sound unit)'
        return seen, replace(blank, missing=missing, reasons=(message("visual.nothing_seen"),))
    classes: list[SeenClass] = []
    limits: list[Limit] = []
    reasons: list[Message] = []
    working: list[Message] = []
    outside_tables, to_look_at = False, 0
    for one in seen.classes:
        aql = rule.aqls[Grade(one.grade)]
        plan = None if aql is None else plan_for(rule, lot=seen.lot, aql_percent=aql)
        if aql is None or plan is None:
            outside_tables |= aql is not None
            classes.append(one)
            continue
        bad, looked_at = len(one.units), seen.looked_at
        accepted = acceptance_by(plan, lot=seen.lot, looked_at=looked_at, nonconforming=bad, aql_percent=aql)
        limit = Limit(
            what="nonconforming_units",
            figure=bad,
            bound=0 if aql == 0 else aql if plan.accepts is None else plan.accepts,
            met=accepted.met,
            unit="%" if plan.accepts is None else "units",
            values={"grade": one.grade, "lot": seen.lot},
        )
        said = message("visual.plan", **asdict(plan), aql_percent=aql, level=rule.inspection_level)
        classes.append(replace(one, aql_percent=aql, plan=said, met=accepted.met))
        limits.append(limit)
        reasons.append(message("visual.count", limit=limit, looked_at=looked_at, more=accepted.units_to_look_at))
        working.append(message("visual.working", grade=one.grade, plan=said))
        to_look_at = max(to_look_at, accepted.units_to_look_at)
    verdict: Verdict = Verdict.COMPLIES
    lacking: Message | str = ""
    if any(limit.met is False for limit in limits):
        verdict = Verdict.DOES_NOT_COMPLY
    elif seen.unknown:
        quoted = [f'"{word}"' for word in seen.unknown]
        verdict, lacking = Verdict.NOT_ASSESSED, message("visual.known_words", quoted=quoted)
    elif outside_tables:
        lacking = f"a plan for {seen.lot} units; the tables end at {rule.codes[-1].lot_to}"
        verdict = Verdict.NOT_ASSESSED
    elif to_look_at:
        verdict, lacking = Verdict.TOO_FEW_UNITS, message("visual.more_to_inspect", more=to_look_at)
    figures: dict[str, float | int | None] = {"lot": seen.lot, "looked_at": seen.looked_at}
    test = replace(
        blank,
        verdict=verdict,
        n=seen.looked_at,
        figures=figures | {one.grade: len(one.units) for one in classes},
        criteria=tuple(limits),
        reasons=tuple(reasons),
        working=tuple(working),
        missing=lacking,
    )
    return replace(seen, classes=tuple(classes)), test
