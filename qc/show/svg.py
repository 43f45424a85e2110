"""A figure of matplotlib as SVG text that is the same on every run and can stand beside others in one page."""

from __future__ import annotations

import re
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from html import escape
from io import StringIO
from typing import TYPE_CHECKING, Any

from msgspec import Struct

from qc.show.palette import FONT, MUTED, PAPER

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

INCHES_WIDE = 6.9

_STYLE: dict[str, Any] = {
    "axes.edgecolor": MUTED,
    "axes.formatter.useoffset": False,
    "axes.labelsize": 8.0,
    "axes.linewidth": 0.6,
    "axes.spines.right": False,
    "axes.spines.top": False,
    "figure.facecolor": PAPER,
    "font.family": FONT,
    "font.size": 8.0,
    "legend.fontsize": 7.0,
    "legend.frameon": False,
    "svg.fonttype": "none",
    "xtick.labelsize": 7.5,
    "ytick.labelsize": 7.5,
}
_OF_THE_PROCESS = frozenset({"backend", "backend_fallback", "interactive", "toolbar", "timezone"})
"""Settings that shape no drawing; setting a backend would load it."""
_NOT_DRAWN = re.compile(
    r'<metadata>.*?</metadata>|<defs>\s*<style type="text/css">.*?</style>\s*</defs>|(?<=<g) id="[^"]*"', re.DOTALL
)
"""What reaches beyond the drawing or would stand twice in a page: the style sheet, and the names of groups."""


class Size(Struct, frozen=True, kw_only=True):
    """How high a figure is and how far its axes stand from its sides [inch]; all are of one width."""

    high: float
    left: float = 0.7
    right: float = 2.0
    """Room for the legend."""
    bottom: float = 0.48
    top: float = 0.2


@contextmanager
def _settings(name: str) -> Iterator[None]:
    """The settings of a drawing: the reader's own must not change a byte of the report, nor the report theirs."""
    from matplotlib import rc_context, rcParams, rcParamsDefault

    wanted: dict[Any, Any] = {**rcParamsDefault, **_STYLE, "svg.hashsalt": name}
    with rc_context(), warnings.catch_warnings():
        # The drawing keeps letters as letters; a script that the measuring font lacks is set in another by the page.
        warnings.filterwarnings("ignore", message="Glyph .* missing from font", category=UserWarning)
        rcParams.update({key: wanted[key] for key in wanted.keys() - _OF_THE_PROCESS if rcParams[key] != wanted[key]})
        yield


def figure_with(draw: Callable[[Axes], object], *, size: Size) -> Figure:
    """A figure with one pair of axes that was drawn on."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(INCHES_WIDE, size.high))
    FigureCanvasAgg(figure)  # Measures texts.
    wide = INCHES_WIDE - size.left - size.right
    high = size.high - size.bottom - size.top
    place = (size.left / INCHES_WIDE, size.bottom / size.high, wide / INCHES_WIDE, high / size.high)
    draw(figure.add_axes(place))
    return figure


def drawn(draw: Callable[[Axes], object], *, name: str, title: str, alternative: str, size: Size) -> str:
    """Have one pair of axes drawn on in a figure of its own and return it as SVG.

    Parameters
    ----------
    draw : callable
        Draws on the axes it is given.
    name : str
        Different for every drawing of a page; the ids inside depend on it.
    title, alternative : str
        Title and description for readers who cannot see it.
    size : Size
        Of the figure.

    Returns
    -------
    str
        An `svg` element without an XML declaration.
    """
    written = StringIO()
    with _settings(name):
        nothing: dict[Any, Any] = {"Date": None, "Creator": None, "Format": None, "Type": None}
        figure_with(draw, size=size).savefig(written, format="svg", metadata=nothing)
    text = written.getvalue()
    opening, rest = text[text.index("<svg") :].split(">", 1)
    view = opening[opening.index("viewBox=") :].split('"')[1]
    wide, high = view.split()[2:]
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" version="1.1" role="img" '
        f'width="{wide}pt" height="{high}pt" viewBox="{view}" aria-labelledby="{name}-title {name}-desc" '
        'style="stroke-linejoin: round; stroke-linecap: butt">'
        f'<title id="{name}-title">{escape(title, quote=False)}</title>'
        f'<desc id="{name}-desc">{escape(alternative, quote=False)}</desc>'
    )
    return head + re.sub(r"\n\s*", "\n", _NOT_DRAWN.sub("", rest)).strip()
