"""The lines that a balance prints or that people paste: number of the unit, sign, value, unit of mass, in any order."""

from __future__ import annotations

import re

from msgspec import Struct

from qc.fields.words import measure_of, plain_words, summary_of

_VALUE = re.compile(
    r"(?<![\w.,:/-])([+-]?\s?\d{1,5}(?:[.,]\d{1,6})?)\s*(mg|gr?|grams?)\b(?!/)", re.IGNORECASE | re.ASCII
)
_PLAIN = re.compile(r"\s*(?:(\d{1,4})[.):\s]\s*)?([+-]?\d{1,5}[.,]\d{1,6})\s*", re.ASCII)
_CLOCK = re.compile(r"\d{1,4}([-./])\d{1,2}\1\d{1,4}|\d{1,2}:\d{2}(?::\d{2})?(?:\s*[ap]m)?", re.IGNORECASE | re.ASCII)
_NUMBER = re.compile(r"(?:no|nr|id|n|#)?\.?\s*(\d{1,4})", re.IGNORECASE | re.ASCII)
# Signs of a value at rest, and of one that still moves, as balances print them (common practice).
_AT_REST, _MOVING = frozenset({"s", "st", "n", "net", "ok", "*"}), frozenset({"d", "sd", "us", "?", "s d"})


class PrintedLine(Struct, frozen=True, kw_only=True):
    """What a line says: `label` is what stands beside the value and is neither a time nor a sign of the balance."""

    value: str
    measure: str
    number: str = ""
    label: str = ""
    moving: bool = False


def printed_line(text: str) -> PrintedLine | None:
    """A line with one value of mass; None where it holds none, or several.

    Examples
    --------
    >>> printed_line("  7   + 2.0134 g  S  12:31:07")
    PrintedLine(value='2.0134', measure='g', number='7', label='', moving=False)
    >>> printed_line("Mean  2.0131 g").label, printed_line("14.03.2026 12:31") is None
    ('Mean', True)
    """
    if match := _PLAIN.fullmatch(text):
        return PrintedLine(value=match.group(2), measure="", number=match.group(1) or "")
    bare = _CLOCK.sub(" ", text)
    found = list(_VALUE.finditer(bare))
    if len(found) != 1:
        return None
    (match,) = found
    rest = f"{bare[: match.start()]} {bare[match.end() :]}".strip(" \t,;|+")
    moving = rest.endswith("?") or any(word in _MOVING for word in plain_words(rest))
    words = " ".join(
        word for word in re.split(r"[\s,;|+?]+", rest) if word and word.casefold() not in _AT_REST | _MOVING
    )
    number = _NUMBER.fullmatch(words)
    label = "" if number else words
    value = match.group(1).replace(" ", "").lstrip("+")
    return PrintedLine(
        value=value,
        measure=measure_of(match.group(2)),
        number=number.group(1) if number else "",
        label=label,
        moving=moving,
    )


def is_aside(line: PrintedLine) -> bool:
    """Whether the label of a line is one of a figure worked out, a tare or a check weight."""
    return bool(line.label) and summary_of(line.label) != ""
