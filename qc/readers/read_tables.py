"""An understood table with the value of every filled cell, read by the kind of its column."""

from __future__ import annotations

import difflib
from decimal import Decimal
from typing import Any

from msgspec import Struct
from msgspec.structs import replace

from qc.fields.field import Field, Holds
from qc.readers.calendar_day import is_no_day
from qc.readers.known_tables import Entry, KnownTable
from qc.readers.names import same_name
from qc.readers.number_columns import Numbers
from qc.readers.tables import CellKind, Noted, SheetCell, shown_text

_YES = ("yes", "y", "true", "x")
_NO = ("no", "n", "false")


class ReadTable(Struct, frozen=True, kw_only=True):
    """The rows of a known table with their values, and where to note what is wrong with them."""

    known: KnownTable
    rows: tuple[Entry, ...]
    findings: Noted

    def refuse(self, entry: Entry, attribute: str, found: str, mend: str) -> None:
        """Note a problem at a field of a row, whether it is filled or not."""
        self.findings.refuse(self.known.table, self.known.place(attribute, entry), found=found, mend=mend)

    def refuse_table(self, found: str, mend: str) -> None:
        """Note a problem of the table as a whole."""
        self.findings.refuse(self.known.table, "", found=found, mend=mend)

    def refuse_column(self, attribute: str, found: str, mend: str) -> None:
        """Note a problem of a whole column at its heading."""
        place = f"{self.known.letters[attribute]}{self.known.header_row}"
        self.findings.refuse(self.known.table, place, found=found, mend=mend)

    def remark(self, cell: str, text: str) -> None:
        """Note a remark at a cell, or at the whole table when `cell` is empty."""
        self.findings.remark(self.known.table, cell, text)

    def place(self, attribute: str, entry: Entry) -> str:
        """The address at which a field of a row stands, or would stand."""
        return self.known.place(attribute, entry)

    def has(self, attribute: str) -> bool:
        """Whether the table has a column for an attribute."""
        return attribute in self.known.columns


def read_table(known: KnownTable, numbers: Numbers, findings: Noted) -> ReadTable:
    """Read every cell of a table by the kind of its column.

    Parameters
    ----------
    known : KnownTable
    numbers : dict
        The decimals of its number columns, which were read column by column.
    findings : Findings
        Where problems go; the value of a refused cell is None.
    """
    rows = tuple(
        replace(
            entry,
            values={
                attribute: _Reader(known, cell, known.columns[attribute], findings).value(numbers)
                for attribute, cell in entry.cells.items()
            },
        )
        for entry in known.entries
    )
    return ReadTable(known=known, rows=rows, findings=findings)


class _Reader(Struct, frozen=True):
    """One cell that is read by its field."""

    known: KnownTable
    cell: SheetCell
    field: Field
    findings: Noted

    def refuse(self, found: str, mend: str) -> None:
        found = f"{self.field.noun} {found}"
        self.findings.refuse(self.known.table, self.cell.address, found=found, mend=mend)

    def value(self, numbers: Numbers) -> Any:
        """The value of the cell; None (and a problem) where it cannot be what its column holds."""
        if self.field.is_number:
            return self._number(numbers.get((self.known.table.file, self.known.table.sheet, self.cell.address)))
        if self.field.holds is Holds.NAME and self.cell.kind is CellKind.DATE:
            return self.refuse(
                f"is the date {self.cell.text} (the number {self.cell.number} in a date format): "
                "the spreadsheet program turned what was typed into a date",
                f"Format the cell as text and type the {self.field.noun} again",
            )
        text = self._text()
        if text is None:
            return None
        if self.field.holds is Holds.YES_NO:
            return self._yes_no(text)
        if self.field.holds is Holds.CHOICE:
            return self._word(text)
        if self.field.holds is Holds.WORDS:
            return tuple(word.strip() for word in text.split(";") if word.strip())
        if self.field.holds is Holds.DAY and self.cell.kind is CellKind.TEXT and is_no_day(text):
            remark = f'{self.field.noun.capitalize()} "{text}" is no day of the calendar.'
            self.findings.remark(self.known.table, self.cell.address, remark)
        return text

    def _number(self, number: Decimal | None) -> Decimal | int | None:
        if number is None or self.field.holds is not Holds.WHOLE:
            return number
        words = self.field.words
        if words and str(int(number)) not in words:
            accepted = " or ".join(words)
            self.refuse(f"{int(number)} is neither {' nor '.join(words)}", f"Type {accepted}, or leave it empty")
            return None
        return int(number)

    def _text(self) -> str | None:
        """The cell as text, a number as shown, a date in ISO form; None (and a problem) when it holds no result."""
        cell, noun = self.cell, self.field.noun
        if cell.kind is CellKind.ERROR:
            self.refuse(f"is the error {cell.text}", f"Mend the formula, or type the {noun}")
            return None
        if cell.kind is CellKind.UNSAVED:
            mend = "Open the file in the spreadsheet program and save it, so that it stores the result"
            self.refuse(f"is a formula without a stored result ({cell.text})", mend)
            return None
        return shown_text(cell)

    def _yes_no(self, text: str) -> bool | None:
        if text.casefold() in (*_YES, *_NO):
            return text.casefold() in _YES
        self.refuse(f'"{text}" is neither yes nor no', "Type yes or no, or leave the cell empty")
        return None

    def _word(self, text: str) -> str | None:
        """One of the words of the field."""
        choices = list(self.field.choices or ())
        spelled = {same_name(word.replace("-", " ")): word for word in choices}
        known = spelled.get(same_name(text.replace("-", " ")))
        if known is None:
            near = difflib.get_close_matches(same_name(text), list(spelled), n=1)
            hint = f"; did you mean {spelled[near[0]]}?" if near else ""
            accepted = " or ".join((", ".join(choices[:-1]), choices[-1]))
            self.refuse(f'"{text}" is not known', f"Type {accepted}{hint}")
        return known
