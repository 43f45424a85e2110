"""A table found by its headings: the rows below the header row, each cell under the field of its column.

What lies in no known column is left aside with a notice.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from itertools import pairwise

from msgspec.structs import replace

from qc.fields.field import Field, Holds, Sheet
from qc.patterns import pattern
from qc.readers.cells import Merge, Noted, SheetCell, SheetRow, SheetTable, address, column_letters, row_of
from qc.readers.headings import Headings, headings_of, known_fields, told_of
from qc.readers.located import Entry, LocatedTable, in_runs

# What another separator or a blank sets apart before a number.
_BEFORE = pattern(r"\A.*[;\t|\s](?=\d)", re.DOTALL)
FEWEST_SPLIT = 3
TYPE_POINTS = "Type decimal points, or separate the fields by semicolons"


def headed_table(table: SheetTable, sheet: Sheet, findings: Noted) -> LocatedTable | None:
    """Understand a table by its headings; None (and a problem, unless it is empty) when it has none.

    Parameters
    ----------
    table : SheetTable
    sheet : Sheet
        What the table is expected to be.
    findings : Noted
        Where problems and notices go.
    """
    headings = headings_of(table, sheet, findings)
    if headings is None:
        return None
    below = [row for row in table.rows if row.number > headings.row.number]
    repeats = [row for row in below if _is_repeat(row, headings, sheet)]
    for row in repeats:
        cell = next(iter(headings.filled(row).values()))
        found = f"row {row.number} repeats the headings of row {headings.row.number}"
        findings.refuse(table, cell.address, found=found, mend=f"Remove row {row.number}")
    below = [row for row in below if row not in repeats]
    remark_on_hidden(table, [cell for row in below for cell in headings.filled(row).values()], findings)
    _remark_on_unheaded(table, headings, below, findings)
    if table.separator and not headings.mend:
        # Below a title taken for the headings every row is too wide, and only the title is to be mended.
        _refuse_too_wide(table, headings, below, findings)
        for spot in (spot for spot, field in headings.columns.items() if field.unit == "g"):
            refuse_cut_at_commas(table, [(row.number, spot) for row in below], findings)
    rows = [(row.number, headings.filled(row)) for row in _merged(table, headings, below, findings)]
    return LocatedTable(
        table=table,
        sheet=sheet,
        columns={field.attribute: field for field in headings.columns.values()},
        letters={field.attribute: column_letters(spot) for spot, field in headings.columns.items()},
        entries=tuple(Entry(number=number, cells=cells, values={}) for number, cells in rows if cells),
        findings=findings,
        header=headings.row.number,
        missing=headings.missing,
        mend=headings.mend,
    )


def _is_repeat(row: SheetRow, headings: Headings, sheet: Sheet) -> bool:
    """Whether a row repeats the headings, as a page break or a pasted block leaves them."""
    known = known_fields(row, sheet)
    filled = row.cells.keys() & headings.columns.keys()
    same = all(spot in known and known[spot].attribute == headings.columns[spot].attribute for spot in filled)
    fewest, most = min(2, len(headings.columns)), len(known_fields(headings.row, sheet))
    return same and fewest <= len(filled) and len(known) <= most


def _remark_on_unheaded(table: SheetTable, headings: Headings, below: Sequence[SheetRow], findings: Noted) -> None:
    """Notices for columns that hold something and have no heading."""
    header = headings.row
    counts = Counter(spot for row in below for spot in row.cells if spot not in header.cells)
    for spot, count in sorted(counts.items()):
        cells = "1 cell was" if count == 1 else f"{count} cells were"
        text = f"Column {column_letters(spot)} has no heading in row {header.number}; {cells} ignored."
        column = [row.cells[spot] for row in below if spot in row.cells]
        said = told_of(column, or_if=lambda cell: any(map(str.isdigit, cell.text)))
        findings.ignore(table, "", text, cells=column, what="column without a heading", said=said)


def remark_on_hidden(table: SheetTable, read: Sequence[SheetCell], findings: Noted) -> None:
    """Notices for a sheet, rows and columns that are hidden and were read."""
    if table.hidden and read:
        findings.tell(table, read, f"the hidden sheet {table.sheet}")
    of_rows, of_columns = {row_of(cell) for cell in read}, {cell.column for cell in read}
    rows = [row.number for row in table.rows if row.hidden and row.number in of_rows]
    columns = sorted(table.hidden_columns & of_columns)
    if rows:
        cells = [cell for cell in read if row_of(cell) in rows]
        findings.tell(table, cells, f"hidden rows {in_runs(rows)}")
    if columns:
        names = ", ".join(column_letters(spot) for spot in columns)
        cells = [cell for cell in read if cell.column in columns]
        findings.tell(table, cells, f"hidden columns {names}")


def _refuse_too_wide(table: SheetTable, headings: Headings, below: Sequence[SheetRow], findings: Noted) -> None:
    """Lines with more fields than headings: mostly a decimal comma in a file that is separated by commas."""
    most, commas = headings.row.width, table.separator == ","
    extra = "; a decimal comma without quotes is the likely cause" if commas else ""
    mend = TYPE_POINTS if commas else "Take the surplus separators out"
    for row in below:
        # In a file separated by commas even an empty field too many may be the other half of a decimal comma.
        width = row.width if commas else max(row.cells)
        if width > most:
            found = f"the row has {width} fields under {most} headings{extra}"
            findings.refuse(table, address(row.number, most + 1), found=found, mend=mend)


def refuse_cut_at_commas(table: SheetTable, spots: Sequence[tuple[int, int]], findings: Noted) -> None:
    """Refuse numbers cut in two at an unquoted decimal comma, where the second half found a column of its own."""
    rows = {row.number: row.cells for row in table.rows}
    cells = [(rows[row].get(column), rows[row].get(column + 1)) for row, column in spots if table.separator == ","]
    # Before the number another separator may stand, which the comma took the place of.
    halves = [
        (_BEFORE.sub("", one.typed), other.typed) for one, other in cells if one is not None and other is not None
    ]
    # No balance shows whole grams only, each followed by a field of two digits or more; numbers of units count up.
    if (
        FEWEST_SPLIT <= len(halves) == len(spots)
        and all(re.fullmatch(r"\d{1,3}", whole) and re.fullmatch(r"\d{2,4}", rest) for whole, rest in halves)
        and any(int(after[0]) - int(before[0]) != 1 for before, after in pairwise(halves))
    ):
        found = f'"{",".join(halves[0])}" and the like below it look like decimal commas taken for separators'
        findings.refuse(table, address(*spots[0]), found=found, mend=TYPE_POINTS)


def _merged(table: SheetTable, headings: Headings, below: Sequence[SheetRow], findings: Noted) -> list[SheetRow]:
    """Rows with the value of a merged range written into every row of it, where that is what it says."""
    rows = {row.number: row for row in below}
    for merge in table.merges:
        if merge.top not in rows or merge.left not in rows[merge.top].cells:
            continue
        covered = [field for spot, field in sorted(headings.columns.items()) if merge.left <= spot <= merge.right]
        origin = rows[merge.top].cells[merge.left]
        if refusal := _not_to_merge(merge, origin, covered):
            found, into = refusal
            mend = f"Unmerge the cells and type each value into its own {into}"
            findings.refuse(table, merge.address, found=found, mend=mend)
        elif covered and covered[0].holds is not Holds.YES_NO:
            for number in [number for number in rows if merge.top < number <= merge.bottom]:
                copy = replace(origin, address=address(number, origin.column))
                rows[number] = replace(rows[number], cells={**rows[number].cells, origin.column: copy})
    return [rows[number] for number in sorted(rows)]


def _not_to_merge(merge: Merge, origin: SheetCell, covered: Sequence[Field]) -> tuple[str, str] | None:
    """Why a merged range cannot be read, and into its own what each value belongs; None where it can."""
    if len(covered) > 1:
        names = f'"{covered[0].heading}" and "{covered[-1].heading}"'
        return f"{origin.quoted} is merged across the columns {names}", "cell"
    if covered and merge.bottom > merge.top and (covered[0].is_number or covered[0].attribute == "name"):
        over = f"{covered[0].noun} {origin.quoted} is merged over the rows {merge.top} to {merge.bottom}"
        return f"{over}: which row it belongs to cannot be told", "row"
    return None
