"""The rectangle that a picture is drawn in: its ends across and upward, and what was put on it.

Matplotlib's axes make forty artists for ticks, grids, spines, offsets and titles before anything is drawn, which took a
third of the time of a picture. The pictures of a report draw their own scale and use none of them.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.figure import Figure
    from matplotlib.transforms import Transform


class Frame:
    """A rectangle of a figure with a straight scale across and another upward.

    Parameters
    ----------
    figure : Figure
        The figure it is a part of.
    place : tuple of float
        Left, bottom, width and height as shares of the figure.

    Attributes
    ----------
    data, shares, walls, levels : Transform
        To the drawing: from data; from shares of the frame; from data across and shares upward; from shares across and
        data upward.
    wide_points, high_points : float
        The size of the frame [points].
    """

    def __init__(self, figure: Figure, place: tuple[float, float, float, float]) -> None:
        from matplotlib.transforms import Bbox, TransformedBbox

        self._figure = figure
        self._place = place
        self._artists: list[Artist] = []
        self._box = TransformedBbox(Bbox.from_bounds(*place), figure.transFigure)
        wide, high = figure.get_size_inches()
        self.wide_points, self.high_points = 72 * place[2] * wide, 72 * place[3] * high
        self.shares = self._from(across=(0.0, 1.0), upward=(0.0, 1.0))
        self.set_ends(across=(0.0, 1.0), upward=(0.0, 1.0))

    def set_ends(self, *, across: tuple[float, float], upward: tuple[float, float]) -> None:
        """Say which data stand at the left and right and at the lower and upper end; before anything is drawn."""
        self.across, self.upward = across, upward
        self.data = self._from(across=across, upward=upward)
        self.walls = self._from(across=across, upward=(0.0, 1.0))
        self.levels = self._from(across=(0.0, 1.0), upward=upward)

    def _from(self, *, across: tuple[float, float], upward: tuple[float, float]) -> Transform:
        from matplotlib.transforms import Affine2D

        left, bottom, wide, high = self._place
        shares = Affine2D().translate(-across[0], -upward[0])
        shares.scale(wide / (across[1] - across[0]), high / (upward[1] - upward[0])).translate(left, bottom)
        return shares + self._figure.transFigure

    def place_points(self, x: float, y: float) -> tuple[float, float]:
        """Where data stand, from the lower left corner of the frame [points]."""
        (left, right), (low, high) = self.across, self.upward
        return (x - left) / (right - left) * self.wide_points, (y - low) / (high - low) * self.high_points

    def points_from(self, across: float, upward: float) -> Transform:
        """To the drawing from points to the right of and above a place, given in shares of the frame."""
        return self._from(
            across=(-across * self.wide_points, (1 - across) * self.wide_points),
            upward=(-upward * self.high_points, (1 - upward) * self.high_points),
        )

    def add(self, artist: Artist, *, whole: bool = False) -> None:
        """Put an artist on the frame; without a transform of its own it is drawn in data.

        Parameters
        ----------
        artist : Artist
            What is drawn.
        whole : bool
            Whether it is drawn outside the frame too.
        """
        if not artist.is_transform_set():
            artist.set_transform(self.data)
        if not whole:
            artist.set_clip_box(self._box)
        self._artists.append(artist)
        self._figure.add_artist(artist)

    @property
    def artists(self) -> Sequence[Artist]:
        """All that was put on it, in that order."""
        return tuple(self._artists)
