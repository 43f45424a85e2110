"""The visual inspection of the units: defects by grade, and the sampling plan where the house asks for one."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from msgspec import Struct
from msgspec.structs import replace

from qc.batch import Batch
from qc.results import Limit, Message, Remark, SeenClass, SeenDefect, TestResult, Verdict, VisualInspection, message
from qc.rules.kinds.visual import SamplingRule
from qc.rules.kinds.visual.defects import DefectSeen, DefectWords, Grade, read_seen
from qc.rules.kinds.visual.sampling import acceptance_by, plan_for


def inspect(batch: Batch, *, words: DefectWords) -> VisualInspection | None:
    """Read the column Seen; None when nobody wrote anything there.

    Parameters
    ----------
    batch : Batch
    words : DefectWords
        The vocabulary, with the grades of the house.

    Notes
    -----
    Where a word such as "none" marks the sound units, only units with an entry were looked at. Otherwise every unit
    entered was, and an empty cell says that nothing was seen. The reading is our own.
    """
    if not any(unit.seen for unit in batch.units):
        return None
    marked = any(words.says_sound(word) for unit in batch.units for word in unit.seen)
    looked_at = sum(1 for unit in batch.units if unit.seen or not marked)
    found, unknown = read_seen(batch, words=words)
    grades = list(Grade)
    ranked = sorted(found, key=lambda one: (grades.index(one.defect.grade), -len(one.units)))
    return VisualInspection(
        lot=lot_size(batch),
        looked_at=looked_at,
        defects=tuple(_seen(one) for one in ranked),
        classes=tuple(_class(grade, batch=batch, found=found) for grade in Grade),
        unknown=unknown,
    )


def lot_size(batch: Batch) -> int:
    """Units in the batch: obtained, else poured, else those entered, and never fewer than those."""
    known = batch.units_obtained if batch.units_obtained is not None else batch.units_poured
    return max(known or 0, len(batch.units))


def _seen(one: DefectSeen) -> SeenDefect:
    defect = one.defect
    return SeenDefect(
        defect=defect.name,
        entered_as=one.entered_as,
        grade=defect.grade.value,
        grade_mark=defect.grade_mark.value,
        units=one.units,
        causes=defect.causes,
        remedy=defect.remedy,
        mark=defect.mark.value,
        source=defect.source,
        speaks_for=defect.speaks_for,
    )


def _class(grade: Grade, *, batch: Batch, found: Sequence[DefectSeen]) -> SeenClass:
    hit = {unit for one in found if one.defect.grade is grade for unit in one.units}
    return SeenClass(grade=grade.value, units=tuple(unit.name for unit in batch.units if unit.name in hit))


def notices_of(seen: VisualInspection, *, words: DefectWords) -> tuple[Remark, ...]:
    """A remark for each word that is not known, with the nearest, and one for defects that may harm."""
    said = [
        message("visual.unknown_word", word=word, units=units, nearest=words.nearest(word))
        for word, units in seen.unknown.items()
    ]
    said += [
        message("visual.critical", defect=one.defect, units=one.units, mark=one.grade_mark)
        for one in seen.defects
        if one.grade == Grade.CRITICAL
    ]
    return tuple(Remark(where="Units, Seen", text=one) for one in said)


def judge_visual(
    seen: VisualInspection | None, *, rule: SamplingRule, required: bool
) -> tuple[VisualInspection | None, TestResult]:
    """Lay the counts against the plan of each grade for which the house set an AQL.

    Returns
    -------
    VisualInspection or None, and TestResult
        The inspection with its plans filled in, and the test `visual-inspection`.
    """
    quality = {
        Grade.CRITICAL.value: rule.aql_critical_percent,
        Grade.MAJOR.value: rule.aql_major_percent,
        Grade.MINOR.value: rule.aql_minor_percent,
    }
    blank = TestResult(id=rule.test, rule=rule.id, verdict=Verdict.NOT_ASSESSED, required=required)
    if all(aql is None for aql in quality.values()):
        missing = "an AQL for each grade of defect, in a house rule file"
        return seen, replace(blank, missing=missing, reasons=(message("visual.no_aql", rule=rule.id),))
    if seen is None:
        missing = 'the visual inspection (column Seen; "none" for a sound unit)'
        return seen, replace(blank, missing=missing, reasons=(message("visual.nothing_seen"),))
    counted_by = [_counted(one, seen, rule=rule, aql=quality[one.grade]) for one in seen.classes]
    judged = [one for one in counted_by if one.limit is not None]
    outside_tables = any(one.limit is None and quality[one.seen.grade] is not None for one in counted_by)
    verdict, lacking = _together(judged, seen, outside_tables=outside_tables, rule=rule)
    figures: dict[str, float | int | None] = {"lot": seen.lot, "looked_at": seen.looked_at}
    test = replace(
        blank,
        verdict=verdict,
        n=seen.looked_at,
        figures=figures | {one.grade: len(one.units) for one in seen.classes},
        criteria=tuple(one.limit for one in judged if one.limit is not None),
        reasons=tuple(
            message("visual.count", limit=one.limit, looked_at=seen.looked_at, more=one.to_look_at) for one in judged
        ),
        working=tuple(message("visual.working", grade=one.seen.grade, plan=one.seen.plan) for one in judged),
        missing=lacking,
    )
    return replace(seen, classes=tuple(one.seen for one in counted_by)), test


class _Counted(Struct, frozen=True, kw_only=True):
    """The units of one grade of defect, beside their limit where the tables have a plan for it."""

    seen: SeenClass
    limit: Limit | None = None
    to_look_at: int = 0


def _counted(one: SeenClass, seen: VisualInspection, *, rule: SamplingRule, aql: Decimal | None) -> _Counted:
    plan = None if aql is None else plan_for(rule, lot=seen.lot, aql_percent=aql)
    if aql is None or plan is None:
        return _Counted(seen=one)
    accepted = acceptance_by(
        plan, lot=seen.lot, looked_at=seen.looked_at, nonconforming=len(one.units), aql_percent=aql
    )
    return _Counted(
        seen=replace(
            one,
            aql_percent=aql,
            plan=message(
                "visual.plan",
                sample_size=plan.sample_size,
                accepts=plan.accepts,
                aql_percent=aql,
                level=rule.inspection_level,
                letter=plan.letter,
                from_memory=plan.from_memory,
            ),
            met=accepted.met,
        ),
        limit=Limit(
            what="nonconforming_units",
            figure=len(one.units),
            bound=0 if aql == 0 else aql if plan.accepts is None else plan.accepts,
            met=accepted.met,
            unit="%" if plan.accepts is None else "units",
            values={"grade": one.grade, "lot": seen.lot},
        ),
        to_look_at=accepted.units_to_look_at,
    )


def _together(
    judged: Sequence[_Counted], seen: VisualInspection, *, outside_tables: bool, rule: SamplingRule
) -> tuple[Verdict, Message | str]:
    """The verdict over all grades, and the one thing that is missing where there is none."""
    if any(one.seen.met is False for one in judged):
        return Verdict.DOES_NOT_COMPLY, ""
    if seen.unknown:
        quoted = [f'"{word}"' for word in seen.unknown]
        return Verdict.NOT_ASSESSED, message("visual.known_words", quoted=quoted)
    if outside_tables:
        return Verdict.NOT_ASSESSED, f"a plan for {seen.lot} units; the tables end at {rule.codes[-1].lot_to}"
    more = max((one.to_look_at for one in judged), default=0)
    if more:
        return Verdict.TOO_FEW_UNITS, message("visual.more_to_inspect", more=more)
    return Verdict.COMPLIES, ""
