"""The tray as it was poured: every unit in its cavity, coloured and signed by how far it lies from the mean."""

from __future__ import annotations

from collections.abc import Mapping
from string import ascii_lowercase
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Literal

from qc.results import JudgedBatch, Place
from qc.say.numbers import plain_limit, signed_beside
from qc.show.axes import plain
from qc.show.names_apart import names_apart
from qc.show.palette import INK, MUTED, PAPER, deviation_colour, text_on
from qc.show.svg import INCHES_WIDE, Size
from qc.show.tray_layout import INCHES_A_CELL, Cell, Layout

if TYPE_CHECKING:
    from matplotlib.axes import Axes

INCHES_OF_LEGEND = 0.55
INCHES_OF_EDGE = 0.05
LETTERS_OF_A_UNIT = 6
REACH_WITHOUT_LIMIT = 10.0
DIAMETER = 0.84
"""Of a unit [cells]."""
FONT_POINTS = 7.0
HEADING_POINTS = 8.0
SMALLEST_POINTS = 3.5
"""What would have to be written smaller is not written: numbers in circles, names of moulds."""
LETTER_WIDTH = 0.62
"""About how wide a letter is, as a share of its size."""
UNLETTERED: Mapping[str, str] = MappingProxyType({})


def tray_size(layout: Layout) -> Size:
    """How large the tray is drawn, with the legend under it [inch]."""
    side = (INCHES_WIDE - layout.wide * layout.cell_inches) / 2
    high = layout.high * layout.cell_inches + INCHES_OF_LEGEND + INCHES_OF_EDGE
    return Size(high=high, left=side, right=side, bottom=INCHES_OF_LEGEND, top=INCHES_OF_EDGE)


def letters_of_defects(judged: JudgedBatch, layout: Layout) -> tuple[list[tuple[str, str]], dict[str, str]]:
    """A letter with the name of every kind of defect seen, the gravest first; and the letters of each unit.

    Past z none is lettered, and none where the units are too small.
    """
    if judged.visual is None or not _readable(layout):
        return [], {}
    letters: dict[str, str] = {}
    lettered = list(zip(ascii_lowercase, judged.visual.defects, strict=False))
    for letter, defect in lettered:
        for unit in defect.units:
            letters[unit] = letters.get(unit, "") + letter
    return [(letter, defect.defect) for letter, defect in lettered], letters


def draw_tray(
    ax: Axes,
    *,
    layout: Layout,
    limits: tuple[float | None, float | None] = (None, None),
    reach: float | None = None,
    letters: Mapping[str, str] = UNLETTERED,
    measured: str = "deviation from the mean mass [%]",
) -> Axes:
    """Draw the tray: number and signed deviation in every unit, those outside with a thick edge and a triangle.

    Parameters
    ----------
    ax : Axes
        The axes to draw on; nothing else is touched.
    layout : Layout
        Where each unit lies, and its deviation.
    limits : tuple of float or None
        Inner and outer limit of the deviation [%].
    reach : float, optional
        The deviation of the full colour [%]; that of the outer limit where it is not given.
    letters : mapping of str to str
        Letters of the defects seen, by unit.
    measured : str
        What the colour shows, with its unit.

    Returns
    -------
    Axes
        The same axes.
    """
    reach = reach or limits[1] or limits[0] or REACH_WITHOUT_LIMIT
    ax.set_axis_off()
    ax.set(xlim=(0.0, layout.wide), ylim=(layout.high, 0.0), aspect="equal")
    _draw_circles(ax, layout, reach=reach)
    _draw_headings(ax, layout)
    signs = _draw_signs(ax, layout, limits=limits)
    names = names_apart((cell.row.unit for cell in layout.cells), most=LETTERS_OF_A_UNIT)
    _write_in_circles(ax, layout, names=names, limits=limits, reach=reach)
    _write_letters(ax, layout, letters)
    _draw_legend(ax, layout, reach=reach, signs=signs, measured=measured)
    return ax


def _scale(layout: Layout) -> float:
    return layout.cell_inches / INCHES_A_CELL


def _outside(cell: Cell) -> bool:
    return cell.row.place in (Place.BEYOND_INNER, Place.BEYOND_OUTER)


def _readable(layout: Layout) -> bool:
    return FONT_POINTS * _scale(layout) >= SMALLEST_POINTS


def _draw_circles(ax: Axes, layout: Layout, *, reach: float) -> None:
    from matplotlib.collections import EllipseCollection

    rows = [cell.row for cell in layout.cells]
    outside = [_outside(cell) for cell in layout.cells]
    left_out = [row.left_out_because is not None for row in rows]
    ax.add_collection(
        EllipseCollection(
            [DIAMETER],
            [DIAMETER],
            [0.0],
            units="x",
            offsets=[(cell.x, cell.y) for cell in layout.cells],
            offset_transform=ax.transData,
            facecolors=[deviation_colour(row.deviation_percent, reach=reach) for row in rows],
            edgecolors=[INK if out or left else MUTED for out, left in zip(outside, left_out, strict=True)],
            linewidths=[(2.0 if out else 0.6) * _scale(layout) for out in outside],
            linestyles=["--" if left else "-" for left in left_out],
        )
    )


def _draw_headings(ax: Axes, layout: Layout) -> None:
    """The names of the moulds over their cells, all of one size."""
    room = layout.columns * layout.cell_inches * 72
    longest = max((len(heading) for heading, _, _ in layout.headings), default=1)
    size = min(HEADING_POINTS, room / (LETTER_WIDTH * longest))
    if size >= SMALLEST_POINTS:
        for heading, x, y in layout.headings:
            ax.text(x + 0.08, y - 0.1, plain(heading), fontsize=size, fontweight="bold")


def _write_in_circles(
    ax: Axes, layout: Layout, *, names: Mapping[str, str], limits: tuple[float | None, float | None], reach: float
) -> None:
    """Number and deviation of every unit; in small circles the number alone, and only of units outside."""
    readable = _readable(layout)
    for cell in layout.cells:
        if not readable and not _outside(cell):
            continue
        deviation = cell.row.deviation_percent
        name = names[cell.row.unit]
        lines = [plain(name)] if len(name) <= LETTERS_OF_A_UNIT else []
        if readable:
            lines.append(signed_beside(deviation, limits=limits, decimals=1))
        ax.text(
            cell.x,
            cell.y,
            "\n".join(lines),
            color=text_on(deviation_colour(deviation, reach=reach)),
            fontsize=max(FONT_POINTS * _scale(layout), SMALLEST_POINTS),
            ha="center",
            va="center",
        )


def _write_letters(ax: Axes, layout: Layout, letters: Mapping[str, str]) -> None:
    # Black on white in a box, so that it reads on every colour and in grey.
    box = {"boxstyle": "square,pad=0.15", "facecolor": PAPER, "edgecolor": INK, "linewidth": 0.6}
    for cell in layout.cells:
        if cell.row.unit in letters:
            size = FONT_POINTS * _scale(layout)
            text = letters[cell.row.unit]
            ax.text(cell.x - 0.4, cell.y - 0.35, text, fontsize=size, fontweight="bold", va="center", bbox=box)


def _draw_signs(ax: Axes, layout: Layout, *, limits: tuple[float | None, float | None]) -> list[Any]:
    """Triangles that point the way a unit deviates, open beyond the inner limit and full beyond the outer.

    Returns
    -------
    list
        An entry of the legend for each limit.
    """
    signs = []
    for limit, place, face in zip(limits, (Place.BEYOND_INNER, Place.BEYOND_OUTER), (PAPER, INK), strict=True):
        if limit is None:
            continue
        for marker, up in (("v", False), ("^", True)):
            beyond = [cell for cell in layout.cells if cell.row.place is place]
            cells = [cell for cell in beyond if ((cell.row.deviation_percent or 0.0) > 0) is up]
            (sign,) = ax.plot(
                [cell.x + 0.38 for cell in cells],
                [cell.y - 0.36 for cell in cells],
                marker,
                color=face,
                markeredgecolor=INK,
                markersize=2.0 + 4.0 * _scale(layout),
                label=f"beyond ±{plain_limit(limit)} %",
            )
        signs.append(sign)
    return signs


def _draw_legend(ax: Axes, layout: Layout, *, reach: float, signs: list[Any], measured: str) -> None:
    from matplotlib.lines import Line2D

    def circle(label: str, *, face: str, edge: str = MUTED, dashes: Literal["none", "--"] = "none") -> Line2D:
        return Line2D(
            [], [], marker="o", linestyle=dashes, color=edge, markerfacecolor=face, markersize=8.0, label=label
        )

    steps = [-reach, -reach / 2, 0.0, reach / 2, reach]
    handles: list[Any] = [
        circle(
            f"{'+' if step > 0 else '−' if step < 0 else ''}{plain_limit(abs(step))}",
            face=deviation_colour(step, reach=reach),
        )
        for step in steps
    ]
    handles += signs
    if any(cell.row.left_out_because is not None for cell in layout.cells):
        handles.append(circle("left out with a reason", face=PAPER, edge=INK, dashes="--"))
    ax.legend(
        handles=handles,
        title=measured,
        title_fontsize=FONT_POINTS,
        alignment="left",
        ncols=len(handles),
        loc="upper center",
        bbox_to_anchor=(0.5, 0.0),
        borderaxespad=0.3,
        columnspacing=1.0,
        handletextpad=0.3,
        handlelength=1.5,
    )
