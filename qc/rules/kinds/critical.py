"""Critical defects, of which a batch may have none."""

from __future__ import annotations

from msgspec.structs import replace

from qc.results import Limit, TestResult, Verdict, VisualInspection, message
from qc.rules.kind import Kind
from qc.rules.kinds.visual import Grade
from qc.rules.records import Rule


class CriticalRule(Rule, frozen=True, kw_only=True):
    """No unit with a defect graded critical; the grades stand with the words for defects."""


KIND = Kind(record=CriticalRule, tests=("critical-defects",), place=12, of_units=False)


def judge_critical(seen: VisualInspection, *, rule: Rule) -> TestResult:
    """Count the units with a critical defect: one is too many; open where a word that was typed is not known."""
    found = [one for one in seen.defects if one.grade == Grade.CRITICAL]
    names = tuple(dict.fromkeys(unit for one in found for unit in one.units))
    limit = Limit(
        what="critical_defects",
        figure=len(names),
        bound=0,
        met=not names,
        unit="units",
        clause=rule.clause_of("critical_defects"),
        values={"names": names, "of": seen.looked_at},
    )
    reasons = [
        message("visual.critical", defect=one.defect, units=one.units, mark=one.grade_mark) for one in found
    ] or [message("visual.none_critical", looked_at=seen.looked_at)]
    test = TestResult(id=rule.test, rule=rule.id, verdict=Verdict.COMPLIES, n=seen.looked_at, required=False)
    if seen.unknown and not names:
        # What a word that is not known says may be a critical defect.
        lacking = message("visual.known_words", quoted=[f'"{word}"' for word in seen.unknown])
        limit, reasons = replace(limit, met=None), []
        test = replace(test, verdict=Verdict.NOT_ASSESSED, missing=lacking)
    verdict = Verdict.DOES_NOT_COMPLY if names else test.verdict
    return replace(test, verdict=verdict, criteria=(limit,), reasons=tuple(reasons))
