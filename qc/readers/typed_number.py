"""A number that was typed as text: which decimals it can stand for, or why it is no number.

Read exactly: plain digits, a decimal point or comma, well-formed groups of three (marked by a point, a comma, a space
of any width or an apostrophe), a sign (the typographic minus too), the power-of-ten notation. Refused: every other
character, full-width and other non-European digits among them, because something else than a number was typed.
"""

from __future__ import annotations

import functools
import re
import unicodedata
from decimal import Decimal
from itertools import takewhile
from typing import Literal

from msgspec import Struct

from qc.patterns import pattern
from qc.problems import quoted

DecimalMark = Literal["comma", "point"]

MOST_DIGITS = 20
MOST_POWER = 15

_GROUP, _BLANK = " '\u2019", pattern("[\u00a0\u2009\u202f]")


def _shape(mark: str, *, grouping: str) -> re.Pattern[str]:
    """Digits, in groups of three with one kind of group mark or without any, and decimals behind a decimal mark."""
    groups = rf"[1-9]\d{{0,2}}([{grouping}{_GROUP}])\d{{3}}(?:\2\d{{3}})*"
    return re.compile(rf"(\d+|{groups})?(?:{re.escape(mark)}(\d+))?", re.ASCII)


_SHAPES = (_shape(".", grouping=","), _shape(",", grouping="."))
_POWER = pattern(r"(\d+)(?:([.,])(\d+))?[eE]([+-]?\d{1,4})", re.ASCII)
_ALLOWED = pattern(rf"[0-9.,{_GROUP}]+", re.ASCII)
_UNIT = pattern(r"(.*[0-9.,])\s*(mg|g|kg|[\u00b5\u03bcu]g|mcg|grams?|%)", re.IGNORECASE | re.ASCII)
_NEARLY = pattern(r"(?:[~\u2248]|ca\.?|\s)*(\d+(?:[.,]\d+)?)[.,*\s]*", re.ASCII)
_LOOKALIKES = str.maketrans({"O": "0", "o": "0", "l": "1", "I": "1", "|": "1"})
_MARK_NAMES = {".": "a point", ",": "a comma"}


class NotANumberError(ValueError):
    """A text that is no number; the message says why, `example` is what may have been meant (or empty)."""

    def __init__(self, why: str, *, example: str = "") -> None:
        self.example = example
        super().__init__(why)


class Typed(Struct, frozen=True, kw_only=True):
    """A number as it was written.

    Parameters
    ----------
    with_point, with_comma : Decimal or None
        What it reads when the decimal mark is the point, or the comma; None where it cannot be read so.
    points_group : bool
        Whether the text shows points that mark groups.
    unit : str
        The unit typed behind the number, or empty.
    """

    with_point: Decimal | None
    with_comma: Decimal | None
    points_group: bool = False
    unit: str = ""

    @property
    def mark(self) -> DecimalMark | None:
        """The decimal mark that the text itself proves."""
        if self.with_point is None:
            return "comma"
        return "point" if self.with_comma is None else None

    @property
    def is_open(self) -> bool:
        """Whether it can be read two ways."""
        return self.mark is None and self.with_point != self.with_comma


# Most texts are asked for their number several times.
@functools.lru_cache(maxsize=16384)
def written(text: str) -> Typed:
    """What a typed text can stand for.

    Raises
    ------
    NotANumberError
        When it stands for no number.

    Examples
    --------
    >>> written("2.100").with_point
    Decimal('2.100')
    >>> written("2,013").with_comma, written("2,013").with_point
    (Decimal('2.013'), Decimal('2013'))
    >>> written("1 234,5").mark
    'comma'
    """
    # A blank is a blank, however wide.
    body, unit, sign = _BLANK.sub(" ", text.strip()), "", ""
    if match := _UNIT.fullmatch(body):
        body, unit = match.group(1).strip(), match.group(2).lower()
    if body.startswith(("-", "+", "\u2212")):
        sign, body = ("" if body[0] == "+" else "-"), body[1:].lstrip()
    power = _POWER.fullmatch(body)
    if power is None and not (_ALLOWED.fullmatch(body) and any(character.isdigit() for character in body)):
        raise NotANumberError(_strange_character(text.strip()), example=_meant(text))
    mantissa = body if power is None else body[: power.start(4)]
    if power is not None and abs(int(power.group(4))) > MOST_POWER:
        raise NotANumberError(f"its power of ten is beyond {MOST_POWER}")
    if sum(character.isdigit() for character in mantissa) > MOST_DIGITS:
        raise NotANumberError(f"it has more than {MOST_DIGITS} digits")
    with_point, with_comma = _with_power(power, sign) if power else (_reading(body, sign, shape) for shape in _SHAPES)
    if with_point is None and with_comma is None:
        raise NotANumberError(_bad_marks(body), example=_meant(text))
    points_group = with_point is None and "." in mantissa
    return Typed(with_point=with_point, with_comma=with_comma, points_group=points_group, unit=unit)


def _reading(body: str, sign: str, shape: re.Pattern[str]) -> Decimal | None:
    """A body of digits, points, commas and group marks by one decimal mark; None where it has not that shape."""
    match = shape.fullmatch(body)
    if match is None:
        return None
    whole, decimals = "".join(re.findall("[0-9]", match.group(1) or "0")), match.group(3)
    return Decimal(f"{sign}{whole}.{decimals}" if decimals else sign + whole)


def _with_power(match: re.Match[str], sign: str) -> tuple[Decimal | None, Decimal | None]:
    """Digits with a power of ten behind them; a mark in front of the power is a decimal mark."""
    front, mark, behind, power = match.groups()
    value = Decimal(f"{sign}{front}.{behind or ''}E{power}")
    return None if mark == "," else value, None if mark == "." else value


def _bad_marks(body: str) -> str:
    """What is wrong with the points, commas and group marks of a body."""
    marks = [character for character in body if character in _MARK_NAMES]
    if body[-1] in _MARK_NAMES:
        return f"it ends in {_MARK_NAMES[body[-1]]}"
    if len(marks) > 1 and len(set(marks)) == 1:
        return f"it has {len(marks)} {'points' if marks[0] == '.' else 'commas'}"
    return "its points, commas and spaces do not mark groups of three digits"


def _strange_character(text: str) -> str:
    """Which character keeps a text from being a number, and where it stands."""
    if not any(character.isdigit() for character in text):
        return "it holds no digit"
    # A sign or a group mark is strange only where nothing else is.
    strange = [spot for spot, one in enumerate(text) if one not in "0123456789.,"]
    first = next((spot for spot in strange if text[spot] not in "+-\u2212" and not text[spot].isspace()), strange[0])
    one = text[first]
    word = "".join(takewhile(str.isalpha, text[first:])) or one
    if one.isalpha():
        what = f"the letter {one}" if len(word) == 1 else f"the word {quoted(word)}"
    elif one.isdigit() or not one.isprintable():
        what = f"the character {unicodedata.name(one, f'character {ord(one):#06x}').lower()}"
    else:
        what = f'"{one}"'
    if first == 0:
        return f"it begins with {what}"
    return f"it ends in {what}" if first + len(word) == len(text) else f"it holds {what} after {quoted(text[:first])}"


def _meant(text: str) -> str:
    """What may have been meant, to be shown as an example of what is accepted; never used as a value."""
    repaired = re.sub(r"([.,])\1+", r"\1", unicodedata.normalize("NFKC", text).translate(_LOOKALIKES))
    match = _NEARLY.fullmatch("".join(character for character in repaired if character.isprintable()))
    return match.group(1).replace(",", ".") if match else ""
