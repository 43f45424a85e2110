"""The tray as it was poured: every unit in its cavity, coloured and signed by how far it lies from the mean."""

from __future__ import annotations

from math import pi
from typing import TYPE_CHECKING

from qc.results import JudgedBatch, Place
from qc.say.names import shortened, shown_text
from qc.say.numbers import plain_limit, signed_beside
from qc.show.frame import Frame
from qc.show.names_apart import names_apart
from qc.show.palette import FAINT, INK, MUTED, PAPER, deviation_colour, place_sign, text_on
from qc.show.tray_layout import (
    COLUMNS_OF_A_PAGE,
    DEFECTS_A_ROW,
    GAP_CELLS,
    INCHES_A_CELL,
    ROW_OF_DEFECTS,
    ROWS_OF_HEADING,
    ROWS_OF_LEGEND,
    Cell,
    Layout,
    cell_inches,
    tray_inches,
)
from qc.show.writing import Label, wide_points, write

if TYPE_CHECKING:
    from matplotlib.transforms import Transform

HEADING_OVER_CELLS = 0.22
"""Between a heading and the cells under it, so that the sign of a unit outside does not touch it [cells]."""
TOP_OF_LEGEND = 0.3
LETTERS_OF_A_UNIT = 6
REACH_WITHOUT_LIMIT = 10.0
RADIUS = 0.42
BAR_CELLS = 4.4
HEADING_POINTS = 8.0
SMALLEST_HEADING_POINTS = 3.5
LEAST_OF_HEADING = 0.75
LEAST_OF_LETTERS = 0.6
"""How small headings and the letters of defects become, as shares of their full size."""
ROOMIER = 1.25
"""How much larger a text is against its circle where the circles are small."""
LEGEND_POINTS = 7.5
POINTS_AN_INCH = 72
DASHES = (0, (3.0, 2.0))


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
    cell_wide = cell_inches(layout)
    scale = cell_wide / INCHES_A_CELL
    wide, high = (inches / cell_wide for inches in tray_inches(layout))
    # A tray that does not fill the width stands in the middle of it.
    aside = (wide - layout.wide) / 2
    frame.set_ends(across=(-aside, wide - aside), upward=(high, 0.0))
    legend = _legend_transform(frame, layout=layout, scale=scale, left=-aside)
    _draw_circles(frame, layout=layout, reach=reach, scale=scale)
    _draw_legend(frame, limits=limits, reach=reach, transform=legend)
    labels = _headings(layout, points_a_cell=cell_wide * POINTS_AN_INCH)
    names = names_apart((row.unit for row in judged.unit_rows), most=LETTERS_OF_A_UNIT)
    for cell in layout.cells:
        labels += _on_unit(cell, name=names[cell.row.unit], limits=limits, reach=reach, scale=scale)
    write(frame, labels)
    write(frame, _legend_labels(limits=limits, reach=reach), transform=legend)
    write(frame, _defect_letters(layout, scale=scale), above=5.0)
    write(frame, _defect_legend(layout), transform=legend, above=5.0)
    return frame


def _headings(layout: Layout, *, points_a_cell: float) -> list[Label]:
    """The names of the moulds over their cells; short ones, smaller ones or none where they would run together."""
    if not layout.headings:
        return []
    size = HEADING_POINTS * max(points_a_cell / (INCHES_A_CELL * POINTS_AN_INCH), LEAST_OF_HEADING)
    ends = [x for _, x, y in layout.headings[1:]]
    rooms = [
        (end if end > x else layout.wide + GAP_CELLS) - x - GAP_CELLS / 2
        for (_, x, _), end in zip(layout.headings, [*ends, layout.wide + GAP_CELLS], strict=True)
    ]
    for shorten in (False, True):
        texts = [_shorter(heading) if shorten else heading for heading, _, _ in layout.headings]
        fits = [
            room * points_a_cell / wide_points(text, size=size, bold=True)
            for text, room in zip(texts, rooms, strict=True)
        ]
        smaller = min(fits)
        if smaller >= 1.0:
            break
    size *= min(smaller, 1.0)
    if size < SMALLEST_HEADING_POINTS:
        return []
    return [
        Label(
            text=text,
            x=x + 0.06,
            y=y + ROWS_OF_HEADING - HEADING_OVER_CELLS,
            size=size,
            bold=True,
            across="left",
            up="line",
        )
        for text, (_, x, y) in zip(texts, layout.headings, strict=True)
    ]


def _shorter(heading: str) -> str:
    """A heading without its words.

    Examples
    --------
    >>> _shorter("Mould B, filling 12")
    'B · 12'
    """
    return heading.removeprefix("Mould ").replace(", filling ", " · ")


def _legend_transform(frame: Frame, *, layout: Layout, scale: float, left: float) -> Transform:
    """To the drawing from cells of full size to the right of and below the upper left corner of the legend."""
    from matplotlib.transforms import Affine2D

    return Affine2D().scale(1 / scale).translate(left, layout.height) + frame.data


def _defect_letters(layout: Layout, *, scale: float) -> list[Label]:
    """The letters of the defects on the units."""
    return [
        _letters(
            layout.marked[cell.row.unit], x=cell.x + 0.11, y=cell.y + 0.14, size=6.5 * max(scale, LEAST_OF_LETTERS)
        )
        for cell in layout.cells
        if cell.row.unit in layout.marked
    ]


def _defect_legend(layout: Layout) -> list[Label]:
    """The letters of the legend with the names of the defects."""
    labels = []
    for number, (letter, defect) in enumerate(layout.marks):
        x = 0.22 + number % DEFECTS_A_ROW * (COLUMNS_OF_A_PAGE / DEFECTS_A_ROW)
        y = ROWS_OF_LEGEND - 0.1 + number // DEFECTS_A_ROW * ROW_OF_DEFECTS
        labels.append(_letters(letter, x=x, y=y, size=6.5))
        seen = f"seen: {shortened(shown_text(defect), most=22)}"
        labels.append(Label(text=seen, x=x + 0.28, y=y, size=LEGEND_POINTS, across="left"))
    return labels


def _letters(letters: str, *, x: float, y: float, size: float) -> Label:
    # Black on white in a box, so that it reads on every colour and in grey.
    return Label(text=letters, x=x, y=y, size=size, bold=True, backed=0.18, edged=0.6)


def _draw_circles(frame: Frame, *, layout: Layout, reach: float, scale: float) -> None:
    from matplotlib.collections import CircleCollection

    outside = [cell.row.place in (Place.BEYOND_INNER, Place.BEYOND_OUTER) for cell in layout.cells]
    left_out = [cell.row.left_out_because is not None for cell in layout.cells]
    frame.add(
        CircleCollection(
            [pi * (RADIUS * scale * INCHES_A_CELL * POINTS_AN_INCH) ** 2],
            offsets=[(cell.x + 0.5, cell.y + 0.5) for cell in layout.cells],
            offset_transform=frame.data,
            facecolors=[deviation_colour(cell.row.deviation_percent, reach=reach) for cell in layout.cells],
            edgecolors=[INK if out or left else MUTED for out, left in zip(outside, left_out, strict=True)],
            linewidths=[2.0 * scale if out else 0.6 * scale for out in outside],
            linestyles=[DASHES if left else "-" for left in left_out],
        )
    )


def _on_unit(
    cell: Cell, *, name: str, limits: tuple[float | None, float | None], reach: float, scale: float
) -> list[Label]:
    """Number and deviation of a unit, and its sign where it has one."""
    row, x, y = cell.row, cell.x + 0.5, cell.y + 0.5
    colour = deviation_colour(row.deviation_percent, reach=reach)
    ink = text_on(colour)
    # Small circles have less air around their text.
    scale = min(1.0, scale * ROOMIER)
    size = (8.5 if len(name) <= 3 else 6.5 * min(1.0, LETTERS_OF_A_UNIT / len(name))) * scale
    shown = signed_beside(row.deviation_percent, limits=limits, decimals=1)
    labels = [
        Label(text=name, x=x, y=y - 0.1, colour=ink, size=size, bold=True),
        Label(text=shown, x=x, y=y + 0.2, colour=ink, size=(6.5 if len(shown) < 7 else 5.5) * scale),
    ]
    sign = place_sign(row.place, deviation=row.deviation_percent)
    return [*labels, Label(text=sign, x=x + 0.38, y=y - 0.37, size=8.5 * scale)] if sign else labels


def _draw_legend(
    frame: Frame, *, limits: tuple[float | None, float | None], reach: float, transform: Transform
) -> None:
    from matplotlib.collections import LineCollection, PatchCollection
    from matplotlib.patches import Circle, Rectangle

    top = TOP_OF_LEGEND
    steps = 20
    wide = BAR_CELLS / steps
    middles = [(step + 0.5) / steps * 2 * reach - reach for step in range(steps)]
    bars = [Rectangle((0.1 + step * wide, top), wide, 0.22) for step in range(steps)]
    colours = [deviation_colour(value, reach=reach) for value in middles]
    frame.add(PatchCollection(bars, facecolors=colours, edgecolors="none", transform=transform))
    keys = [Circle((5.5, top + 0.62), 0.15), Circle((7.95, top + 0.62), 0.15)]
    frame.add(
        PatchCollection(
            [Rectangle((0.1, top), BAR_CELLS, 0.22), *keys],
            facecolors=["none", PAPER, PAPER],
            edgecolors=[FAINT, INK, INK],
            linewidths=[0.5, 1.8, 0.6],
            linestyles=["-", "-", DASHES],
            transform=transform,
        )
    )
    ticks = [[(x, top + 0.22), (x, top + 0.3)] for _, x in _scale(limits=limits, reach=reach)]
    frame.add(LineCollection(ticks, colors=MUTED, linewidths=0.6, transform=transform))


def _scale(*, limits: tuple[float | None, float | None], reach: float) -> list[tuple[float, float]]:
    """Deviations marked under the bar of colours, and where each stands [%, cells]."""
    inner = limits[0]
    marks = sorted({-reach, 0.0, reach, *([-inner, inner] if inner and inner < reach else [])})
    return [(mark, 0.1 + (mark + reach) / (2 * reach) * BAR_CELLS) for mark in marks]


def _legend_labels(*, limits: tuple[float | None, float | None], reach: float) -> list[Label]:
    top = TOP_OF_LEGEND
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
