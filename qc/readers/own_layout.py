"""Sheets of our own layout: whether the headings are ours, what stands beside the units, and the facts of a batch."""

from __future__ import annotations

from collections import Counter

from msgspec.structs import replace

from qc.fields.field import Field, Plausible, plain
from qc.fields.remarks import may_tell, names_a_unit, says_of_some
from qc.fields.sheets import BARE_UNITS, BATCH, INSTRUCTIONS_SHEET, SHOWN_ONLY
from qc.fields.words import MassUnit, heading_of
from qc.readers.assays import CONTENTS
from qc.readers.cells import Book, CellKind, SheetCell, SheetTable, row_of
from qc.readers.finding.found import FoundTable
from qc.readers.finding.lines import no_figures, without_mass
from qc.readers.finding.set_aside import MEASURED, without_summaries
from qc.readers.finding.titles import rest_of
from qc.readers.finding.view import SheetView, number_in, view_of
from qc.readers.finding.weighed_in import WeighedIn
from qc.readers.headings import header_row, known_fields
from qc.readers.located import Entry, LocatedTable
from qc.readers.options import ReadOptions
from qc.readers.other_sheets import (
    did_you_mean,
)


def has_own_headings(table: SheetTable) -> bool:
    """Whether the headings are those of the sheet Units, once, and no other column is known by other words."""
    row = header_row(table, BARE_UNITS)
    if row is None:
        return not table.rows
    fields = known_fields(row, BARE_UNITS)
    known = {field.attribute for field in fields.values()}
    numbers = sum(number_in(cell) is not None for cell in row.cells.values())
    if "name" not in known or not known & set(MEASURED) or numbers > 1:
        return False
    others = (
        heading_of(cell.text) for spot, cell in row.cells.items() if spot not in fields and cell.kind is CellKind.TEXT
    )
    said = {one.attribute for one in others if one is not None}
    later = (known_fields(other, BARE_UNITS) for other in table.rows if other.number > row.number)
    counts = Counter(field.heading for field in fields.values())
    once = sum(count > 1 for count in counts.values()) < 2
    stacked = any(counts.keys() <= {field.heading for field in again.values()} for again in later)
    return once and not stacked and said <= {*known, "other"}


def on_own_layout(
    table: LocatedTable, book: Book, facts: LocatedTable | None, plausible: Plausible, options: ReadOptions
) -> FoundTable:
    """A sheet Units; numbers beside it that could be masses are refused, what our own sheet shows there is none."""
    units, asides = without_summaries(table)
    view = view_of(units.table)
    used = accounted_for(table)
    masses = [entry.cells["mass_g"] for entry in units.entries if "mass_g" in entry.cells]
    unit: MassUnit = "mg" if "mass_g" in units.columns and units.columns["mass_g"].power else "g"
    outside = rest_of(
        view,
        masses=masses,
        used=used,
        texts=[
            *(one for one in no_figures(asides) if not _has_numbers(view, one)),
            *without_mass(entry.cells for entry in units.entries),
        ],
        unit=unit,
        plausible=plausible,
        facts=facts,
        findings=units.findings,
        options=options,
        contents=[cell for entry in units.entries for name in CONTENTS if (cell := entry.cell(name)) is not None],
    )
    # Above the headings our own sheet shows figures of its test sample.
    if others := not any(plain(table.name) == plain(INSTRUCTIONS_SHEET) for table in book.tables):
        outside.remark(units.table, units.findings, above=units.header)
    weighed = WeighedIn(unit=unit, known_by="heading")
    below = {cell.address for row in units.table.rows if row.number > units.header for cell in row.cells.values()}
    asides += tuple(aside for aside in outside.asides if others or aside.cells[0].address in below)
    # What stands under a heading that is not known is told with its column.
    alone = {row.number for row in units.table.rows if used.isdisjoint(cell.address for cell in row.cells.values())}
    said = (cell for cell in outside.notes if row_of(cell) in alone and cell.kind is not CellKind.UNSAVED)
    notes = [cell for cell in said if others or says_of_some(cell.shown) or names_a_unit(cell.shown)]
    return FoundTable(located=units, weighed=weighed, asides=asides, notes=notes)


def _has_numbers(view: SheetView, label: SheetCell) -> bool:
    """Whether numbers stand behind a label, such as the area of a blank."""
    row = view.rows.get(row_of(label), {})
    return any(number_in(cell) is not None for cell in row.values())


def accounted_for(table: LocatedTable) -> frozenset[str]:
    """The addresses of the cells of a located table, of its headings, and of what our own sheet shows beside it."""
    head = next((row.cells for row in table.table.rows if row.number == table.header), {})
    shown = {column for column, cell in head.items() if plain(cell.text) in SHOWN_ONLY}
    beside_it = (cell for row in table.table.rows for column, cell in row.cells.items() if column in shown)
    cells = (cell for entry in table.entries for cell in entry.cells.values())
    return frozenset(cell.address for cell in (*cells, *head.values(), *beside_it))


def facts_in_a_row(table: LocatedTable) -> LocatedTable:
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
            hint = did_you_mean(name.text, [known.heading for known in BATCH.fields])
            both, what = [name] if value is None else [name, value], f"field {name.quoted}"
            told = name.shown if value is None else value.shown
            # Several words may say anything.
            tells = may_tell(told) or (value is not None and (len(told.split()) > 1 or any(map(str.isdigit, told))))
            said = f"{what} {'' if value is None else value.quoted}".strip() if tells else ""
            text = f"Ignored the field {name.quoted}{hint}"
            table.findings.ignore(table.table, name.address, text, cells=both, what=what, said=said)
        elif (earlier := first.setdefault(field.attribute, name.address)) != name.address:
            found = f'the field "{field.heading}" stands again, after {earlier}'
            table.refuse_at(name.address, found, f"Keep one of {earlier} and {name.address}")
        elif value is not None:
            columns[field.attribute], cells[field.attribute] = field, value
    if not table.has("value") and table.entries:
        table.refuse_missing('the table has no column "Value"', 'Write the heading "Value" over the values')
    row = Entry(number=table.header, cells=cells, values={})
    return replace(table, sheet=BATCH, columns=columns, letters={}, entries=(row,))
