"""Where each unit of a tray is drawn, and how large: its cavity in the line of its mould, or its place in the pour."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from msgspec import Struct

from qc.batch import counting_order
from qc.results import UnitRow
from qc.say.numbers import signed
from qc.say.text import ELLIPSIS, shown_text
from qc.show.figures import INCHES_WIDE, POINTS_SMALL, FigureSize, plain
from qc.show.units import OUTSIDE, poured_order, short_names

INCHES_A_CELL, LEAST_INCHES_A_CELL = 0.5, 0.12
MOST_INCHES_HIGH = 6.4
"""What a page has room for; where the cells would need more they become smaller and stand more to a line."""
INCHES_OF_LEGEND, INCHES_OF_EDGE, INCHES_OF_CAVITIES = 0.52, 0.05, 0.17
INCHES_OF_A_LINE = 0.19
"""Of the legend of a small tray, which has one line, and one more where a unit is marked."""
INCHES_A_LETTER, INCHES_A_LETTER_SMALL = 0.062, 0.08
"""Of the name of a mould, beside its line; in a small tray its letters are larger."""
LETTERS_OF_A_MOULD, LETTERS_OF_A_CAVITY = 10, 3
CELLS_A_LINE = (6, 8, 10, 12, 15, 20, 25, 30, 40)
LEAST_A_LINE = 12
"""Where a line is as wide as the page."""
DIAMETER = 0.84
"""Of a unit [cells]."""
PITCH_WITH_LETTERS = 1.32
"""From line to line where letters stand under units [cells]."""
FONT_POINTS, LEAST_OF_TWO_LINES, POINTS_OF_A_NAME, SMALLEST_POINTS = 7.0, 4.8, 9.5, 7.0
"""Of two lines, and the least of them; below it the name alone is written, larger, below the smallest nothing."""
EMS_OF_A_LETTER, OF_A_CIRCLE = 0.64, 0.88
"""How wide a figure is, and how much of its circle a line may take."""


class TrayCell(Struct, frozen=True, kw_only=True):
    """Where a unit is drawn: the place in its line and the line, counted from the upper left."""

    row: UnitRow
    x: int
    y: int


def marked(cell: TrayCell) -> bool:
    """Whether more than the colour of a unit has to be explained."""
    return cell.row.place in OUTSIDE or cell.row.left_out_because is not None


class TrayPlan(Struct, frozen=True, kw_only=True):
    """The whole tray: a line of cells a filling of a mould, or several where it is long, with the name beside it."""

    cells: tuple[TrayCell, ...]
    names: Mapping[int, str]
    """Of moulds, by the line they begin in; empty where neither moulds nor cavities were given."""
    columns: int
    lines: int
    inches_wide: float = INCHES_WIDE
    inches_high: float = MOST_INCHES_HIGH
    pitch: float = 1.0
    """From line to line [cells]."""

    @property
    def small(self) -> bool:
        """Whether it is one of two pictures side by side, where the name of a unit stands alone in it."""
        return self.inches_wide < INCHES_WIDE

    @property
    def points_beside(self) -> float:
        """Of what is written beside and below the units [points]."""
        return POINTS_SMALL if self.small else FONT_POINTS

    @property
    def left(self) -> float:
        """The room for the names [inch]."""
        longest = max(map(len, self.names.values()), default=0)
        return 0.1 + INCHES_A_LETTER_SMALL * longest if self.small else 0.3 + INCHES_A_LETTER * longest

    @property
    def legend_inches(self) -> float:
        """How high the legend is [inch]."""
        return (
            INCHES_OF_EDGE + INCHES_OF_A_LINE * (1 + any(map(marked, self.cells))) if self.small else INCHES_OF_LEGEND
        )

    @property
    def high_cells(self) -> float:
        """How high all lines are together [cells]."""
        return self.lines * self.pitch

    @property
    def cell_inches(self) -> float:
        """How wide and high a cell is drawn, so that the tray fits on a page [inch]."""
        room = self.inches_wide - self.left - INCHES_OF_EDGE
        return min(INCHES_A_CELL, room / self.columns, self.inches_high / self.high_cells)

    @property
    def font_points(self) -> float:
        """Of what is written in a unit [points]; 0 where nothing can be."""
        names = short_names([cell.row for cell in self.cells])[0].values()
        points = self._two_lines_points if self.two_lines else min(POINTS_OF_A_NAME, self._room(names))
        return points if points >= SMALLEST_POINTS else 0.0

    @property
    def two_lines(self) -> bool:
        """Whether there is room for a deviation under the name of a unit."""
        return not self.small and self._two_lines_points >= LEAST_OF_TWO_LINES

    @property
    def _two_lines_points(self) -> float:
        names = short_names([cell.row for cell in self.cells])[0].values()
        return min(
            FONT_POINTS, self._room([*names, *(signed(cell.row.deviation_percent, decimals=1) for cell in self.cells)])
        )

    def _room(self, lines: Iterable[str]) -> float:
        """How large the longest of many lines can be in a circle [points]."""
        letters = max(map(len, lines), default=1)
        return OF_A_CIRCLE * DIAMETER * self.cell_inches * 72 / (EMS_OF_A_LETTER * letters)

    @property
    def cavities(self) -> tuple[str, ...]:
        """The cavity over each column, where units have no room for a name and a column is one cavity of all moulds."""
        columns = [{cell.row.cavity for cell in self.cells if cell.x == x} for x in range(self.columns)]
        names = tuple(plain(one or "") for column in columns if len(column) == 1 for one in column)
        room = self.high_cells * self.cell_inches + INCHES_OF_CAVITIES <= self.inches_high
        told = room and self.names and not self.font_points and len(names) == self.columns
        return names if told and max(map(len, names)) <= LETTERS_OF_A_CAVITY else ()

    @property
    def size(self) -> FigureSize:
        """Of the figure, with the legend under the tray."""
        wide, high = self.columns * self.cell_inches, self.high_cells * self.cell_inches
        top = INCHES_OF_CAVITIES if self.cavities else INCHES_OF_EDGE
        around = {"left": self.left, "bottom": self.legend_inches, "top": top}
        right, all_high = self.inches_wide - self.left - wide, high + self.legend_inches + top
        return FigureSize(high=all_high, wide=self.inches_wide, right=right, **around)


def tray_plan(
    rows: Sequence[UnitRow],
    *,
    inches_wide: float = INCHES_WIDE,
    inches_high: float = MOST_INCHES_HIGH,
    lettered: bool = False,
) -> TrayPlan:
    """Where each unit lies: cavities from left to right in a line a mould, once a filling where one was filled again.

    Units stand in pour order where no cavity was given, and where there are too many fillings for lines of their own.
    """
    ordered = poured_order(rows)
    in_pour_order = [("", ordered)]
    fillings = _fillings(ordered) if any(row.mould or row.cavity for row in rows) else in_pour_order
    room = {"wide": inches_wide, "high": inches_high, "pitch": PITCH_WITH_LETTERS if lettered else 1.0}
    plan = _widest(fillings, **room)
    return plan if plan.cell_inches >= LEAST_INCHES_A_CELL else _widest(in_pour_order, **room)


def _fillings(ordered: Sequence[UnitRow]) -> list[tuple[str, list[UnitRow]]]:
    """Rows of each filling of each mould, with its name."""
    fillings: dict[tuple[str, int], list[UnitRow]] = {}
    times: dict[tuple[str, str], int] = {}
    for row in ordered:
        mould, filling = row.mould or "", 1
        if row.cavity is not None:
            filling = times[mould, row.cavity] = times.get((mould, row.cavity), 0) + 1
        # A unit whose cavity was not given stands in the first filling of its mould.
        fillings.setdefault((mould, filling), []).append(row)
    again = {mould for mould, filling in fillings if filling > 1}
    found = []
    for (mould, filling), units in sorted(fillings.items(), key=lambda item: (counting_order(item[0][0]), item[0][1])):
        name = f"Mould {_end(shown_text(mould))}" if mould else "No mould named"
        name += f", filling {filling}" if mould in again else ""
        found.append((name, sorted(units, key=lambda row: (row.cavity is None, counting_order(row.cavity or "")))))
    return found


def _end(name: str) -> str:
    """A name by its end, which tells moulds apart."""
    return name if len(name) <= LETTERS_OF_A_MOULD else ELLIPSIS + name[1 - LETTERS_OF_A_MOULD :]


def _widest(fillings: Sequence[tuple[str, Sequence[UnitRow]]], *, wide: float, high: float, pitch: float) -> TrayPlan:
    """The plan with the largest cells; of like ones that with the shortest lines."""
    lengths = (most for most in CELLS_A_LINE if wide < INCHES_WIDE or most >= LEAST_A_LINE)
    plans = (_planned(fillings, most=most, wide=wide, high=high, pitch=pitch) for most in lengths)
    return max(plans, key=lambda plan: plan.cell_inches)


def _planned(
    fillings: Sequence[tuple[str, Sequence[UnitRow]]], *, most: int, wide: float, high: float, pitch: float
) -> TrayPlan:
    cells: list[TrayCell] = []
    names: dict[int, str] = {}
    line = 0
    for name, units in fillings:
        if name:
            names[line] = name
        cells += [TrayCell(row=row, x=place % most, y=line + place // most) for place, row in enumerate(units)]
        line += -(-len(units) // most)
    columns = max((cell.x for cell in cells), default=0) + 1
    return TrayPlan(
        cells=tuple(cells),
        names=names,
        columns=columns,
        lines=max(line, 1),
        inches_wide=wide,
        inches_high=high,
        pitch=pitch,
    )
