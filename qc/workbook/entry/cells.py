"""Writing entry cells: the value or an empty unlocked cell, the drop-down list, the input check, the hint."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from qc.fields.entries import Cell, Row
from qc.fields.field import Field, Holds

if TYPE_CHECKING:
    from xlsxwriter.format import Format
    from xlsxwriter.worksheet import Worksheet

    from qc.workbook.entry.look import Look

# What a spreadsheet takes as the title and the text of a hint or a refusal.
_TITLE_LENGTH = 32
_MESSAGE_LENGTH = 255

Lists = Mapping[str, str | list[str]]
"""Lists of words that stand elsewhere, by the name under which a field offers them: their range, or the words."""


def is_typed_as_number(field: Field) -> bool:
    """Whether the cells of a field hold a number that is typed in digits; one of a few is picked as a word."""
    return field.is_number and not field.words


def entry_format(look: Look, field: Field) -> Format:
    """The format of an entry cell; words are kept as text, so that no name turns into a date or a number."""
    return look.entry(number_format=field.shown) if is_typed_as_number(field) else look.wrapped_entry()


def write_entry(sheet: Worksheet, *, row: int, column: int, value: Cell, shown: Format, dated: Format) -> None:
    """One entry cell. Text stays text whatever it looks like, so that nothing typed becomes a formula or a link."""
    if value is None:
        sheet.write_blank(row, column, None, shown)
    elif isinstance(value, date):
        # What a spreadsheet makes of 2/7 or 2-7; kept because that is a slip people need to see refused.
        sheet.write_datetime(row, column, datetime(value.year, value.month, value.day), dated)
    elif isinstance(value, Decimal | int):
        sheet.write_number(row, column, float(value), shown)
    else:
        sheet.write_string(row, column, str(value), shown)


def write_column(
    sheet: Worksheet,
    *,
    look: Look,
    field: Field,
    column: int,
    first_row: int,
    last_row: int,
    rows: Sequence[Row],
    check: dict[str, Any],
) -> None:
    """One column of entries from the first to the last row, with its input check."""
    shown, dated = entry_format(look, field), look.dated
    for row in range(first_row, last_row + 1):
        place = row - first_row
        value = rows[place].get(field.heading) if place < len(rows) else None
        if isinstance(value, int) and not is_typed_as_number(field):
            value = str(value)
        write_entry(sheet, row=row, column=column, value=value, shown=shown, dated=dated)
    sheet.data_validation(first_row, column, last_row, column, check)


def input_check(field: Field, lists: Lists) -> dict[str, Any]:
    """The data validation of a field: what is accepted, the hint when the cell is chosen, the refusal with its mend.

    The range of numbers is the one that the reader holds them against.
    """
    check: dict[str, Any] = {
        "input_title": field.heading[:_TITLE_LENGTH],
        "input_message": field.hint[:_MESSAGE_LENGTH],
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
        check |= {"validate": "list", "source": source, "show_error": strict, "error_message": accepted}
        return check
    return check | {"validate": "any"}
