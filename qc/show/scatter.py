"""Mass against content: whether the dose follows the fill or goes its own way."""

from __future__ import annotations

from typing import TYPE_CHECKING

from qc.results import JudgedBatch, Place, UnitRow
from qc.show.axes import legend_beside, name_axes, name_points
from qc.show.palette import DRAWN, INK, MUTED, PAPER
from qc.show.series import content_name, contents_found, names_in_pictures
from qc.show.svg import Size

if TYPE_CHECKING:
    from matplotlib.axes import Axes

SIZE = Size(high=3.0)
LEAST_UNITS = 2


def units_with_both(judged: JudgedBatch, active: str) -> list[tuple[UnitRow, float, float]]:
    """Units that were weighed and assayed, with mass [g] and content [% of label, or mg]."""
    found = contents_found(judged, active)
    return [(row, float(row.mass_g), content) for row, content in found if row.mass_g is not None]


def draw_mass_against_content(ax: Axes, *, judged: JudgedBatch, active: str) -> Axes:
    """Draw content over mass, units outside a limit named, and the line of equal concentration through the centre.

    Parameters
    ----------
    ax : Axes
        The axes to draw on; nothing else is touched.
    judged : JudgedBatch
        What was judged.
    active : str
        Which active.

    Returns
    -------
    Axes
        The same axes.
    """
    units = units_with_both(judged, active)
    ax.margins(x=0.1, y=0.12)
    outside = [unit for unit in units if _outside(unit[0], active)]
    within = [unit for unit in units if not _outside(unit[0], active)]
    for chosen, marker, size, face, width, label in (
        (within, "o", 5.0, DRAWN, 0.6, "within the limits"),
        (outside, "^", 7.5, PAPER, 1.3, "outside a limit of\nmass or content"),
    ):
        if chosen:
            ax.plot(
                [mass for _, mass, _ in chosen],
                [content for _, _, content in chosen],
                marker,
                markersize=size,
                markerfacecolor=face,
                markeredgecolor=INK,
                markeredgewidth=width,
                label=label,
            )
    mass = sum(mass for _, mass, _ in units) / len(units)
    content = sum(content for _, _, content in units) / len(units)
    label = "same concentration\nin every unit"
    # Along the line through the origin every gram carries the same dose.
    ax.axline((mass, content), slope=content / mass, color=MUTED, linewidth=1.0, linestyle="--", zorder=1, label=label)
    names = names_in_pictures(judged.unit_rows)
    others = [(mass, content) for _, mass, content in within]
    name_points(ax, [(names[row.unit], mass, content) for row, mass, content in outside], others=others)
    name_axes(ax, across="mass of the unit [g]", upward=content_name(judged, active))
    legend_beside(ax)
    return ax


def _outside(row: UnitRow, active: str) -> bool:
    places = (row.place, row.contents[active].place)
    return any(place in (Place.BEYOND_INNER, Place.BEYOND_OUTER) for place in places)
