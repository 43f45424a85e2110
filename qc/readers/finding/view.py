"""A sheet by rows and columns, upright or on its side, so that units across are read like units below each other."""

from __future__ import annotations

import re
from collections.abc import Iterator
from decimal import Decimal
from itertools import chain

from msgspec import Struct

from qc.fields.words import measure_of
from qc.readers.cells import CellKind, SheetCell, SheetTable
from qc.readers.typed_number import NotANumberError, written

Spot = tuple[int, int]
"""Row and column of a cell in a view, each counted from 1."""

_BEHIND = re.compile(r".*?([a-zA-Z\u00b5\u03bc%]+)\.?\s*$", re.ASCII | re.DOTALL)


class SheetView(Struct, frozen=True, kw_only=True):
    """The cells of a sheet by spot; `turned` where rows and columns have changed places."""

    table: SheetTable
    cells: dict[Spot, SheetCell]
    turned: bool = False

    @property
    def rows(self) -> dict[int, dict[int, SheetCell]]:
        """The cells by row, then by column, both ascending."""
        rows: dict[int, dict[int, SheetCell]] = {}
        for (row, column), cell in sorted(self.cells.items(), key=lambda one: one[0]):
            rows.setdefault(row, {})[column] = cell
        return rows

    def text(self, spot: Spot) -> str:
        """What is typed at a spot that holds no number; empty where nothing stands or a number does."""
        cell = self.cells.get(spot)
        return "" if cell is None or number_in(cell) is not None else cell.typed

    def numbers_below(self, spot: Spot, *, within: int) -> int:
        """How many of the next cells of the column hold a number."""
        row, column = spot
        below = (self.cells.get((row + step, column)) for step in range(1, within + 1))
        return sum(cell is not None and number_in(cell) is not None for cell in below)


def views_of(table: SheetTable) -> tuple[SheetView, SheetView]:
    """A sheet upright, and on its side."""
    cells = {(row.number, column): cell for row in table.rows for column, cell in row.cells.items()}
    turned = {(column, row): cell for (row, column), cell in cells.items()}
    return SheetView(table=table, cells=cells), SheetView(table=table, cells=turned, turned=True)


def number_in(cell: SheetCell) -> Decimal | None:
    """The number that a cell holds, by its decimal point where it can be read two ways; None where it holds none."""
    if cell.kind is CellKind.NUMBER:
        return cell.number
    if cell.kind is not CellKind.TEXT:
        return None
    try:
        one = written(cell.text)
    except NotANumberError:
        return None
    return one.with_comma if one.with_point is None else one.with_point


def measure_in(cell: SheetCell) -> str:
    """The unit of measure typed behind the number of a cell, or empty."""
    match = _BEHIND.match(cell.text) if cell.kind is CellKind.TEXT else None
    return measure_of(match.group(1)) if match else ""


def decimals_in(cell: SheetCell) -> int:
    """How many digits the number of a cell shows behind its decimal mark."""
    exponent = (number_in(cell) or Decimal(0)).as_tuple().exponent
    return -exponent if isinstance(exponent, int) and exponent < 0 else 0


def all_cells(table: SheetTable) -> Iterator[SheetCell]:
    """Every cell of a sheet, by rows."""
    return chain.from_iterable(row.cells.values() for row in table.rows)
