"""What all pictures share on matplotlib's axes: their names, the legend outside them, level lines, names of points."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from msgspec import Struct

from qc.say.text import shown_text
from qc.show.palette import INK, MUTED

if TYPE_CHECKING:
    from matplotlib.axes import Axes

NAME_POINTS = 7.0
FROM_A_POINT = 6.0
"""How far a name stands above or below its point [points]."""
HALF_A_POINT = 4.0
"""Half the size of a point that no name may touch [points]."""
NEAR_A_SIDE = 0.2
"""Names this near to a side of the axes, as a share of them, run toward the middle."""
TICKS = 4

LINE_STYLE: dict[str, tuple[str, float, str | tuple[float, tuple[float, ...]]]] = {
    "mean": (INK, 1.0, "-"),
    "limit": (INK, 0.9, (0, (5, 2.5))),
    "outer": (MUTED, 0.9, (0, (1.5, 2))),
    "plan": (MUTED, 0.9, (0, (7, 2, 1.5, 2))),
}
"""Colour, width [points] and dashes of a level line."""


class Level(Struct, frozen=True, kw_only=True):
    """A mean, a plan, or both sides of a limit: what the legend calls it, and its heights in the unit of the axis."""

    label: str
    heights: tuple[float, ...]
    style: str
    """A key of `LINE_STYLE`."""


def plain(text: str) -> str:
    r"""User text as matplotlib writes it letter by letter: a dollar sign begins no formula.

    Examples
    --------
    >>> print(plain("Unit $1$"))
    Unit \$1\$
    """
    return shown_text(text).replace("$", r"\$")


def draw_levels(ax: Axes, levels: Sequence[Level]) -> None:
    """Draw lines over the whole width, one entry of the legend each."""
    for level in levels:
        colour, width, dashes = LINE_STYLE[level.style]
        for place, height in enumerate(level.heights):
            label = "_" if place else level.label
            ax.axhline(height, color=colour, linewidth=width, linestyle=dashes, zorder=1, label=label)


def name_axes(ax: Axes, *, across: str, upward: str, whole: bool = False) -> None:
    """Say what is measured along both axes, and mark few values on each; only whole ones across where asked for."""
    from matplotlib.ticker import MaxNLocator

    ax.set_xlabel(plain(across))
    ax.set_ylabel(plain(upward))
    ax.xaxis.set_major_locator(MaxNLocator(nbins=TICKS, integer=whole, min_n_ticks=1))
    ax.yaxis.set_major_locator(MaxNLocator(nbins=TICKS, min_n_ticks=1))


def legend_beside(ax: Axes) -> None:
    """Say what markers and lines mean, to the right of the axes."""
    ax.legend(loc="upper left", bbox_to_anchor=(1.02, 1.02), borderaxespad=0.0, handlelength=1.8, labelspacing=0.45)


def name_points(ax: Axes, named: Sequence[tuple[str, float, float]], *, others: Sequence[tuple[float, float]]) -> None:
    """Write names over points (name, x, y), or under them; one that would touch a point or a name is left out.

    The caption lists the units, and the table holds them all.
    """
    from matplotlib.transforms import Bbox

    # Where the points stand is measured, so that the limits have to be known.
    ax.autoscale_view()
    half = HALF_A_POINT * ax.figure.dpi / 72
    points = [(x, y) for _, x, y in named]
    taken = [Bbox([place - half, place + half]) for place in map(ax.transData.transform, [*points, *others])]
    for name, x, y in named:
        share = ax.transAxes.inverted().transform(ax.transData.transform((x, y)))[0]
        for side, edge in ((1, "bottom"), (-1, "top")):
            text = ax.annotate(
                plain(name),
                (x, y),
                xytext=(0.0, side * FROM_A_POINT),
                textcoords="offset points",
                ha="left" if share < NEAR_A_SIDE else "right" if share > 1 - NEAR_A_SIDE else "center",
                va=edge,
                fontsize=NAME_POINTS,
                fontweight="bold",
            )
            box = text.get_window_extent()
            if not any(box.overlaps(other) for other in taken):
                taken.append(box)
                break
            text.remove()
