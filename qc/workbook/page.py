"""Pages of a workbook: how cells look, and words, numbers, formulas and tables on a sheet, the same in both workbooks.

A style is a table of properties; a cell is written in one, and equal styles make one format of the file.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import datetime
from decimal import Decimal
from fractions import Fraction
from io import BytesIO
from typing import TYPE_CHECKING, Any

from msgspec import Struct, field

from qc.expr.parts import CellRange, CellRef, Expression, known

if TYPE_CHECKING:
    from xlsxwriter.format import Format
    from xlsxwriter.workbook import Workbook
    from xlsxwriter.worksheet import Worksheet

Content = Expression | Fraction | Decimal | float | str | None
"""What is written into a cell: a formula, a number, words, or nothing."""
Cells = Mapping[str, CellRef]
"""The cells of one row by the names of their columns: mostly the attributes that they fill."""
FromRow = Callable[[Cells], Content]
"""Content that is made from the cells to its left."""
Style = Mapping[str, Any]
"""How a cell looks, by the names that the library which writes the file has for it."""

HEADER_ROW = 3
FIRST_ROW = HEADER_ROW + 1

RESULTS_WORKBOOK = "Results workbook"
"""The title of the workbook that calculates a result anew."""

# A fixed date: the same content gives the same bytes.
MADE = datetime(2026, 1, 1)
_A4 = 9
# More does not fit into a cell of a spreadsheet.
MOST_LETTERS = 32_767
# A row can be no higher than this [points]; a line of 10 point letters takes 13.5, a line of headers twice as much.
MOST_POINTS = 409
LINE_POINTS = 13.5
HEADER_POINTS, TITLE_POINTS = 30, 24
# Letters of a paragraph that go into the width of one digit.
PROSE = 1.1

# Arial has a free twin of equal widths on every system, so that nothing is cut where the font is missing.
_FONT = {"font_name": "Arial", "font_size": 10, "font_color": "#1F2A37", "valign": "vcenter"}
_LINE = "#9AA5B1"
BOXED: Style = {"border": 1, "border_color": _LINE}
# Formula cells are grey; what was typed, and what a rule states, is not.
GREY: Style = {**BOXED, "bg_color": "#F1F3F5"}

TITLE: Style = {"bold": True, "font_size": 15}
NOTE: Style = {"text_wrap": True, "valign": "top"}
SMALL: Style = {"italic": True, "font_color": "#4A5563"}
REMARK: Style = {**SMALL, "indent": 1}
HEADING: Style = {"bold": True, "font_size": 11, "bottom": 1, "bottom_color": _LINE}
HEADER: Style = {**BOXED, "bold": True, "text_wrap": True, "align": "left", "indent": 1, "bg_color": "#DCE6EF"}
TEXT: Style = {**BOXED, "align": "left", "indent": 1}
WRAPPED: Style = {**TEXT, "text_wrap": True, "valign": "top"}
NUMBER: Style = {**BOXED, "align": "right"}
LIVE: Style = {**GREY, "align": "right"}
VERDICT: Style = {**GREY, "bold": True, "align": "left", "indent": 1}
# Orange and dark blue are told apart by every common colour blindness, and in grey print by their lightness.
BEYOND_LIMIT: Style = {"bg_color": "#FFD59E", "font_color": "#5A3300", "bold": True}
BAD: Style = {"bg_color": "#1F3A5F", "font_color": "#FFFFFF", "bold": True}


def column_of(rows: Sequence[Cells], name: str) -> CellRange:
    """The cells of one column."""
    return CellRange(cells=tuple(row[name] for row in rows))


class Pages(Struct, frozen=True, kw_only=True):
    """A workbook while it is written."""

    workbook: Workbook
    formats: dict[tuple[tuple[str, Any], ...], Format] = field(default_factory=dict)

    def shown(self, style: Style) -> Format:
        """The format of a style."""
        key = tuple(style.items())
        if key not in self.formats:
            self.formats[key] = self.workbook.add_format(_FONT | dict(style))
        return self.formats[key]

    def page(self, name: str, *, header_row: int | None = HEADER_ROW, landscape: bool = True) -> Page:
        """A new sheet at the end: A4, as wide as the paper, locked, its header row frozen and on every printed page.

        There is no password: a house can adapt the sheet, and whoever wants to try another figure can open it.
        """
        sheet = self.workbook.add_worksheet(name)
        sheet.set_paper(_A4)
        if landscape:
            sheet.set_landscape()
        sheet.set_margins(left=0.5, right=0.5, top=0.6, bottom=0.7)
        sheet.fit_to_pages(1, 0)
        sheet.set_footer("&L&A&RPage &P of &N")
        sheet.hide_gridlines(2)
        if header_row is not None:
            sheet.repeat_rows(header_row)
            sheet.freeze_panes(header_row + 1, 1)
        # Units are mostly named by numbers, which are words here; a program need not remark on each of them.
        sheet.ignore_errors({"number_stored_as_text": "A1:XFD1048576"})
        sheet.protect("", {"format_columns": True, "format_rows": True, "select_locked_cells": True})
        return Page(name=name, sheet=sheet, pages=self)


def workbook_of(title: str, write: Callable[[Pages], None]) -> bytes:
    """A workbook as bytes; the same content gives the same bytes."""
    from xlsxwriter import Workbook
    from xlsxwriter.worksheet import Worksheet

    class OurSheet(Worksheet):  # type: ignore[misc]  # the library states no types
        """A sheet whose formulas hold no function of later programs: to look for each takes most of the time."""

        def _prepare_formula(self, formula: str, expand_future_functions: bool = False) -> str:
            return formula.removeprefix("=")

    buffer = BytesIO()
    workbook = Workbook(
        buffer, {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    )
    workbook.worksheet_class = OurSheet
    workbook.set_properties({"title": title, "created": MADE})
    write(Pages(workbook=workbook))
    workbook.close()
    return buffer.getvalue()


class Page(Struct, frozen=True, kw_only=True):
    """One sheet of the workbook."""

    name: str
    sheet: Worksheet
    pages: Pages
    widths: dict[int, float] = field(default_factory=dict)
    """Width of each column that was given one [letters]."""

    def put(self, row: int, column: int, content: Content, style: Style | None = None) -> CellRef:
        """Write a formula with its value, a number, or words as words, whatever they look like.

        Nothing that a person typed becomes a formula, a link or a number.
        """
        shown = self.pages.shown
        if isinstance(content, Expression):
            value = content.value
            stored = "" if value is None else value if isinstance(value, str) else float(value)
            style = style or (VERDICT if isinstance(value, str) else LIVE)
            self.sheet.write_formula(row, column, f"={content.text(on=self.name)}", shown(style), stored)
        elif isinstance(value := known(content), str):
            value = value if len(value) <= MOST_LETTERS else f"{value[: MOST_LETTERS - 1]}…"
            self.sheet.write_string(row, column, value, shown(style or TEXT))
        elif value is None:
            self.sheet.write_blank(row, column, None, shown(style or TEXT))
        else:
            self.sheet.write_number(row, column, float(value), shown(style or NUMBER))
        return CellRef(sheet=self.name, row=row, column=column, value=value)

    def head(self, title: str, *lines: str) -> None:
        """The title, and up to two lines below it."""
        self.put(0, 0, title, TITLE)
        self.sheet.set_row(0, TITLE_POINTS)
        for row, line in enumerate(lines, start=1):
            self.put(row, 0, line, SMALL)

    def headers(self, row: int, column: int, headers: Iterable[str], style: Style = HEADER) -> None:
        """Headers of columns beside each other."""
        for at, header in enumerate(headers, start=column):
            self.put(row, at, header, style)

    def set_widths(self, *widths: float, first: int = 0) -> None:
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
        styles: Mapping[str, Style] | None = None,
    ) -> list[dict[str, CellRef]]:
        """A table below its headings, each row as high as its words need; answers the cells of each row by name.

        `styles` has those of the columns that are not shown as usual, by name.
        """
        self.headers(top, 0, headings)
        self.sheet.set_row(top, HEADER_POINTS)
        return [self._row(row, contents, styles=styles or {}) for row, contents in enumerate(rows, start=top + 1)]

    def _row(
        self, row: int, contents: Mapping[str, Content | FromRow], *, styles: Mapping[str, Style]
    ) -> dict[str, CellRef]:
        cells: dict[str, CellRef] = {}
        for column, (heading, made) in enumerate(contents.items()):
            content = made(cells) if callable(made) else made
            usual = WRAPPED if isinstance(content, str) else None
            cells[heading] = self.put(row, column, content, styles.get(heading, usual))
        words = ((cell.value, self.widths.get(cell.column, 0)) for cell in cells.values())
        self.fit(row, *((text, width) for text, width in words if isinstance(text, str)))
        return cells

    def fit(self, row: int, *words: tuple[str, float]) -> None:
        """Make a row as high as its words need: each with the width of its column [letters], 0 for any width."""
        lines = max((_lines(text, width=width) for text, width in words if width), default=1)
        if lines > 1:
            self.sheet.set_row(row, min(MOST_POINTS, LINE_POINTS * lines))

    def highlight(self, first: CellRef, last: CellRef, style: Style, **when: Any) -> None:
        """Show cells from the first to the last in another style where a condition holds."""
        condition = when | {"format": self.pages.workbook.add_format(dict(style))}
        self.sheet.conditional_format(first.row, first.column, last.row, last.column, condition)

    def spread(self, row: int, text: str, *, columns: int) -> None:
        """A paragraph across the first columns, its row as high as it needs."""
        self.sheet.merge_range(row, 0, row, columns - 1, "", self.pages.shown(NOTE))
        self.put(row, 0, text, NOTE)
        self.fit(row, (text, PROSE * sum(self.widths[column] for column in range(columns))))


def _lines(text: str, *, width: float) -> int:
    """How many lines words take in a column, with an indent and wide letters allowed for."""
    return sum(1 + int(max(0, len(line) - 1) // (width - 2)) for line in text.split("\n"))


class Block(Struct, kw_only=True):
    """Lines below each other: a label, one or two values, a note. It grows while a sheet is written."""

    page: Page
    column: int = 0
    row: int = HEADER_ROW
    figures: dict[str, CellRef] = field(default_factory=dict)
    """The values of the lines that were given a name."""

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
            self.page.put(self.row, self.column + 1 + len(contents), note, REMARK)
        self.row += 1
        return cells

    def one(self, label: str, content: Content, *, note: str = "", name: str = "") -> CellRef:
        """A line with one value; one with a name goes before an earlier one of that name."""
        (cell,) = self.line(label, content, note=note)
        if name:
            self.figures[name] = cell
        return cell
