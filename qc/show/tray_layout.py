"""Where every unit lies on the drawing of the tray: moulds side by side, and as many to a row as fit on a page."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from math import ceil
from string import ascii_lowercase

from msgspec import Struct, field
from msgspec.structs import replace

from qc.results import JudgedBatch, UnitRow
from qc.show.names_apart import names_apart

COLUMNS_OF_A_PAGE = 12
GAP_CELLS = 0.5
"""Between moulds that stand side by side."""
INCHES_A_CELL = 0.5
INCHES_WIDE = (COLUMNS_OF_A_PAGE + GAP_CELLS) * INCHES_A_CELL
MOST_INCHES_HIGH = 7.2
"""What a page has room for; where the cells would need more they become smaller and stand more to a row."""
WIDER_MOULDS = (6, 8, 10, 12, 15, 20)
MOST_ABREAST = 5
WIDER_ROWS = (12, 15, 20, 25, 30, 40)
ROWS_OF_HEADING = 0.65
ROWS_OF_LEGEND = 1.55
ROW_OF_DEFECTS = 0.42
DEFECTS_A_ROW = 4
LETTERS_OF_A_MOULD = 16


class Cell(Struct, frozen=True, kw_only=True):
    """Where a unit is drawn: column and row of the drawing, from the upper left [cells]."""

    row: UnitRow
    x: float
    y: float


class Layout(Struct, frozen=True, kw_only=True):
    """The whole tray: cells, headings of moulds with their places, and the height of it all [cells]."""

    cells: tuple[Cell, ...]
    headings: tuple[tuple[str, float, float], ...]
    height: float
    by_mould: bool
    wide: float = COLUMNS_OF_A_PAGE + GAP_CELLS
    """[cells]"""
    marks: tuple[tuple[str, str], ...] = ()
    """Letter and name of each defect that was seen, for the legend."""
    marked: Mapping[str, str] = field(default_factory=dict)
    """The letters beside a unit, by its name."""


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

    A cavity that was filled more than once is drawn once a round.
    """
    by_mould = any(row.mould is not None or row.cavity is not None for row in rows)
    made: Iterator[Layout]
    if by_mould:
        rounds = _rounds(rows)
        abreast = range(2, MOST_ABREAST + 1)
        made = (_moulds_side_by_side(rounds, columns=many, abreast=few) for few in abreast for many in WIDER_MOULDS)
    else:
        made = (_in_rows(rows, columns=columns) for columns in WIDER_ROWS)
    # The first is the usual one; others are tried only where it does not fit on a page.
    best = next(made)
    if cell_inches(best) < INCHES_A_CELL:
        best = max([best, *made], key=cell_inches)
    return best


def _in_rows(rows: Sequence[UnitRow], *, columns: int) -> Layout:
    cells = tuple(
        Cell(row=row, x=float(place % columns), y=float(place // columns))
        for place, row in enumerate(poured_order(rows))
    )
    height = max((cell.y for cell in cells), default=0.0) + 1
    return Layout(cells=cells, headings=(), height=height, by_mould=False, wide=columns + GAP_CELLS)


def _rounds(rows: Sequence[UnitRow]) -> list[tuple[str, list[UnitRow]]]:
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


def _moulds_side_by_side(moulds: Sequence[tuple[str, list[UnitRow]]], *, columns: int, abreast: int) -> Layout:
    cells: list[Cell] = []
    headings: list[tuple[str, float, float]] = []
    top = lowest = 0.0
    for number, (heading, units) in enumerate(moulds):
        if number and not number % abreast:
            top = lowest + 0.2
        left = number % abreast * (columns + GAP_CELLS)
        headings.append((heading, left, top))
        for place, row in enumerate(units):
            x = left + place % columns
            y = top + ROWS_OF_HEADING + place // columns
            cells.append(Cell(row=row, x=x, y=y))
            lowest = max(lowest, y + 1)
    wide = abreast * columns + (abreast - 1) * GAP_CELLS
    return Layout(cells=tuple(cells), headings=tuple(headings), height=lowest, by_mould=True, wide=wide)


def with_defects(layout: Layout, *, judged: JudgedBatch) -> Layout:
    """The layout with a letter for every kind of defect that the eye saw, the gravest first; past z none is named."""
    if judged.visual is None:
        return layout
    lettered = list(zip(ascii_lowercase, judged.visual.defects, strict=False))
    marked: dict[str, str] = {}
    for letter, defect in lettered:
        for unit in defect.units:
            marked[unit] = marked.get(unit, "") + letter
    return replace(layout, marks=tuple((letter, defect.defect) for letter, defect in lettered), marked=marked)


def cell_inches(layout: Layout) -> float:
    """How wide and high a cell is drawn, so that the tray fits on a page [inch]."""
    high = MOST_INCHES_HIGH - legend_rows(layout) * INCHES_A_CELL
    return min(INCHES_A_CELL, INCHES_WIDE / layout.wide, high / layout.height)


def tray_inches(layout: Layout) -> tuple[float, float]:
    """How wide and high the drawing is [inch]; the legend keeps its size."""
    cell = cell_inches(layout)
    wide = max(layout.wide * cell, INCHES_WIDE)
    return wide, layout.height * cell + legend_rows(layout) * INCHES_A_CELL


def legend_rows(layout: Layout) -> float:
    """How high the legend is [cells of full size]."""
    return ROWS_OF_LEGEND + ROW_OF_DEFECTS * ceil(len(layout.marks) / DEFECTS_A_ROW)
