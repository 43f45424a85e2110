"""From a raw table to a known one: where its headings are, which columns it has, and its rows below them.

The header row is the first row that holds a known heading. What lies in no known column is left aside with a notice;
a known column that stands twice is refused, because either could be the true one.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from msgspec import Struct
from msgspec.structs import replace

from qc.fields.field import Field, Holds, Sheet
from qc.fields.headings import plain
from qc.readers.headings import (
    HeaderDoubt,
    Unknown,
    header_doubt,
    header_row,
    known_cells,
    no_headings,
    unknown_headings,
)
from qc.readers.tables import CellKind, Merge, Noted, SheetCell, SheetRow, SheetTable, address, column_letters

FEWEST_SPLIT = 3


class Entry(Struct, frozen=True, kw_only=True):
    """One row below the headings: its filled cells by attribute, and the values that were read from them."""

    number: int
    cells: dict[str, SheetCell]
    values: dict[str, Any]

    def cell(self, attribute: str) -> SheetCell | None:
        """The cell of an attribute, or None when it is empty or there is no such column."""
        return self.cells.get(attribute)

    def value(self, attribute: str) -> Any:
        """The value of an attribute; None when it is empty, was refused, or there is no such column."""
        return self.values.get(attribute)

    def said(self) -> dict[str, Any]:
        """The values by attribute, less those of empty and refused cells."""
        return {attribute: value for attribute, value in self.values.items() if value is not None}

    def as_typed(self, attribute: str, value: Decimal) -> str:
        """A number as it stands in its cell, where that is a plain number; the value that was read otherwise."""
        cell = self.cell(attribute)
        text = "" if cell is None or cell.kind is not CellKind.TEXT else cell.text.strip()
        return text if re.fullmatch(r"[0-9][0-9.,eE+-]*", text) else f"{value:f}"


class KnownTable(Struct, frozen=True, kw_only=True):
    """A table whose headings are understood.

    `columns` gives the known column of each attribute; `unknown` says what was made of the other headings, and `doubt`
    why the header row may be another one.
    """

    table: SheetTable
    sheet: Sheet
    header_row: int
    columns: dict[str, Field]
    letters: dict[str, str]
    entries: tuple[Entry, ...]
    unknown: Unknown
    doubt: HeaderDoubt

    def place(self, attribute: str, entry: Entry) -> str:
        """The address at which an attribute of a row stands, or would stand."""
        cell = entry.cell(attribute)
        if cell is not None:
            return cell.address
        return f"{self.letters[attribute]}{entry.number}" if attribute in self.letters else f"row {entry.number}"


class _Headed(Struct, frozen=True, kw_only=True):
    """A table under its header row, with the known column at each spot."""

    table: SheetTable
    header: SheetRow
    columns: dict[int, Field]
    findings: Noted

    def filled(self, row: SheetRow) -> dict[str, SheetCell]:
        """The known cells of a row by attribute."""
        return {field.attribute: row.cells[spot] for spot, field in self.columns.items() if spot in row.cells}

    def refuse(self, place: str, found: str, mend: str) -> None:
        self.findings.refuse(self.table, place, found=found, mend=mend)


def known_table(table: SheetTable, sheet: Sheet, findings: Noted) -> KnownTable | None:
    """Understand a table by its headings; None (and a problem, unless it is empty) when it has none.

    Parameters
    ----------
    table : Table
    sheet : Sheet
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
    unknown = unknown_headings(table, sheet, header, findings)
    doubt = header_doubt(table, sheet, header, unknown)
    headed = _Headed(table=table, header=header, columns=_columns(table, sheet, header, findings), findings=findings)
    below = [row for row in table.rows if row.number > header.number]
    below = _without_repeats(headed, sheet, below)
    _unheaded(headed, below)
    _hidden(headed, below)
    # Below a title taken for the headings every row is too wide, and only the title is to be mended.
    if table.separator and not doubt.mend:
        _too_wide(headed, below)
        _split_numbers(headed, below)
    rows = [(row.number, headed.filled(row)) for row in _merged(headed, below)]
    return KnownTable(
        table=table,
        sheet=sheet,
        header_row=header.number,
        columns={field.attribute: field for field in headed.columns.values()},
        letters={field.attribute: column_letters(spot) for spot, field in headed.columns.items()},
        entries=tuple(Entry(number=number, cells=cells, values={}) for number, cells in rows if cells),
        unknown=unknown,
        doubt=doubt,
    )


def _columns(table: SheetTable, sheet: Sheet, header: SheetRow, findings: Noted) -> dict[int, Field]:
    """The known column at each spot of the header row; one that stands twice is refused."""
    first: dict[str, SheetCell] = {}
    columns: dict[int, Field] = {}
    for cell in known_cells(header, sheet):
        field = sheet.columns[plain(cell.text)]
        earlier = first.setdefault(field.attribute, cell)
        if earlier is cell:
            columns[cell.column] = field
            continue
        where = f'after "{earlier.text.strip()}" in {earlier.address}'
        found = f'the column "{cell.text.strip()}" stands again, {where}'
        findings.refuse(table, cell.address, found=found, mend=f"Keep one of {earlier.address} and {cell.address}")
    return columns


def _without_repeats(headed: _Headed, sheet: Sheet, below: Sequence[SheetRow]) -> list[SheetRow]:
    """The rows below the headings less those that repeat them, as a page break or a pasted block leaves them."""
    kept: list[SheetRow] = []
    header = headed.header
    fewest, most = min(2, len(headed.columns)), len(known_cells(header, sheet))
    for row in below:
        filled = headed.filled(row).values()
        same = [cell for cell in filled if plain(cell.text) == plain(header.cells[cell.column].text)]
        if len(same) < fewest or len(same) < len(filled) or len(known_cells(row, sheet)) > most:
            kept.append(row)
            continue
        found = f"row {row.number} repeats the headings of row {header.number}"
        headed.refuse(same[0].address, found, f"Remove row {row.number}")
    return kept


def _unheaded(headed: _Headed, below: Sequence[SheetRow]) -> None:
    """Notices for columns that hold something and have no heading."""
    if headed.table.separator:
        return  # A line that is too long is refused.
    counts = Counter(spot for row in below for spot in row.cells if spot not in headed.header.cells)
    for spot, count in sorted(counts.items()):
        cells = "1 cell was" if count == 1 else f"{count} cells were"
        text = f"Column {column_letters(spot)} has no heading in row {headed.header.number}; {cells} ignored."
        headed.findings.remark(headed.table, "", text)


def _hidden(headed: _Headed, below: Sequence[SheetRow]) -> None:
    """Notices for rows and columns that are hidden and were read."""
    rows = [row.number for row in below if row.hidden and headed.filled(row)]
    columns = sorted(headed.table.hidden_columns & headed.columns.keys())
    if rows:
        headed.findings.remark(headed.table, "", f"Hidden rows were read like the others: {in_runs(rows)}.")
    if columns:
        names = ", ".join(column_letters(spot) for spot in columns)
        headed.findings.remark(headed.table, "", f"Hidden columns were read like the others: {names}.")


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


_TYPE_POINTS = "Type decimal points, or separate the fields by semicolons"


def _too_wide(headed: _Headed, below: Sequence[SheetRow]) -> None:
    """Lines with more fields than headings: mostly a decimal comma in a file that is separated by commas."""
    headings, commas = headed.header.width, headed.table.separator == ","
    extra = "; a decimal comma without quotes is the likely cause" if commas else ""
    mend = _TYPE_POINTS if commas else "Take the surplus separators out"
    for row in below:
        # In a file separated by commas even an empty field too many may be the other half of a decimal comma.
        width = row.width if commas else max(row.cells)
        if width > headings:
            found = f"the row has {width} fields under {headings} headings{extra}"
            headed.refuse(address(row.number, headings + 1), found, mend)


def _split_numbers(headed: _Headed, below: Sequence[SheetRow]) -> None:
    """Refuse masses cut in two at an unquoted decimal comma, where the second half found room under a heading."""
    if headed.table.separator != "," or len(below) < FEWEST_SPLIT:
        return
    for spot in (spot for spot, field in headed.columns.items() if field.unit == "g"):
        halves = [(row.cells.get(spot), row.cells.get(spot + 1)) for row in below]
        # No balance shows whole grams only, each followed by a field of two digits or more.
        if all(
            whole and rest and re.fullmatch(r"\d{1,3}", whole.text) and re.fullmatch(r"\d{2,4}", rest.text)
            for whole, rest in halves
        ):
            first, second = halves[0]
            text = f"{first.text},{second.text}" if first and second else ""
            found = f'"{text}" and the like below it look like decimal commas taken for separators'
            headed.refuse(address(below[0].number, spot), found, _TYPE_POINTS)


def _merged(headed: _Headed, below: Sequence[SheetRow]) -> list[SheetRow]:
    """Rows with the value of a merged range written into every row of it, where that is what it says."""
    rows = {row.number: row for row in below}
    for merge in headed.table.merges:
        if merge.bottom <= headed.header.number or merge.top not in rows or merge.left not in rows[merge.top].cells:
            continue
        covered = [headed.columns[spot] for spot in sorted(headed.columns) if merge.left <= spot <= merge.right]
        origin = rows[merge.top].cells[merge.left]
        if len(covered) > 1:
            names = f'"{covered[0].heading}" and "{covered[-1].heading}"'
            found = f'"{origin.text}" is merged across the columns {names}'
            headed.refuse(merge.address, found, "Unmerge the cells and type each value into its own cell")
        elif covered and merge.bottom > merge.top:
            field = covered[0]
            once = field.holds is Holds.NAME and field.attribute == "name"
            if field.is_number or once:
                found = (
                    f'{field.noun} "{origin.text}" is merged over the rows {merge.top} to {merge.bottom}: '
                    "which row it belongs to cannot be told"
                )
                headed.refuse(merge.address, found, "Unmerge the cells and type each value into its own row")
            elif field.holds is not Holds.YES_NO:
                _fill_down(rows, merge, origin)
    return [rows[number] for number in sorted(rows)]


def _fill_down(rows: dict[int, SheetRow], merge: Merge, origin: SheetCell) -> None:
    for number in [number for number in rows if merge.top < number <= merge.bottom]:
        copy = replace(origin, row=number, address=address(number, origin.column))
        rows[number] = replace(rows[number], cells={**rows[number].cells, origin.column: copy})
