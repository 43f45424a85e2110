"""What the eye saw on the units: defects by grade, and the sampling plan where the house asks for one."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal

from qc.batch import Batch
from qc.problems import Notice
from qc.results import Criterion, SeenClass, SeenDefect, TestResult, Verdict, VisualInspection
from qc.rules.attribute_sampling import Answer, SamplingPlan, answer_to, plan_for
from qc.rules.defects import Defect, DefectWords, Grade
from qc.rules.display import counted, listed, plain
from qc.rules.records import SamplingRule


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
    found: dict[str, tuple[Defect, list[str], list[str]]] = {}
    unknown: dict[str, list[str]] = {}
    for unit in batch.units:
        for word in unit.seen:
            defect = words.find(word)
            if defect is None:
                if not words.says_sound(word):
                    unknown.setdefault(word, []).append(unit.name)
                continue
            _, units, typed = found.setdefault(defect.name, (defect, [], []))
            typed += [word] if word not in typed else []
            units += [unit.name] if unit.name not in units else []
    grades = list(Grade)
    ranked = sorted(found.values(), key=lambda one: (grades.index(one[0].grade), -len(one[1])))
    defects = tuple(_seen(defect, units=units, typed=typed) for defect, units, typed in ranked)
    lot = lot_size(batch)
    return VisualInspection(
        lot=lot,
        looked_at=looked_at,
        defects=defects,
        classes=tuple(_class(grade, batch=batch, defects=defects) for grade in Grade),
        unknown={word: tuple(units) for word, units in unknown.items()},
        sentence=_sentence(defects, looked_at=looked_at, lot=lot, unknown=unknown),
    )


def lot_size(batch: Batch) -> int:
    """Units in the batch: obtained, else poured, else those entered, and never fewer than those."""
    known = batch.units_obtained if batch.units_obtained is not None else batch.units_poured
    return max(known or 0, len(batch.units))


def _seen(defect: Defect, *, units: Sequence[str], typed: Sequence[str]) -> SeenDefect:
    return SeenDefect(
        defect=defect.name,
        entered_as=tuple(typed),
        grade=defect.grade.value,
        grade_mark=defect.grade_mark.value,
        units=tuple(units),
        causes=defect.causes,
        remedy=defect.remedy,
        mark=defect.mark.value,
        source=defect.source,
        speaks_for=defect.speaks_for,
    )


def _class(grade: Grade, *, batch: Batch, defects: Sequence[SeenDefect]) -> SeenClass:
    hit = {unit for defect in defects if defect.grade == grade.value for unit in defect.units}
    return SeenClass(grade=grade.value, units=tuple(unit.name for unit in batch.units if unit.name in hit))


def _sentence(defects: Sequence[SeenDefect], *, looked_at: int, lot: int, unknown: Mapping[str, Sequence[str]]) -> str:
    head = f"The eye: {looked_at} of {counted(lot, 'unit')} looked at"
    kinds = [f"{one.defect} on {counted(len(one.units), 'unit')} ({one.grade})" for one in defects]
    said = "; ".join(kinds) if kinds else "no defect of a known kind"
    more = f"; {counted(len(unknown), 'word')} not known" if unknown else ""
    return f"{head}; {said}{more}."


def notices_of(seen: VisualInspection, *, words: DefectWords) -> tuple[Notice, ...]:
    """A remark for each word that is not known, with the nearest, and one for defects that may harm."""
    made = []
    for word, units in seen.unknown.items():
        beside = f"{'unit' if len(units) == 1 else 'units'} {listed(units)}"
        text = f'"{word}" ({beside}) is no known defect and was not counted. {words.nearest(word)}'
        made.append(Notice(where="Units, Seen", text=text))
    for one in seen.defects:
        if one.grade == Grade.CRITICAL:
            text = (
                f"{one.defect} on {'unit' if len(one.units) == 1 else 'units'} {listed(one.units)} is graded critical "
                f"({one.grade_mark}): a person must look into it before the batch goes on."
            )
            made.append(Notice(where="Units, Seen", text=text))
    return tuple(made)


def judge_visual(
    seen: VisualInspection | None, *, rule: SamplingRule, required: bool
) -> tuple[VisualInspection | None, TestResult]:
    """Lay the counts against the plan of each grade for which the house set an AQL.

    Returns
    -------
    VisualInspection or None, and TestResult
        The inspection with its plans filled in, and the test `visual-inspection`.
    """
    limits = {
        Grade.CRITICAL: rule.aql_critical_percent,
        Grade.MAJOR: rule.aql_major_percent,
        Grade.MINOR: rule.aql_minor_percent,
    }
    blank = TestResult(id=rule.test, rule=rule.id, verdict=Verdict.NOT_ASSESSED, required=required)
    if all(aql is None for aql in limits.values()):
        missing = "an AQL for each grade of defect, in a house rule file"
        reason = f"{rule.id} has no acceptable quality limit (AQL) of its own; a house rule sets them."
        return seen, _not_assessed(blank, missing=missing, reason=reason)
    if seen is None:
        missing = 'what the eye saw (column Seen; "none" for a sound unit)'
        return seen, _not_assessed(blank, missing=missing, reason="The column Seen is empty.")
    classes: list[SeenClass] = []
    criteria: list[Criterion] = []
    reasons: list[str] = []
    answers: list[Answer] = []
    outside_tables = False
    for one in seen.classes:
        aql = limits[Grade(one.grade)]
        if aql is None:
            classes.append(one)
            continue
        plan = plan_for(rule, lot=seen.lot, aql_percent=aql)
        if plan is None:
            outside_tables = True
            classes.append(one)
            continue
        answer = answer_to(plan, lot=seen.lot, looked_at=seen.looked_at, nonconforming=len(one.units), aql_percent=aql)
        answers.append(answer)
        text = _plan_in_words(plan, aql=aql, level=rule.inspection_level)
        classes.append(SeenClass(grade=one.grade, units=one.units, aql_percent=aql, plan=text, met=answer.met))
        criteria.append(_criterion(one, plan, aql=aql, lot=seen.lot, met=answer.met))
        reasons.append(_reason(one, seen, plan=plan, aql=aql, answer=answer))
    verdict, missing = _together(answers, seen, outside_tables=outside_tables, rule=rule)
    filled = VisualInspection(
        lot=seen.lot,
        looked_at=seen.looked_at,
        defects=seen.defects,
        classes=tuple(classes),
        unknown=seen.unknown,
        sentence=seen.sentence,
    )
    figures: dict[str, float | int | None] = {"lot": seen.lot, "looked_at": seen.looked_at}
    figures |= {one.grade: len(one.units) for one in seen.classes}
    test = TestResult(
        id=rule.test,
        rule=rule.id,
        verdict=verdict,
        n=seen.looked_at,
        figures=figures,
        criteria=tuple(criteria),
        reasons=tuple(reasons),
        working=tuple(f"{one.grade}: {one.plan}" for one in classes if one.plan),
        missing=missing,
        required=required,
    )
    return filled, test


def _not_assessed(blank: TestResult, *, missing: str, reason: str) -> TestResult:
    return TestResult(
        id=blank.id, rule=blank.rule, verdict=blank.verdict, required=blank.required, missing=missing, reasons=(reason,)
    )


def _together(
    answers: Sequence[Answer], seen: VisualInspection, *, outside_tables: bool, rule: SamplingRule
) -> tuple[Verdict, str]:
    """The verdict over all grades, and the one thing that is missing where there is none."""
    if any(answer.met is False for answer in answers):
        return Verdict.DOES_NOT_COMPLY, ""
    if seen.unknown:
        quoted = [f'"{word}"' for word in seen.unknown]
        return Verdict.NOT_ASSESSED, f"a known word for {listed(quoted)}"
    if outside_tables:
        return Verdict.NOT_ASSESSED, f"a plan for {seen.lot} units; the tables end at {rule.codes[-1].lot_to}"
    more = max((answer.units_to_look_at for answer in answers), default=0)
    if more:
        return Verdict.TOO_FEW_UNITS, f"what the eye saw on {counted(more, 'more unit')}"
    return Verdict.COMPLIES, ""


def _plan_in_words(plan: SamplingPlan, *, aql: Decimal, level: int) -> str:
    if plan.every_unit:
        return f"every unit of {plan.sample_size}; the share nonconforming at most {plain(aql)} % [our reading]"
    mark = " [from memory]" if plan.from_memory else ""
    return (
        f"level {'I' * level}, letter {plan.letter}, AQL {plain(aql)} %: {plan.sample_size} units, accepted with at "
        f"most {plan.accepts} nonconforming{mark}"
    )


def _limit(plan: SamplingPlan, *, aql: Decimal, lot: int) -> str:
    if aql == 0 or plan.accepts == 0:
        return "none"
    return f"at most {plain(aql)} % of {lot}" if plan.accepts is None else f"at most {plan.accepts}"


def _criterion(one: SeenClass, plan: SamplingPlan, *, aql: Decimal, lot: int, met: bool | None) -> Criterion:
    limit = _limit(plan, aql=aql, lot=lot)
    return Criterion(what=f"units with a {one.grade} defect", figure=str(len(one.units)), limit=limit, met=met)


def _reason(one: SeenClass, seen: VisualInspection, *, plan: SamplingPlan, aql: Decimal, answer: Answer) -> str:
    count = f"{counted(len(one.units), 'unit')} of {seen.looked_at} looked at with a {one.grade} defect"
    limit = _limit(plan, aql=aql, lot=seen.lot)
    if answer.met is None:
        return f"{count}; the limit is {limit}. {counted(answer.units_to_look_at, 'more unit')} to be looked at."
    return f"{count}; the limit is {limit}: {'accepted' if answer.met else 'not accepted'}."
