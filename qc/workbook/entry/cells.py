"""Columns of entries: each cell with its value or empty and unlocked, its drop-down list, input check and hint."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from qc.expr.parts import CellRef, Expression
from qc.fields.entries import Cell, Row
from qc.fields.field import Field, Holds, Sheet
from qc.workbook.page import BOXED, GREY, HEADER_ROW, Cells, Page, Style

# Rows of entries are a little higher than others, for those who fill them in by hand [points].
ROW_HEIGHT = 21.0
_HEADER_HEIGHT = 42
_LIVE_WIDTH = 13.0

ENTRY: Style = {**BOXED, "bg_color": "#FFFDF0", "locked": False}
# Words are kept as text, so that no name turns into a date or a number.
_MOST_BY_HAND = 2000
"""Rows that somebody may fill in by hand."""
_WORDS: Style = {**ENTRY, "num_format": "@", "text_wrap": True, "align": "left", "indent": 1}
_DATED: Style = {**ENTRY, "num_format": "yyyy-mm-dd"}
LIVE_HEADER: Style = {**GREY, "italic": True, "text_wrap": True, "indent": 1}

Lists = Mapping[str, str | list[str]]
"""Lists of words that stand elsewhere, by the name under which a field offers them: their range, or the words."""


def is_typed_as_number(field: Field) -> bool:
    """Whether the cells of a field hold a number that is typed in digits; one of a few is picked as a word."""
    return field.is_number and not field.words


def put_entry(page: Page, row: int, column: int, *, field: Field, value: Cell) -> CellRef:
    """One entry cell, its input check not yet on it."""
    if isinstance(value, date):
        # What a spreadsheet makes of 2/7 or 2-7; kept because people need to see that it is refused.
        shown = page.pages.shown(_DATED)
        page.sheet.write_datetime(row, column, datetime(value.year, value.month, value.day), shown)
        return CellRef(sheet=page.name, row=row, column=column, value=None)
    content = str(value) if isinstance(value, int) and not is_typed_as_number(field) else value
    return page.put(row, column, content, _entry_style(field, value))


def _entry_style(field: Field, value: Cell) -> Style:
    return {**ENTRY, "num_format": _shown(field, value)} if is_typed_as_number(field) else _WORDS


def _shown(field: Field, value: Cell) -> str:
    """How a number is shown: with as many decimals as were typed; a stored number keeps no zeros at its end."""
    places = -int(value.as_tuple().exponent) if isinstance(value, Decimal) else 0
    return "0." + "0" * places if places > 0 else field.shown


def write_entries(
    page: Page,
    known: Sheet,
    rows: Sequence[Row],
    *,
    count: int,
    lists: Lists,
    top: int = HEADER_ROW,
    free: Mapping[str, int] | None = None,
    checks: Mapping[str, dict[str, Any]] | None = None,
) -> list[dict[str, CellRef]]:
    """A table of entries with so many rows below its header at `top`; answers the cells of each row by attribute.

    `free` says how many columns are left free behind an attribute, `checks` which has an input check of its own.
    """
    cells: list[dict[str, CellRef]] = [{} for _ in range(count)]
    padded = [*rows, *({} for _ in range(count - len(rows)))]
    # Of a table that nobody fills in by hand the empty cells have the look of their column, and are not written.
    long = count > _MOST_BY_HAND
    page.sheet.set_default_row(ROW_HEIGHT)
    page.sheet.set_row(top, _HEADER_HEIGHT)
    column = 0
    for field in known.entered:
        page.set_widths(field.width, first=column)
        page.headers(top, column, [field.heading])
        if long:
            page.sheet.set_column(column, column, field.width, page.pages.shown(_entry_style(field, None)))
        for row, (entry, found) in enumerate(zip(padded, cells, strict=True), start=top + 1):
            value = entry.get(field.heading)
            found[field.attribute] = (
                CellRef(sheet=page.name, row=row, column=column, value=None)
                if long and value is None
                else put_entry(page, row, column, field=field, value=value)
            )
        check = (checks or {}).get(field.attribute) or input_check(field, lists)
        page.sheet.data_validation(top + 1, column, top + count, column, check)
        column += 1 + (free or {}).get(field.attribute, 0)
    return cells


class _Loose(dict[str, CellRef]):
    """The cells of a row, each loose when it is asked for: a formula asks for a few."""

    def __init__(self, cells: Cells) -> None:
        super().__init__()
        self._cells = cells

    def __missing__(self, name: str) -> CellRef:
        return self._cells[name].loose


def write_live(
    page: Page,
    cells: Sequence[dict[str, CellRef]],
    heading: str,
    formula: Callable[[Cells], Expression],
    *,
    style: Style,
    behind: str = "",
) -> None:
    """A column of live figures behind another one, or the last; each cell is added to its row by the heading."""
    first = cells[0][behind or list(cells[0])[-1]]
    page.set_widths(_LIVE_WIDTH, first=first.column + 1)
    page.headers(first.row - 1, first.column + 1, [heading], LIVE_HEADER)
    for row, found in enumerate(cells, start=first.row):
        found[heading] = page.put(row, first.column + 1, formula(_Loose(found)), style)


def input_check(field: Field, lists: Lists) -> dict[str, Any]:
    """The data validation of a field: what is accepted, the hint when the cell is chosen, the refusal with its mend.

    The range of numbers is the one that the reader holds them against.
    """
    check: dict[str, Any] = {
        "input_title": field.heading,
        "input_message": field.hint,
        "ignore_blank": True,
        "error_title": "Not accepted",
    }
    if is_typed_as_number(field) and field.plausible is not None:
        # As formulas of plain digits: 1e-07 is no number to every spreadsheet program.
        floor, most = field.plausible.ends
        least, whole = "0" if field.zero else floor, field.holds is Holds.WHOLE
        kind = "a whole number, in digits" if whole else "a number in digits"
        return check | {
            "validate": "integer" if whole else "decimal",
            "criteria": "between",
            "minimum": f"={least}",
            "maximum": f"={most}",
            "error_message": f"Type {kind}, from {least} to {most}. No letters, no unit.",
        }
    if field.offered or field.picked:
        strict = not field.offered and field.holds not in (Holds.TEXT, Holds.WORDS)
        source = lists[field.offered] if field.offered else list(field.picked)
        accepted = f"Pick one of: {', '.join(field.picked)}." if strict else ""
        return check | {"validate": "list", "source": source, "show_error": strict, "error_message": accepted}
    return check | {"validate": "any"}
