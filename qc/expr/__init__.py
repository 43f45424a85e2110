"""Expressions: one object gives the text of a spreadsheet formula and its exact value.

A spreadsheet calculates in binary fractions, which make an exact 5 % a little more or less than 5 %. So the text of a
comparison with a limit rounds the difference to nine decimals first; its value here is decided on the exact numbers.

Examples
--------
>>> from qc.expr.parts import CellRef
>>> mass = CellRef(sheet="Units", row=4, column=4, value=Fraction(21, 10))
>>> mean = CellRef(sheet="Mass", row=6, column=9, value=Fraction(2))
>>> off = deviation_percent(mass, mean)
>>> off.text(on="Mass")
'IF($J$7=0,"",(\\'Units\\'!$E$5-$J$7)/$J$7*100)'
>>> off.value
Fraction(5, 1)
>>> compared(abs(off), ">", 5).value
False
"""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from fractions import Fraction
from math import isqrt

from qc.expr.parts import (
    COMPARED_DECIMALS,
    AgainstLimit,
    Argument,
    Call,
    CellRange,
    Expression,
    Operand,
    Operation,
    Value,
    all_hold,
    folded,
    one_holds,
)
from qc.expr.parts import expression as expression
from qc.quantities import mean, rounded, sample_variance

YES, NO = "yes", "no"
"""The words of a formula that asks whether something holds."""

# Digits after the point of a root that is no fraction; a float holds seventeen.
_ROOT_DIGITS = 50


def call(function: str, *arguments: Argument | Decimal | int | str, meaning: Callable[..., Value]) -> Expression:
    """A function of the spreadsheet; `meaning` is given the arguments and answers the value."""
    given = tuple(one if isinstance(one, Argument) else expression(one) for one in arguments)
    return Call(function=function, arguments=given, meaning=meaning)


def compared(left: Expression, sign: str, right: Operand) -> Expression:
    """Whether a figure is "<", "<=", ">" or ">=" its limit."""
    return AgainstLimit(sign=sign, left=left, right=expression(right))


def when(test: Expression, then: Operand, otherwise: Operand = "") -> Expression:
    """One of two values; the other is not looked at."""
    return call("IF", test, then, otherwise, meaning=lambda test, then, other: (then if test.value else other).value)


def first_of(*cases: tuple[Expression, Operand], otherwise: Operand) -> Expression:
    """The value of the first case that holds."""
    found = expression(otherwise)
    for test, value in reversed(cases):
        found = when(test, value, found)
    return found


def all_of(*tests: Expression) -> Expression:
    """Whether every test holds."""
    return call("AND", *tests, meaning=all_hold)


def any_of(*tests: Expression) -> Expression:
    """Whether one of the tests holds."""
    return call("OR", *tests, meaning=one_holds)


def negated(test: Expression) -> Expression:
    """Whether a test does not hold."""
    return call("NOT", test, meaning=lambda test: not test.value)


def joined(one: Operand, other: Operand) -> Expression:
    """Two words as one."""
    return Operation(sign="&", left=expression(one), right=expression(other))


def or_else(one: Expression, otherwise: Operand) -> Expression:
    """A value, or another one where there is none: a mean of nothing, a division by zero, a place not found."""

    def found(one: Expression, otherwise: Expression) -> Value:
        try:
            return one.value
        except (ValueError, ZeroDivisionError):
            return otherwise.value

    return call("IFERROR", one, otherwise, meaning=found)


def is_number(one: Expression) -> Expression:
    """Whether a value is a number."""
    return call("ISNUMBER", one, meaning=lambda one: bool(one.numbers))


def exactly(one: Expression, other: Expression) -> Expression:
    """Whether two words are equal, letter by letter."""
    return call("EXACT", one, other, meaning=lambda one, other: one.value == other.value)


def count(*parts: Argument) -> Expression:
    """How many numbers there are [-]."""
    return call("COUNT", *parts, meaning=lambda *parts: Fraction(sum(len(part.numbers) for part in parts)))


def total(part: CellRange | None) -> Expression:
    """The sum of the numbers of a range; 0 where there is no range."""
    return expression(0) if part is None else call("SUM", part, meaning=lambda part: sum(part.numbers, Fraction(0)))


def average(part: CellRange) -> Expression:
    """The mean of the numbers of a range, of which there is at least one."""
    return call("AVERAGE", part, meaning=lambda part: mean(part.numbers))


def spread(part: CellRange) -> Expression:
    """The sample standard deviation, divisor n - 1; nothing with fewer than two numbers.

    The value is exact where the root of the variance is a fraction, else right to fifty decimals.
    """
    found = call("STDEV", part, meaning=lambda part: _root(sample_variance(part.numbers)))
    return when(count(part) < 2, "", found)


def _root(square: Fraction) -> Fraction:
    """The square root, exact where it is a fraction."""
    below, shift = square.denominator, 10**_ROOT_DIGITS
    return Fraction(isqrt(square.numerator * below * shift**2), below * shift)


def greatest(*parts: Argument) -> Expression:
    """The greatest number."""
    return call("MAX", *parts, meaning=lambda *parts: max(number for part in parts for number in part.numbers))


def least(*parts: Argument) -> Expression:
    """The least number."""
    return call("MIN", *parts, meaning=lambda *parts: min(number for part in parts for number in part.numbers))


def round_to(one: Expression, decimals: Operand) -> Expression:
    """A number rounded to a number of decimals, a five going away from zero."""
    return call("ROUND", one, decimals, meaning=_rounded)


def round_once(one: Expression, decimals: Operand) -> Expression:
    """A figure rounded as a rule states; a spreadsheet first rounds to nine decimals, which mends a five made less."""
    inner = round_to(one, COMPARED_DECIMALS)
    return call("ROUND", inner, decimals, meaning=lambda _, decimals: _rounded(one, decimals))


def _rounded(one: Expression, decimals: Expression) -> Fraction:
    return Fraction(rounded(one.number, decimals=int(decimals.number)))


def count_where(*pairs: tuple[CellRange, str]) -> Expression:
    """How many rows hold these words, each in its range [-]."""
    rows = list(zip(*(part.values for part, _ in pairs), strict=True))
    words = [folded(word) for _, word in pairs]
    found = sum([folded(value) for value in row] == words for row in rows)
    name = "COUNTIF" if len(pairs) == 1 else "COUNTIFS"
    return call(name, *(one for pair in pairs for one in pair), meaning=lambda *_: Fraction(found))


def average_where(part: CellRange, *, marks: CellRange, word: str) -> Expression:
    """The mean of the numbers of a range beside which a word stands."""
    chosen = [number for number, mark in zip(part.values, marks.values, strict=True) if mark == word]
    numbers = [number for number in chosen if isinstance(number, Fraction)]
    return call("AVERAGEIFS", part, marks, word, meaning=lambda *_: mean(numbers))


def beside(part: CellRange, *, first: Operand, within: CellRange) -> Expression:
    """The value of a range in the row where another range first has a value; nothing where it has it nowhere."""

    def found(part: CellRange, place: Expression) -> Value:
        return None if place.value is None else part.values[int(place.number) - 1]

    def place(sought: Expression, within: CellRange, _: Expression) -> Value:
        return Fraction(within.values.index(sought.value) + 1) if sought.value in within.values else None

    return call("INDEX", part, call("MATCH", first, within, 0, meaning=place), meaning=found)


def deviation_percent(one: Expression, centre: Expression) -> Expression:
    """How far a value lies from a centre [% of the centre]; nothing about a centre of zero."""
    return when(centre.equals(0), "", (one - centre) / centre * 100)


def percent_of(part: Expression, whole: Expression) -> Expression:
    """One figure in per cent of another; nothing where the part is missing or the whole is zero."""
    return when(all_of(is_number(part), whole.differs(0)), part / whole * 100)


def beyond(deviation: Expression, limit: Expression) -> Expression:
    """1 where a deviation is greater than a limit, else 0 [-]."""
    return when(is_number(deviation), when(compared(abs(deviation), ">", limit), 1, 0), 0)


def outside(one: Expression, low: Expression, high: Expression) -> Expression:
    """1 where a value lies outside two limits, else 0 [-]."""
    return when(any_of(compared(low, ">", one), compared(one, ">", high)), 1, 0)
