"""From a located table to typed values: what each cell says, by the field whose heading stands over it.

A number, a choice, yes or no, words, a day, a name or plain text: the field says which, and this is the one place where
it is asked.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

from qc.fields.days import is_no_day
from qc.fields.field import Field, Holds, near_name, same_name
from qc.problems import quoted
from qc.readers.cells import CellKind, SheetCell
from qc.readers.located import LocatedTable
from qc.readers.number_columns import no_result, read_numbers
from qc.readers.typed_number import DecimalMark

_YES = ("yes", "y", "true", "x")
_NO = ("no", "n", "false")


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
