"""What the markers and lines of a picture mean, above its axis."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from qc.report.writing import Label, wide_points, write

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes
    from matplotlib.transforms import Transform

IN_A_ROW = 5
FONT_POINTS = 6.5
SAMPLE_POINTS = 13.0
"""How long the piece of a line is."""
GAP_POINTS = 2.0
COLUMN_GAP_POINTS = 7.0
ROW_POINTS = 7.8
AREA_POINTS = 4.6
"""How high the piece of an area is."""
LIFT_POINTS = 4.9
"""How far the lowest row stands above the axis, to the middle of its letters."""


def legend_places(names: Sequence[str], *, rows: int) -> list[tuple[float, float]]:
    """Where each entry begins, filled column by column from the upper left [points from the corner of the axis].

    Examples
    --------
    >>> [y for _, y in legend_places(["a", "b", "c"], rows=2)]
    [12.7, 4.9, 12.7]
    """
    places: list[tuple[float, float]] = []
    x = 1.3
    for first in range(0, len(names), rows):
        column = names[first : first + rows]
        places += [(x, LIFT_POINTS + (rows - 1 - row) * ROW_POINTS) for row in range(len(column))]
        if first + rows < len(names):
            widest = max(wide_points(name, size=FONT_POINTS) for name in column)
            x += SAMPLE_POINTS + GAP_POINTS + widest + COLUMN_GAP_POINTS
    return places


def draw_legend(ax: Axes) -> None:
    """Say what the markers mean, above the axis: in one row, or in two where one would run off the picture."""
    from matplotlib.transforms import Affine2D, ScaledTranslation

    handles, names = ax.get_legend_handles_labels()
    if not names:
        return
    corner = ScaledTranslation(0.0, 1.0, ax.transAxes)  # type: ignore[arg-type]  # an axis keeps it affine
    points = Affine2D().scale(1 / 72) + ax.figure.dpi_scale_trans + corner
    places = legend_places(names, rows=1 if len(names) <= IN_A_ROW else 2)
    for handle, (x, y) in zip(handles, places, strict=True):
        _draw_sample(ax, handle, x=x, y=y, points=points)
    after = SAMPLE_POINTS + GAP_POINTS
    write(
        ax,
        [
            Label(text=name, x=x + after, y=y, size=FONT_POINTS, across="left")
            for name, (x, y) in zip(names, places, strict=True)
        ],
        transform=points,
        above=5.0,
    )


def _draw_sample(ax: Axes, handle: Artist, *, x: float, y: float, points: Transform) -> None:
    """Draw a piece of the line, one of the markers, or a piece of the area that an entry is about."""
    import numpy as np
    from matplotlib.collections import Collection
    from matplotlib.colors import to_rgba_array
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch, Rectangle

    sample: Line2D | Rectangle
    if isinstance(handle, Line2D):
        marked = handle.get_marker() not in ("", "None", None)
        sample = Line2D([x + SAMPLE_POINTS / 2] if marked else [x, x + SAMPLE_POINTS], [y] if marked else [y, y])
        sample.update_from(handle)
    elif isinstance(handle, (Patch, Collection)):
        widths = np.atleast_1d(handle.get_linewidth())
        faces, edges = to_rgba_array(handle.get_facecolor()), to_rgba_array(handle.get_edgecolor())
        sample = Rectangle(
            (x, y - AREA_POINTS / 2),
            SAMPLE_POINTS,
            AREA_POINTS,
            facecolor=tuple(faces[0]),
            edgecolor=tuple(edges[0]) if len(edges) else "none",
            linewidth=float(widths[0]) if len(widths) else 0.0,
            # One opacity for the whole, so that the line around it does not show through on its inner half.
            alpha=handle.get_alpha(),
        )
    else:
        raise TypeError(
            f'the legend has no sample of "{handle.get_label()}", which is drawn as {type(handle).__name__}; '
            "draw it as lines, markers or an area"
        )
    sample.set(transform=points, clip_on=False, zorder=5, label="")
    ax.add_artist(sample)
