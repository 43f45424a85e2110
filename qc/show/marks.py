"""Lines, markers and areas on a frame."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Literal

from qc.show.frame import Frame
from qc.show.palette import INK

if TYPE_CHECKING:
    from matplotlib.transforms import Transform

    Dashes = Literal["-"] | tuple[float, tuple[float, ...]]


def draw_line(
    frame: Frame,
    across: Sequence[float],
    upward: Sequence[float],
    *,
    colour: str,
    width: float,
    dashes: Dashes = "-",
    above: float = 2.0,
    label: str = "",
    transform: Transform | None = None,
) -> None:
    """Draw one line through points.

    Parameters
    ----------
    frame : Frame
        The frame to draw on.
    across, upward : sequence of float
        The points, in the coordinates of the data where no transform is given.
    colour : str
        Of the line.
    width : float
        Of the line [points].
    dashes : str or (float, tuple of float)
        As matplotlib's line styles.
    above : float
        The order of drawing.
    label : str
        What the legend calls it; empty is not in the legend.
    transform : Transform
        From the coordinates of the points to the drawing.
    """
    from matplotlib.lines import Line2D

    line = Line2D(
        across,
        upward,
        color=colour,
        linewidth=width,
        linestyle=dashes,
        solid_capstyle="butt",
        zorder=above,
        label=label,
    )
    if transform is not None:
        line.set_transform(transform)
    frame.add(line)


def draw_marks(
    frame: Frame,
    across: Sequence[float],
    upward: Sequence[float],
    *,
    marker: str,
    size: float,
    face: str,
    edge: str = INK,
    edge_width: float = 1.0,
    above: float = 3.0,
    label: str = "",
    whole: bool = False,
) -> None:
    """Draw a marker at each point.

    Parameters
    ----------
    frame : Frame
        The frame to draw on.
    across, upward : sequence of float
        The points, in the coordinates of the data.
    marker : str
        As matplotlib's markers.
    size : float
        Of the marker [points].
    face, edge : str
        Colours inside and around.
    edge_width : float
        Of the line around [points].
    above : float
        The order of drawing.
    label : str
        What the legend calls it; empty is not in the legend.
    whole : bool
        Whether a marker at an end of the frame is drawn beyond it too, and not cut in half.
    """
    from matplotlib.lines import Line2D

    frame.add(
        Line2D(
            across,
            upward,
            linestyle="none",
            marker=marker,
            markersize=size,
            markerfacecolor=face,
            markeredgecolor=edge,
            markeredgewidth=edge_width,
            zorder=above,
            label=label,
        ),
        whole=whole,
    )


def draw_area(
    frame: Frame,
    corners: Sequence[tuple[float, float]],
    *,
    colour: str,
    opacity: float = 1.0,
    edge_width: float = 0.0,
    above: float = 1.0,
    label: str = "",
    transform: Transform | None = None,
) -> None:
    """Draw an area.

    Parameters
    ----------
    frame : Frame
        The frame to draw on.
    corners : sequence of (float, float)
        The corners in turn, in the coordinates of the data where no transform is given.
    colour : str
        Of the area and of the line around it.
    opacity : float
        Of both [-].
    edge_width : float
        Of the line around [points].
    above : float
        The order of drawing.
    label : str
        What the legend calls it; empty is not in the legend.
    transform : Transform
        From the coordinates of the corners to the drawing.
    """
    from matplotlib.patches import Polygon

    area = Polygon(corners, color=colour, alpha=opacity, linewidth=edge_width, zorder=above, label=label)
    if transform is not None:
        area.set_transform(transform)
    frame.add(area)
