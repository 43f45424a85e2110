"""What was entered, cell by cell, under a key that another entry of the same batch shares.

A row is found again by what it is about (its unit, its field, its active and part), never by where it stands, and a
cell by the field that its heading names: "Mass (g)" and "Mass (mg)" are one field, in g.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from decimal import Decimal
from pathlib import Path

from msgspec import Struct
from msgspec.structs import replace

from qc.batch import Part, Source
from qc.fields.field import Holds, same_name
from qc.fields.remarks import may_tell
from qc.fields.sheets import ASSAY, BARE_UNITS
from qc.problems import InputProblems, Problem
from qc.readers.assays import CONTENTS
from qc.readers.cells import CellKind, Noted
from qc.readers.located import Entry, LocatedTable
from qc.readers.number_columns import read_numbers
from qc.readers.options import ReadOptions
from qc.readers.read import read_book
from qc.readers.sheets import located_sheets
from qc.readers.typed_number import NotANumberError, written
from qc.readers.values import yes_or_no


class EnteredCell(Struct, frozen=True, kw_only=True):
    """One filled cell.

    Parameters
    ----------
    column : str
        The heading as known, for example "Mass (g)".
    place : str
        Its address, with the file of a folder before it.
    shown : str
        What stands there.
    value : Decimal, bool or str
        What is compared: an exact decimal in the unit of the field, yes or no, or trimmed text.
    """

    column: str
    place: str
    shown: str
    value: Decimal | int | bool | str

    stored_number: bool
    """Whether the file stores a number here, whatever the column holds."""

    def says_the_same(self, other: EnteredCell) -> bool:
        """Whether two cells hold the same entry: numbers as exact decimals, texts letter by letter."""
        if isinstance(self.value, str) and isinstance(other.value, str):
            return self.value == other.value or _one_stored_as_text(self, other) or _one_stored_as_text(other, self)
        return type(self.value) is type(other.value) and self.value == other.value


class EnteredRow(Struct, frozen=True, kw_only=True):
    """One row under its key, which rows of replicates share.

    `cells` gives the filled cells by what they fill, which is the same for headings that say the same thing;
    `empty_places` the address at which each stands or would stand.
    """

    sheet: str
    key: tuple[str, ...]
    name: str
    place: str
    cells: Mapping[str, EnteredCell]
    empty_places: Mapping[str, str]


class Entered(Struct, frozen=True, kw_only=True):
    """Everything that was entered in known places of one input.

    `source` is the input whose bytes were read. `unread` lists the cells in which a number was expected and none could
    be read; they are compared as text. `told` is what is said of units outside of known places, by its cells.
    """

    rows: tuple[EnteredRow, ...]
    source: Source
    unread: tuple[Problem, ...]
    told: Mapping[str, str]

    @property
    def actives(self) -> set[str]:
        """Every active that it names, in the form in which names are compared."""
        places = {"Actives": 0, "Assay": 1}
        return {row.key[places[row.sheet]] for row in self.rows if row.sheet in places} - {""}


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
    findings = Noted()
    book = read_book(path, options=options, findings=findings)
    sheets, found = located_sheets(book, options, findings)
    if not findings.problems and not any(entry.cells for table in sheets.values() for entry in table.entries):
        mend = "Give a workbook, table or folder of tables with entries"
        findings.refuse_input(book.file, found="there is no entry under a known heading", mend=mend)
    if findings.problems:
        raise InputProblems(findings.problems)
    read_numbers(sheets.values(), options.decimal or (found.weighed.decimal if found else None))
    rows: list[EnteredRow] = []
    for name, table in sheets.items():
        if name == "Batch":
            rows += [_fact(table, attribute, entry) for entry in table.entries for attribute in entry.cells]
        elif table.sheet is BARE_UNITS:
            rows += _bare_rows(table)
        else:
            rows += [_row(table, entry) for entry in table.entries]
    assert book.source is not None  # a file was read
    told = {one.ignored.cells: one.ignored.said for one in findings.notices if one.ignored and one.ignored.said}
    for aside in (*found.asides, *found.beside_contents) if found else ():
        said = " ".join(cell.shown for cell in aside.cells if cell.shown != aside.label)
        told[aside.cells[0].address] = f"{aside.label} {said}"
    told |= {cell.address: cell.shown for cell in (found.notes if found else ()) if may_tell(cell.shown)}
    return Entered(rows=tuple(rows), source=book.source, unread=tuple(findings.problems), told=told)


def _fact(table: LocatedTable, attribute: str, entry: Entry) -> EnteredRow:
    """A fact of the Batch sheet as a row of its own; a fact without a value is the same as no fact."""
    cell = replace(_cell(table, attribute, entry), column="Value")
    name, cells = table.columns[attribute].heading, {"value": cell}
    return EnteredRow(sheet="Batch", key=(attribute,), name=name, place=cell.place, cells=cells, empty_places={})


def _bare_rows(table: LocatedTable) -> list[EnteredRow]:
    """A bare table as the two sheets it stands for: its units, and the assays of whole units beside them."""
    units, assays = [], []
    for entry in table.entries:
        contents = {name: cell for name, cell in entry.cells.items() if name in CONTENTS}
        others = {name: cell for name, cell in entry.cells.items() if name not in CONTENTS}
        units.append(_row(table, replace(entry, cells=others)))
        if contents:
            unit = {"unit": others["name"]} if "name" in others else {}
            assays.append(_row(replace(table, sheet=ASSAY), replace(entry, cells={**unit, **contents})))
    return units + assays


def _row(table: LocatedTable, entry: Entry) -> EnteredRow:
    keys = table.sheet.keys
    texts = [_key_text(entry, attribute) for attribute in keys]
    return EnteredRow(
        sheet=table.sheet.name,
        key=tuple(same_name(text) for text in texts),
        name=", ".join(text for text in texts if text) or "no name",
        place=_place(table, f"row {entry.number}"),
        cells={attribute: _cell(table, attribute, entry) for attribute in entry.cells if attribute not in keys},
        empty_places={attribute: _place(table, table.place(attribute, entry)) for attribute in table.columns},
    )


def _key_text(entry: Entry, attribute: str) -> str:
    cell = entry.cell(attribute)
    # An assay without a part was made on the whole unit.
    return cell.shown if cell is not None else (Part.WHOLE if attribute == "part" else "")


def _cell(table: LocatedTable, attribute: str, entry: Entry) -> EnteredCell:
    """A cell with what is compared: numbers, and yes and no, by what they mean; all others letter by letter."""
    field, cell = table.columns[attribute], entry.cells[attribute]
    value = yes_or_no(cell.shown) if field.holds is Holds.YES_NO else entry.value(attribute)
    return EnteredCell(
        column=field.heading,
        place=_place(table, cell.address),
        shown=cell.shown,
        value=cell.shown if value is None else value,
        stored_number=cell.kind is CellKind.NUMBER,
    )


def _place(table: LocatedTable, address: str) -> str:
    # In a folder each sheet is a file of its own; in a workbook the sheet is named beside the key already.
    in_a_folder = table.table.separator and table.table.sheet
    return f"{table.table.file} {address}" if in_a_folder else address


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
