"""The packing and label checklist: which lines a row of the Checks sheet answers, and what the answer says."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from enum import StrEnum

from msgspec.structs import asdict

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
_YES = frozenset(("yes", "y", "ok", "done", "ticked", "checked", "x", "✓", "true", "complies", "in order", "correct"))
_NO = frozenset(("no", "n", "not done", "missing", "false", "does not comply", "wrong", "not in order", "not ok"))
_NOT_APPLICABLE = frozenset(("n.a.", "n.a", "na", "n/a", "not applicable"))
_COUNT = re.compile(r"(\d+)\s*(?:of|/|out of)\s*(\d+)(?:\s+units?)?")


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
    word = " ".join(text.casefold().split())
    if word in _NOT_APPLICABLE:
        return Answer.NOT_APPLICABLE
    word = word.rstrip(".!")
    if count := _COUNT.fullmatch(word):
        return Answer.YES if int(count.group(1)) == int(count.group(2)) else Answer.NO
    if word in _YES:
        return Answer.YES
    return Answer.NO if word in _NO else Answer.UNREADABLE


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


def house_packing(own: Sequence[HousePackingItem], *, findings: Findings) -> tuple[PackingItem, ...]:
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
        at = f"packing[{number}]"
        if item.id in {line.id for line in lines}:
            findings.add(f"{at}.id", f'the id "{item.id}" is taken', "Give the line an id of its own")
        for word in (item.text, *item.synonyms):
            if other := items_named(word, lines):
                findings.add(f"{at}.text", f'"{word}" stands for "{other[0].text}" already', "Word the line otherwise")
        lines.append(PackingItem(**asdict(item), mark=Mark.HOUSE))
    return tuple(lines[len(checklist.items) :])
