"""The known sheets of a book, each a located table; the facts of the Batch sheet stand in one row, a column a fact."""

from __future__ import annotations

from msgspec.structs import replace

from qc.fields.field import Field, near_heading, plain
from qc.fields.sheets import BARE_UNITS, BATCH, SHEETS, SHOWN_ONLY
from qc.readers.cells import Book, Noted, SheetCell, SheetTable
from qc.readers.headed_table import headed_table
from qc.readers.located import Entry, LocatedTable


def located_sheets(book: Book, findings: Noted) -> dict[str, LocatedTable]:
    """The known sheets of a book by name; an unknown one gives a notice, one that stands twice a problem."""
    tables: dict[str, LocatedTable] = {}
    first: dict[str, SheetTable] = {}
    for table in book.tables:
        name = plain(table.name)
        sheet = BARE_UNITS if book.bare else SHEETS.get(name)
        if sheet is None:
            if name not in SHOWN_ONLY:
                hint = _did_you_mean(table.name, [known.name for known in SHEETS.values()])
                findings.remark(table, "", f'Ignored the sheet "{table.name}"{hint}')
        elif (earlier := first.setdefault(name, table)) is not table:
            found = f'the {sheet.name} sheet stands again, after "{earlier.sheet or earlier.file}" of {earlier.file}'
            findings.refuse(table, "", found=found, mend="Keep one of the two")
        elif (located := headed_table(table, sheet, findings)) is not None:
            tables[sheet.name] = _facts_in_a_row(located) if sheet.name == BATCH.name else located
    return tables


def _facts_in_a_row(table: LocatedTable) -> LocatedTable:
    """The facts of a Batch sheet as one row; unknown fields give a notice, a field that stands twice a problem."""
    columns: dict[str, Field] = {}
    cells: dict[str, SheetCell] = {}
    first: dict[str, str] = {}
    for entry in table.entries:
        name, value = entry.cell("field"), entry.cell("value")
        field = None if name is None else BATCH.columns.get(plain(name.text))
        if name is None:
            if value is not None:
                mend = "Write in the column Field what it is, or clear the cell"
                table.refuse_at(value.address, f"the value {value.quoted} has no field beside it", mend)
        elif field is None:
            hint = _did_you_mean(name.text, [known.heading for known in BATCH.fields])
            table.remark(name.address, f"Ignored the field {name.quoted}{hint}")
        elif (earlier := first.setdefault(field.attribute, name.address)) != name.address:
            found = f'the field "{field.heading}" stands again, after {earlier}'
            table.refuse_at(name.address, found, f"Keep one of {earlier} and {name.address}")
        elif value is not None:
            columns[field.attribute], cells[field.attribute] = field, value
    if not table.has("value") and table.entries:
        table.refuse_missing('the table has no column "Value"', 'Write the heading "Value" over the values')
    row = Entry(number=table.header, cells=cells, values={})
    return replace(table, sheet=BATCH, columns=columns, letters={}, entries=(row,))


def _did_you_mean(text: str, known: list[str]) -> str:
    near = near_heading(text, known)
    return f'; did you mean "{near}"?' if near else "."
