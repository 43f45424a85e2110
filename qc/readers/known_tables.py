"""From a raw table to a known one: where its headings are, which columns it has, and its rows below them.

The header row is the first row that holds a known heading. What lies in no known column is left aside with a notice;
a known column that stands twice is refused, because either could be the true one.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from decimal import Decimal

from msgspec import Struct

from qc.readers.columns import Column, Holds, KnownSheet, plain
from qc.readers.headings import (
    HeaderDoubt,
    Unknown,
    header_doubt,
    header_row,
    known_cells,
    no_headings,
    unknown_headings,
)
from qc.readers.tables import Cell, Findings, Kind, Row, Table, address, column_letters

FEWEST_SPLIT = 3


class Entry(Struct, frozen=True, kw_only=True):
    """One row below the headings: its cells by field."""

    number: int
    cells: dict[str, Cell]

    def cell(self, field: str) -> Cell | None:
        """The cell of a field, or None when it is empty or there is no such column."""
        return self.cells.get(field)

    def as_typed(self, field: str, value: Decimal) -> str:
        """A number as it stands in its cell, where that is a plain number; the value that was read otherwise."""
        cell = self.cell(field)
        text = "" if cell is None or cell.kind is not Kind.TEXT else cell.text.strip()
        return text if re.fullmatch(r"[0-9][0-9.,eE+-]*", text) else f"{value:f}"


class KnownTable(Struct, frozen=True, kw_only=True):
    """A table whose headings are understood.

    `columns` gives the known column of each field; `unknown` says what was made of the other headings, and `doubt` why
    the header row may be another one.
    """

    table: Table
    sheet: KnownSheet
    header_row: int
    columns: dict[str, Column]
    letters: dict[str, str]
    entries: tuple[Entry, ...]
    unknown: Unknown
    doubt: HeaderDoubt

    def place(self, field: str, entry: Entry) -> str:
        """The address at which a field of a row stands, or would stand."""
        cell = entry.cell(field)
        if cell is not None:
            return cell.address
        return f"{self.letters[field]}{entry.number}" if field in self.letters else f"row {entry.number}"


def known_table(table: Table, sheet: KnownSheet, findings: Findings) -> KnownTable | None:
    """Understand a table by its headings; None (and a problem, unless it is empty) when it has none.

    Parameters
    ----------
    table : Table
    sheet : KnownSheet
        What the table is expected to be.
    findings : Findings
        Where problems and notices go.
    """
    if table.hidden:
        findings.remark(table, "", f"The sheet {table.sheet} is hidden; it was read all the same.")
    header = header_row(table, sheet)
    if header is None:
        if table.rows:
            no_headings(table, sheet, findings)
        return None
    places: dict[str, int] = {}
    columns: dict[str, Column] = {}
    unknown = unknown_headings(table, sheet, header, findings)
    doubt = header_doubt(table, sheet, header, unknown)
    below = [row for row in table.rows if row.number > header.number]
    for cell in header.cells.values():
        column = sheet.columns.get(plain(cell.text)) if cell.kind is Kind.TEXT else None
        if column is None:
            continue
        if column.field in places:
            first = header.cells[places[column.field]]
            findings.refuse(
                table,
                cell.address,
                found=f'the column "{cell.text.strip()}" stands again, after "{first.text.strip()}" in {first.address}',
                mend=f"Keep one of {first.address} and {cell.address}",
            )
        else:
            places[column.field] = cell.column
            columns[column.field] = column
    below = _without_repeats(table, sheet, header, below, places, findings)
    _unheaded(table, header, below, findings)
    _hidden(table, below, places, findings)
    # Below a title taken for the headings every row is too wide, and only the title is to be mended.
    if table.separator and not doubt.mend:
        _too_wide(table, header, below, findings)
        _split_numbers(table, below, {places[field]: column for field, column in columns.items()}, findings)
    below = _merged(table, header, below, {places[field]: column for field, column in columns.items()}, findings)
    entries = []
    for row in below:
        cells = {field: row.cells[spot] for field, spot in places.items() if spot in row.cells}
        if cells:
            entries.append(Entry(number=row.number, cells=cells))
    return KnownTable(
        table=table,
        sheet=sheet,
        header_row=header.number,
        columns=columns,
        letters={field: column_letters(spot) for field, spot in places.items()},
        entries=tuple(entries),
        unknown=unknown,
        doubt=doubt,
    )


def _without_repeats(
    table: Table, sheet: KnownSheet, header: Row, below: Sequence[Row], places: dict[str, int], findings: Findings
) -> list[Row]:
    """The rows below the headings less those that repeat them, as a page break or a pasted block leaves them."""
    kept: list[Row] = []
    fewest, most = min(2, len(places)), len(known_cells(header, sheet))
    for row in below:
        filled = [row.cells[spot] for spot in places.values() if spot in row.cells]
        same = [cell for cell in filled if plain(cell.text) == plain(header.cells[cell.column].text)]
        if len(same) < fewest or len(same) < len(filled) or len(known_cells(row, sheet)) > most:
            kept.append(row)
            continue
        findings.refuse(
            table,
            same[0].address,
            found=f"row {row.number} repeats the headings of row {header.number}",
            mend=f"Remove row {row.number}",
        )
    return kept


def _unheaded(table: Table, header: Row, below: Sequence[Row], findings: Findings) -> None:
    """Notices for columns that hold something and have no heading."""
    counts: dict[int, int] = {}
    for row in below:
        for spot in row.cells:
            if spot not in header.cells:
                counts[spot] = counts.get(spot, 0) + 1
    if table.separator:
        return  # A line that is too long is refused.
    for spot, count in sorted(counts.items()):
        cells = "1 cell was" if count == 1 else f"{count} cells were"
        findings.remark(
            table, "", f"Column {column_letters(spot)} has no heading in row {header.number}; {cells} ignored."
        )


def _hidden(table: Table, below: Sequence[Row], places: dict[str, int], findings: Findings) -> None:
    """Notices for rows and columns that are hidden and were read."""
    rows = [row.number for row in below if row.hidden and any(spot in row.cells for spot in places.values())]
    if rows:
        findings.remark(table, "", f"Hidden rows were read like the others: {in_runs(rows)}.")
    columns = [spot for spot in places.values() if spot in table.hidden_columns]
    if columns:
        names = ", ".join(column_letters(spot) for spot in sorted(columns))
        findings.remark(table, "", f"Hidden columns were read like the others: {names}.")


def in_runs(numbers: Sequence[int]) -> str:
    """Ascending numbers written short.

    Examples
    --------
    >>> in_runs([3, 4, 5, 9])
    '3 to 5, 9'
    """
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][1] + 1:
            runs[-1][1] = number
        else:
            runs.append([number, number])
    return ", ".join(str(first) if first == last else f"{first} to {last}" for first, last in runs)


def _too_wide(table: Table, header: Row, below: Sequence[Row], findings: Findings) -> None:
    """Lines with more fields than headings: mostly a decimal comma in a file that is separated by commas."""
    for row in below:
        # In a file separated by commas even an empty field too many may be the other half of a decimal comma.
        width = row.width if table.separator == "," else max(row.cells)
        if width <= header.width:
            continue
        extra = "; a decimal comma without quotes is the likely cause" if table.separator == "," else ""
        findings.refuse(
            table,
            address(row.number, header.width + 1),
            found=f"the row has {width} fields under {header.width} headings{extra}",
            mend="Type decimal points, or separate the fields by semicolons"
            if extra
            else "Take the surplus separators out",
        )


def _split_numbers(table: Table, below: Sequence[Row], columns: dict[int, Column], findings: Findings) -> None:
    """Refuse masses cut in two at an unquoted decimal comma, where the second half found room under a heading."""
    if table.separator != "," or len(below) < FEWEST_SPLIT:
        return
    for spot in (spot for spot, column in columns.items() if column.unit == "g"):
        halves = [(row.cells.get(spot), row.cells.get(spot + 1)) for row in below]
        # No balance shows whole grams only, each followed by a field of two digits or more.
        if all(
            whole and rest and re.fullmatch(r"\d{1,3}", whole.text) and re.fullmatch(r"\d{2,4}", rest.text)
            for whole, rest in halves
        ):
            first, second = halves[0]
            text = f"{first.text},{second.text}" if first and second else ""
            findings.refuse(
                table,
                address(below[0].number, spot),
                found=f'"{text}" and the like below it look like decimal commas taken for separators',
                mend="Type decimal points, or separate the fields by semicolons",
            )


def _merged(
    table: Table, header: Row, below: Sequence[Row], columns: dict[int, Column], findings: Findings
) -> list[Row]:
    """Rows with the value of a merged range written into every row of it, where that is what it says."""
    rows = {row.number: row for row in below}
    for merge in table.merges:
        if merge.bottom <= header.number or merge.top not in rows or merge.left not in rows[merge.top].cells:
            continue
        covered = [columns[spot] for spot in sorted(columns) if merge.left <= spot <= merge.right]
        if not covered:
            continue
        origin = rows[merge.top].cells[merge.left]
        if len(covered) > 1:
            names = " and ".join(f'"{column.heading}"' for column in (covered[0], covered[-1]))
            findings.refuse(
                table,
                merge.address,
                found=f'"{origin.text}" is merged across the columns {names}',
                mend="Unmerge the cells and type each value into its own cell",
            )
        elif merge.bottom > merge.top:
            column = covered[0]
            once = column.field == "unit" and table.name.casefold() != "assay"
            if column.is_number or once:
                findings.refuse(
                    table,
                    merge.address,
                    found=f'{column.noun} "{origin.text}" is merged over the rows {merge.top} to {merge.bottom}: '
                    "which row it belongs to cannot be told",
                    mend="Unmerge the cells and type each value into its own row",
                )
            elif column.holds is Holds.NAME or column.holds is Holds.TEXT:
                _fill_down(rows, merge.top, merge.bottom, origin)
    return [rows[number] for number in sorted(rows)]


def _fill_down(rows: dict[int, Row], top: int, bottom: int, origin: Cell) -> None:
    for number in [number for number in rows if top < number <= bottom]:
        row = rows[number]
        copy = Cell(
            row=number,
            column=origin.column,
            address=address(number, origin.column),
            kind=origin.kind,
            text=origin.text,
            number=origin.number,
        )
        rows[number] = Row(number=number, cells={**row.cells, origin.column: copy}, hidden=row.hidden, width=row.width)
