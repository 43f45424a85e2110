"""The known sheets of a book, each a located table; the facts of the Batch sheet stand in one row, a column a fact."""

from __future__ import annotations

from msgspec.structs import replace

from qc.fields.field import Field, near_heading, plain
from qc.fields.sheets import BARE_UNITS, BATCH, SHEETS, SHOWN_ONLY
from qc.readers.cells import Book, Noted, SheetCell, SheetTable
from qc.readers.finding.find import FoundTable, find_units
from qc.readers.headed_table import headed_table
from qc.readers.headings import header_row, known_fields
from qc.readers.located import Entry, LocatedTable
from qc.readers.options import ReadOptions


def located_sheets(
    book: Book, options: ReadOptions, findings: Noted
) -> tuple[dict[str, LocatedTable], FoundTable | None]:
    """The known sheets of a book by name, and how the table of units was found where it had to be searched for.

    An unknown sheet gives a notice, one that stands twice a problem.
    """
    tables: dict[str, LocatedTable] = {}
    first: dict[str, SheetTable] = {}
    found = None
    if searched := _to_search(book, options):
        found = find_units(searched, options=options, findings=findings)
        if found is not None:
            tables[BARE_UNITS.name] = found.located
    for table in book.tables:
        name = plain(table.name)
        sheet = BARE_UNITS if book.bare else SHEETS.get(name)
        if table in searched and (found is not None or findings.problems):
            if found is not None and table is not found.candidate.table:
                findings.remark(table, "", f'Ignored the sheet "{table.name}".')
            continue
        if sheet is None:
            if name not in SHOWN_ONLY:
                hint = _did_you_mean(table.name, [known.name for known in SHEETS.values()])
                findings.remark(table, "", f'Ignored the sheet "{table.name}"{hint}')
        elif (earlier := first.setdefault(name, table)) is not table:
            again = f'the {sheet.name} sheet stands again, after "{earlier.sheet or earlier.file}" of {earlier.file}'
            findings.refuse(table, "", found=again, mend="Keep one of the two")
        elif (located := headed_table(table, sheet, findings)) is not None:
            tables[sheet.name] = _facts_in_a_row(located) if sheet.name == BATCH.name else located
    return tables, found


def _to_search(book: Book, options: ReadOptions) -> list[SheetTable]:
    """The sheets among which the units are to be found; none where a sheet called Units has our own headings."""
    named = [table for table in book.tables if book.bare or plain(table.name) == BARE_UNITS.name.casefold()]
    if options.sheet is None and named:
        return [] if _has_own_headings(named[0]) else named[:1]
    known = SHOWN_ONLY if options.sheet is not None else {*SHOWN_ONLY, *SHEETS}
    return [table for table in book.tables if plain(table.name) not in known]


def _has_own_headings(table: SheetTable) -> bool:
    row = header_row(table, BARE_UNITS)
    known = set() if row is None else {field.attribute for field in known_fields(row, BARE_UNITS).values()}
    return "name" in known and bool(known & {"mass_g", "content_mg", "content_percent"})


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
