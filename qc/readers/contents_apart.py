"""A sheet of units and what they hold, in people's own words: the sheet Assay, or, without masses, the units."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

from msgspec.structs import replace

from qc.fields.field import Field, same_name
from qc.fields.sheets import ASSAY
from qc.fields.words import batch_or_place, heading_of, plain_words, says_of_label, words_known
from qc.readers.assays import CONTENTS
from qc.readers.cells import CellKind, SheetCell, SheetRow, SheetTable
from qc.readers.finding.printed import is_clock, without_clock
from qc.readers.finding.unread import what_it_says
from qc.readers.finding.view import number_in
from qc.readers.located import LocatedTable

# A product with its strength, and of how many words such a title is at most.
_STRENGTH, MOST_WORDS = re.compile(r"\d\s*m?g\b", re.ASCII), 6
_MEASURES = {"name": "", "content_mg": "mg", "content_percent": "%"}


def contents_apart(table: SheetTable, units: LocatedTable, facts: Iterable[SheetTable]) -> SheetTable | None:
    """A sheet under the headings of the sheet Assay, without its titles and figures; None where it may be another.

    It names units, and says nothing else that is not known to be plain or stands beside the masses too: a stability
    study and another batch count their units from 1 as well.

    Parameters
    ----------
    table : SheetTable
    units : LocatedTable
        The units with their masses.
    facts : iterable of SheetTable
        The sheets that say what the batch is.
    """
    names = {same_name(cell.shown) for entry in units.entries if (cell := entry.cell("name")) is not None}
    for at, head in enumerate(table.rows):
        fields = {spot: field for spot, cell in head.cells.items() if (field := _field(cell)) is not None}
        unit = next((spot for spot, field in fields.items() if field.attribute == "unit"), 0)
        if not unit or len(fields) != 2:
            continue
        below = [row for row in table.rows[at + 1 :] if unit in row.cells]
        nameless = (
            cell
            for row in table.rows[at + 1 :]
            for spot, cell in row.cells.items()
            if unit not in row.cells and spot in fields
        )
        if any(number_in(cell) is not None for cell in nameless):
            return None
        ours = {row.cells[unit].address for row in below if same_name(row.cells[unit].shown) in names}
        # The title names the product where the masses have none.
        if not any(_products(one) for one in (units.table, *facts)):
            ours |= _products(table)
        strange = _words(table, but=ours) - _plainly() - set[str]().union(*map(_words, (units.table, *facts)))
        rows: tuple[SheetRow, ...] = (_under(head, fields), *below)
        return replace(table, rows=rows) if ours and not strange else None
    return None


def contents_alone(table: SheetTable) -> SheetTable:
    """A sheet of units and their contents without any mass under our own headings; any other as it is."""
    for at, head in enumerate(table.rows):
        if any(cell.kind is CellKind.NUMBER for cell in head.cells.values()):
            continue
        fields = {spot: field for spot, cell in head.cells.items() if (field := _field(cell)) is not None}
        if {field.attribute for field in fields.values()} & {*CONTENTS} and len(fields) > 1:
            others = [cell.typed for spot, cell in head.cells.items() if spot not in fields]
            named = sum(field.attribute == "unit" for field in fields.values())
            if named != 1 or any(map(what_it_says, others)):
                break
            return replace(table, rows=(*table.rows[:at], _under(head, fields), *table.rows[at + 1 :]))
    return table


def _under(head: SheetRow, fields: Mapping[int, Field]) -> SheetRow:
    """A row of headings with our own in the place of those that mean the same."""
    ours = {spot: replace(head.cells[spot], text=field.heading) for spot, field in fields.items()}
    return replace(head, cells={**head.cells, **ours})


def _field(cell: SheetCell) -> Field | None:
    """The column of the sheet Assay that a heading stands for, in whatever words."""
    said = heading_of(cell.typed) if cell.kind is CellKind.TEXT else None
    # "Found (mg)" says how much was found; "% of label" is of the same.
    words = {*plain_words(cell.typed)} if said is None else set()
    if words & words_known().joining and "mg" in words and words <= words_known().joining | words_known().measure["mg"]:
        return ASSAY.field("content_mg")
    if said is None or said.attribute not in _MEASURES or said.measure != _MEASURES[said.attribute]:
        return None
    if said.attribute == "content_percent" and not says_of_label(cell.typed):
        return None
    return ASSAY.field("unit" if said.attribute == "name" else said.attribute)


def _words(table: SheetTable, but: Iterable[str] = ()) -> set[str]:
    """The words of a sheet and of its name, but for days, for numbers and for some of its cells."""
    cells = [cell for row in table.rows for cell in row.cells.values() if cell.kind is CellKind.TEXT]
    texts = [
        cell.typed for cell in cells if cell.address not in but and number_in(cell) is None and not is_clock(cell.typed)
    ]
    return {word for text in (table.sheet, *texts) for word in plain_words(without_clock(text))}


def _products(table: SheetTable) -> set[str]:
    """The addresses of titles that name a product: a strength and a word for its units, and no batch."""
    cells = [cell for row in table.rows for cell in row.cells.values() if cell.kind is CellKind.TEXT]
    return {
        cell.address
        for cell in cells
        if _STRENGTH.search(cell.typed)
        and not words_known().heading.unit.isdisjoint(words := plain_words(cell.typed))
        and len(words) <= MOST_WORDS
        and not batch_or_place(words)
    }


def _plainly() -> frozenset[str]:
    known = words_known()
    contents = {word for phrase in known.heading.whole["content_mg"] for word in phrase.split()}
    measures = known.measure["g"] | known.measure["mg"] | {"%", "percent", "prozent"}
    figures = {word for phrases in known.summary.values() for phrase in phrases for word in phrase.split()}
    said = (
        known.remark.plain
        | known.remark.weighed
        | known.heading.unit
        | known.heading.filler
        | known.claimed
        | known.plainly
    )
    return frozenset(said | contents | measures | figures)
