"""A number that was typed as text: which decimals it can stand for, or why it is no number.

Read exactly: plain digits, a decimal point or comma, well-formed groups of three (marked by a point, a comma, a space
of any width or an apostrophe), a sign (the typographic minus too), the power-of-ten notation. Refused: every other
character, full-width and other non-European digits among them, because something else than a number was typed.
"""

from __future__ import annotations

import re
import unicodedata
from decimal import Decimal

from msgspec import Struct

from qc.readers.options import DecimalMark

MOST_DIGITS = 20
MOST_POWER = 15

_GROUP = "[ \u00a0\u2009\u202f'\u2019]"
_SPACED = re.compile(rf"[1-9]\d{{0,2}}({_GROUP})\d{{3}}(?:\1\d{{3}})*", re.ASCII)
_POINTED = re.compile(r"[1-9]\d{0,2}(?:\.\d{3})+", re.ASCII)
_COMMAED = re.compile(r"[1-9]\d{0,2}(?:,\d{3})+", re.ASCII)
_DIGITS = re.compile(r"\d+", re.ASCII)
_POWER = re.compile(r"(\d+)(?:([.,])(\d+))?[eE]([+-]?\d{1,4})", re.ASCII)
_ALLOWED = re.compile(rf"(?:[0-9.,]|{_GROUP})+", re.ASCII)
_UNIT = re.compile(r"(.*[0-9.,])\s*(mg|g|kg|[\u00b5\u03bcu]g|mcg|grams?|%)", re.IGNORECASE | re.ASCII)
_NEARLY = re.compile(r"(?:[~\u2248]|ca\.?|\s)*(\d+(?:[.,]\d+)?)[.,*\s]*", re.ASCII)
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
    mark : "comma", "point" or None
        The decimal mark that the text itself proves.
    points_group : bool
        Whether the text shows points that mark groups.
    unit : str
        The unit typed behind the number, or empty.
    """

    with_point: Decimal | None
    with_comma: Decimal | None
    mark: DecimalMark | None = None
    points_group: bool = False
    unit: str = ""


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
    body = text.strip()
    unit = ""
    if match := _UNIT.fullmatch(body):
        body, unit = match.group(1).strip(), match.group(2).lower()
    sign = ""
    if body[:1] in ("-", "+", "\u2212") and body[:1]:
        sign, body = ("" if body[0] == "+" else "-"), body[1:].lstrip()
    if match := _POWER.fullmatch(body):
        return _with_power(match, sign, unit, text)
    if not body or not _ALLOWED.fullmatch(body) or not any(character.isdigit() for character in body):
        raise NotANumberError(_strange_character(text.strip()), example=_meant(text))
    if sum(character.isdigit() for character in body) > MOST_DIGITS:
        raise NotANumberError(f"it has more than {MOST_DIGITS} digits")
    return _plain(body, sign, unit, text)


def _plain(body: str, sign: str, unit: str, text: str) -> Typed:
    """A body of digits, points, commas and group marks."""
    points, commas = body.count("."), body.count(",")
    if points and commas:
        return _both_marks(body, sign, unit, text)
    if points + commas == 0:
        value = Decimal(sign + _whole_part(body, text))
        return Typed(with_point=value, with_comma=value, unit=unit)
    if points + commas > 1:
        groups = _POINTED if points else _COMMAED
        if not groups.fullmatch(body):
            raise NotANumberError(_bad_marks(body), example=_meant(text))
        value = Decimal(sign + body.replace(".", "").replace(",", ""))
        if points:
            return Typed(with_point=None, with_comma=value, mark="comma", points_group=True, unit=unit)
        return Typed(with_point=value, with_comma=None, mark="point", unit=unit)
    mark = "." if points else ","
    front, behind = body.split(mark)
    if not behind:
        raise NotANumberError(_bad_marks(body), example=_meant(text))
    if not _DIGITS.fullmatch(behind):
        raise NotANumberError("it has a space or an apostrophe behind its decimal mark", example=_meant(text))
    value = Decimal(f"{sign}{_whole_part(front, text) if front else '0'}.{behind}")
    if (_POINTED if points else _COMMAED).fullmatch(body):
        grouped = Decimal(sign + front + behind)
        if points:
            return Typed(with_point=value, with_comma=grouped, unit=unit)
        return Typed(with_point=grouped, with_comma=value, unit=unit)
    if points:
        return Typed(with_point=value, with_comma=None, mark="point", unit=unit)
    return Typed(with_point=None, with_comma=value, mark="comma", unit=unit)


def _both_marks(body: str, sign: str, unit: str, text: str) -> Typed:
    """Points and commas: the last mark is the decimal mark, the other one groups the digits before it."""
    decimal_is_point = body.rfind(".") > body.rfind(",")
    mark, groups = (".", _COMMAED) if decimal_is_point else (",", _POINTED)
    front, _, behind = body.rpartition(mark)
    if not groups.fullmatch(front) or not _DIGITS.fullmatch(behind):
        raise NotANumberError("its points and commas do not mark groups of three digits", example=_meant(text))
    value = Decimal(f"{sign}{front.replace('.', '').replace(',', '')}.{behind}")
    if decimal_is_point:
        return Typed(with_point=value, with_comma=None, mark="point", unit=unit)
    return Typed(with_point=None, with_comma=value, mark="comma", points_group=True, unit=unit)


def _with_power(match: re.Match[str], sign: str, unit: str, text: str) -> Typed:
    """Digits with a power of ten behind them; a mark in front of the power is a decimal mark."""
    front, mark, behind, power = match.groups()
    if abs(int(power)) > MOST_POWER:
        raise NotANumberError(f"its power of ten is beyond {MOST_POWER}")
    if len(front) + len(behind or "") > MOST_DIGITS:
        raise NotANumberError(f"it has more than {MOST_DIGITS} digits")
    value = Decimal(f"{sign}{front}.{behind or ''}E{power}")
    if mark == ",":
        return Typed(with_point=None, with_comma=value, mark="comma", unit=unit)
    return Typed(with_point=value, with_comma=None if mark else value, mark="point" if mark else None, unit=unit)


def _whole_part(front: str, text: str) -> str:
    """The digits of a whole part, its group marks taken away; refused when the groups are not groups of three."""
    if _DIGITS.fullmatch(front):
        return front
    if _SPACED.fullmatch(front):
        return "".join(character for character in front if character.isdigit())
    raise NotANumberError("its spaces do not mark groups of three digits", example=_meant(text))


def _bad_marks(body: str) -> str:
    for mark, name in _MARK_NAMES.items():
        if body.endswith(mark):
            return f"it ends in {name}"
    for mark in _MARK_NAMES:
        if mark * 2 in body:
            return f"it has two {'points' if mark == '.' else 'commas'} in a row"
    return f"it has {body.count('.') + body.count(',')} {'points' if '.' in body else 'commas'}"


def _strange_character(text: str) -> str:
    """Which character keeps a text from being a number, and where it stands."""
    if not any(character.isdigit() for character in text):
        return "it holds no digit"
    # A sign or a group mark is strange only where nothing else is.
    strange = [spot for spot, one in enumerate(text) if one not in "0123456789.,+-\u2212" and not one.isspace()]
    if not strange:
        strange = [spot for spot, one in enumerate(text) if one not in "0123456789.,"]
    first = strange[0]
    one = text[first]
    if one.isalpha():
        run = re.match(r"[^\W\d_]+", text[first:])
        word = run.group() if run else one
        what = f"the letter {one}" if len(word) == 1 else f'the word "{word}"'
        if first == 0:
            return f"it begins with {what}"
        return f"it ends in {what}" if first + len(word) == len(text) else f'it holds {what} after "{text[:first]}"'
    what = f'"{one}"'
    if one.isdigit() or not one.isprintable():
        what = unicodedata.name(one, f"character {ord(one):#06x}").lower()
        what = f"the character {what}"
    if first == 0:
        return f"it begins with {what}"
    return f"it ends in {what}" if first == len(text) - 1 else f'it holds {what} after "{text[:first]}"'


def _meant(text: str) -> str:
    """What may have been meant, to be shown as an example of what is accepted; never used as a value."""
    repaired = re.sub(r"([.,])\1+", r"\1", unicodedata.normalize("NFKC", text).translate(_LOOKALIKES))
    match = _NEARLY.fullmatch("".join(character for character in repaired if character.isprintable()))
    return match.group(1).replace(",", ".") if match else ""
