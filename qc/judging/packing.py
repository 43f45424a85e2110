"""The packing and label checklist of one batch: which lines are ticked, refused, and not entered."""

from __future__ import annotations

from collections.abc import Sequence

from qc.batch import Check
from qc.results import Limit, Message, PackingChecklist, PackingLine, TestResult, Verdict, message
from qc.rules.kinds.packing import PackingItem, PackingRule
from qc.rules.kinds.packing.answers import Answer, answer_of, items_named

# When two rows answer one line, the one that weighs most against the batch stands.
_GRAVEST = (Answer.NO, Answer.UNREADABLE, Answer.NOT_ENTERED, Answer.YES, Answer.NOT_APPLICABLE)


def packing_rows(checks: Sequence[Check], *, items: Sequence[PackingItem]) -> tuple[list[Check], list[Check]]:
    """The rows that answer the checklist, and the others.

    A row whose limit holds a figure is a check with a limit, whatever its name.
    """
    packing: list[Check] = []
    others: list[Check] = []
    for check in checks:
        measured = check.limit is not None and any(character.isdigit() for character in check.limit)
        (packing if items_named(check.name, items) and not measured else others).append(check)
    return packing, others


def checklist_of(rows: Sequence[Check], *, items: Sequence[PackingItem]) -> PackingChecklist:
    """Lay the rows of the Checks sheet against the lines of the checklist."""
    answers: dict[str, list[tuple[Answer, Check]]] = {}
    for check in rows:
        for item in items_named(check.name, items):
            answers.setdefault(item.id, []).append((answer_of(check.result), check))
    lines = tuple(_line(item, answers.get(item.id, [])) for item in items)
    return PackingChecklist(lines=lines, started=any(line.answer != Answer.NOT_ENTERED for line in lines))


def _line(item: PackingItem, found: Sequence[tuple[Answer, Check]]) -> PackingLine:
    blank = (Answer.NOT_ENTERED, Check(name=item.text))
    answer, check = min(found, key=lambda one: _GRAVEST.index(one[0]), default=blank)
    return PackingLine(
        item=item.id,
        text=item.text,
        answer=answer.value,
        entered=check.result or "",
        done_by=check.done_by or "",
        mark=item.mark.value,
    )


def judge_packing(checklist: PackingChecklist, *, rule: PackingRule, required: bool) -> TestResult:
    """The checklist as one test: one "no" and the batch does not comply; a line not ticked is named.

    Parameters
    ----------
    checklist : PackingChecklist
    rule : PackingRule
    required : bool
        Whether the rule set asks for the checklist; otherwise a line that is not ticked keeps nothing undecided.
    """
    total, refused, left = len(checklist.lines), checklist.refused_lines, checklist.open_lines
    ticked = total - len(left) - len(refused)
    met = False if refused else None if left else True
    verdict = {True: Verdict.COMPLIES, False: Verdict.DOES_NOT_COMPLY, None: Verdict.NOT_ASSESSED}[met]
    reasons: list[Message] = []
    if refused:
        reasons.append(message("packing.refused", lines=[line.text for line in refused]))
    if left:
        reasons.append(message("packing.not_ticked", left=len(left), total=total))
    if met:
        reasons.append(message("packing.every_line"))
    reasons += [
        message("packing.unreadable", line=line.text, entered=line.entered)
        for line in left
        if line.answer == Answer.UNREADABLE
    ]
    return TestResult(
        id=rule.test,
        rule=rule.id,
        verdict=verdict,
        figures={"lines": total, "ticked": ticked, "refused": len(refused)},
        criteria=(Limit(what="lines_ticked", figure=ticked, bound=total, met=met),),
        reasons=tuple(reasons),
        missing=message("packing.answers", lines=[line.text for line in left]) if met is None else "",
        required=required,
    )


def lines_to_tick(checklist: PackingChecklist) -> list[Message]:
    """What is still to do once a checklist was begun."""
    if not (checklist.started and checklist.open_lines):
        return []
    return [message("packing.to_tick", lines=[line.text for line in checklist.open_lines])]
