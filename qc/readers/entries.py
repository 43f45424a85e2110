"""An understood table, asked field by field: names, free text, yes or no, one of a few words, numbers."""

from __future__ import annotations

import difflib
from decimal import Decimal
from enum import StrEnum
from typing import TypeVar

from msgspec import Struct

from qc.readers.columns import Holds
from qc.readers.known_tables import Entry, KnownTable
from qc.readers.number_columns import NumberColumn, Numbers
from qc.readers.tables import Cell, Findings, Kind

_YES = ("yes", "y", "true", "x")
_NO = ("no", "n", "false")
Word = TypeVar("Word", bound=StrEnum)


def same_name(name: str) -> str:
    """The form in which two names are compared: case and spaces make no difference.

    Examples
    --------
    >>> same_name(" Unit  A1 ") == same_name("unit a1")
    True
    """
    return " ".join(name.split()).casefold()


def near_name(name: str, known: list[str]) -> str | None:
    """The known name that is nearest, or None."""
    spelled = {same_name(one): one for one in known}
    near = difflib.get_close_matches(same_name(name), list(spelled), n=1, cutoff=0.6)
    return spelled[near[0]] if near else None


class Entries(Struct, frozen=True, kw_only=True):
    """The rows of a known table with the numbers that were read from it."""

    known: KnownTable
    numbers: Numbers
    findings: Findings

    @property
    def rows(self) -> tuple[Entry, ...]:
        """The rows below the headings that hold something known."""
        return self.known.entries

    def refuse(self, entry: Entry, field: str, *, found: str, mend: str) -> None:
        """Note a problem at a field of a row, whether it is filled or not."""
        self.findings.refuse(self.known.table, self.known.place(field, entry), found=found, mend=mend)

    def remark(self, cell: str, text: str) -> None:
        """Note a remark at a cell, or at the whole table when `cell` is empty."""
        self.findings.remark(self.known.table, cell, text)

    def number(self, entry: Entry, field: str) -> Decimal | None:
        """The decimal of a field; None when it is empty or was refused."""
        cell = entry.cell(field)
        if cell is None:
            return None
        return self.numbers.get((self.known.table.file, self.known.table.sheet, cell.address))

    def whole(self, entry: Entry, field: str) -> int | None:
        """The whole number of a field; None when it is empty or was refused."""
        number = self.number(entry, field)
        return None if number is None else int(number)

    def text(self, entry: Entry, field: str) -> str | None:
        """The text of a field without the blanks around it; None when it is empty or was refused."""
        cell = entry.cell(field)
        if cell is None:
            return None
        return self.shown(cell, self.known.columns[field].noun)

    def shown(self, cell: Cell, noun: str) -> str | None:
        """A cell as text, a number as shown, a date in ISO form; None (and a problem) when it holds no result."""
        if cell.kind is Kind.ERROR:
            self._refuse_cell(cell, f"{noun} is the error {cell.text}", f"Mend the formula, or type the {noun}")
        elif cell.kind is Kind.UNSAVED:
            self._refuse_cell(
                cell,
                f"{noun} is a formula without a stored result ({cell.text})",
                "Open the file in the spreadsheet program and save it, so that it stores the result",
            )
        elif cell.kind is Kind.PERCENT and cell.number is not None:
            return f"{cell.number.scaleb(2):f} %"
        else:
            return cell.text.strip()
        return None

    def name(self, entry: Entry, field: str) -> str | None:
        """A name that others refer to; a date is refused, because the spreadsheet made it of something else."""
        cell = entry.cell(field)
        if cell is not None and cell.kind is Kind.DATE:
            noun = self.known.columns[field].noun
            self._refuse_cell(
                cell,
                f"{noun} is the date {cell.text} (the number {cell.number} in a date format): "
                "the spreadsheet program turned what was typed into a date",
                f"Format the cell as text and type the {noun} again",
            )
            return None
        return self.text(entry, field)

    def yes_no(self, entry: Entry, field: str) -> bool | None:
        """Yes or no; None when the field is empty or was refused."""
        cell = entry.cell(field)
        text = self.text(entry, field)
        if cell is None or text is None:
            return None
        if text.casefold() in _YES:
            return True
        if text.casefold() in _NO:
            return False
        noun = self.known.columns[field].noun
        self._refuse_cell(cell, f'{noun} "{text}" is neither yes nor no', "Type yes or no, or leave the cell empty")
        return None

    def word(self, entry: Entry, field: str, words: type[Word]) -> Word | None:
        """One of a few words; None when the field is empty or was refused."""
        cell = entry.cell(field)
        return None if cell is None else self.word_of(cell, self.known.columns[field].noun, words)

    def word_of(self, cell: Cell, noun: str, words: type[Word]) -> Word | None:
        """The word in a cell; None (and a problem) when it is none of those known."""
        text = self.shown(cell, noun)
        if text is None:
            return None
        spelled = {same_name(word.value.replace("-", " ")): word for word in words}
        known = spelled.get(same_name(text.replace("-", " ")))
        if known is None:
            near = difflib.get_close_matches(same_name(text), list(spelled), n=1)
            hint = f"; did you mean {spelled[near[0]].value}?" if near else ""
            accepted = " or ".join((", ".join(word.value for word in list(words)[:-1]), list(words)[-1].value))
            self._refuse_cell(cell, f'{noun} "{text}" is not known', f"Type {accepted}{hint}")
        return known

    def _refuse_cell(self, cell: Cell, found: str, mend: str) -> None:
        self.findings.refuse(self.known.table, cell.address, found=found, mend=mend)


def number_columns(known: KnownTable) -> list[NumberColumn]:
    """The filled number columns of a table."""
    return [
        NumberColumn(
            table=known.table,
            column=column,
            cells=tuple(cell for entry in known.entries if (cell := entry.cell(field)) is not None),
        )
        for field, column in known.columns.items()
        if column.holds in (Holds.NUMBER, Holds.WHOLE)
    ]
