"""The Batch sheet: one fact a row, each field once."""

from __future__ import annotations

from decimal import Decimal

from msgspec import Struct, field

from qc.batch import Base
from qc.readers.calendar_day import is_no_day
from qc.readers.columns import BATCH_FIELDS, Column, nearest, plain
from qc.readers.entries import Entries
from qc.readers.known_tables import KnownTable
from qc.readers.number_columns import NumberColumn
from qc.readers.tables import Cell, Findings, Kind


class Facts(Struct, frozen=True, kw_only=True):
    """What the Batch sheet says: free text and numbers by field; `places` says where each stands."""

    texts: dict[str, str] = field(default_factory=dict)
    numbers: dict[str, Decimal] = field(default_factory=dict)
    places: dict[str, str] = field(default_factory=dict)
    base: Base | None = None


def filled_fields(known: KnownTable, findings: Findings) -> dict[str, tuple[Column, Cell]]:
    """The value cell of each known field; unknown fields give a notice, a field that stands twice a problem."""
    found: dict[str, tuple[Column, Cell]] = {}
    first: dict[str, Cell] = {}
    for entry in known.entries:
        name, value = entry.cell("field"), entry.cell("value")
        if name is None:
            if value is not None:
                findings.refuse(
                    known.table,
                    value.address,
                    found=f'the value "{value.text.strip()}" has no field beside it',
                    mend="Write in the column Field what it is, or clear the cell",
                )
            continue
        column = BATCH_FIELDS.get(plain(name.text))
        if column is None:
            near = nearest(name.text, [one.heading for one in BATCH_FIELDS.values()])
            hint = f'; did you mean "{near}"?' if near else "."
            findings.remark(known.table, name.address, f'Ignored the field "{name.text.strip()}"{hint}')
        elif column.field in first:
            earlier = first[column.field]
            findings.refuse(
                known.table,
                name.address,
                found=f'the field "{column.heading}" stands again, after {earlier.address}',
                mend=f"Keep one of {earlier.address} and {name.address}",
            )
        else:
            first[column.field] = name
            if value is not None:
                found[column.field] = (column, value)
    if "value" not in known.columns and known.entries:
        findings.refuse(
            known.table,
            "",
            found='the table has no column "Value"',
            mend='Write the heading "Value" over the values',
        )
    return found


def fact_columns(known: KnownTable, filled: dict[str, tuple[Column, Cell]]) -> list[NumberColumn]:
    """The number fields, each a column of one cell."""
    return [
        NumberColumn(table=known.table, column=column, cells=(cell,))
        for column, cell in filled.values()
        if column.is_number
    ]


def read_facts(entries: Entries, filled: dict[str, tuple[Column, Cell]]) -> Facts:
    """The facts of the Batch sheet."""
    table = entries.known.table
    texts: dict[str, str] = {}
    numbers: dict[str, Decimal] = {}
    base: Base | None = None
    for name, (column, cell) in filled.items():
        if column.is_number:
            number = entries.numbers.get((table.file, table.sheet, cell.address))
            if number is not None:
                numbers[name] = number
        elif name == "base":
            base = entries.word_of(cell, column.noun, Base)
        elif name == "number" and cell.kind is Kind.DATE:
            entries.findings.refuse(
                table,
                cell.address,
                found=f"batch number is the date {cell.text} (the number {cell.number} in a date format)",
                mend="Format the cell as text and type the batch number again",
            )
        else:
            text = entries.shown(cell, column.noun)
            if text is not None:
                texts[name] = text
            if text is not None and name == "made_on" and cell.kind is Kind.TEXT and is_no_day(text):
                entries.remark(cell.address, f'Made on "{text}" is no day of the calendar.')
    places = {name: cell.address for name, (_, cell) in filled.items()}
    return Facts(texts=texts, numbers=numbers, places=places, base=base)
