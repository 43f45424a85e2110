"""The packing and label checklist: what was answered no, what is open, what cannot be read."""

from __future__ import annotations

from collections.abc import Sequence

SENTENCES = {
    "refused": "Answered no: {lines:listed}.",
    "answers": "the answer to {lines:listed}",
    "not_ticked": "{left:count line} of {total} not ticked.",
    "every_line": "Every line was ticked.",
    "count_differs": '"{line}" was entered as {entered}, and by the other entries there are {whole:count unit}, '
    "{left} of them left: see which count is right.",
    "unreadable": '"{line}": "{entered}" is not yes, no or n.a. Type one of them.',
}


def to_tick(lines: Sequence[str]) -> str:
    """What to do about lines that are open; a heading that several share ("label: ...") is named once.

    Examples
    --------
    >>> to_tick(["count agrees", "label: name", "label: strength"])
    'Packing and label, not ticked yet: count agrees, label: name, strength.'
    """
    headed: dict[str, list[str]] = {}
    for line in lines:
        heading, mark, _ = line.rpartition(": ")
        headed.setdefault(heading + mark, []).append(line.removeprefix(heading + mark))
    return f"Packing and label, not ticked yet: {', '.join(head + ', '.join(rest) for head, rest in headed.items())}."
