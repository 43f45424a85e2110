"""Limits and results as people type them: a small exact grammar of figures, ranges, comparisons and words.

"90.0 to 110.0 %", "100 ± 5 %", "at most 30 min", "not more than 30 min", "<= 30 min", "30 min or less",
"at least 600 g", "complies". Results: "21; 22; 24 min", "18 to 24 min", "< 15 min", "complies".
Figures are exact decimals. Units of measure must agree; those of time, of mass and of length are converted.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction
from types import MappingProxyType

from msgspec import Struct
from msgspec.structs import replace

from qc.readers.typed_number import NotANumberError, written
from qc.rules.kinds.check import Direction


class UnreadableError(ValueError):
    """A limit or a result that cannot be read; the message says why, `mend` what to type instead."""

    def __init__(self, why: str, *, mend: str) -> None:
        self.mend = mend
        super().__init__(why)


class Measure(Struct, frozen=True, kw_only=True):
    """A unit of measure: its kind, and how many of the kind's own unit it is."""

    kind: str
    factor: Fraction
    shown: str


class Bound(Struct, frozen=True, kw_only=True):
    """One end of a range, as typed [unit of the range]."""

    value: Decimal
    included: bool = True

    def exact(self, measure: Measure, into: Measure) -> Fraction:
        """The value, typed in one unit of measure, in another of the same kind."""
        return Fraction(self.value) * measure.factor / into.factor


class Span(Struct, frozen=True, kw_only=True):
    """A range of figures with its unit of measure; an end that is None is open."""

    low: Bound | None
    high: Bound | None
    measure: Measure


class Worded(Struct, frozen=True, kw_only=True):
    """A limit or a result in words."""

    text: str


def _measures() -> Mapping[str, Measure]:
    minute, kilo = Fraction(60), Fraction(1000)
    table = (
        ("time", Fraction(1), "s", ("s", "sec", "secs", "second", "seconds")),
        ("time", minute, "min", ("min", "mins", "min.", "minute", "minutes")),
        ("time", minute * 60, "h", ("h", "hr", "hrs", "hour", "hours")),
        ("mass", 1 / kilo, "mg", ("mg", "milligram", "milligrams")),
        ("mass", Fraction(1), "g", ("g", "gram", "grams")),
        ("mass", kilo, "kg", ("kg", "kilogram", "kilograms")),
        ("length", Fraction(1), "mm", ("mm",)),
        ("length", Fraction(10), "cm", ("cm",)),
        ("percent", Fraction(1), "%", ("%", "percent", "per cent", "% of label", "% of label claim", "% label")),
        ("temperature", Fraction(1), "°C", ("°c", "° c", "℃", "deg c", "degrees c", "degc")),
        ("force", Fraction(1), "N", ("n", "newton", "newtons")),
    )
    return MappingProxyType(
        {word: Measure(kind=kind, factor=factor, shown=shown) for kind, factor, shown, words in table for word in words}
    )


_MEASURES = _measures()
_NUMBER = r"[-+\u2212]?\d(?:[\d.,]*\d)?"
_UNIT = r"(?:[^\d\s<>=+\u2264\u2265\u00b1;](?:[^\d<>=+\u2264\u2265\u00b1;]*[^\s\d<>=+\u2264\u2265\u00b1;])?)?"
_TO = r"\s*(?:to|and|\.\.\.?|\u2026|[-\u2013\u2014])\s*"
_FIGURE = re.compile(rf"({_NUMBER})\s*({_UNIT})")
_RANGE = re.compile(rf"(?:between\s+|from\s+|within\s+)?({_NUMBER})\s*({_UNIT}?){_TO}({_NUMBER})\s*({_UNIT})")
_ABOUT = re.compile(rf"({_NUMBER})\s*({_UNIT}?)\s*(?:\u00b1|\+/-|\+-)\s*({_NUMBER})\s*({_UNIT})")
# The longer words first, so that "more than" is not read out of "not more than".
_HIGH = (
    "not more than",
    "no more than",
    "at most",
    "nmt",
    "maximum",
    "max.",
    "max",
    "up to",
    "within",
    "<=",
    "\u2264",
    "=<",
)
_LOW = ("not less than", "no less than", "at least", "nlt", "minimum", ">=", "\u2265", "=>")
_BELOW = ("less than", "below", "under", "<")
_ABOVE = ("more than", "greater than", "above", "over", ">")
_BEHIND = {"or less": _HIGH, "or fewer": _HIGH, "maximum": _HIGH, "max.": _HIGH, "max": _HIGH} | {
    "or more": _LOW,
    "or longer": _LOW,
    "minimum": _LOW,
}
# A unit of measure at the end of a name: in brackets, or behind a comma or "in".
_UNIT_OF_NAME = re.compile(r"(?:[(\[]\s*([^()\[\]]+?)\s*[)\]]|(?:,| in) (\S+))$")
LONGEST_QUOTED = 60
ACCEPTED = "for example: 90.0 to 110.0 %, at most 30 min, at least 600 g, complies"


def read_limit(text: str, *, bare: Direction | None = None) -> Span | Worded:
    """What a typed limit asks for.

    Parameters
    ----------
    text : str
    bare : Direction, optional
        How a figure without a word is read; it is refused when left out.

    Raises
    ------
    UnreadableError
        When the text holds a figure and cannot be read, or could be read two ways.

    Examples
    --------
    >>> read_limit("not more than 30 min").high, read_limit("100 +/- 5 %").low
    (Bound(value=Decimal('30'), included=True), Bound(value=Decimal('95'), included=True))
    >>> read_limit("30 min", bare=Direction.AT_MOST) == read_limit("not more than 30 min")
    True
    >>> read_limit("complies").text
    'complies'
    """
    body = _body(text)
    if not any(character.isdigit() for character in body):
        return Worded(text=body)
    if (compared := _comparison(body)) is not None:
        return compared
    for word, words in _BEHIND.items():
        if body.endswith(f" {word}") and (match := _FIGURE.fullmatch(body.removesuffix(word).strip())):
            return _one_sided(match, low=words is _LOW, included=True)
    if match := _RANGE.fullmatch(body):
        return _range(match, text)
    if match := _ABOUT.fullmatch(body):
        centre, allowance = _decimal(match.group(1)), _decimal(match.group(3))
        measure = _same_measure(match.group(2), match.group(4), text)
        return Span(low=Bound(value=centre - allowance), high=Bound(value=centre + allowance), measure=measure)
    match = _FIGURE.fullmatch(body)
    if match is None:
        raise UnreadableError(f'the limit "{_quoted(text)}" cannot be read', mend=f"Type it {ACCEPTED}")
    if bare is None:
        figure = body
        raise UnreadableError(
            f'the limit "{_quoted(text)}" does not say on which side the result is to lie',
            mend=f'Type "at most {figure}", "at least {figure}" or a range',
        )
    return _one_sided(match, low=bare is Direction.AT_LEAST, included=True)


def read_results(text: str) -> tuple[Span, ...] | Worded:
    """What a typed result says: each figure as a range of its own, or words.

    A figure is a range whose ends are equal; "< 15 min" is open at one end; "18 to 24 min" is its least and its
    greatest figure. A unit of measure behind the last figure holds for those before it that have none.

    Raises
    ------
    UnreadableError
        When the text begins with a figure or a comparison and cannot be read.

    Examples
    --------
    >>> [f"{one.high.value} {one.measure.shown}" for one in read_results("21; 22; 24 min")]
    ['21 min', '22 min', '24 min']
    >>> read_results("< 15 min")[0].high
    Bound(value=Decimal('15'), included=False)
    """
    body = _body(text)
    if not any(character.isdigit() for character in body):
        return Worded(text=body)
    parts = [part.strip() for part in re.split(r"[;\n|]|,\s+|\s+and\s+", body) if part.strip()]
    spans: list[Span] = []
    following = ""
    for part in reversed(parts):
        found = _result_part(part, text, following)
        following = found[-1].measure.shown or following
        spans = [*found, *spans]
    return tuple(spans)


def _result_part(part: str, text: str, following: str) -> list[Span]:
    if match := _RANGE.fullmatch(part):
        span = _range(match, text)
        assert span.low is not None
        assert span.high is not None
        measure = span.measure if span.measure.shown else _measure(following)
        return [Span(low=end, high=end, measure=measure) for end in (span.low, span.high)]
    if (compared := _comparison(part, default_unit=following)) is not None:
        return [compared]
    match = _FIGURE.fullmatch(part)
    if match is None:
        raise UnreadableError(
            f'the result "{_quoted(text)}" cannot be read',
            mend="Type figures with their unit, for example 21; 22; 24 min",
        )
    bound = Bound(value=_decimal(match.group(1)))
    return [Span(low=bound, high=bound, measure=_measure(match.group(2) or following))]


def _comparison(text: str, *, default_unit: str = "") -> Span | None:
    """A figure behind a word of comparison; None where no such word stands first."""
    for words, low, included in (
        (_HIGH, False, True),
        (_LOW, True, True),
        (_BELOW, False, False),
        (_ABOVE, True, False),
    ):
        for word in words:
            if text.startswith(word) and (match := _FIGURE.fullmatch(text[len(word) :].strip())):
                return _one_sided(match, low=low, included=included, default_unit=default_unit)
    return None


def with_unit_of_name(span: Span, *, name: str) -> Span:
    """A limit or result without a unit of measure, in the unit that stands in the name of its check.

    Parameters
    ----------
    span : Span
        As typed; one that has a unit of its own stays as it is.
    name : str
        The name of the check, for example "Disintegration (min)".

    Examples
    --------
    >>> bare = read_limit("at most 30")
    >>> with_unit_of_name(bare, name="Disintegration (min)").measure.shown
    'min'
    >>> with_unit_of_name(bare, name="Disintegration (37 \u00b0C)").measure.shown
    ''
    """
    if span.measure.kind:
        return span
    match = _UNIT_OF_NAME.search(" ".join(name.casefold().split()))
    measure = _MEASURES.get(match.group(1) or match.group(2)) if match else None
    return span if measure is None else replace(span, measure=measure)


def _quoted(text: str) -> str:
    """What was typed, as a message repeats it."""
    plain = " ".join(text.split())
    return plain if len(plain) <= LONGEST_QUOTED else f"{plain[:LONGEST_QUOTED]}..."


def _body(text: str) -> str:
    return " ".join(text.split()).casefold().rstrip(".!")


def _one_sided(match: re.Match[str], *, low: bool, included: bool, default_unit: str = "") -> Span:
    bound = Bound(value=_decimal(match.group(1)), included=included)
    measure = _measure(match.group(2) or default_unit)
    return Span(low=bound if low else None, high=None if low else bound, measure=measure)


def _range(match: re.Match[str], text: str) -> Span:
    measure = _same_measure(match.group(2), match.group(4), text)
    low, high = _decimal(match.group(1)), _decimal(match.group(3))
    if low > high:
        raise UnreadableError(f'"{_quoted(text)}" runs from the greater to the smaller', mend="Type the smaller first")
    return Span(low=Bound(value=low), high=Bound(value=high), measure=measure)


def _same_measure(first: str, second: str, text: str) -> Measure:
    if first.strip() and second.strip() and _measure(first) != _measure(second):
        raise UnreadableError(f'"{_quoted(text)}" has two units of measure', mend="Type both figures in one")
    return _measure(second or first)


def _measure(word: str) -> Measure:
    plain = " ".join(word.split()).rstrip(".")
    known = _MEASURES.get(plain.casefold())
    return known if known is not None else Measure(kind=plain, factor=Fraction(1), shown=plain)


def _decimal(text: str) -> Decimal:
    """A figure, read exactly; a point is the decimal mark, a comma before three digits could be either."""
    try:
        number = written(text)
    except NotANumberError as fault:
        raise UnreadableError(
            f'"{text}" is not a number ({fault})', mend="Type it in digits, for example 2.10"
        ) from None
    if number.with_point is not None and "," not in text:
        return number.with_point
    if number.with_point is not None and number.with_comma is not None and number.with_point != number.with_comma:
        plain = number.with_comma
        raise UnreadableError(
            f'"{text}" could be {number.with_comma:f} or {number.with_point:f}', mend=f"Type it with a point, {plain:f}"
        )
    value = number.with_comma if number.with_comma is not None else number.with_point
    assert value is not None
    return value
