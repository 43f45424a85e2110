"""The Batch sheet: one fact a row, each field once. It is brought to a table of one row, a column a fact."""

from __future__ import annotations

from msgspec.structs import replace

from qc.fields.field import Field
from qc.fields.headings import nearest, plain
from qc.fields.sheets import BATCH
from qc.readers.known_tables import Entry, KnownTable
from qc.readers.tables import Noted, SheetCell


def facts_in_a_row(known: KnownTable, findings: Noted) -> KnownTable:
    """The facts of a Batch sheet as one row; unknown fields give a notice, a field that stands twice a problem."""
    columns: dict[str, Field] = {}
    values: dict[str, SheetCell] = {}
    first: dict[str, SheetCell] = {}
    for entry in known.entries:
        name, value = entry.cell("field"), entry.cell("value")
        if name is None:
            if value is not None:
                found = f'the value "{value.text.strip()}" has no field beside it'
                mend = "Write in the column Field what it is, or clear the cell"
                findings.refuse(known.table, value.address, found=found, mend=mend)
            continue
        field = BATCH.columns.get(plain(name.text))
        if field is None:
            near = nearest(name.text, [one.heading for one in BATCH.fields])
            hint = f'; did you mean "{near}"?' if near else "."
            findings.remark(known.table, name.address, f'Ignored the field "{name.text.strip()}"{hint}')
        elif field.attribute in first:
            earlier = first[field.attribute].address
            found = f'the field "{field.heading}" stands again, after {earlier}'
            findings.refuse(known.table, name.address, found=found, mend=f"Keep one of {earlier} and {name.address}")
        else:
            first[field.attribute] = name
            if value is not None:
                columns[field.attribute], values[field.attribute] = field, value
    if "value" not in known.columns and known.entries:
        mend = 'Write the heading "Value" over the values'
        findings.refuse(known.table, "", found='the table has no column "Value"', mend=mend)
    row = Entry(number=known.header_row, cells=values, values={})
    return replace(known, sheet=BATCH, columns=columns, letters={}, entries=(row,))
