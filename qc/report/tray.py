"""The tray as it was poured: every unit in its cavity, coloured and signed by how far it lies from the mean."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from math import ceil, pi
from string import ascii_lowercase

from msgspec import Struct, field
from msgspec.structs import replace

from qc.report.frame import Frame
from qc.report.names_apart import names_apart
from qc.report.numbers import plain_limit, signed_beside
from qc.report.palette import FAINT, INK, MUTED, PAPER, deviation_colour, place_sign, text_on
from qc.report.words import shortened, shown_text
from qc.report.writing import Label, write
from qc.results import JudgedBatch, Place, UnitRow

COLUMNS_OF_A_MOULD = 6
COLUMNS_OF_A_PAGE = 12
INCHES_A_CELL = 0.5
ROWS_OF_HEADING = 0.55
ROWS_OF_LEGEND = 1.55
ROW_OF_DEFECTS = 0.42
DEFECTS_A_ROW = 4
LETTERS_OF_A_MOULD = 16
LETTERS_OF_A_UNIT = 6
REACH_WITHOUT_LIMIT = 10.0
RADIUS = 0.42
BAR_CELLS = 4.4
LEGEND_POINTS = 7.5
POINTS_AN_INCH = 72
DASHES = (0, (3.0, 2.0))


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
    if not by_mould:
        cells = [
            Cell(row=row, x=float(place % COLUMNS_OF_A_PAGE), y=float(place // COLUMNS_OF_A_PAGE))
            for place, row in enumerate(poured_order(rows))
        ]
        height = max((cell.y for cell in cells), default=0.0) + 1
        return Layout(cells=tuple(cells), headings=(), height=height, by_mould=False)
    return _moulds_side_by_side(_rounds(rows))


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


def _moulds_side_by_side(moulds: Sequence[tuple[str, list[UnitRow]]]) -> Layout:
    cells: list[Cell] = []
    headings: list[tuple[str, float, float]] = []
    left = top = lowest = 0.0
    for heading, units in moulds:
        if left + COLUMNS_OF_A_MOULD > COLUMNS_OF_A_PAGE + 0.5:
            left, top = 0.0, lowest + 0.2
        headings.append((heading, left, top))
        for place, row in enumerate(units):
            x = left + place % COLUMNS_OF_A_MOULD
            y = top + ROWS_OF_HEADING + place // COLUMNS_OF_A_MOULD
            cells.append(Cell(row=row, x=x, y=y))
            lowest = max(lowest, y + 1)
        left += COLUMNS_OF_A_MOULD + 0.5
    return Layout(cells=tuple(cells), headings=tuple(headings), height=lowest, by_mould=True)


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


def tray_inches(layout: Layout) -> float:
    """How high the drawing is [inch]."""
    return (layout.height + _legend_rows(layout)) * INCHES_A_CELL


def _legend_rows(layout: Layout) -> float:
    return ROWS_OF_LEGEND + ROW_OF_DEFECTS * ceil(len(layout.marks) / DEFECTS_A_ROW)


def draw_tray(frame: Frame, *, judged: JudgedBatch, layout: Layout) -> Frame:
    """Draw the tray: number and signed deviation of mass on every unit, those outside with a ring and a triangle.

    Parameters
    ----------
    frame : Frame
        The frame to draw on; nothing else is touched.
    judged : JudgedBatch
        What was judged.
    layout : Layout
        Where each unit lies.

    Returns
    -------
    Frame
        The same frame.
    """
    limits = (judged.mass_limit_percent, judged.mass_outer_percent)
    reach = judged.mass_outer_percent or judged.mass_limit_percent or REACH_WITHOUT_LIMIT
    frame.set_ends(across=(0.0, COLUMNS_OF_A_PAGE + 0.5), upward=(layout.height + _legend_rows(layout), 0.0))
    _draw_circles(frame, layout=layout, reach=reach)
    _draw_legend(frame, limits=limits, reach=reach, top=layout.height + 0.3)
    labels = [
        Label(text=heading, x=x + 0.06, y=y + ROWS_OF_HEADING - 0.12, size=8.0, bold=True, across="left", up="line")
        for heading, x, y in layout.headings
    ]
    names = names_apart((row.unit for row in judged.unit_rows), most=LETTERS_OF_A_UNIT)
    for cell in layout.cells:
        labels += _on_unit(cell, name=names[cell.row.unit], limits=limits, reach=reach)
    write(frame, [*labels, *_legend_labels(limits=limits, reach=reach, top=layout.height + 0.3)])
    write(frame, _defect_labels(layout), above=5.0)
    return frame


def _defect_labels(layout: Layout) -> list[Label]:
    """The letters on the units, then the letters of the legend with the names of the defects."""
    labels = [
        _letters(layout.marked[cell.row.unit], x=cell.x + 0.11, y=cell.y + 0.14)
        for cell in layout.cells
        if cell.row.unit in layout.marked
    ]
    for number, (letter, defect) in enumerate(layout.marks):
        x = 0.22 + number % DEFECTS_A_ROW * (COLUMNS_OF_A_PAGE / DEFECTS_A_ROW)
        y = layout.height + ROWS_OF_LEGEND - 0.1 + number // DEFECTS_A_ROW * ROW_OF_DEFECTS
        labels.append(_letters(letter, x=x, y=y))
        seen = f"seen: {shortened(shown_text(defect), most=22)}"
        labels.append(Label(text=seen, x=x + 0.28, y=y, size=LEGEND_POINTS, across="left"))
    return labels


def _letters(letters: str, *, x: float, y: float) -> Label:
    # Black on white in a box, so that it reads on every colour and in grey.
    return Label(text=letters, x=x, y=y, size=6.5, bold=True, backed=0.18, edged=0.6)


def _draw_circles(frame: Frame, *, layout: Layout, reach: float) -> None:
    from matplotlib.collections import CircleCollection

    outside = [cell.row.place in (Place.BEYOND_INNER, Place.BEYOND_OUTER) for cell in layout.cells]
    left_out = [cell.row.left_out_because is not None for cell in layout.cells]
    frame.add(
        CircleCollection(
            [pi * (RADIUS * INCHES_A_CELL * POINTS_AN_INCH) ** 2],
            offsets=[(cell.x + 0.5, cell.y + 0.5) for cell in layout.cells],
            offset_transform=frame.data,
            facecolors=[deviation_colour(cell.row.deviation_percent, reach=reach) for cell in layout.cells],
            edgecolors=[INK if out or left else MUTED for out, left in zip(outside, left_out, strict=True)],
            linewidths=[2.0 if out else 0.6 for out in outside],
            linestyles=[DASHES if left else "-" for left in left_out],
        )
    )


def _on_unit(cell: Cell, *, name: str, limits: tuple[float | None, float | None], reach: float) -> list[Label]:
    """Number and deviation of a unit, and its sign where it has one."""
    row, x, y = cell.row, cell.x + 0.5, cell.y + 0.5
    colour = deviation_colour(row.deviation_percent, reach=reach)
    ink = text_on(colour)
    size = 8.5 if len(name) <= 3 else 6.5 * min(1.0, LETTERS_OF_A_UNIT / len(name))
    shown = signed_beside(row.deviation_percent, limits=limits, decimals=1)
    labels = [
        Label(text=name, x=x, y=y - 0.1, colour=ink, size=size, bold=True),
        Label(text=shown, x=x, y=y + 0.2, colour=ink, size=6.5 if len(shown) < 7 else 5.5),
    ]
    sign = place_sign(row.place, deviation=row.deviation_percent)
    return [*labels, Label(text=sign, x=x + 0.38, y=y - 0.37, size=8.5)] if sign else labels


def _draw_legend(frame: Frame, *, limits: tuple[float | None, float | None], reach: float, top: float) -> None:
    from matplotlib.collections import LineCollection, PatchCollection
    from matplotlib.patches import Circle, Rectangle

    steps = 20
    wide = BAR_CELLS / steps
    middles = [(step + 0.5) / steps * 2 * reach - reach for step in range(steps)]
    bars = [Rectangle((0.1 + step * wide, top), wide, 0.22) for step in range(steps)]
    colours = [deviation_colour(value, reach=reach) for value in middles]
    frame.add(PatchCollection(bars, facecolors=colours, edgecolors="none"))
    keys = [Circle((5.5, top + 0.62), 0.15), Circle((7.95, top + 0.62), 0.15)]
    frame.add(
        PatchCollection(
            [Rectangle((0.1, top), BAR_CELLS, 0.22), *keys],
            facecolors=["none", PAPER, PAPER],
            edgecolors=[FAINT, INK, INK],
            linewidths=[0.5, 1.8, 0.6],
            linestyles=["-", "-", DASHES],
        )
    )
    ticks = [[(x, top + 0.22), (x, top + 0.3)] for _, x in _scale(limits=limits, reach=reach)]
    frame.add(LineCollection(ticks, colors=MUTED, linewidths=0.6))


def _scale(*, limits: tuple[float | None, float | None], reach: float) -> list[tuple[float, float]]:
    """Deviations marked under the bar of colours, and where each stands [%, cells]."""
    inner = limits[0]
    marks = sorted({-reach, 0.0, reach, *([-inner, inner] if inner and inner < reach else [])})
    return [(mark, 0.1 + (mark + reach) / (2 * reach) * BAR_CELLS) for mark in marks]


def _legend_labels(*, limits: tuple[float | None, float | None], reach: float, top: float) -> list[Label]:
    labels = [
        Label(
            text=f"{'+' if mark > 0 else '−' if mark < 0 else ''}{plain_limit(abs(mark))}", x=x, y=top + 0.48, size=7.0
        )
        for mark, x in _scale(limits=limits, reach=reach)
    ]
    labels.append(Label(text="deviation from the mean mass [%]", x=0.1, y=top + 0.85, size=7.0, across="left"))
    beside = [(5.8, top + 0.62, "outside"), (8.25, top + 0.62, "left out with a reason")]
    x = 5.35
    for limit, place in zip(limits, (Place.BEYOND_INNER, Place.BEYOND_OUTER), strict=True):
        if limit is not None:
            up, down = (place_sign(place, deviation=side) for side in (1.0, -1.0))
            beside.append((x, top + 0.11, f"{up} {down} beyond ±{plain_limit(limit)} %"))
            x += 2.45
    labels += [Label(text=text, x=x, y=y, size=LEGEND_POINTS, across="left") for x, y, text in beside]
    return labels
