"""A located table: rows of cells, each under the field that it fills, wherever in the file it stands.

Whatever finds a table gives one of these; whatever follows asks for fields and does not see how it was found.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from decimal import Decimal
from itertools import groupby
from typing import Any

from msgspec import Struct

from qc.batch import counting_order
from qc.fields.field import Field, Sheet, same_name
from qc.problems import quoted
from qc.readers.cells import CellKind, Noted, SheetCell, SheetTable


class Entry(Struct, frozen=True, kw_only=True):
    """One row below the headings: its filled cells by attribute, and the values that are read from them.

    `values` is filled cell by cell as the columns are read; an empty cell and a refused one have no value.
    """

    number: int
    cells: dict[str, SheetCell]
    values: dict[str, Any]

    def cell(self, attribute: str) -> SheetCell | None:
        """The cell of an attribute, or None when it is empty or there is no such column."""
        return self.cells.get(attribute)

    def value(self, attribute: str) -> Any:
        """The value of an attribute; None when it is empty, was refused, or there is no such column."""
        return self.values.get(attribute)

    def as_typed(self, attribute: str, value: Decimal) -> str:
        """A number as it stands in its cell, where that is a plain number; the value that was read otherwise."""
        cell = self.cell(attribute)
        text = "" if cell is None or cell.kind is not CellKind.TEXT else cell.typed
        return text if re.fullmatch(r"[0-9][0-9.,eE+-]*", text) else f"{value:f}"


class LocatedTable(Struct, frozen=True, kw_only=True):
    """A table whose cells stand under the fields that they fill, and where to note what is wrong with it.

    Parameters
    ----------
    columns, letters : dict
        The field of each attribute that has a column, and how the address of that column begins where it is one.
    entries : tuple of Entry
    header : int
        The number of the header row, 0 where there is none.
    missing, mend : str
        What to say beside a column that is missing, and beside its mend.
    """

    table: SheetTable
    sheet: Sheet
    columns: dict[str, Field]
    letters: dict[str, str]
    entries: tuple[Entry, ...]
    findings: Noted
    header: int = 0
    missing: str = ""
    mend: str = ""

    def has(self, attribute: str) -> bool:
        """Whether the table has a column for an attribute."""
        return attribute in self.columns

    def place(self, attribute: str, entry: Entry) -> str:
        """The address at which an attribute of a row stands, or would stand."""
        cell = entry.cell(attribute)
        if cell is not None:
            return cell.address
        return f"{self.letters[attribute]}{entry.number}" if attribute in self.letters else f"row {entry.number}"

    def refuse_at(self, place: str, found: str, mend: str) -> None:
        """Note a problem at an address."""
        self.findings.refuse(self.table, place, found=found, mend=mend)

    def refuse(self, entry: Entry, attribute: str, found: str, mend: str) -> None:
        """Note a problem at a field of a row, whether it is filled or not."""
        self.refuse_at(self.place(attribute, entry), found, mend)

    def refuse_column(self, attribute: str, found: str, mend: str) -> None:
        """Note a problem of a whole column at its heading; of one that stands in several places, of the table."""
        letters = self.letters.get(attribute, "")
        self.refuse_at(f"{letters}{self.header}" if letters else "", found, mend)

    def refuse_missing(self, found: str, mend: str) -> None:
        """Note that a column is missing, with what may stand in its place."""
        self.refuse_at("", found + self.missing, mend + self.mend)

    def remark(self, place: str, text: str) -> None:
        """Note a remark at a cell, or at the whole table when `place` is empty."""
        self.findings.remark(self.table, place, text)

    def remark_on(self, attribute: str, entries: Sequence[Entry], text: str) -> None:
        """Note a remark on a field of some rows: at its cell where it is one row, at the whole table otherwise."""
        self.remark(self.place(attribute, entries[0]) if len(entries) == 1 else "", text)

    def name_in(self, entry: Entry, attribute: str) -> str | None:
        """The name in a row; None where it was refused, or (and a problem) where there is none."""
        if entry.cell(attribute) is None:
            noun = self.sheet.field(attribute).noun
            beside = [f", but {cell.quoted} stands in {cell.address}" for cell in entry.cells.values()]
            found = f"the row has no {noun}{beside[0] if beside else ''}"
            self.refuse(entry, attribute, found, f"Type the name of the {noun}, or clear the row")
        name: str | None = entry.value(attribute)
        return name

    def named_once(self, entries: Iterable[Entry]) -> Iterator[Entry]:
        """Those of the rows that have a name of their own; the others are refused."""
        noun = self.sheet.field("name").noun
        first: dict[str, Entry] = {}
        for entry in entries:
            name = self.name_in(entry, "name")
            if name is None:
                continue
            earlier = first.setdefault(same_name(name), entry)
            if earlier is entry:
                yield entry
                continue
            before, place = self.place("name", earlier), self.place("name", entry)
            mend = f"Give each {noun} its own name in {before} and {place}"
            self.refuse_at(place, f"{noun} {quoted(name)} stands again, after {before}", mend)


def in_runs(numbers: Sequence[int]) -> str:
    """Ascending numbers written short.

    Examples
    --------
    >>> in_runs([3, 4, 5, 9])
    '3 to 5, 9'
    """
    # In a run of successive numbers each lies as far from its place in the list as the one before.
    runs = [list(run) for _, run in groupby(enumerate(numbers), key=lambda one: one[1] - one[0])]
    ends = [(run[0][1], run[-1][1]) for run in runs]
    return ", ".join(str(first) if first == last else f"{first} to {last}" for first, last in ends)


def names_in_short(names: Sequence[str], *, most: int = 6) -> str:
    """A list of unit names that stays readable, in the order in which people count.

    Examples
    --------
    >>> names_in_short(["10", "2"])
    'units 2, 10'
    """
    names = sorted(names, key=counting_order)
    word = "unit" if len(names) == 1 else "units"
    if len(names) <= most:
        return f"{word} {', '.join(names)}"
    return f"{word} {', '.join(names[:most])} and {len(names) - most} more"
