"""A sheet by rows and columns, upright or on its side, so that units across are read like units below each other."""

from __future__ import annotations

import functools
import re
from decimal import Decimal

from msgspec import Struct
from msgspec.structs import replace

from qc.fields.words import measure_of
from qc.patterns import pattern
from qc.readers.cells import CellKind, SheetCell, SheetTable, address, row_of
from qc.readers.typed_number import DecimalMark, NotANumberError, written

Spot = tuple[int, int]
"""Row and column of a cell in a view, each counted from 1."""
Rows = dict[int, dict[int, SheetCell]]

LEAST_WHOLE = 100
# Cells are asked a dozen times for their kind, and to look a member of an enumeration up costs as much as the rest.
_TEXT, _NUMBER = CellKind.TEXT, CellKind.NUMBER
_BEHIND = pattern(r".*?([a-zA-Z\u00b5\u03bc%]+)\.?\s*$", re.ASCII | re.DOTALL)


class SheetView(Struct, frozen=True, kw_only=True):
    """The cells of a sheet by row, then by column, both ascending; `turned` where these have changed places."""

    table: SheetTable
    rows: Rows
    turned: bool = False

    def at(self, spot: Spot) -> SheetCell | None:
        """The cell at a spot, None where that is empty."""
        return self.rows.get(spot[0], {}).get(spot[1])

    def text(self, spot: Spot) -> str:
        """What is typed at a spot that holds no number; empty where nothing stands or a number does."""
        cell = self.at(spot)
        return "" if cell is None or number_in(cell) is not None else cell.typed

    def next_to(self, cell: SheetCell) -> SheetCell | None:
        """The next filled cell of its row."""
        row = self.rows.get(row_of(cell), {})
        return next((one for column, one in row.items() if column > cell.column), None)

    def numbers_below(self, spot: Spot, *, within: int) -> int:
        """How many of the next cells of the column hold a number."""
        row, column = spot
        below = (self.at((row + step, column)) for step in range(1, within + 1))
        return sum(cell is not None and number_in(cell) is not None for cell in below)

    def on_its_side(self) -> SheetView:
        """The same with rows and columns in each other's place."""
        turned: Rows = {}
        for row, column in sorted((column, row) for row, cells in self.rows.items() for column in cells):
            turned.setdefault(row, {})[column] = self.rows[column][row]
        return SheetView(table=self.table, rows=turned, turned=not self.turned)


def view_of(table: SheetTable) -> SheetView:
    """A sheet upright; a word that is merged over several rows stands in each of them."""
    rows: Rows = {row.number: dict(row.cells) for row in table.rows}
    for merge in table.merges:
        origin = rows.get(merge.top, {}).get(merge.left)
        if origin is None or number_in(origin) is not None:
            continue
        for row in range(merge.top + 1, merge.bottom + 1):
            if row in rows:
                copy = replace(origin, address=address(row, merge.left))
                rows[row] = dict(sorted({**rows[row], merge.left: copy}.items()))
    return SheetView(table=table, rows=rows)


def number_in(cell: SheetCell) -> Decimal | None:
    """The number that a cell holds, with decimals where it can be read two ways; None where it holds none."""
    kind = cell.kind
    if kind is _TEXT:
        return _number_typed(cell.text)[0]
    return cell.number if kind is _NUMBER else None


def value_in(cell: SheetCell) -> Decimal:
    """The number that a cell holds; zero where it holds none."""
    return number_in(cell) or Decimal(0)


def like_a_mass(cell: SheetCell) -> bool:
    """Whether a cell holds a number with digits behind its decimal mark, or a whole one of three digits or more."""
    return value_in(cell) > 0 and (decimals_in(cell) > 0 or value_in(cell) >= LEAST_WHOLE)


def read_by(cell: SheetCell, mark: DecimalMark | None) -> Decimal | None:
    """The number that a cell holds with a decimal mark, where it can be read two ways."""
    if mark is None or not is_open(cell):
        return number_in(cell)
    one = written(cell.text)
    return one.with_comma if mark == "comma" else one.with_point


def is_open(cell: SheetCell) -> bool:
    """Whether the number of a cell can be read two ways, as 2.013 or as 2013."""
    return cell.kind is CellKind.TEXT and number_in(cell) is not None and written(cell.text).is_open


def meant_in(cell: SheetCell) -> Decimal | None:
    """The number that a text looks like which is none, "2.O1"; None where it looks like none."""
    return _number_typed(cell.text)[1] if cell.kind is CellKind.TEXT else None


def decimals_in(cell: SheetCell) -> int:
    """How many digits the number of a cell shows behind its decimal mark."""
    kind = cell.kind
    if kind is _TEXT:
        return _number_typed(cell.text)[2]
    return _decimals(cell.number) if kind is _NUMBER else 0


def _decimals(number: Decimal | None) -> int:
    exponent = (number or Decimal(0)).as_tuple().exponent
    return -exponent if isinstance(exponent, int) and exponent < 0 else 0


# Most cells of a sheet are asked for their number several times.
@functools.lru_cache(maxsize=16384)
def _number_typed(text: str) -> tuple[Decimal | None, Decimal | None, int]:
    """The number of a text, the one that was meant where it is none, and the decimals of the first."""
    if not any(one.isdigit() for one in text):
        return None, None, 0
    try:
        one = written(text)
    except NotANumberError as error:
        return None, Decimal(error.example) if error.example else None, 0
    number = one.with_comma if one.with_point is None or ("," in text and one.is_open) else one.with_point
    return number, None, _decimals(number)


def measure_in(cell: SheetCell) -> str:
    """The unit of measure typed, or shown by its format, behind the number of a cell; or empty."""
    match = None if cell.kind is not CellKind.TEXT or cell.text[-1:].isdecimal() else _BEHIND.match(cell.text)
    return measure_of(match.group(1)) if match else cell.unit


def written_at(cell: SheetCell, text: str) -> SheetCell:
    """A text at the address of a cell."""
    return replace(cell, kind=CellKind.TEXT, text=text, number=None)
