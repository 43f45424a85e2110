"""The packing and label checklist: what was answered no, what is open, what cannot be read."""

from __future__ import annotations

from collections.abc import Sequence

from qc.say.text import counted, listed


def refused(lines: Sequence[str]) -> str:
    """Lines answered no."""
    return f"Answered no: {listed(lines)}."


def not_ticked(left: int, total: int) -> str:
    """Lines without an answer that can be read."""
    return f"{counted(left, 'line')} of {total} not ticked."


def every_line() -> str:
    """No line is open or refused."""
    return "Every line was ticked."


def unreadable(line: str, entered: str) -> str:
    """An answer that is none of those known."""
    return f'"{line}": "{entered}" is not yes, no or n.a. Type one of them.'


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
