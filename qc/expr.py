"""Expressions: one object gives the text of a spreadsheet formula and its exact value.

A spreadsheet calculates in binary fractions, which make an exact 5 % a little more or less than 5 %. So the text of a
comparison with a limit rounds the difference to nine decimals first; its value here is decided on the exact numbers.

Examples
--------
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

import operator
from collections.abc import Callable
from decimal import Decimal
from fractions import Fraction
from math import isqrt

from msgspec import Struct
from msgspec.structs import replace

from qc.quantities import mean, rounded, sample_variance

Value = Fraction | str | bool | None
"""A number, words, yes or no; None is an empty cell, or the empty text by which a formula says "nothing to show"."""

YES, NO = "yes", "no"
"""The words of a formula that asks whether something holds."""

COMPARED_DECIMALS = 9
# Digits after the point of a root that is no fraction; a float holds seventeen.
_ROOT_DIGITS = 50

_COMPARISON, _ATOM = 1, 4


class Argument(Struct, frozen=True, kw_only=True):
    """What a function of a spreadsheet can be given: an expression or a range."""

    def text(self, on: str = "") -> str:
        """The text in a formula of the sheet `on`, whose own cells are named without their sheet."""
        raise NotImplementedError

    @property
    def values(self) -> list[Value]:
        """The values, cell by cell."""
        raise NotImplementedError

    @property
    def numbers(self) -> list[Fraction]:
        """Those of the values that are numbers."""
        return [value for value in self.values if isinstance(value, Fraction)]


def _made_with(sign: str, *, reflected: bool = False) -> Callable[[Expression, Operand], Expression]:
    def made(self: Expression, other: Operand) -> Expression:
        left, right = (expression(other), self) if reflected else (self, expression(other))
        return Operation(sign=sign, left=left, right=right)

    return made


class Expression(Argument, frozen=True, kw_only=True):
    """A formula, without its equals sign, and the value it has now."""

    @property
    def value(self) -> Value:
        """The value, exact."""
        raise NotImplementedError

    @property
    def number(self) -> Fraction:
        """The value of an expression that gives a number.

        Raises
        ------
        TypeError
            When the value is no number.
        """
        # Asked once: each level of an expression that asked twice would double the work of the one below.
        value = self.value
        if not isinstance(value, Fraction):
            raise TypeError(f"{value!r} is no number")
        return value

    @property
    def values(self) -> list[Value]:
        """The one value."""
        return [self.value]

    @property
    def binding(self) -> int:
        """How tightly the text holds together: comparisons least, cells and functions most."""
        return _ATOM

    __add__ = _made_with("+")
    __sub__ = _made_with("-")
    __mul__ = _made_with("*")
    __truediv__ = _made_with("/")
    __lt__ = _made_with("<")
    __le__ = _made_with("<=")
    __gt__ = _made_with(">")
    __ge__ = _made_with(">=")
    __radd__ = _made_with("+", reflected=True)
    __rsub__ = _made_with("-", reflected=True)
    __rmul__ = _made_with("*", reflected=True)
    __rtruediv__ = _made_with("/", reflected=True)
    equals = _made_with("=")
    """Whether two values are the same; words in capitals or not."""
    differs = _made_with("<>")
    """Whether two values are not the same."""

    def __abs__(self) -> Expression:
        return Call(function="ABS", arguments=(self,), meaning=lambda one: abs(one.number))

    def __and__(self, other: Expression) -> Expression:
        return all_of(self, other)

    def __or__(self, other: Expression) -> Expression:
        return any_of(self, other)


Operand = Expression | Decimal | int | str


class Constant(Expression, frozen=True, kw_only=True):
    """Words, a truth, or a number of at most fifteen digits, as they stand in a formula."""

    content: Decimal | int | str

    @property
    def value(self) -> Value:
        """Words, a truth or a number; None for the empty text."""
        return known(self.content)

    @property
    def binding(self) -> int:
        """A number with a sign is put in brackets."""
        return 0 if isinstance(self.content, Decimal | int) and self.content < 0 else _ATOM

    def text(self, on: str = "") -> str:
        """Words in quotes, numbers in digits.

        Examples
        --------
        >>> [expression(one).text() for one in ("yes", True, Decimal("1E-9"), 100)]
        ['"yes"', 'TRUE', '1E-09', '100']
        """
        if isinstance(self.content, str):
            return '"{}"'.format(self.content.replace('"', '""'))
        return str(self.content).upper() if isinstance(self.content, bool) else f"{float(self.content):.15G}"


class CellRef(Expression, frozen=True, kw_only=True):
    """A cell of a workbook: its place, counted from zero, and what it holds; `written` where a formula names it so."""

    sheet: str
    row: int
    column: int
    value: Value
    written: str = ""

    def text(self, on: str = "") -> str:
        """The absolute address.

        Examples
        --------
        >>> cell = CellRef(sheet="Content 1", row=4, column=27, value=None)
        >>> cell.text(), cell.text(on="Content 1"), cell.loose.text()
        ("'Content 1'!$AB$5", '$AB$5', 'AB5')
        """
        return self.written or (_place(self) if self.sheet == on else f"'{self.sheet}'!{_place(self)}")

    @property
    def loose(self) -> CellRef:
        """The same cell in formulas of its own sheet that follow when they are copied to another row."""
        return replace(self, written=_place(self).replace("$", ""))


class Formula(Expression, frozen=True, kw_only=True):
    """A formula for which there is no expression, as it is written, with the value that it has."""

    written: str
    value: Value

    def text(self, on: str = "") -> str:
        """As it is written."""
        return self.written


class CellRange(Argument, frozen=True, kw_only=True):
    """Cells of one column below each other, at least one; whatever lies between the first and the last is empty."""

    cells: tuple[CellRef, ...]

    @property
    def values(self) -> list[Value]:
        """What the cells hold."""
        return [cell.value for cell in self.cells]

    def text(self, on: str = "") -> str:
        """The absolute address of the range.

        Examples
        --------
        >>> CellRange(cells=tuple(CellRef(sheet="Units", row=row, column=5, value=None) for row in (6, 7))).text()
        "'Units'!$F$7:$F$8"
        """
        return f"{self.cells[0].text(on)}:{_place(self.cells[-1])}"


def _place(cell: CellRef) -> str:
    letters, rest = "", cell.column + 1
    while rest:
        rest, letter = divmod(rest - 1, 26)
        letters = chr(ord("A") + letter) + letters
    return f"${letters}${cell.row + 1}"


class Operation(Expression, frozen=True, kw_only=True):
    """Two values with a sign between them: of arithmetic or comparison, or "&" between words."""

    sign: str
    left: Expression
    right: Expression

    @property
    def value(self) -> Value:
        """Exact: a fraction or a truth; words of words."""
        return _SIGNS[self.sign][1](self.left, self.right)

    @property
    def binding(self) -> int:
        """As the sign binds."""
        return _SIGNS[self.sign][0]

    def text(self, on: str = "") -> str:
        """Both sides, in brackets where they bind no tighter than the sign.

        Examples
        --------
        >>> one, two = expression(1), expression(2)
        >>> (one - two - 3).text(), (one - (two - 3)).text(), ((one + two) * 3).text()
        ('1-2-3', '1-(2-3)', '(1+2)*3')
        """
        left, right = self.left.text(on), self.right.text(on)
        first = f"({left})" if self.left.binding < max(self.binding, _COMPARISON + 1) else left
        return f"{first}{self.sign}{f'({right})' if self.right.binding <= self.binding else right}"


def _folded(value: Value) -> Value:
    return value.casefold() if isinstance(value, str) else value


def _of_numbers(sign: Callable[[Fraction, Fraction], Value]) -> Callable[[Expression, Expression], Value]:
    return lambda left, right: sign(left.number, right.number)


# How tightly a sign binds, and what it means; a number and words are never the same.
_SIGNS: dict[str, tuple[int, Callable[[Expression, Expression], Value]]] = {
    "<": (_COMPARISON, _of_numbers(operator.lt)),
    "<=": (_COMPARISON, _of_numbers(operator.le)),
    ">": (_COMPARISON, _of_numbers(operator.gt)),
    ">=": (_COMPARISON, _of_numbers(operator.ge)),
    "=": (_COMPARISON, lambda left, right: _folded(left.value) == _folded(right.value)),
    "<>": (_COMPARISON, lambda left, right: _folded(left.value) != _folded(right.value)),
    "&": (_COMPARISON, lambda left, right: f"{left.value or ''}{right.value or ''}"),
    "+": (2, _of_numbers(operator.add)),
    "-": (2, _of_numbers(operator.sub)),
    "*": (3, _of_numbers(operator.mul)),
    "/": (3, _of_numbers(operator.truediv)),
}


class AgainstLimit(Operation, frozen=True, kw_only=True):
    """A figure compared with a limit: rounded to nine decimals in a spreadsheet, exact here."""

    def text(self, on: str = "") -> str:
        """The sign of the rounded difference."""
        return f"{round_to(self.left - self.right, COMPARED_DECIMALS).text(on)}{self.sign}0"


class Call(Expression, frozen=True, kw_only=True):
    """A function of the spreadsheet with what it means, worked out from its arguments."""

    function: str
    arguments: tuple[Argument, ...]
    meaning: Callable[..., Value]

    @property
    def value(self) -> Value:
        """What the function gives."""
        return self.meaning(*self.arguments)

    def text(self, on: str = "") -> str:
        """The function with its arguments."""
        return f"{self.function}({','.join(one.text(on) for one in self.arguments)})"


def expression(one: Operand) -> Expression:
    """A number or words as an expression; an expression as it is."""
    return one if isinstance(one, Expression) else Constant(content=one)


def known(content: Fraction | Decimal | float | str | None) -> Value:
    """Any number as a fraction, empty words as nothing, all else as it is."""
    if content is None or isinstance(content, str):
        return content or None
    return content if isinstance(content, bool) else Fraction(content)


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
    return call("AND", *tests, meaning=lambda *tests: all(test.value for test in tests))


def any_of(*tests: Expression) -> Expression:
    """Whether one of the tests holds."""
    return call("OR", *tests, meaning=lambda *tests: any(test.value for test in tests))


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
    words = [_folded(word) for _, word in pairs]
    found = sum([_folded(value) for value in row] == words for row in rows)
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
