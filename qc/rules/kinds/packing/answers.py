"""The packing and label checklist: the lines a row of the Checks sheet answers, what it says, what is not ticked."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from enum import StrEnum
from types import MappingProxyType

from msgspec.structs import asdict

from qc.batch import Check
from qc.patterns import pattern
from qc.results import Limit, Message, PackingChecklist, PackingLine, TestResult, Verdict, message
from qc.rules.built_in import PACKING_CHECKLIST, load_rule
from qc.rules.forms import stem
from qc.rules.kinds.packing import HousePackingItem, PackingItem, PackingRule
from qc.rules.records import Mark
from qc.rules.strict_records import Findings


class Answer(StrEnum):
    """What was entered beside a line of the checklist."""

    YES = "yes"
    NO = "no"
    NOT_APPLICABLE = "not applicable"
    UNREADABLE = "not readable"
    NOT_ENTERED = "not entered"


# Words people tick a list with; common practice.
_WORDS = {
    Answer.YES: ("yes", "y", "ok", "done", "ticked", "checked", "x", "✓", "true", "complies", "in order", "correct"),
    Answer.NO: ("no", "n", "not done", "missing", "false", "does not comply", "wrong", "not in order", "not ok"),
    Answer.NOT_APPLICABLE: ("n.a", "na", "n/a", "not applicable"),
}
_SAYS = MappingProxyType({word: answer for answer, words in _WORDS.items() for word in words})
_COUNT = pattern(r"(\d+)\s*(?:of|/|out of)\s*(\d+)(?:\s+units?)?")


def answer_of(text: str | None) -> Answer:
    """What an entry says: yes, no, not applicable, or a count that agrees ("30 of 30") or does not.

    Examples
    --------
    >>> answer_of("Yes").value, answer_of("29 of 30").value, answer_of("30 of 30").value, answer_of("N/A").value
    ('yes', 'no', 'yes', 'not applicable')
    >>> answer_of("see note").value, answer_of(None).value
    ('not readable', 'not entered')
    """
    if text is None or not text.strip():
        return Answer.NOT_ENTERED
    word = " ".join(text.casefold().split()).rstrip(".!")
    if count := _COUNT.fullmatch(word):
        return Answer.YES if int(count.group(1)) == int(count.group(2)) else Answer.NO
    return _SAYS.get(word, Answer.UNREADABLE)


def counted_in(text: str | None) -> int | None:
    """How many there are by a count such as "30 of 30"; None where an entry is no count."""
    count = _COUNT.fullmatch(" ".join((text or "").casefold().split()).rstrip(".!"))
    return None if count is None else int(count.group(2))


def items_named(text: str, items: Iterable[PackingItem]) -> tuple[PackingItem, ...]:
    """The lines of the checklist that the text of a check stands for; several for "label: name, strength, ...".

    Examples
    --------
    >>> line = PackingItem(id="count", text="count agrees with the record", synonyms=("count",))
    >>> [item.id for item in items_named("Count agrees with the record", [line])]
    ['count']
    """
    wanted = _plain(text)
    return tuple(item for item in items if wanted in {_plain(word) for word in (item.text, *item.synonyms)})


def _plain(text: str) -> str:
    return stem(text.replace(":", " ").rstrip("."))


def house_packing(own: Sequence[HousePackingItem], findings: Findings) -> tuple[PackingItem, ...]:
    """The lines that a house adds to the checklist.

    Parameters
    ----------
    own : sequence of HousePackingItem
        As its file has them.
    findings : Findings
        Takes the problems: an id or a text that is taken.
    """
    if not own:
        return ()
    checklist = load_rule(PACKING_CHECKLIST)
    assert isinstance(checklist, PackingRule)
    lines = list(checklist.items)
    for number, item in enumerate(own, start=1):
        at = findings.within(f"packing[{number}]")
        if item.id in {line.id for line in lines}:
            at.add("id", f'the id "{item.id}" is taken', "Give the line an id of its own")
        for word in (item.text, *item.synonyms):
            if other := items_named(word, lines):
                at.add("text", f'"{word}" stands for "{other[0].text}" already', "Word the line otherwise")
        lines.append(PackingItem(**asdict(item), mark=Mark.HOUSE))
    return tuple(lines[len(checklist.items) :])


# When two rows answer one line, the one that weighs most against the batch stands.
_GRAVEST = (Answer.NO, Answer.UNREADABLE, Answer.NOT_ENTERED, Answer.YES, Answer.NOT_APPLICABLE)


def checklist_of(checks: Sequence[Check], *, items: Sequence[PackingItem]) -> tuple[PackingChecklist, list[Check]]:
    """The lines of the checklist with what the rows of the Checks sheet answer, and the rows about something else.

    A row whose limit holds a figure is a check with a limit, whatever its name.
    """
    answers: dict[str, list[tuple[Answer, Check]]] = {}
    others: list[Check] = []
    for check in checks:
        measured = check.limit is not None and any(character.isdigit() for character in check.limit)
        named = () if measured else items_named(check.name, items)
        for item in named:
            answers.setdefault(item.id, []).append((answer_of(check.result), check))
        others += () if named else (check,)
    lines = tuple(_line(item, answers.get(item.id, [])) for item in items)
    started = any(line.answer != Answer.NOT_ENTERED for line in lines)
    return PackingChecklist(lines=lines, started=started), others


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
        Whether the batch cannot comply while a line is not ticked.
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
