"""Cells that know where they stand and what they hold, exactly; pages on which they are written."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING

from msgspec import Struct

if TYPE_CHECKING:
    from xlsxwriter.format import Format
    from xlsxwriter.worksheet import Worksheet

    from qc.workbook.recheck.look import Look

Value = Fraction | Decimal | float | int | str | None
"""What a cell holds; None stands for "nothing to show", which a formula answers as an empty text."""

# More does not fit into a cell of a spreadsheet.
MOST_LETTERS = 32_767
# A row can be no higher than this [points], and a line of 10 point letters takes this much.
MOST_POINTS = 409
LINE_POINTS = 13.5


class Reckoned(Struct, frozen=True, kw_only=True):
    """A formula, without its equals sign, with the exact value it has now.

    Formulas are made of functions, cell addresses and words of this module alone; nothing a person typed goes into one.
    """

    formula: str
    value: Value


class Cell(Struct, frozen=True, kw_only=True):
    """A written cell: its place, counted from nought, and its exact value."""

    sheet: str
    row: int
    column: int
    value: Value

    @property
    def address(self) -> str:
        """The absolute address with its sheet.

        Examples
        --------
        >>> Cell(sheet="Content 1", row=4, column=2, value=None).address
        "'Content 1'!$C$5"
        """
        return f"'{self.sheet}'!{_place(self.row, self.column)}"

    @property
    def exact(self) -> Fraction:
        """The value as a fraction; TypeError where it is no number."""
        return exact(self.value)


class Span(Struct, frozen=True, kw_only=True):
    """Cells of one column below each other, at least one."""

    cells: tuple[Cell, ...]

    @property
    def address(self) -> str:
        """The absolute address of the range with its sheet.

        Examples
        --------
        >>> cells = tuple(Cell(sheet="Units", row=row, column=5, value=2) for row in (6, 7))
        >>> Span(cells=cells).address
        "'Units'!$F$7:$F$8"
        """
        first, last = self.cells[0], self.cells[-1]
        return f"{first.address}:{_place(last.row, last.column)}"

    @property
    def exact(self) -> list[Fraction]:
        """The values as fractions."""
        return [cell.exact for cell in self.cells]


def span(cells: Sequence[Cell]) -> Span | None:
    """The cells as one range; None without a cell."""
    return Span(cells=tuple(cells)) if cells else None


def exact(value: Value) -> Fraction:
    """A number as a fraction.

    Raises
    ------
    TypeError
        When the value is no number.
    """
    if value is None or isinstance(value, str):
        raise TypeError(f"{value!r} is no number")
    return Fraction(value)


class Page(Struct, frozen=True, kw_only=True):
    """One sheet of the workbook, on which texts, numbers and formulas are written."""

    name: str
    sheet: Worksheet
    look: Look

    def text(self, row: int, column: int, text: str, shown: Format | None = None) -> Cell:
        """Words as words, whatever they look like: nothing typed becomes a formula, a link or a number."""
        kept = text if len(text) <= MOST_LETTERS else f"{text[: MOST_LETTERS - 1]}…"
        self.sheet.write_string(row, column, kept, shown or self.look.text)
        return self._cell(row, column, kept)

    def number(self, row: int, column: int, number: Value, shown: Format | None = None) -> Cell:
        """A number as it was typed or as a rule states it."""
        self.sheet.write_number(row, column, float(exact(number)), shown or self.look.number)
        return self._cell(row, column, number)

    def blank(self, row: int, column: int, shown: Format | None = None) -> Cell:
        """An empty cell with its borders."""
        self.sheet.write_blank(row, column, None, shown or self.look.text)
        return self._cell(row, column, None)

    def entry(self, row: int, column: int, value: Value, shown: Format | None = None) -> Cell:
        """A typed value as what it is: a number, words, or nothing."""
        if value is None or value == "":
            return self.blank(row, column, shown)
        if isinstance(value, str):
            return self.text(row, column, value, shown)
        return self.number(row, column, value, shown)

    def reckon(self, row: int, column: int, reckoned: Reckoned, shown: Format | None = None) -> Cell:
        """A formula with its value; cells of this page are named without their sheet, as people do."""
        formula = reckoned.formula.replace(f"'{self.name}'!", "")
        value = reckoned.value
        kept = "" if value is None else value if isinstance(value, str) else float(value)
        self.sheet.write_formula(row, column, f"={formula}", shown or self.look.number, kept)
        return self._cell(row, column, value)

    def fit(self, row: int, *words: tuple[str | None, int]) -> None:
        """Make a row as high as its words need: each with the width of its column [letters]."""
        lines = max((_lines(text, width=width) for text, width in words if text), default=1)
        if lines > 1:
            self.sheet.set_row(row, min(MOST_POINTS, LINE_POINTS * lines))

    def _cell(self, row: int, column: int, value: Value) -> Cell:
        return Cell(sheet=self.name, row=row, column=column, value=value)


def _place(row: int, column: int) -> str:
    from xlsxwriter.utility import xl_rowcol_to_cell

    place: str = xl_rowcol_to_cell(row, column, row_abs=True, col_abs=True)
    return place


def _lines(text: str, *, width: int) -> int:
    """How many lines words take in a column, an indent and wide letters reckoned with."""
    return sum(1 + max(0, len(line) - 1) // (width - 2) for line in text.split("\n"))
