"""One series mould by mould, as measured and without the differences between cavities, side by side."""

from __future__ import annotations

from collections.abc import Sequence

from msgspec import Struct

from qc.results import UnitRow
from qc.show.frame import Frame
from qc.show.labels import Level, draw_levels, draw_scale, round_steps, with_room
from qc.show.marks import draw_line, draw_marks
from qc.show.names_apart import names_apart
from qc.show.palette import DRAWN, FAINT, MUTED, PAPER
from qc.show.series import MARGINS, Series
from qc.show.tray_layout import counting_order
from qc.show.writing import Label, write

INCHES_HIGH = 2.3
AXIS_INCHES = INCHES_HIGH - MARGINS[2] - MARGINS[3]
FEWEST_MOULDS = 2
MOST_MOULDS = 5
GAP = 0.12
LETTERS_OF_A_MOULD = 12


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


def draw_moulds(frame: Frame, *, moulds: Moulds) -> Frame:
    """Draw the panels side by side on one scale: full circles as measured, open diamonds without cavity differences.

    Parameters
    ----------
    frame : Frame
        The frame to draw on; nothing else is touched.
    moulds : Moulds
        The panels.

    Returns
    -------
    Frame
        The same frame.
    """
    heights = [height for panel in moulds.panels for height in panel.heights]
    low, high = min(heights), max(heights)
    near = [level for level in moulds.levels if low - 0.6 * (high - low) <= level.value <= high + 0.6 * (high - low)]
    frame.set_ends(
        across=(0.0, len(moulds.panels)),
        upward=with_room([*heights, *(level.value for level in near)], share=0.1),
    )
    draw_levels(frame, levels=near, inches_high=AXIS_INCHES)
    for place, panel in enumerate(moulds.panels):
        _draw_panel(frame, panel, place=place)
    names = names_apart((panel.mould for panel in moulds.panels), most=LETTERS_OF_A_MOULD)
    headings = [
        Label(text=f"Mould {names[panel.mould]}", x=place + 0.5, y=-0.03, up="top", bold=True)
        for place, panel in enumerate(moulds.panels)
    ]
    for corrected, text in ((False, "as measured"), (True, "without cavity differences")):
        group = [place for place, panel in enumerate(moulds.panels) if panel.corrected is corrected]
        if group:
            headings.append(Label(text=text, x=(group[0] + group[-1] + 1) / 2, y=1.02, up="bottom"))
    write(frame, headings, transform=frame.walls)
    draw_scale(
        frame,
        across=[],
        upward=round_steps(*frame.upward, about=5),
        across_label="mould by mould, the units of each in pour order",
        upward_label=moulds.y_label,
    )
    return frame


def _draw_panel(frame: Frame, panel: Panel, *, place: int) -> None:
    count = len(panel.heights)
    step = (1 - 2 * GAP) / max(count - 1, 1)
    along = [place + (0.5 if count == 1 else GAP + step * number) for number in range(count)]
    marker, face = ("D", PAPER) if panel.corrected else ("o", DRAWN)
    draw_line(frame, along, panel.heights, colour=FAINT, width=0.8, above=1.5)
    draw_marks(frame, along, panel.heights, marker=marker, size=4.0, face=face, edge_width=0.6)
    ringed = [(x, y) for x, y, out in zip(along, panel.heights, panel.outside, strict=True) if out]
    if ringed:
        draw_marks(frame, [x for x, _ in ringed], [y for _, y in ringed], marker="o", size=9.0, face="none", above=4.0)
    if place:
        draw_line(frame, [place, place], [0.0, 1.0], colour=MUTED, width=0.6, above=1.0, transform=frame.walls)
