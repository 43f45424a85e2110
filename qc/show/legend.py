"""What the markers and lines of a picture mean, above its frame."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from qc.show.frame import Frame
from qc.show.writing import Label, wide_points, write

if TYPE_CHECKING:
    from matplotlib.artist import Artist
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
CAPITALS_POINTS = 0.7
"""How far the middle of capital letters stands above that of the line they are in."""
LIFT_POINTS = 4.9
"""How far the lowest row stands above the frame, to the middle of its letters."""


def legend_places(names: Sequence[str], *, rows: int) -> list[tuple[float, float]]:
    """Where each entry begins, filled column by column from the upper left [points from the corner of the frame].

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


def draw_legend(frame: Frame) -> None:
    """Say what the markers mean, above the frame: in one row, or in two where one would run off the picture."""
    entries = [(artist, str(artist.get_label())) for artist in frame.artists]
    entries = [(artist, name) for artist, name in entries if name and not name.startswith("_")]
    points = frame.points_from(0.0, 1.0)
    places = legend_places([name for _, name in entries], rows=1 if len(entries) <= IN_A_ROW else 2)
    after = SAMPLE_POINTS + GAP_POINTS
    labels = []
    for (artist, name), (x, y) in zip(entries, places, strict=True):
        _draw_sample(frame, artist, x=x, y=y + CAPITALS_POINTS, points=points)
        labels.append(Label(text=name, x=x + after, y=y, size=FONT_POINTS, across="left"))
    write(frame, labels, transform=points, above=5.0)


def _draw_sample(frame: Frame, artist: Artist, *, x: float, y: float, points: Transform) -> None:
    """Draw a piece of the line, one of the markers, or a piece of the area that an entry is about."""
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch, Rectangle

    sample: Line2D | Rectangle
    if isinstance(artist, Line2D):
        marked = artist.get_marker() not in ("", "None", None)
        sample = Line2D([x + SAMPLE_POINTS / 2] if marked else [x, x + SAMPLE_POINTS], [y] if marked else [y, y])
        sample.update_from(artist)
    elif isinstance(artist, Patch):
        sample = Rectangle((x, y - AREA_POINTS / 2), SAMPLE_POINTS, AREA_POINTS)
        sample.update_from(artist)
    else:
        raise TypeError(
            f'the legend has no sample of "{artist.get_label()}", which is drawn as {type(artist).__name__}; '
            "draw it as lines, markers or an area"
        )
    sample.set(transform=points, clip_on=False, zorder=5, label="")
    frame.add(sample, whole=True)
