"""A located table: the rows below its headings, each cell under the field that it fills.

What lies in no known column is left aside with a notice. Where a table is looked for ends here; whatever follows asks
for fields and does not see where a column stands.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from decimal import Decimal
from typing import Any

from msgspec import Struct
from msgspec.structs import replace

from qc.fields.field import Field, Holds, Sheet, plain, same_name
from qc.readers.cells import CellKind, Merge, Noted, SheetCell, SheetRow, SheetTable, address, column_letters
from qc.readers.headings import NO_HEADINGS, Headings, headings_of, known_cells

FEWEST_SPLIT = 3
_TYPE_POINTS = "Type decimal points, or separate the fields by semicolons"


class Entry(Struct, frozen=True, kw_only=True):
    """One row below the headings: its filled cells by attribute, and the values that are read from them.

    `values` is filled cell by cell as the columns are read; an empty cell and a refused one have no value.
    """

    number: int
    cells: dict[str, SheetCell]
    values: dict[str, Any]

    def cell(self, attribute: str) -> SheetCell | None:
        """The cell of an attribute, or None when it is empty or there is no such column."""
        return self.cells.get(attribute)

    def value(self, attribute: str) -> Any:
        """The value of an attribute; None when it is empty, was refused, or there is no such column."""
        return self.values.get(attribute)

    def as_typed(self, attribute: str, value: Decimal) -> str:
        """A number as it stands in its cell, where that is a plain number; the value that was read otherwise."""
        cell = self.cell(attribute)
        text = "" if cell is None or cell.kind is not CellKind.TEXT else cell.typed
        return text if re.fullmatch(r"[0-9][0-9.,eE+-]*", text) else f"{value:f}"


class LocatedTable(Struct, frozen=True, kw_only=True):
    """A table whose headings are understood, and where to note what is wrong with it.

    `columns` gives the field of each attribute, `letters` the letters of its column.
    """

    table: SheetTable
    sheet: Sheet
    columns: dict[str, Field]
    letters: dict[str, str]
    entries: tuple[Entry, ...]
    findings: Noted
    headings: Headings = NO_HEADINGS

    def has(self, attribute: str) -> bool:
        """Whether the table has a column for an attribute."""
        return attribute in self.columns

    def place(self, attribute: str, entry: Entry) -> str:
        """The address at which an attribute of a row stands, or would stand."""
        cell = entry.cell(attribute)
        if cell is not None:
            return cell.address
        return f"{self.letters[attribute]}{entry.number}" if attribute in self.letters else f"row {entry.number}"

    def refuse_at(self, place: str, found: str, mend: str) -> None:
        """Note a problem at an address."""
        self.findings.refuse(self.table, place, found=found, mend=mend)

    def refuse(self, entry: Entry, attribute: str, found: str, mend: str) -> None:
        """Note a problem at a field of a row, whether it is filled or not."""
        self.refuse_at(self.place(attribute, entry), found, mend)

    def refuse_column(self, attribute: str, found: str, mend: str) -> None:
        """Note a problem of a whole column at its heading."""
        self.refuse_at(f"{self.letters[attribute]}{self.headings.row.number}", found, mend)

    def refuse_missing(self, found: str, mend: str, *, hints: str) -> None:
        """Note that a column is missing, with the hints on headings, and with what speaks against the header row."""
        self.refuse_at("", f"{found}{hints}{self.headings.against}", f"{mend}{self.headings.mend}")

    def remark(self, place: str, text: str) -> None:
        """Note a remark at a cell, or at the whole table when `place` is empty."""
        self.findings.remark(self.table, place, text)

    def remark_on(self, attribute: str, entries: Sequence[Entry], text: str) -> None:
        """Note a remark on a field of some rows: at its cell where it is one row, at the whole table otherwise."""
        self.remark(self.place(attribute, entries[0]) if len(entries) == 1 else "", text)

    def filled(self, row: SheetRow) -> dict[str, SheetCell]:
        """The known cells of a row by attribute."""
        columns = self.headings.columns
        return {field.attribute: row.cells[spot] for spot, field in columns.items() if spot in row.cells}

    def name_in(self, entry: Entry, attribute: str) -> str | None:
        """The name in a row; None where it was refused, or (and a problem) where there is none."""
        if entry.cell(attribute) is None:
            noun = self.sheet.field(attribute).noun
            beside = [f', but "{cell.typed}" stands in {cell.address}' for cell in entry.cells.values()]
            found = f"the row has no {noun}{beside[0] if beside else ''}"
            self.refuse(entry, attribute, found, f"Type the name of the {noun}, or clear the row")
        name: str | None = entry.value(attribute)
        return name

    def named_once(self, entries: Iterable[Entry]) -> Iterator[Entry]:
        """Those of the rows that have a name of their own; the others are refused."""
        noun = self.sheet.field("name").noun
        first: dict[str, str] = {}
        for entry in entries:
            name, place = self.name_in(entry, "name"), self.place("name", entry)
            if name is None:
                continue
            earlier = first.setdefault(same_name(name), place)
            if earlier == place:
                yield entry
                continue
            mend = f"Give each {noun} its own name in {earlier} and {place}"
            self.refuse_at(place, f'{noun} "{name}" stands again, after {earlier}', mend)


def located_table(table: SheetTable, sheet: Sheet, findings: Noted) -> LocatedTable | None:
    """Understand a table by its headings; None (and a problem, unless it is empty) when it has none.

    Parameters
    ----------
    table : SheetTable
    sheet : Sheet
        What the table is expected to be.
    findings : Noted
        Where problems and notices go.
    """
    if table.hidden:
        findings.remark(table, "", f"The sheet {table.sheet} is hidden; it was read all the same.")
    headings = headings_of(table, sheet, findings)
    if headings is None:
        return None
    located = LocatedTable(
        table=table,
        sheet=sheet,
        headings=headings,
        columns={field.attribute: field for field in headings.columns.values()},
        letters={field.attribute: column_letters(spot) for spot, field in headings.columns.items()},
        entries=(),
        findings=findings,
    )
    below = _without_repeats(located, [row for row in table.rows if row.number > headings.row.number])
    _remark_on_hidden(located, below)
    if not table.separator:
        _remark_on_unheaded(located, below)
    elif not headings.mend:
        # Below a title taken for the headings every row is too wide, and only the title is to be mended.
        _refuse_too_wide(located, below)
        _refuse_split_numbers(located, below)
    rows = [(row.number, located.filled(row)) for row in _merged(located, below)]
    entries = tuple(Entry(number=number, cells=cells, values={}) for number, cells in rows if cells)
    return replace(located, entries=entries)


def _without_repeats(located: LocatedTable, below: Sequence[SheetRow]) -> list[SheetRow]:
    """The rows below the headings less those that repeat them, as a page break or a pasted block leaves them."""
    kept: list[SheetRow] = []
    header = located.headings.row
    fewest, most = min(2, len(located.columns)), len(known_cells(header, located.sheet))
    for row in below:
        filled = located.filled(row).values()
        same = [
            cell
            for cell in filled
            if cell.kind is CellKind.TEXT and plain(cell.text) == plain(header.cells[cell.column].text)
        ]
        if len(same) < fewest or len(same) < len(filled) or len(known_cells(row, located.sheet)) > most:
            kept.append(row)
            continue
        found = f"row {row.number} repeats the headings of row {header.number}"
        located.refuse_at(same[0].address, found, f"Remove row {row.number}")
    return kept


def _remark_on_unheaded(located: LocatedTable, below: Sequence[SheetRow]) -> None:
    """Notices for columns that hold something and have no heading."""
    header = located.headings.row
    counts = Counter(spot for row in below for spot in row.cells if spot not in header.cells)
    for spot, count in sorted(counts.items()):
        cells = "1 cell was" if count == 1 else f"{count} cells were"
        located.remark("", f"Column {column_letters(spot)} has no heading in row {header.number}; {cells} ignored.")


def _remark_on_hidden(located: LocatedTable, below: Sequence[SheetRow]) -> None:
    """Notices for rows and columns that are hidden and were read."""
    rows = [row.number for row in below if row.hidden and located.filled(row)]
    columns = sorted(located.table.hidden_columns & located.headings.columns.keys())
    if rows:
        located.remark("", f"Hidden rows were read like the others: {in_runs(rows)}.")
    if columns:
        names = ", ".join(column_letters(spot) for spot in columns)
        located.remark("", f"Hidden columns were read like the others: {names}.")


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


def _refuse_too_wide(located: LocatedTable, below: Sequence[SheetRow]) -> None:
    """Lines with more fields than headings: mostly a decimal comma in a file that is separated by commas."""
    headings, commas = located.headings.row.width, located.table.separator == ","
    extra = "; a decimal comma without quotes is the likely cause" if commas else ""
    mend = _TYPE_POINTS if commas else "Take the surplus separators out"
    for row in below:
        # In a file separated by commas even an empty field too many may be the other half of a decimal comma.
        width = row.width if commas else max(row.cells)
        if width > headings:
            found = f"the row has {width} fields under {headings} headings{extra}"
            located.refuse_at(address(row.number, headings + 1), found, mend)


def _refuse_split_numbers(located: LocatedTable, below: Sequence[SheetRow]) -> None:
    """Refuse masses cut in two at an unquoted decimal comma, where the second half found room under a heading."""
    if located.table.separator != "," or len(below) < FEWEST_SPLIT:
        return
    for spot in (spot for spot, field in located.headings.columns.items() if field.unit == "g"):
        full = [row.cells for row in below if {spot, spot + 1} <= row.cells.keys()]
        halves = [(cells[spot].text, cells[spot + 1].text) for cells in full]
        # No balance shows whole grams only, each followed by a field of two digits or more.
        if len(halves) == len(below) and all(
            re.fullmatch(r"\d{1,3}", whole) and re.fullmatch(r"\d{2,4}", rest) for whole, rest in halves
        ):
            found = f'"{",".join(halves[0])}" and the like below it look like decimal commas taken for separators'
            located.refuse_at(address(below[0].number, spot), found, _TYPE_POINTS)


def _merged(located: LocatedTable, below: Sequence[SheetRow]) -> list[SheetRow]:
    """Rows with the value of a merged range written into every row of it, where that is what it says."""
    columns, header = located.headings.columns, located.headings.row
    rows = {row.number: row for row in below}
    for merge in located.table.merges:
        if merge.bottom <= header.number or merge.top not in rows or merge.left not in rows[merge.top].cells:
            continue
        covered = [columns[spot] for spot in sorted(columns) if merge.left <= spot <= merge.right]
        origin = rows[merge.top].cells[merge.left]
        if len(covered) > 1:
            names = f'"{covered[0].heading}" and "{covered[-1].heading}"'
            found = f'"{origin.text}" is merged across the columns {names}'
            located.refuse_at(merge.address, found, "Unmerge the cells and type each value into its own cell")
        elif covered and merge.bottom > merge.top:
            field = covered[0]
            once = field.holds is Holds.NAME and field.attribute == "name"
            if field.is_number or once:
                found = (
                    f'{field.noun} "{origin.text}" is merged over the rows {merge.top} to {merge.bottom}: '
                    "which row it belongs to cannot be told"
                )
                located.refuse_at(merge.address, found, "Unmerge the cells and type each value into its own row")
            elif field.holds is not Holds.YES_NO:
                _fill_down(rows, merge, origin)
    return [rows[number] for number in sorted(rows)]


def _fill_down(rows: dict[int, SheetRow], merge: Merge, origin: SheetCell) -> None:
    for number in [number for number in rows if merge.top < number <= merge.bottom]:
        copy = replace(origin, address=address(number, origin.column))
        rows[number] = replace(rows[number], cells={**rows[number].cells, origin.column: copy})
