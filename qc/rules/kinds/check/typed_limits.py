"""Limits and results as people type them: a small exact grammar of figures, ranges, comparisons and words.

"90.0 to 110.0 %", "100 ± 5 %", "at most 30 min", "not more than 30 min", "<= 30 min", "30 min or less",
"at least 600 g", "complies". Results: "21; 22; 24 min", "18 to 24 min", "< 15 min", "complies".
Figures are exact decimals. Units of measure must agree; those of time, of mass and of length are converted.
"""

from __future__ import annotations

import math
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


class Span(Struct, frozen=True, kw_only=True):
    """A range of figures with its unit of measure; an end that is None is open."""

    low: Bound | None
    high: Bound | None
    measure: Measure

    def exact(self, into: Measure | None = None) -> tuple[Fraction | None, Fraction | None]:
        """Both ends in another unit of measure of the same kind; in the kind's own where none is given."""
        scale = self.measure.factor / (1 if into is None else into.factor)
        low = None if self.low is None else Fraction(self.low.value) * scale
        return low, None if self.high is None else Fraction(self.high.value) * scale


class Worded(Struct, frozen=True, kw_only=True):
    """A limit or a result in words."""

    text: str


_MEASURES: Mapping[str, Measure] = MappingProxyType(
    {
        word: Measure(kind=kind, factor=Fraction(factor), shown=shown)
        for kind, factor, shown, words in (
            ("time", 1, "s", ("s", "sec", "secs", "second", "seconds")),
            ("time", 60, "min", ("min", "mins", "min.", "minute", "minutes")),
            ("time", 3600, "h", ("h", "hr", "hrs", "hour", "hours")),
            ("mass", "0.001", "mg", ("mg", "milligram", "milligrams")),
            ("mass", 1, "g", ("g", "gram", "grams")),
            ("mass", 1000, "kg", ("kg", "kilogram", "kilograms")),
            ("length", 1, "mm", ("mm",)),
            ("length", 10, "cm", ("cm",)),
            ("percent", 1, "%", ("%", "percent", "per cent", "% of label", "% of label claim", "% label")),
            ("temperature", 1, "°C", ("°c", "° c", "℃", "deg c", "degrees c", "degc")),
            ("force", 1, "N", ("n", "newton", "newtons")),
        )
        for word in words
    }
)
_NUMBER = r"[-+\u2212]?\d(?:[\d.,]*\d)?"
_UNIT = r"(?:[^\d\s<>=+\u2264\u2265\u00b1;](?:[^\d<>=+\u2264\u2265\u00b1;]*[^\s\d<>=+\u2264\u2265\u00b1;])?)?"
_TO = r"\s*(?:to|and|\.\.\.?|\u2026|[-\u2013\u2014])\s*"
_ONE = rf"({_NUMBER})\s*({_UNIT})"
# Patterns are compiled when a limit is read, since most batches have none.
_RANGE = rf"(?:between\s+|from\s+|within\s+)?({_NUMBER})\s*({_UNIT}?){_TO}{_ONE}"
_ABOUT = rf"({_NUMBER})\s*({_UNIT}?)\s*(?:\u00b1|\+/-|\+-)\s*{_ONE}"
# What stands before a figure or behind it; whether the figure is then the lower end, and whether it is included.
_COMPARED = tuple(
    (pattern, low, included)
    for before, behind, low, included in (
        (
            r"not more than|no more than|at most|nmt|maximum|max\.|max|up to|within|<=|\u2264|=<",
            "or less|or fewer|maximum|max",
            False,
            True,
        ),
        (r"not less than|no less than|at least|nlt|minimum|>=|\u2265|=>", "or more|or longer|minimum", True, True),
        (r"less than|below|under|<", "", False, False),
        (r"more than|greater than|above|over|>", "", True, False),
    )
    for pattern in (rf"(?:{before})\s*{_ONE}", *((rf"{_ONE}\s+(?:{behind})",) if behind else ()))
)
# A unit of measure at the end of a name: in brackets, or behind a comma or "in".
_UNIT_OF_NAME = r"(?:[(\[]\s*([^()\[\]]+?)\s*[)\]]|(?:,| in) (\S+))$"
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
    if match := re.fullmatch(_RANGE, body):
        return _range(match, text)
    if match := re.fullmatch(_ABOUT, body):
        centre, allowance, measure = _two_figures(match, text)
        return Span(low=Bound(value=centre - allowance), high=Bound(value=centre + allowance), measure=measure)
    match = re.fullmatch(_ONE, body)
    if match is None:
        raise UnreadableError(f'the limit "{_quoted(text)}" cannot be read', mend=f"Type it {ACCEPTED}")
    if bare is None:
        raise UnreadableError(
            f'the limit "{_quoted(text)}" does not say on which side the result is to lie',
            mend=f'Type "at most {body}", "at least {body}" or a range',
        )
    return _one_sided(match, low=bare is Direction.AT_LEAST)


def span_of(unit: str, *, low: Decimal | None = None, high: Decimal | None = None) -> Span:
    """The limit of a rule record: its ends, both included, in the unit that the record names."""
    return Span(
        low=None if low is None else Bound(value=low),
        high=None if high is None else Bound(value=high),
        measure=_measure(unit),
    )


def within(result: Span, limit: Span) -> bool | None:
    """Whether a result meets a limit; None where a result that is itself a range lies partly inside.

    Decided on exact fractions; a result equal to a limit meets it, unless the limit says less than or more than.
    """
    (low, high), (least, most) = _ends(result), _ends(limit)
    if high < least or low > most:
        return False
    return True if least <= low and high <= most else None


def _ends(span: Span) -> tuple[tuple[Fraction | float, int], tuple[Fraction | float, int]]:
    """Both ends as they are ordered: an open one is infinite, one that is not included lies inside its own figure."""
    low, high = span.exact()
    return (
        (-math.inf, 0) if span.low is None or low is None else (low, 0 if span.low.included else 1),
        (math.inf, 0) if span.high is None or high is None else (high, 0 if span.high.included else -1),
    )


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
    if match := re.fullmatch(_RANGE, part):
        span = _range(match, text)
        assert span.low is not None
        assert span.high is not None
        measure = span.measure if span.measure.shown else _measure(following)
        return [Span(low=end, high=end, measure=measure) for end in (span.low, span.high)]
    if (compared := _comparison(part, default_unit=following)) is not None:
        return [compared]
    match = re.fullmatch(_ONE, part)
    if match is None:
        raise UnreadableError(
            f'the result "{_quoted(text)}" cannot be read',
            mend="Type figures with their unit, for example 21; 22; 24 min",
        )
    bound = Bound(value=_decimal(match.group(1)))
    return [Span(low=bound, high=bound, measure=_measure(match.group(2) or following))]


def _comparison(text: str, *, default_unit: str = "") -> Span | None:
    """A figure with a word of comparison; None where there is no such word."""
    for pattern, low, included in _COMPARED:
        if match := re.fullmatch(pattern, text):
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
    match = re.search(_UNIT_OF_NAME, " ".join(name.casefold().split()))
    measure = _MEASURES.get(match.group(1) or match.group(2)) if match else None
    return span if measure is None else replace(span, measure=measure)


def _quoted(text: str) -> str:
    """What was typed, as a message repeats it."""
    plain = " ".join(text.split())
    return plain if len(plain) <= LONGEST_QUOTED else f"{plain[:LONGEST_QUOTED]}..."


def _body(text: str) -> str:
    return " ".join(text.split()).casefold().rstrip(".!")


def _one_sided(match: re.Match[str], *, low: bool, included: bool = True, default_unit: str = "") -> Span:
    bound = Bound(value=_decimal(match.group(1)), included=included)
    measure = _measure(match.group(2) or default_unit)
    return Span(low=bound if low else None, high=None if low else bound, measure=measure)


def _range(match: re.Match[str], text: str) -> Span:
    low, high, measure = _two_figures(match, text)
    if low > high:
        raise UnreadableError(f'"{_quoted(text)}" runs from the greater to the smaller', mend="Type the smaller first")
    return Span(low=Bound(value=low), high=Bound(value=high), measure=measure)


def _two_figures(match: re.Match[str], text: str) -> tuple[Decimal, Decimal, Measure]:
    first, second = match.group(2).strip(), match.group(4).strip()
    if first and second and _measure(first) != _measure(second):
        raise UnreadableError(f'"{_quoted(text)}" has two units of measure', mend="Type both figures in one")
    return _decimal(match.group(1)), _decimal(match.group(3)), _measure(second or first)


def _measure(word: str) -> Measure:
    plain = " ".join(word.split()).rstrip(".")
    return _MEASURES.get(plain.casefold(), Measure(kind=plain, factor=Fraction(1), shown=plain))


def _decimal(text: str) -> Decimal:
    """A figure, read exactly; a point is the decimal mark, a comma before three digits could be either."""
    try:
        number = written(text)
    except NotANumberError as fault:
        raise UnreadableError(
            f'"{text}" is not a number ({fault})', mend="Type it in digits, for example 2.10"
        ) from None
    point, comma = number.with_point, number.with_comma
    if point is not None and (comma is None or "," not in text):
        return point
    assert comma is not None
    if point is not None and point != comma:
        raise UnreadableError(f'"{text}" could be {comma:f} or {point:f}', mend=f"Type it with a point, {comma:f}")
    return comma
