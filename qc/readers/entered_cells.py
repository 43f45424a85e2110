"""What was entered, cell by cell, under a key that another entry of the same batch shares.

A row is found again by what it is about (its unit, its field, its active and part), never by where it stands, and a
cell by the field that its heading names: "Mass (g)" and "Mass (mg)" are one field, in g.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from decimal import Decimal
from pathlib import Path

from msgspec import Struct
from msgspec.structs import replace

from qc.problems import InputProblems, Notice, Problem
from qc.readers.columns import BARE_UNITS, SHEETS, Column, KnownSheet, plain
from qc.readers.entries import Entries, number_columns, same_name
from qc.readers.facts import fact_columns, filled_fields
from qc.readers.guards import UnusableFileError
from qc.readers.known_tables import Entry, KnownTable, known_table
from qc.readers.number_columns import Numbers, read_numbers
from qc.readers.options import ReadOptions
from qc.readers.read import read_book
from qc.readers.tables import Book, Cell, Findings, Kind
from qc.readers.typed_number import NotANumberError, written

KEYS: Mapping[str, tuple[str, ...]] = {
    "Actives": ("active",),
    "Units": ("unit",),
    "Assay": ("unit", "active", "part"),
    "Cavities": ("mould", "cavity"),
    "Checks": ("check",),
}
CONTENTS = ("content_mg", "content_percent")
WHOLE = "whole"

Value = Decimal | bool | str


class EnteredCell(Struct, frozen=True, kw_only=True):
    """One filled cell.

    Parameters
    ----------
    field : str
        What the cell fills; the same for headings that say the same thing.
    column : str
        The heading as known, for example "Mass (g)".
    place : str
        Its address, with the file of a folder before it.
    shown : str
        What stands there.
    value : Decimal, bool or str
        What is compared: an exact decimal in the unit of the field, yes or no, or trimmed text.
    """

    field: str
    column: str
    place: str
    shown: str
    value: Value

    stored_number: bool = False
    """Whether the file stores a number here, whatever the column holds."""

    def says_the_same(self, other: EnteredCell) -> bool:
        """Whether two cells hold the same entry: numbers as exact decimals, texts letter by letter."""
        if isinstance(self.value, str) and isinstance(other.value, str):
            return self.value == other.value or _one_stored_as_text(self, other) or _one_stored_as_text(other, self)
        return type(self.value) is type(other.value) and self.value == other.value


class EnteredRow(Struct, frozen=True, kw_only=True):
    """One row under its key, which rows of replicates share.

    `empty_places` gives, field by field, the address at which a cell stands or would stand.
    """

    sheet: str
    key: tuple[str, ...]
    name: str
    place: str
    cells: tuple[EnteredCell, ...]
    empty_places: Mapping[str, str]

    def cell(self, field: str) -> EnteredCell | None:
        """The cell of a field, None when it is empty."""
        return next((cell for cell in self.cells if cell.field == field), None)


class Entered(Struct, frozen=True, kw_only=True):
    """Everything that was entered in known places of one input.

    `unread` lists the cells in which a number was expected and none could be read; they are compared as text.
    """

    file: str
    rows: tuple[EnteredRow, ...]
    notices: tuple[Notice, ...]
    unread: tuple[Problem, ...]


def read_entered(path: Path, *, options: ReadOptions) -> Entered:
    """Read what was entered, without asking whether it makes a batch.

    Parameters
    ----------
    path : Path
        Any input that a batch is read from.
    options : ReadOptions
        The decimal mark and the separator, where the input leaves them open.

    Raises
    ------
    InputProblems
        When the input cannot be opened, or its sheets and headings cannot be told apart.
    """
    findings = Findings()
    try:
        book = read_book(path, options=options, findings=findings)
    except UnusableFileError as error:
        whole = Problem(file=path.name, sheet="", cell="", found=str(error), mend=error.mend)
        raise InputProblems([*findings.problems, whole]) from error
    known = _known_tables(book, findings)
    batch = known.get("Batch")
    filled = filled_fields(batch, findings) if batch else {}
    if not findings.problems and not any(table.entries for table in known.values()):
        findings.problems.append(
            Problem(
                file=book.file,
                sheet="",
                cell="",
                found="there is no entry under a known heading",
                mend="Give a workbook, table or folder of tables with entries",
            )
        )
    if findings.problems:
        raise InputProblems(findings.problems)
    columns = [column for name, table in known.items() if name != "Batch" for column in number_columns(table)]
    if batch:
        columns += fact_columns(batch, filled)
    unread = Findings()
    numbers = read_numbers(columns, options.decimal, unread)
    rows: list[EnteredRow] = _facts(batch, filled, numbers) if batch else []
    for name, table in known.items():
        if name == "Batch":
            continue
        units_and_contents = _split_contents(table) if book.bare else [(name, table.entries)]
        for sheet, entries in units_and_contents:
            rows += _rows(sheet, table, entries, numbers)
    return Entered(
        file=book.file,
        rows=tuple(_with_only_active(rows)),
        notices=tuple(findings.notices),
        unread=tuple(unread.problems),
    )


def _known_tables(book: Book, findings: Findings) -> dict[str, KnownTable]:
    tables: dict[str, KnownTable] = {}
    for table in book.tables:
        sheet: KnownSheet | None = BARE_UNITS if book.bare else SHEETS.get(plain(table.name))
        if sheet is None:
            continue
        if sheet.name in tables:
            findings.refuse(table, "", found=f"the {sheet.name} sheet stands twice", mend="Keep one of the two")
            continue
        known = known_table(table, sheet, findings)
        if known is not None:
            tables[sheet.name] = known
    return tables


def _facts(known: KnownTable, filled: Mapping[str, tuple[Column, Cell]], numbers: Numbers) -> list[EnteredRow]:
    """One row a known field of the Batch sheet; a field without a value is the same as no field."""
    rows = []
    for field, (column, cell) in filled.items():
        place = _place(known, cell.address)
        number = numbers.get((known.table.file, known.table.sheet, cell.address))
        entered = EnteredCell(
            field="value",
            column="Value",
            place=place,
            shown=_shown(cell),
            value=_shown(cell) if number is None else number,
            stored_number=cell.kind is Kind.NUMBER,
        )
        rows.append(
            EnteredRow(
                sheet="Batch",
                key=(field,),
                name=column.heading,
                place=place,
                cells=(entered,),
                empty_places={},
            )
        )
    return rows


def _split_contents(known: KnownTable) -> list[tuple[str, tuple[Entry, ...]]]:
    """A bare table as the two sheets it stands for: its units, and the assays of whole units beside them."""
    units = tuple(
        Entry(number=entry.number, cells={field: cell for field, cell in entry.cells.items() if field not in CONTENTS})
        for entry in known.entries
    )
    assays = tuple(
        Entry(
            number=entry.number,
            cells={field: cell for field, cell in entry.cells.items() if field in ("unit", *CONTENTS)},
        )
        for entry in known.entries
        if any(entry.cell(field) for field in CONTENTS)
    )
    return [("Units", units), ("Assay", assays)]


def _rows(sheet: str, known: KnownTable, entries: Sequence[Entry], numbers: Numbers) -> list[EnteredRow]:
    asked = Entries(known=known, numbers=numbers, findings=Findings())
    keys = KEYS[sheet]
    rows = []
    for entry in entries:
        texts = [_key_text(entry, field) for field in keys]
        key = tuple(same_name(text) for text in texts)
        cells = tuple(_cell(asked, entry, field, cell) for field, cell in entry.cells.items() if field not in keys)
        rows.append(
            EnteredRow(
                sheet=sheet,
                key=key,
                name=", ".join(text for text in texts if text) or "no name",
                place=_place(known, f"row {entry.number}"),
                cells=cells,
                empty_places={field: _place(known, known.place(field, entry)) for field in known.columns},
            )
        )
    return rows


def _key_text(entry: Entry, field: str) -> str:
    cell = entry.cell(field)
    text = "" if cell is None else _shown(cell)
    # An assay without a part was made on the whole unit.
    return text or (WHOLE if field == "part" else "")


def _cell(asked: Entries, entry: Entry, field: str, cell: Cell) -> EnteredCell:
    column = asked.known.columns[field]
    value: Value | None = asked.number(entry, field) if column.is_number else None
    if field == "test_sample":
        value = asked.yes_no(entry, field)
    shown = _shown(cell)
    return EnteredCell(
        field=field,
        column=column.heading,
        place=_place(asked.known, cell.address),
        shown=shown,
        value=shown if value is None else value,
        stored_number=cell.kind is Kind.NUMBER,
    )


def _with_only_active(rows: Sequence[EnteredRow]) -> list[EnteredRow]:
    """The rows, an assay that names no active under the only active there is: naming it then is left to choice."""
    named = {row.key[0] for row in rows if row.sheet == "Actives"}
    named |= {row.key[1] for row in rows if row.sheet == "Assay"} - {""}
    if len(named) != 1:
        return list(rows)
    (only,) = named
    return [
        replace(row, key=(row.key[0], only, row.key[2])) if row.sheet == "Assay" and not row.key[1] else row
        for row in rows
    ]


def _shown(cell: Cell) -> str:
    if cell.kind is Kind.PERCENT and cell.number is not None:
        return f"{cell.number.scaleb(2):f} %"
    return cell.text.strip()


def _place(known: KnownTable, address: str) -> str:
    # In a folder each sheet is a file of its own; in a workbook the sheet is named beside the key already.
    return f"{known.table.file} {address}" if known.table.separator and known.table.sheet else address


def _one_stored_as_text(stored: EnteredCell, typed: EnteredCell) -> bool:
    """Whether a number that one program stores as a number is the text that another one stores.

    "7" is 7; "007" is not, because the zeros were typed to be kept.
    """
    if not stored.stored_number or typed.stored_number or re.match(r"0\d", typed.shown):
        return False
    try:
        number = written(typed.shown)
    except NotANumberError:
        return False
    return not number.unit and number.with_point == written(stored.shown).with_point
