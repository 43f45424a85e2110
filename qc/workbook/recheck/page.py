"""Pages of the workbook: words, numbers, formulas and tables on a sheet, the same on every sheet."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING

from msgspec import Struct, field

from qc.expr import CellRef, Expression, known
from qc.workbook.recheck.formats import Formats, set_page

if TYPE_CHECKING:
    from xlsxwriter.format import Format
    from xlsxwriter.workbook import Workbook
    from xlsxwriter.worksheet import Worksheet

Content = Expression | Fraction | Decimal | float | str | None
"""What is written into a cell: a formula, a number, words, or nothing."""
FromRow = Callable[[Mapping[str, CellRef]], Content]
"""Content that is made from the cells to its left, by their headings."""

HEADER_ROW = 3
FIRST_ROW = HEADER_ROW + 1

# More does not fit into a cell of a spreadsheet.
MOST_LETTERS = 32_767
# A row can be no higher than this [points]; a line of 10 point letters takes 13.5, a line of headers twice as much.
MOST_POINTS = 409
LINE_POINTS = 13.5
HEADER_POINTS = 30


class Page(Struct, frozen=True, kw_only=True):
    """One sheet of the workbook."""

    name: str
    sheet: Worksheet
    formats: Formats
    widths: dict[int, int] = field(default_factory=dict)
    """Width of each column that was given one [letters]."""

    def put(self, row: int, column: int, content: Content, shown: Format | None = None) -> CellRef:
        """Write a formula with its value, a number, or words as words, whatever they look like.

        Nothing that a person typed becomes a formula, a link or a number.
        """
        formats = self.formats
        if isinstance(content, Expression):
            value = content.value
            stored = "" if value is None else value if isinstance(value, str) else float(value)
            shown = shown or (formats.verdict if isinstance(value, str) else formats.live)
            self.sheet.write_formula(row, column, f"={content.text(on=self.name)}", shown, stored)
        elif isinstance(value := known(content), str):
            value = value if len(value) <= MOST_LETTERS else f"{value[: MOST_LETTERS - 1]}…"
            self.sheet.write_string(row, column, value, shown or formats.text)
        elif value is None:
            self.sheet.write_blank(row, column, None, shown or formats.text)
        else:
            self.sheet.write_number(row, column, float(value), shown or formats.number)
        return CellRef(sheet=self.name, row=row, column=column, content=value)

    def head(self, title: str, *lines: str) -> None:
        """The title, and up to two lines below it."""
        self.put(0, 0, title, self.formats.title)
        for row, line in enumerate(lines, start=1):
            self.put(row, 0, line, self.formats.small)

    def headers(self, row: int, column: int, headers: Iterable[str]) -> None:
        """Headers of columns beside each other."""
        for at, header in enumerate(headers, start=column):
            self.put(row, at, header, self.formats.header)

    def set_widths(self, *widths: int, first: int = 0) -> None:
        """The widths of columns beside each other [letters]."""
        for column, width in enumerate(widths, start=first):
            self.sheet.set_column(column, column, width)
            self.widths[column] = width

    def table(
        self,
        headings: Iterable[str],
        rows: Iterable[Mapping[str, Content | FromRow]],
        *,
        top: int = HEADER_ROW,
        shown: Mapping[str, Format] | None = None,
    ) -> list[dict[str, CellRef]]:
        """A table below its headings, each row as high as its words need; answers the cells of each row by heading.

        `shown` has the formats of those columns that are not shown as usual.
        """
        self.headers(top, 0, headings)
        self.sheet.set_row(top, HEADER_POINTS)
        return [self._row(row, contents, shown=shown or {}) for row, contents in enumerate(rows, start=top + 1)]

    def _row(
        self, row: int, contents: Mapping[str, Content | FromRow], *, shown: Mapping[str, Format]
    ) -> dict[str, CellRef]:
        cells: dict[str, CellRef] = {}
        for column, (heading, made) in enumerate(contents.items()):
            content = made(cells) if callable(made) else made
            usual = self.formats.wrapped if isinstance(content, str) else None
            cells[heading] = self.put(row, column, content, shown.get(heading, usual))
        self.fit(row, *((str(cell.value), self.widths.get(cell.column, 0)) for cell in cells.values()))
        return cells

    def fit(self, row: int, *words: tuple[str, int]) -> None:
        """Make a row as high as its words need: each with the width of its column [letters], 0 for any width."""
        lines = max((_lines(text, width=width) for text, width in words if width), default=1)
        if lines > 1:
            self.sheet.set_row(row, min(MOST_POINTS, LINE_POINTS * lines))


def new_page(workbook: Workbook, name: str, *, formats: Formats) -> Page:
    """A new sheet at the end of the workbook."""
    sheet = workbook.add_worksheet(name)
    set_page(sheet, header_row=HEADER_ROW)
    return Page(name=name, sheet=sheet, formats=formats)


def _lines(text: str, *, width: int) -> int:
    """How many lines words take in a column, with an indent and wide letters allowed for."""
    return sum(1 + max(0, len(line) - 1) // (width - 2) for line in text.split("\n"))


class Block(Struct, kw_only=True):
    """Lines below each other: a label, one or two values, a note. It grows while a sheet is written."""

    page: Page
    column: int = 0
    row: int = HEADER_ROW

    def head(self, *texts: str) -> None:
        """A line of headers, with an empty line above all but the first."""
        self.row += self.row > HEADER_ROW
        self.page.headers(self.row, self.column, texts)
        self.row += 1

    def line(self, label: str, *contents: Content, note: str = "") -> list[CellRef]:
        """A line of values, one or one a stage; answers their cells."""
        cells = [self.page.put(self.row, at, one) for at, one in enumerate(contents, start=self.column + 1)]
        self.page.put(self.row, self.column, label)
        if note:
            self.page.put(self.row, self.column + 1 + len(contents), note, self.page.formats.remark)
        self.row += 1
        return cells

    def one(self, label: str, content: Content, *, note: str = "") -> CellRef:
        """A line with one value."""
        return self.line(label, content, note=note)[0]
