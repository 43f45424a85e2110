"""Writing entry cells: the value or an empty unlocked cell, the drop-down list, the input check, the hint."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from qc.workbook.entry.columns import Entry, Kind
from qc.workbook.entry.entries import Cell, Row

if TYPE_CHECKING:
    from xlsxwriter.format import Format
    from xlsxwriter.worksheet import Worksheet

    from qc.workbook.entry.look import Look

# What a spreadsheet takes as the title and the text of a hint or a refusal.
_TITLE_LENGTH = 32
_MESSAGE_LENGTH = 255


def entry_format(look: Look, entry: Entry) -> Format:
    """The format of an entry cell; words are kept as text, so that no name turns into a date or a number."""
    if entry.kind in (Kind.TEXT, Kind.SUGGESTION, Kind.CHOICE):
        return look.wrapped_entry()
    return look.entry(number_format=entry.number_format)


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
    entry: Entry,
    column: int,
    first_row: int,
    last_row: int,
    rows: Sequence[Row],
    check: dict[str, Any] | None = None,
) -> None:
    """One column of entries from the first to the last row, with its input check or the one given."""
    shown, dated = entry_format(look, entry), look.dated
    for row in range(first_row, last_row + 1):
        place = row - first_row
        value = rows[place].get(entry.header) if place < len(rows) else None
        if entry.kind is Kind.CHOICE and isinstance(value, int):
            value = str(value)
        write_entry(sheet, row=row, column=column, value=value, shown=shown, dated=dated)
    # A list that stands on another sheet is tied to the column by whoever knows where it stands.
    if entry.kind is not Kind.SUGGESTION or entry.words:
        sheet.data_validation(first_row, column, last_row, column, check or input_check(entry))


def input_check(entry: Entry, *, source: str | None = None) -> dict[str, Any]:
    """The data validation of an entry: what is accepted, the hint when the cell is chosen, the refusal with its mend.

    `source` is the range of a drop-down list that stands on a sheet; otherwise the words of the entry are taken.
    """
    check: dict[str, Any] = {
        "input_title": entry.header[:_TITLE_LENGTH],
        "input_message": entry.hint[:_MESSAGE_LENGTH],
        "ignore_blank": True,
    }
    refused = "Not accepted"
    if entry.kind is Kind.TEXT:
        return check | {"validate": "any"}
    if entry.kind is Kind.WHOLE:
        return check | {
            "validate": "integer",
            "criteria": "between",
            "minimum": 1,
            "maximum": int(entry.most),
            "error_title": refused,
            "error_message": f"Type a whole number from 1 to {int(entry.most)}, in digits.",
        }
    if entry.kind is Kind.AMOUNT:
        return check | {
            "validate": "decimal",
            "criteria": "between",
            # The least amount a decimal check can tell from nought; balances show nothing near it.
            "minimum": "=0.000001",
            "maximum": float(entry.most),
            "error_title": refused,
            "error_message": f"Type a number in digits, more than 0 and at most {entry.most}. No letters, no unit.",
        }
    if entry.kind is Kind.FINDING:
        return check | {
            "validate": "decimal",
            "criteria": "between",
            "minimum": 0,
            "maximum": float(entry.most),
            "error_title": refused,
            "error_message": f"Type a number in digits, from 0 to {entry.most}. No letters, no unit.",
        }
    strict = entry.kind is Kind.CHOICE
    check |= {"validate": "list", "source": source if source is not None else list(entry.words), "show_error": strict}
    if strict:
        check |= {"error_title": refused, "error_message": f"Pick one of: {', '.join(entry.words)}."}
    return check
