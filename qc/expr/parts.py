"""What an expression is made of: constants, cells, ranges, operations, functions, each with its text and value."""

from __future__ import annotations

import operator
from collections.abc import Callable
from decimal import Decimal
from fractions import Fraction

from msgspec import Struct
from msgspec.structs import replace

Value = Fraction | str | bool | None
"""A number, words, yes or no; None is an empty cell, or the empty text by which a formula says "nothing to show"."""

COMPARED_DECIMALS = 9
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
        return Call(function="AND", arguments=(self, other), meaning=all_hold)

    def __or__(self, other: Expression) -> Expression:
        return Call(function="OR", arguments=(self, other), meaning=one_holds)


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


def folded(value: Value) -> Value:
    """Words without their capitals; any other value as it is."""
    return value.casefold() if isinstance(value, str) else value


def _of_numbers(sign: Callable[[Fraction, Fraction], Value]) -> Callable[[Expression, Expression], Value]:
    return lambda left, right: sign(left.number, right.number)


# How tightly a sign binds, and what it means; a number and words are never the same.
_SIGNS: dict[str, tuple[int, Callable[[Expression, Expression], Value]]] = {
    "<": (_COMPARISON, _of_numbers(operator.lt)),
    "<=": (_COMPARISON, _of_numbers(operator.le)),
    ">": (_COMPARISON, _of_numbers(operator.gt)),
    ">=": (_COMPARISON, _of_numbers(operator.ge)),
    "=": (_COMPARISON, lambda left, right: folded(left.value) == folded(right.value)),
    "<>": (_COMPARISON, lambda left, right: folded(left.value) != folded(right.value)),
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
        return f"ROUND({(self.left - self.right).text(on)},{COMPARED_DECIMALS}){self.sign}0"


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


def all_hold(*tests: Expression) -> bool:
    """Whether every test holds."""
    return all(test.value for test in tests)


def one_holds(*tests: Expression) -> bool:
    """Whether one of the tests holds."""
    return any(test.value for test in tests)
