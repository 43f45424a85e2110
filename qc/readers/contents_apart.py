"""A sheet of units and what they hold, in people's own words: the sheet Assay, or, without masses, the units."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator, Mapping
from itertools import islice, takewhile

from msgspec.structs import replace

from qc.fields.field import Field, same_name
from qc.fields.sheets import ASSAY
from qc.fields.words import (
    batch_or_place,
    heading_of,
    measure_of,
    names_active,
    plain_words,
    says_content,
    says_mass,
    says_of_label,
    says_who,
    words_known,
)
from qc.patterns import pattern
from qc.readers.assays import CONTENTS
from qc.readers.cells import CellKind, SheetCell, SheetRow, SheetTable
from qc.readers.finding.candidates import candidates_of
from qc.readers.finding.printed import is_clock, without_clock
from qc.readers.finding.unaccounted import like_the_label
from qc.readers.finding.unread import in_mg_per_unit, in_percent, what_it_says
from qc.readers.finding.view import number_in
from qc.readers.located import LocatedTable

# A product with its strength, and of how many words such a title is at most.
_STRENGTH, MOST_WORDS = pattern(r"\d\s*m?g\b", re.ASCII), 6
_SECTION = pattern(r"^\s*\d{1,2}[.)]\s+")
# From how many letters on a word may begin a longer one.
LONG = 6
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
        fields = _fields(table, at)
        unit = next((spot for spot, field in fields.items() if field.attribute == "unit"), 0)
        if not unit or not _is_of_contents(fields):
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
        ours |= {cell.address for cell in head.cells.values() if names_an_active(cell)}
        # Who did it may be another person than who weighed.
        who = {spot for spot, cell in head.cells.items() if says_who(cell.typed)}
        ours |= {row.cells[spot].address for row in below for spot in who & row.cells.keys()}
        strange = _words(table, but=ours) - _plainly() - set[str]().union(*map(_words, (units.table, *facts)))
        # "Gehaltsbestimmung" is the word for a content with another one behind it.
        begins = tuple(one for one in words_known().heading.whole["content_mg"] if len(one) >= LONG)
        strange = {word for word in strange if not (word.isalpha() and word.startswith(begins))}
        rows: tuple[SheetRow, ...] = (_under(head, fields), *below)
        return replace(table, rows=rows) if ours and not strange else None
    return None


def contents_beside(table: SheetTable) -> tuple[SheetTable, SheetTable] | None:
    """A sheet without the list of units and contents that stands beside or below its masses, and the list, if any.

    The list has the names of its units in a column of its own, and nothing right beside its headings; what stands in
    its columns right above them, and below, is of it.
    """
    for at, head in enumerate(table.rows):
        fields = _fields(table, at) if _may_head(head) else {}
        for first in (spot for spot, field in fields.items() if field.attribute == "unit"):
            last = first + next(step for step in range(1, len(head.cells) + 1) if first + step not in head.cells) - 1
            own = {spot: field for spot, field in fields.items() if first <= spot <= last}
            if first - 1 in head.cells or len(own) <= last - first or not _is_of_contents(own):
                continue
            from qc.readers.finding.blocks import REACH_UP

            titles = takewhile(lambda row: not any(map(number_in, row.cells.values())), reversed(table.rows[:at]))
            begin = min([row.number for row in titles if head.number - row.number <= REACH_UP], default=head.number)
            heads = (after for after in range(at + 1, len(table.rows)) if first in _fields(table, after))
            after = next(heads, len(table.rows))
            # The titles of the next table are its own.
            while after < len(table.rows) and not any(map(number_in, table.rows[after - 1].cells.values())):
                after -= 1
            spots, end = range(first, last + 1), table.rows[after].number if after < len(table.rows) else math.inf
            parts: list[list[SheetRow]] = [[], []]
            for row in table.rows:
                for of_list, part in enumerate(parts):
                    within = begin <= row.number < end
                    cells = {spot: cell for spot, cell in row.cells.items() if (within and spot in spots) == of_list}
                    part += [replace(row, cells=cells)] if cells else []
            rest, contents = (replace(table, rows=tuple(part)) for part in parts)
            if any(one.masses for one in candidates_of(rest)):
                return rest, replace(contents, merges=(), apart=())
    return None


def contents_alone(table: SheetTable) -> SheetTable:
    """A sheet of units and their contents without any mass under our own headings; any other as it is."""
    for at, head in enumerate(table.rows):
        if not _may_head(head) or any(cell.kind is CellKind.NUMBER for cell in head.cells.values()):
            continue
        fields = _fields(table, at)
        stated = all(says_of_label(head.cells[at].typed) for at, one in fields.items() if one.unit == "%")
        if stated and {field.attribute for field in fields.values()} & {*CONTENTS} and len(fields) > 1:
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


def _fields(table: SheetTable, at: int) -> dict[int, Field]:
    """The columns of the sheet Assay for which the headings in one of its rows stand, in whatever words."""
    over = table.rows[at - 1].cells if at else {}
    cells = table.rows[at].cells
    fields = {
        spot: field
        for spot, cell in cells.items()
        if (field := _field(cell, over.get(spot, over.get(spot - 1)), _below(table, at, spot))) is not None
    }
    words = {spot: cell for spot, cell in cells.items() if number_in(cell) is None}
    active = {spot: ASSAY.field("content_mg") for spot, cell in words.items() if names_an_active(cell)}
    titles = takewhile(lambda row: len(row.cells) == 1, reversed(table.rows[:at] if active else ()))
    over_it = (cell.typed for row in titles for cell in row.cells.values() if number_in(cell) is None)
    if active and any(what_it_says(text) == "content" for text in (table.sheet, *over_it)):
        fields |= active
    if not any(field.attribute in CONTENTS for field in fields.values()):
        # Beside areas and injections what is in mg is what was found.
        method = words_known().assayed_by | words_known().determination
        texts = {spot: plain_words(cell.typed) for spot, cell in words.items()}
        in_mg = [spot for spot, said in texts.items() if said and _is_in_mg(words[spot].typed)]
        if len(in_mg) == 1 and any(not method.isdisjoint(said) for said in texts.values()):
            fields[in_mg[0]] = ASSAY.field("content_mg")
    if any(field.attribute == "content_mg" for field in fields.values()):
        fields |= {spot: ASSAY.field("content_percent") for spot, cell in cells.items() if in_percent(cell.typed)}
    return fields


def _is_in_mg(heading: str) -> bool:
    """Whether a heading says of nothing known for something else that it is in mg: "Amount (mg/unit)"."""
    in_mg = measure_of(plain_words(heading)[-1]) == "mg" and heading_of(heading) is None
    return in_mg_per_unit(heading) or (in_mg and not says_mass(heading))


def _below(table: SheetTable, at: int, spot: int) -> Iterator[SheetCell]:
    return (row.cells[spot] for row in islice(table.rows, at + 1, None) if spot in row.cells)


def names_an_active(cell: SheetCell) -> bool:
    """Whether a heading says of one word that is not known that it is in mg: "Paracetamol found (mg)"."""
    words = plain_words(cell.typed)
    in_mg = what_it_says(cell.typed) in ("mg", "content") and measure_of(words[-1]) == "mg"
    found = bool(names_active(cell.typed)) or heading_of(cell.typed) is None
    return in_mg and found and len({*words} - _plainly()) == 1


def heads_contents(table: SheetTable) -> bool:
    """Whether a row of a sheet heads units and what each of them holds."""
    return any(_is_of_contents(_fields(table, at)) for at, row in enumerate(table.rows) if _may_head(row))


def _may_head(row: SheetRow) -> bool:
    """Whether a cell of a row has letters, as one of its headings has."""
    return any(any(map(str.isalpha, cell.typed)) for cell in row.cells.values())


def _is_of_contents(fields: Mapping[int, Field]) -> bool:
    """Whether headings are those of units and of one content of each, in mg, in per cent or in both."""
    named = [field.attribute for field in fields.values()]
    return 1 < len(named) == len({*named}) and {*named} <= {"unit", *CONTENTS}


def _field(cell: SheetCell, over: SheetCell | None, below: Iterable[SheetCell]) -> Field | None:
    """The column of the sheet Assay that a heading stands for; "mg" below "Contents" is what they are in."""
    title = f"{over.typed} " if over is not None and measure_of(cell.typed) and says_content(over.typed) else ""
    said = heading_of(title + cell.typed) if cell.kind is CellKind.TEXT else None
    if said is None or said.attribute not in _MEASURES or said.measure != _MEASURES[said.attribute]:
        return None
    if said.attribute == "content_percent" and not (says_of_label(cell.typed) or like_the_label(below)):
        return None
    return ASSAY.field("unit" if said.attribute == "name" else said.attribute)


def _words(table: SheetTable, but: Iterable[str] = ()) -> set[str]:
    """The words of a sheet and of its name, but for days, for numbers and for some of its cells."""
    cells = [cell for row in table.rows for cell in row.cells.values() if cell.kind is CellKind.TEXT]
    texts = [
        cell.typed for cell in cells if cell.address not in but and number_in(cell) is None and not is_clock(cell.typed)
    ]
    # "2. Content uniformity" is the second section.
    bare = (_SECTION.sub("", without_clock(text)) for text in (table.sheet, *texts))
    return {word for text in bare for word in plain_words(text)}


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
        | known.joining
        | known.determination
        | known.assayed_by
    )
    return frozenset(said | contents | measures | figures)
