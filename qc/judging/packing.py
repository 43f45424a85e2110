"""The packing and label checklist of one batch: which lines are ticked, refused, and not entered."""

from __future__ import annotations

from collections.abc import Sequence

from qc.batch import Check
from qc.results import Criterion, PackingChecklist, PackingLine, TestResult, Verdict
from qc.rules.display import counted, listed
from qc.rules.packing import Answer, answer_of, items_named
from qc.rules.records import PackingItem, PackingRule

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
    started = any(line.answer != Answer.NOT_ENTERED.value for line in lines)
    return PackingChecklist(lines=lines, started=started, sentence=_sentence(lines, started=started))


def _line(item: PackingItem, found: Sequence[tuple[Answer, Check]]) -> PackingLine:
    if not found:
        return PackingLine(item=item.id, text=item.text, answer=Answer.NOT_ENTERED.value, mark=item.mark.value)
    answer, check = min(found, key=lambda one: _GRAVEST.index(one[0]))
    return PackingLine(
        item=item.id,
        text=item.text,
        answer=answer.value,
        entered=check.result or "",
        done_by=check.done_by or "",
        mark=item.mark.value,
    )


def _sentence(lines: Sequence[PackingLine], *, started: bool) -> str:
    if not started:
        return "The packing and label checklist was not entered."
    ticked = [line for line in lines if line.answer in (Answer.YES, Answer.NOT_APPLICABLE)]
    refused = [line.text for line in lines if line.answer == Answer.NO]
    not_ticked = [line.text for line in lines if line.answer in (Answer.NOT_ENTERED, Answer.UNREADABLE)]
    parts = [f"Packing and label: {len(ticked)} of {counted(len(lines), 'line')} ticked"]
    if refused:
        parts.append(f"answered no: {listed(refused)}")
    if not_ticked:
        parts.append(f"not ticked: {listed(not_ticked)}")
    return "; ".join(parts) + "."


def judge_packing(checklist: PackingChecklist, *, rule: PackingRule, required: bool) -> TestResult:
    """The checklist as one test: one "no" and the batch does not comply; a line not ticked is named.

    Parameters
    ----------
    checklist : PackingChecklist
    rule : PackingRule
    required : bool
        Whether the rule set asks for the checklist; otherwise a line that is not ticked keeps nothing undecided.
    """
    refused = [line for line in checklist.lines if line.answer == Answer.NO]
    unread = [line for line in checklist.lines if line.answer == Answer.UNREADABLE]
    ticked = len(checklist.lines) - len(checklist.open_lines) - len(refused)
    verdict, missing = Verdict.COMPLIES, ""
    if refused:
        verdict = Verdict.DOES_NOT_COMPLY
    elif checklist.open_lines:
        verdict = Verdict.NOT_ASSESSED
        missing = f"the answer to {listed([line.text for line in checklist.open_lines])}"
    refused_lines = listed([line.text for line in refused])
    left = len(checklist.open_lines)
    reasons = [f"Answered no: {refused_lines}."] if refused else []
    reasons += [f"{counted(left, 'line')} of {len(checklist.lines)} not ticked."] if left else []
    reasons = reasons or ["Every line was ticked."]
    reasons += [f'"{line.text}": "{line.entered}" is not yes, no or n.a. Type one of them.' for line in unread]
    return TestResult(
        id=rule.test,
        rule=rule.id,
        verdict=verdict,
        figures={"lines": len(checklist.lines), "ticked": ticked, "refused": len(refused)},
        criteria=(
            Criterion(
                what="lines ticked",
                figure=f"{ticked} of {len(checklist.lines)}",
                limit="every line",
                met=False if refused else None if checklist.open_lines else True,
            ),
        ),
        reasons=tuple(reasons),
        missing=missing,
        required=required,
    )
