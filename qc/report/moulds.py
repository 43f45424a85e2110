"""One series mould by mould, as measured and without the differences between cavities, side by side."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from msgspec import Struct

from qc.report.labels import Level, draw_levels, draw_scale, round_steps, with_room
from qc.report.marks import draw_line, draw_marks
from qc.report.palette import DRAWN, FAINT, MUTED, PAPER
from qc.report.series import MARGINS, Series
from qc.report.tray import counting_order
from qc.report.words import shortened, shown_text
from qc.report.writing import Label, write
from qc.results import UnitRow

if TYPE_CHECKING:
    from matplotlib.axes import Axes

INCHES_HIGH = 2.3
AXIS_INCHES = INCHES_HIGH - MARGINS[2] - MARGINS[3]
FEWEST_MOULDS = 2
MOST_MOULDS = 5
GAP = 0.12


class Panel(Struct, frozen=True, kw_only=True):
    """The units of one mould in pour order, as measured or corrected."""

    mould: str
    corrected: bool
    heights: tuple[float, ...]
    outside: tuple[bool, ...]


class Moulds(Struct, frozen=True, kw_only=True):
    """All panels from left to right: the moulds as measured, then without cavity differences where that is known."""

    panels: tuple[Panel, ...]
    levels: tuple[Level, ...]
    y_label: str


def by_mould(rows: Sequence[UnitRow], series: Series) -> Moulds | None:
    """A series split by mould; None with fewer than two moulds, or more than can be told apart side by side."""
    mould_of = {row.unit: row.mould for row in rows if row.mould is not None}
    points = [point for point in sorted(series.points, key=lambda point: point.x) if point.unit in mould_of]
    names = sorted({mould_of[point.unit] for point in points}, key=counting_order)
    if not FEWEST_MOULDS <= len(names) <= MOST_MOULDS:
        return None
    corrected = dict(series.change.corrected)
    panels = []
    for without in (False, True):
        for name in names:
            own = [point for point in points if mould_of[point.unit] == name and (not without or point.x in corrected)]
            if own:
                panels.append(
                    Panel(
                        mould=name,
                        corrected=without,
                        heights=tuple(corrected[point.x] if without else point.y for point in own),
                        outside=tuple(point.outside and not without for point in own),
                    )
                )
    levels = tuple(level for level in series.levels if level.style in ("mean", "limit"))
    return Moulds(panels=tuple(panels), levels=levels, y_label=series.y_label)


def draw_moulds(ax: Axes, *, moulds: Moulds) -> Axes:
    """Draw the panels side by side on one scale: full circles as measured, open diamonds without cavity differences.

    Parameters
    ----------
    ax : Axes
        The axis to draw on; nothing else is touched.
    moulds : Moulds
        The panels.

    Returns
    -------
    Axes
        The same axis.
    """
    heights = [height for panel in moulds.panels for height in panel.heights]
    low, high = min(heights), max(heights)
    near = [level for level in moulds.levels if low - 0.6 * (high - low) <= level.value <= high + 0.6 * (high - low)]
    ax.set_xlim(0, len(moulds.panels))
    ax.set_ylim(*with_room([*heights, *(level.value for level in near)], share=0.1))
    draw_levels(ax, levels=near, inches_high=AXIS_INCHES)
    for place, panel in enumerate(moulds.panels):
        _draw_panel(ax, panel, place=place)
    headings = [
        Label(text=f"Mould {shortened(shown_text(panel.mould), most=12)}", x=place + 0.5, y=-0.03, up="top", bold=True)
        for place, panel in enumerate(moulds.panels)
    ]
    for corrected, text in ((False, "as measured"), (True, "without cavity differences")):
        group = [place for place, panel in enumerate(moulds.panels) if panel.corrected is corrected]
        if group:
            headings.append(Label(text=text, x=(group[0] + group[-1] + 1) / 2, y=1.02, up="bottom"))
    write(ax, headings, transform=ax.get_xaxis_transform())
    draw_scale(
        ax,
        across=[],
        upward=round_steps(*ax.get_ylim(), about=5),
        across_label="mould by mould, the units of each in pour order",
        upward_label=moulds.y_label,
    )
    return ax


def _draw_panel(ax: Axes, panel: Panel, *, place: int) -> None:
    count = len(panel.heights)
    step = (1 - 2 * GAP) / max(count - 1, 1)
    along = [place + (0.5 if count == 1 else GAP + step * number) for number in range(count)]
    marker, face = ("D", PAPER) if panel.corrected else ("o", DRAWN)
    draw_line(ax, along, panel.heights, colour=FAINT, width=0.8, above=1.5)
    draw_marks(ax, along, panel.heights, marker=marker, size=4.0, face=face, edge_width=0.6)
    ringed = [(x, y) for x, y, out in zip(along, panel.heights, panel.outside, strict=True) if out]
    if ringed:
        draw_marks(ax, [x for x, _ in ringed], [y for _, y in ringed], marker="o", size=9.0, face="none", above=4.0)
    if place:
        walls = ax.get_xaxis_transform()
        draw_line(ax, [place, place], [0.0, 1.0], colour=MUTED, width=0.6, above=1.0, transform=walls)
