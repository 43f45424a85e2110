"""Text as it is shown: lists and counts in a sentence, user text made safe, long text cut."""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence

REPLACED = "\N{REPLACEMENT CHARACTER}"
ELLIPSIS = "\N{HORIZONTAL ELLIPSIS}"
_TURNERS = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")


def shown_text(text: str) -> str:
    """User text as it may be shown: no control characters, nothing that turns the reading direction around it.

    Examples
    --------
    >>> shown_text("Unit\\x07 5")
    'Unit\ufffd 5'
    >>> shown_text("two\\nlines")
    'two lines'
    """
    if text.isascii() and text.isprintable():
        return text
    kept = []
    for character in text:
        if character in "\t\n\r\u2028\u2029":
            kept.append(" ")
        elif (
            character in _TURNERS
            or unicodedata.category(character) in ("Cc", "Cs")
            or ord(character) & 0xFFFE == 0xFFFE
        ):
            kept.append(REPLACED)
        else:
            kept.append(character)
    return "".join(kept)


def shortened(text: str, *, most: int) -> str:
    """Text cut to a number of characters, with an ellipsis where something was cut.

    Examples
    --------
    >>> shortened("Paracetamol", most=6), shortened("Zinc", most=6)
    ('Parac…', 'Zinc')
    """
    return text if len(text) <= most else text[: most - 1].rstrip() + ELLIPSIS


def shortened_inside(text: str, *, most: int) -> str:
    """Text cut to a number of characters between its beginning and its end, with an ellipsis where something was cut.

    Examples
    --------
    >>> shortened_inside("Nothing to say until it was exchanged", most=22)
    'Nothing to sa…xchanged'
    """
    end = 2 * most // 5
    return text if len(text) <= most else f"{text[: most - end - 1].rstrip()}{ELLIPSIS}{text[-end:].lstrip()}"


def listed(items: Sequence[str], *, most: int | None = None) -> str:
    """Items in a sentence, with "and"; past `most` of them the rest is counted.

    Examples
    --------
    >>> listed(["7"]), listed(["7", "9"]), listed(["7", "9", "12"]), listed(["1", "2", "3", "4"], most=2)
    ('7', '7 and 9', '7, 9 and 12', '1, 2 and 2 more')
    """
    if most is not None and len(items) > most:
        return f"{', '.join(items[:most])} and {len(items) - most} more"
    return " and ".join(part for part in (", ".join(items[:-1]), items[-1] if items else "") if part)


def units_named(names: Sequence[str], *, most: int | None = None) -> str:
    """Units by their names; past `most` of them the rest is counted.

    Examples
    --------
    >>> units_named(["7"]), units_named(["7", "9"])
    ('unit 7', 'units 7 and 9')
    """
    return f"{'unit' if len(names) == 1 else 'units'} {listed(names, most=most)}"


def stretch_named(names: Sequence[str]) -> str:
    """Units that follow one another: past two of them the first and the last.

    Examples
    --------
    >>> stretch_named(["7", "9"]), stretch_named(["7", "9", "12"])
    ('units 7 and 9', 'units 7 to 12')
    """
    return units_named(names) if len(names) < 3 else f"units {names[0]} to {names[-1]}"


def runs(names: Sequence[str], *, most: int = 12) -> str:
    """Units by name, three or more numbers in a row by the first and the last; past `most` of them the rest is counted.

    Examples
    --------
    >>> runs(["1", "2", "3", "5", "7", "8", "A"])
    '1 to 3, 5, 7, 8 and A'
    """
    found: list[list[str]] = []
    for name in names:
        follows = found and name.isdecimal() and found[-1][-1].isdecimal() and int(name) == int(found[-1][-1]) + 1
        if follows:
            found[-1].append(name)
        else:
            found.append([name])
    told = (run if len(run) < 3 else [f"{run[0]} to {run[-1]}"] for run in found)
    return listed([shortened(name, most=24) for run in told for name in run], most=most)


def brief(text: str, *, most: int) -> str:
    """Text that is cut at a word, with an ellipsis, where it is too long.

    Examples
    --------
    >>> brief("It rises.", most=16), brief("It rises from end to end.", most=16)
    ('It rises.', 'It rises from…')
    """
    return text if len(text) <= most else text[: most - 1].rsplit(" ", 1)[0].rstrip(" ,;:") + ELLIPSIS


def counted(number: int, one: str, many: str = "") -> str:
    """A count with its noun.

    Examples
    --------
    >>> counted(1, "unit"), counted(3, "unit"), counted(2, "assay", "assays")
    ('1 unit', '3 units', '2 assays')
    """
    return f"{number} {one if number == 1 else many or one + 's'}"


def sentence(text: str) -> str:
    """Text that ends like a sentence.

    Examples
    --------
    >>> sentence("Weigh ten more units"), sentence("Done.")
    ('Weigh ten more units.', 'Done.')
    """
    return text if not text or text.endswith((".", "?", "!", ELLIPSIS)) else f"{text}."


def within_a_sentence(text: str) -> str:
    """A sentence as it stands within another one.

    Examples
    --------
    >>> within_a_sentence("Weigh unit 3 again.")
    'weigh unit 3 again'
    """
    return text[:1].lower() + text[1:].rstrip(".")
