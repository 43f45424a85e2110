"""The texts of a picture, written all at once.

A text of matplotlib's own is measured and laid out by itself, which took half the time of a picture. A number beside a
tick needs neither: the drawing keeps letters as letters, the page aligns them, and how far the font reaches above and
below its line is known.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache, lru_cache
from typing import TYPE_CHECKING, Literal

from msgspec import Struct

from qc.show.frame import Frame
from qc.show.palette import FONT, INK, PAPER

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.backend_bases import RendererBase
    from matplotlib.font_manager import FontProperties
    from matplotlib.transforms import Transform

ASCENT = 1556 / 2048
DESCENT = 492 / 2048
LINE_GAP = 410 / 2048
"""How far the font reaches above and below its line, and the gap between lines, as shares of its size.

DejaVu Sans 2.37, table OS/2: sTypoAscender, sTypoDescender and sTypoLineGap, in units of 1/2048.
"""
DIGIT = 1303 / 2048
BOLD_DIGIT = 1425 / 2048
"""How wide every digit is as a share of the size: DejaVu Sans 2.37, table hmtx."""


class Label(Struct, frozen=True, kw_only=True):
    """A short text and where it stands."""

    text: str
    """One line, or more with line ends between them."""
    x: float
    y: float
    """In the coordinates that the labels are written in."""
    shift: tuple[float, float] = (0.0, 0.0)
    """Further to the right and upward [points]."""
    size: float = 7.0
    """[points]"""
    bold: bool = False
    colour: str = INK
    across: Literal["left", "center", "right"] = "center"
    """Which side of the text stands there."""
    up: Literal["top", "center", "bottom", "line"] = "center"
    """Which height of the text stands there; `line` is the one that letters stand on."""
    turned: bool = False
    """Read from below upward."""
    backed: float | None = None
    """Paper behind the text, wider than it by this share of its size on every side."""
    edged: float = 0.0
    """Line around the paper [points]."""


def write(frame: Frame, labels: Sequence[Label], *, transform: Transform | None = None, above: float = 3.0) -> None:
    """Write labels on a frame.

    Parameters
    ----------
    frame : Frame
        The frame to write on.
    labels : sequence of Label
        What is written.
    transform : Transform
        From the coordinates of the labels to the drawing; those of the data where none is given.
    above : float
        The order of drawing, in which lines are 2 and areas 1.
    """
    shown = [label for label in labels if label.text]
    if shown:
        written = _artist()(shown)  # type: ignore[call-arg]
        written.set_transform(frame.data if transform is None else transform)
        written.set_zorder(above)
        frame.add(written, whole=True)


def written_on(frame: Frame) -> list[Label]:
    """Every label on a frame, in the order in which they were written."""
    return [label for child in frame.artists for label in getattr(child, "labels", ())]


def font(*, size: float, bold: bool) -> FontProperties:
    """The font of the pictures in a size [points]."""
    from matplotlib.font_manager import FontProperties

    return FontProperties(family=[FONT], size=size, weight="bold" if bold else "normal")


def _kind(label: Label) -> tuple[float, bool]:
    return label.size, label.bold


@lru_cache(maxsize=1024)
def wide_points(text: str, *, size: float, bold: bool = False) -> float:
    """How wide a line of text is [points]; digits are all of one width, anything else is measured.

    Examples
    --------
    >>> wide_points("24", size=10)
    12.724609375
    """
    if text.isascii() and text.isdecimal():
        return len(text) * size * (BOLD_DIGIT if bold else DIGIT)
    from matplotlib.textpath import text_to_path

    wide, _, _ = text_to_path.get_text_width_height_descent(text, font(size=size, bold=bold), False)
    return float(wide)


def lines_of(label: Label) -> list[tuple[str, float]]:
    """The lines of a label, each with how far above the place of the label its letters stand [points].

    Examples
    --------
    >>> [(text, round(up, 2)) for text, up in lines_of(Label(text="8", x=0, y=0, size=10, up="center"))]
    [('8', -2.6)]
    """
    lines = label.text.split("\n")
    gap = LINE_GAP if len(lines) > 1 else 0.0
    step = ASCENT + DESCENT + gap
    top = {"top": 0.0, "center": len(lines) * step / 2, "bottom": len(lines) * step, "line": ASCENT + gap / 2}[label.up]
    return [(text, (top - ASCENT - gap / 2 - row * step) * label.size) for row, text in enumerate(lines)]


@cache
def _artist() -> type[Artist]:
    """The artist that writes labels; made when it is first needed, because matplotlib is loaded when it is needed."""
    from matplotlib.artist import Artist
    from matplotlib.colors import to_rgba
    from matplotlib.path import Path
    from matplotlib.text import Text
    from matplotlib.transforms import Affine2D, IdentityTransform

    class Writing(Artist):
        """Labels in the coordinates of its transform."""

        def __init__(self, labels: Sequence[Label]) -> None:
            super().__init__()
            self.labels = tuple(labels)

        def draw(self, renderer: RendererBase) -> None:
            """Write every label, with paper behind it where it asks for it."""
            places = self.get_transform().transform([(label.x, label.y) for label in self.labels])
            fonts = {kind: font(size=kind[0], bold=kind[1]) for kind in {_kind(label) for label in self.labels}}
            # The renderer takes from it on which side a text is aligned, and about which point it is turned.
            anchor = Text(rotation_mode="anchor", transform=IdentityTransform())
            point = float(renderer.points_to_pixels(1.0))  # type: ignore[arg-type]  # a number gives a number
            high = renderer.get_canvas_width_height()[1]
            context = renderer.new_gc()
            colour = None
            renderer.open_group("writing")
            for label, (x, y) in zip(self.labels, places.tolist(), strict=True):
                x, y = x + label.shift[0] * point, y + label.shift[1] * point
                if label.backed is not None:
                    self._back(renderer, label, x=x, y=y, point=point)
                if label.colour != colour:
                    colour = label.colour
                    context.set_foreground(to_rgba(colour), isRGBA=True)
                anchor.set_horizontalalignment(label.across)
                angle = 90.0 if label.turned else 0.0
                anchor.set_rotation(angle)
                for text, up in lines_of(label):
                    at_x, at_y = (x - up * point, y) if label.turned else (x, y + up * point)
                    anchor.set_position((at_x, at_y))
                    from_top = high - at_y if renderer.flipy() else at_y
                    prop = fonts[_kind(label)]
                    renderer.draw_text(context, at_x, from_top, text, prop, angle, ismath=False, mtext=anchor)
            renderer.close_group("writing")
            context.restore()

        def _back(self, renderer: RendererBase, label: Label, *, x: float, y: float, point: float) -> None:
            pad = (label.backed or 0.0) * label.size
            wide = max(wide_points(line, size=label.size, bold=label.bold) for line in label.text.split("\n"))
            left = {"left": 0.0, "center": -wide / 2, "right": -wide}[label.across] - pad
            ups = [up for _, up in lines_of(label)]
            low = ups[-1] - DESCENT * label.size - pad
            tall = ups[0] + ASCENT * label.size + pad - low
            corner = Affine2D().scale((wide + 2 * pad) * point, tall * point)
            corner.translate(x + left * point, y + low * point)
            context = renderer.new_gc()
            context.set_linewidth(label.edged * point)
            context.set_foreground(to_rgba(INK), isRGBA=True)
            renderer.draw_path(context, Path.unit_rectangle(), corner, to_rgba(PAPER))
            context.restore()

    return Writing
