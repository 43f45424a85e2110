"""Where every unit lies on the drawing of the tray: moulds side by side, and as many to a row as fit on a page."""

from __future__ import annotations

import re
from collections.abc import Sequence

from msgspec import Struct

from qc.results import UnitRow
from qc.show.names_apart import names_apart

INCHES_A_CELL = 0.5
INCHES_WIDE = 6.4
MOST_INCHES_HIGH = 6.4
"""What a page has room for; where the cells would need more they become smaller and stand more to a row."""
GAP_CELLS = 0.5
"""Between moulds that stand side by side."""
ROWS_OF_HEADING = 0.65
COLUMNS_OF_A_MOULD = (6, 8, 10, 12, 15, 20)
MOULDS_ABREAST = (2, 3, 4, 5)
COLUMNS_WITHOUT_MOULDS = (12, 15, 20, 25, 30, 40)
LETTERS_OF_A_MOULD = 16


class Cell(Struct, frozen=True, kw_only=True):
    """Where a unit is drawn: the middle of its cell, from the upper left [cells]."""

    row: UnitRow
    x: float
    y: float


class Layout(Struct, frozen=True, kw_only=True):
    """The whole tray: cells, headings of moulds with the lower left corner of each, and the size of it all [cells]."""

    cells: tuple[Cell, ...]
    headings: tuple[tuple[str, float, float], ...]
    columns: int
    """Of a mould."""
    wide: float
    high: float

    @property
    def by_mould(self) -> bool:
        """Whether moulds or cavities were given."""
        return bool(self.headings)

    @property
    def cell_inches(self) -> float:
        """How wide and high a cell is drawn, so that the tray fits on a page [inch]."""
        return min(INCHES_A_CELL, INCHES_WIDE / self.wide, MOST_INCHES_HIGH / self.high)


def counting_order(text: str) -> tuple[tuple[int, int, str], ...]:
    """A key that sorts names as people count: cavity 2 before cavity 10.

    Examples
    --------
    >>> sorted(["10", "2", "B1"], key=counting_order)
    ['2', '10', 'B1']
    """
    return tuple((0, int(part), "") if part.isdecimal() else (1, 0, part) for part in re.split(r"(\d+)", text) if part)


def poured_order(rows: Sequence[UnitRow]) -> list[UnitRow]:
    """Rows in pour order; units without one keep their place at the end."""
    return sorted(rows, key=lambda row: (row.pour_order is None, row.pour_order or 0))


def tray_layout(rows: Sequence[UnitRow]) -> Layout:
    """Where each unit lies: moulds side by side, cavities in order; rows in pour order where no cavity was given.

    A cavity that was filled more than once is drawn once a filling.
    """
    if any(row.mould is not None or row.cavity is not None for row in rows):
        fillings = _fillings(rows)
        shapes = [(columns, abreast) for abreast in MOULDS_ABREAST for columns in COLUMNS_OF_A_MOULD]
    else:
        fillings = [("", poured_order(rows))]
        shapes = [(columns, 1) for columns in COLUMNS_WITHOUT_MOULDS]
    layouts = (_side_by_side(fillings, columns=columns, abreast=abreast) for columns, abreast in shapes)
    # The first is the usual one; others are tried only where it does not fit on a page.
    best = next(layouts)
    if best.cell_inches < INCHES_A_CELL:
        best = max([best, *layouts], key=lambda layout: layout.cell_inches)
    return best


def _fillings(rows: Sequence[UnitRow]) -> list[tuple[str, list[UnitRow]]]:
    """Rows of each filling of each mould, with its heading."""
    fillings: dict[tuple[str, int], list[UnitRow]] = {}
    times: dict[tuple[str, str], int] = {}
    for row in poured_order(rows):
        mould = row.mould or ""
        # A unit whose cavity was not given stands in the first filling of its mould.
        filling = times.get((mould, row.cavity), 0) + 1 if row.cavity is not None else 1
        if row.cavity is not None:
            times[mould, row.cavity] = filling
        fillings.setdefault((mould, filling), []).append(row)
    again = {mould for mould, filling in fillings if filling > 1}
    names = names_apart((mould for mould, _ in fillings if mould), most=LETTERS_OF_A_MOULD)
    found = []
    for (mould, filling), units in sorted(fillings.items(), key=lambda item: (counting_order(item[0][0]), item[0][1])):
        name = f"Mould {names[mould]}" if mould else "No mould named"
        heading = f"{name}, filling {filling}" if mould in again else name
        found.append((heading, sorted(units, key=lambda row: (row.cavity is None, counting_order(row.cavity or "")))))
    return found


def _side_by_side(fillings: Sequence[tuple[str, list[UnitRow]]], *, columns: int, abreast: int) -> Layout:
    cells: list[Cell] = []
    headings: list[tuple[str, float, float]] = []
    top = lowest = 0.0
    for number, (heading, units) in enumerate(fillings):
        if number % abreast == 0:
            top = lowest + (ROWS_OF_HEADING if heading else 0.0)
        left = number % abreast * (columns + GAP_CELLS)
        if heading:
            headings.append((heading, left, top))
        cells += [
            Cell(row=row, x=left + place % columns + 0.5, y=top + place // columns + 0.5)
            for place, row in enumerate(units)
        ]
        lowest = max(lowest, top - (-len(units) // columns))
    wide = abreast * columns + (abreast - 1) * GAP_CELLS
    return Layout(cells=tuple(cells), headings=tuple(headings), columns=columns, wide=wide, high=max(lowest, 1.0))
