"""From a located table to typed values: what each cell says, by the field whose heading stands over it.

A number, a choice, yes or no, words, a day, a name or plain text: the field says which, and this is the one place where
it is asked.
"""

from __future__ import annotations

import re
from collections.abc import Collection
from datetime import date
from typing import Any

from qc.fields.field import Field, Holds, near_name, same_name
from qc.problems import quoted
from qc.readers.cells import CellKind, SheetCell
from qc.readers.located import LocatedTable
from qc.readers.number_columns import no_result, read_numbers
from qc.readers.typed_number import DecimalMark

_YES = ("yes", "y", "true", "x")
_NO = ("no", "n", "false")
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_FIGURES = re.compile(r"(\d{1,4})([./-])\s?(\d{1,2})\2\s?(\d{1,4})", re.ASCII)
_DAY_FIRST = re.compile(r"(\d{1,2})(?:st|nd|rd|th|\.)?[ -]([a-z]{3,9})\.?,?[ -](\d{4}|\d{2})", re.ASCII)
_MONTH_FIRST = re.compile(r"([a-z]{3,9})\.? (\d{1,2})(?:st|nd|rd|th)?,? (\d{4})", re.ASCII)
_TIME = re.compile(r"[t ,]\s*\d{1,2}:\d{2}.*", re.ASCII)


def read_values(tables: Collection[LocatedTable], decimal: DecimalMark | None) -> None:
    """Read every cell of the tables by the field of its column into the values of its row.

    Parameters
    ----------
    tables : collection of LocatedTable
    decimal : "comma", "point" or None
        The decimal mark that the call names.
    """
    read_numbers(tables, decimal)
    for table in tables:
        for entry in table.entries:
            for attribute, cell in entry.cells.items():
                field = table.columns[attribute]
                if not field.is_number and (value := _value(table, cell, field)) is not None:
                    entry.values[attribute] = value


def _value(table: LocatedTable, cell: SheetCell, field: Field) -> Any:
    """The value of a cell that holds no number; None (and a problem) where it cannot be what its column holds."""

    def refuse(found: str, mend: str) -> None:
        table.refuse_at(cell.address, f"{field.noun} {found}", mend)

    text, said = cell.shown, quoted(cell.shown)
    if (refusal := no_result(cell, field)) is not None:
        return refuse(*refusal)
    if field.holds is Holds.YES_NO:
        if (answer := yes_or_no(text)) is None:
            refuse(f"{said} is neither yes nor no", "Type yes or no, or leave the cell empty")
        return answer
    if field.holds is Holds.CHOICE:
        choices = list(field.choices or ())
        spelled = {same_name(choice.replace("-", " ")): choice for choice in choices}
        word = spelled.get(same_name(text.replace("-", " ")))
        if word is None:
            near = near_name(text, choices)
            hint = f"; did you mean {near}?" if near else ""
            refuse(f"{said} is not known", f"Type {', '.join(choices[:-1])} or {choices[-1]}{hint}")
        return word
    if field.holds is Holds.WORDS:
        return tuple(word.strip() for word in text.split(";") if word.strip())
    if field.holds is Holds.DAY and cell.kind is CellKind.TEXT and is_no_day(text):
        table.remark(cell.address, f"{field.noun.capitalize()} {said} is no day of the calendar.")
    return text


def yes_or_no(text: str) -> bool | None:
    """Whether a text says yes; None when it says neither yes nor no."""
    said = text.casefold()
    return said in _YES if said in (*_YES, *_NO) else None


def is_no_day(text: str) -> bool:
    """Whether a text is written like a date and no reading of it is a day of the calendar.

    Day, month and year may stand in any order that is in use; a text that is not written like a date is no such text.

    Examples
    --------
    >>> is_no_day("31.02.2026"), is_no_day("28.02.2026"), is_no_day("02/28/2026"), is_no_day("on a Monday")
    (True, False, False, False)
    """
    readings = _readings(_TIME.sub("", " ".join(text.split()).casefold()))
    return bool(readings) and not any(_is_day(*reading) for reading in readings)


def _readings(plain: str) -> list[tuple[int, int, int]]:
    """Year, month and day of every way to read a text; none when it is not written like a date."""
    if match := _FIGURES.fullmatch(plain):
        first, second, third = (match.group(place) for place in (1, 3, 4))
        readings = []
        if len(first) != 3 and len(third) <= 2:
            readings.append((int(first), int(second), int(third)))
        if len(first) <= 2 and len(third) in (2, 4):
            readings += [(int(third), int(second), int(first)), (int(third), int(first), int(second))]
        return readings
    if match := _DAY_FIRST.fullmatch(plain):
        day, month, year = match.groups()
    elif match := _MONTH_FIRST.fullmatch(plain):
        month, day, year = match.groups()
    else:
        return []
    return [(int(year), _MONTHS.index(month[:3]) + 1, int(day))] if month[:3] in _MONTHS else []


def _is_day(year: int, month: int, day: int) -> bool:
    try:
        date(year if year > 99 else 2000 + year, month, day)
    except ValueError:
        return False
    return True
