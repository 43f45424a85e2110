"""Mass against content: whether the dose follows the fill or goes its own way."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from qc.report.labels import draw_scale, round_steps, with_room
from qc.report.palette import DRAWN, INK, MUTED, PAPER
from qc.report.series import draw_legend, in_percent_of_label
from qc.report.words import shortened, shown_text
from qc.results import JudgedBatch, Place, UnitRow

if TYPE_CHECKING:
    from matplotlib.axes import Axes

INCHES_HIGH = 3.35
MARGINS = (0.62, 1.35, 0.48, 0.3)
LEAST_UNITS = 2
NAMES_SHOWN = 30
FONT_POINTS = 6.5
POINT_POINTS = 3.8
Box = tuple[float, float, float, float]
"""Centre and half sizes, across and up [points]."""


def units_with_both(judged: JudgedBatch, active: str) -> list[tuple[UnitRow, float, float]]:
    """Units that were weighed and assayed, with mass [g] and content [% of label, or mg]."""
    of_label = in_percent_of_label(judged, active)
    found = []
    for row in judged.unit_rows:
        content = row.contents.get(active)
        if content is None or row.mass_g is None:
            continue
        value = content.percent_of_label if of_label else content.mg
        if value is not None:
            found.append((row, float(row.mass_g), value))
    return found


def draw_mass_against_content(ax: Axes, *, judged: JudgedBatch, active: str) -> Axes:
    """Draw content over mass with every unit named, and the line of equal concentration through the centre.

    Parameters
    ----------
    ax : Axes
        The axis to draw on; nothing else is touched.
    judged : JudgedBatch
        What was judged.
    active : str
        Which active.

    Returns
    -------
    Axes
        The same axis.
    """
    units = units_with_both(judged, active)
    masses = [mass for _, mass, _ in units]
    contents = [content for _, _, content in units]
    ax.set_xlim(*with_room(masses, share=0.12))
    ax.set_ylim(*with_room(contents, share=0.14))
    left, right = ax.get_xlim()
    # Through the origin and the centre of the points: along it every gram carries the same dose.
    slope = sum(contents) / sum(masses)
    ax.plot([left, right], [slope * left, slope * right], color=MUTED, linewidth=1.0, linestyle=(0, (5, 2.5)), zorder=1)
    low, high = ax.get_ylim()
    end = min(max(slope * right, low), high)
    ax.annotate(
        "same concentration\nin every unit",
        xy=(right, end),
        xytext=(5, 0),
        textcoords="offset points",
        fontsize=7,
        va="center",
        annotation_clip=False,
    )
    for outside, marker, face, label in (
        (False, "o", DRAWN, "within the limits"),
        (True, "^", PAPER, "outside a limit of mass or content"),
    ):
        chosen = [(mass, content) for row, mass, content in units if _outside(row, active) is outside]
        if chosen:
            ax.plot(
                [mass for mass, _ in chosen],
                [content for _, content in chosen],
                linestyle="none",
                marker=marker,
                markersize=7.5 if outside else 5,
                markerfacecolor=face,
                markeredgecolor=INK,
                markeredgewidth=1.3 if outside else 0.6,
                zorder=3,
                label=label,
            )
    names = [shortened(shown_text(row.unit), most=8) for row, _, _ in units[:NAMES_SHOWN]]
    for name, (_, mass, content), offset in zip(names, units, _free_places(ax, names, units), strict=False):
        ax.annotate(
            name,
            xy=(mass, content),
            xytext=offset,
            textcoords="offset points",
            fontsize=FONT_POINTS,
            ha="center",
            va="center",
            zorder=2,
            bbox={"boxstyle": "square,pad=0.05", "facecolor": PAPER, "edgecolor": "none"},
            parse_math=False,
        )
    draw_legend(ax)
    _finish(ax, judged=judged, active=active)
    return ax


def _free_places(
    ax: Axes, names: Sequence[str], units: Sequence[tuple[UnitRow, float, float]]
) -> list[tuple[float, float]]:
    """Where each name stands beside its point [points]: the nearest of eight places that covers least of the others."""
    to_points = 72 / ax.figure.dpi
    points = [tuple(ax.transData.transform((mass, content)) * to_points) for _, mass, content in units]
    taken = [(x, y, POINT_POINTS, POINT_POINTS) for x, y in points]
    offsets = []
    for name, (x, y) in zip(names, points, strict=False):
        half_wide, half_high = 0.31 * FONT_POINTS * len(name), 0.42 * FONT_POINTS
        across, up = half_wide + POINT_POINTS + 1, half_high + POINT_POINTS + 1
        places = [(across, up - 2), (across, 0), (across, 2 - up), (0, up), (0, -up)]
        places += [(-across, up - 2), (-across, 0), (-across, 2 - up)]
        boxes = [(x + right, y + above, half_wide, half_high) for right, above in places]
        best = min(range(len(places)), key=lambda place: sum(_shared(boxes[place], other) for other in taken))
        taken.append(boxes[best])
        offsets.append(places[best])
    return offsets


def _shared(one: Box, other: Box) -> float:
    """The area that two boxes have in common [square points]."""
    wide = min(one[0] + one[2], other[0] + other[2]) - max(one[0] - one[2], other[0] - other[2])
    high = min(one[1] + one[3], other[1] + other[3]) - max(one[1] - one[3], other[1] - other[3])
    return max(wide, 0.0) * max(high, 0.0)


def _outside(row: UnitRow, active: str) -> bool:
    places = (row.place, row.contents[active].place)
    return any(place in (Place.BEYOND_INNER, Place.BEYOND_OUTER) for place in places)


def _finish(ax: Axes, *, judged: JudgedBatch, active: str) -> None:
    draw_scale(ax, across=round_steps(*ax.get_xlim(), about=6), upward=round_steps(*ax.get_ylim(), about=5))
    unit = "% of label" if in_percent_of_label(judged, active) else "mg"
    ax.set_xlabel("mass of the unit [g]")
    ax.set_ylabel(f"{shortened(shown_text(active), most=20)} [{unit}]")
