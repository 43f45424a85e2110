"""What all figures share: their size and style, level lines, names of axes, and the way to SVG text.

The SVG is the same on every run and can stand beside others in one page.
"""

from __future__ import annotations

import re
import sys
import warnings
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import cache
from html import escape
from io import StringIO
from threading import RLock
from typing import TYPE_CHECKING, Any

from msgspec import Struct

from qc.patterns import pattern
from qc.say.text import shown_text
from qc.show.palette import FONT, INK, MUTED, PAPER
from qc.show.pieces import Picture
from qc.show.stopped_later import stopped_later

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

INCHES_WIDE, INCHES_SMALL = 6.9, 3.35
"""Over a whole page, and half of it."""
TICKS = 4
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
_DRAWING = RLock()
"""Held while something is drawn: the settings are those of the process, and threads draw one after the other."""
_NOT_DRAWN = pattern(
    r'<metadata>.*?</metadata>|<defs>\s*<style type="text/css">.*?</style>\s*</defs>|(?<=<g) id="[^"]*"', re.DOTALL
)
"""What reaches beyond the drawing or would stand twice in a page: the style sheet, and the names of groups."""
TOLD = "told"
"""The id of a group whose marks are named under the pointer."""
_TOLD = pattern(rf'<g id="{TOLD}">.*?(?=<g id=|\Z)', re.DOTALL)
_LINE_STYLE: dict[str, tuple[str, float, str | tuple[float, tuple[float, ...]]]] = {
    "mean": (INK, 1.0, "-"),
    "limit": (INK, 0.9, (0, (5, 2.5))),
    "outer": (MUTED, 0.9, (0, (1.5, 2))),
    "plan": (MUTED, 0.9, (0, (7, 2, 1.5, 2))),
}
"""Colour, width [points] and dashes of a level line."""


POINTS_SMALL = 9.0
"""In a small figure, of every letter beside and below what is drawn: the least on a page to sign."""
INCHES_ACROSS, INCHES_OF_A_LINE = 0.42, 0.17
"""Of what stands under the axes of a small figure: the values with their name, and a line of the legend."""


class FigureSize(Struct, frozen=True, kw_only=True):
    """How high and wide a figure is, and how far its axes stand from its sides [inch]."""

    high: float
    wide: float = INCHES_WIDE
    left: float = 0.7
    right: float = 2.0
    """Room for the legend."""
    bottom: float = 0.48
    top: float = 0.2


def plain(text: str) -> str:
    r"""User text as matplotlib writes it letter by letter: a dollar sign begins no formula.

    Examples
    --------
    >>> print(plain("Unit $1$"))
    Unit \$1\$
    """
    return shown_text(text).replace("$", r"\$")


def draw_level(ax: Axes, height: float, *, style: str, label: str) -> None:
    """Draw a line over the whole width: a mean, a plan, or a limit."""
    colour, width, dashes = _LINE_STYLE[style]
    ax.axhline(height, color=colour, linewidth=width, linestyle=dashes, zorder=1, label=label)


def draw_points(
    ax: Axes,
    points: Sequence[tuple[float, float]],
    *,
    marker: str,
    size: float,
    face: str,
    label: str,
    edge: float = 1.0,
    on_top: bool = False,
    told: bool = False,
) -> None:
    """Draw points with a dark edge, one entry of the legend; `size` and `edge` in points.

    Those on top are drawn whole where they lie on the end of an axis; those told are named under the pointer.
    """
    ax.plot(
        [x for x, _ in points],
        [y for _, y in points],
        marker,
        markersize=size,
        markerfacecolor=face,
        markeredgecolor=INK,
        markeredgewidth=edge,
        clip_on=not on_top,
        zorder=4 if on_top else 2,
        gid=TOLD if told else None,
        label=label,
    )


SMALL = FigureSize(wide=INCHES_SMALL, high=2.05, left=0.72, right=0.18, bottom=INCHES_ACROSS, top=0.08)
"""Of which two stand side by side, the legend below."""
ALONG_THE_POUR = FigureSize(wide=INCHES_SMALL, high=1.7, left=0.72, right=0.5, bottom=0.26, top=0.08)
"""With room for the names of lines at the right, where it is also said what is measured across."""
WHERE_FULL = FigureSize(wide=INCHES_SMALL, high=1.02, left=0.72, right=0.5, bottom=0.26, top=0.08)
"""Where page one has to hold much besides: its letters are to be no smaller for that."""


def finish(ax: Axes, *, across: str, upward: str, whole: bool = False, below: int | None = None) -> Axes:
    """Say what is measured along both axes, mark few values on each, and say beside or below what the marks mean.

    Parameters
    ----------
    ax : Axes
        The axes, drawn on.
    across, upward : str
        What is measured, with its unit in brackets.
    whole : bool
        Whether only whole numbers are marked across.
    below : int
        In how many columns the legend stands below the axes of a small figure; with 0 its caption has to say it, and
        what is measured across stands beside its values. Where it is not given, the legend stands beside the axes.

    Returns
    -------
    Axes
        The same axes.
    """
    from matplotlib.ticker import MaxNLocator

    ax.set(xlabel=plain(across), ylabel=plain(upward))
    ax.xaxis.set_major_locator(MaxNLocator(nbins=2 * TICKS if whole else TICKS, integer=whole, min_n_ticks=1))
    ax.yaxis.set_major_locator(MaxNLocator(nbins=TICKS, min_n_ticks=1))
    figure = ax.get_figure()
    if below is None or figure is None:
        ax.legend(loc="upper left", bbox_to_anchor=(1.02, 1.02), borderaxespad=0.0, handlelength=1.8, labelspacing=0.45)
        return ax
    ax.tick_params(labelsize=POINTS_SMALL, pad=2.0)
    for axis in (ax.xaxis, ax.yaxis):
        axis.labelpad = 2.0
        axis.label.set_fontsize(POINTS_SMALL)
    if not below:
        ax.xaxis.set_label_coords(1.04, -2.0 * 72 / figure.dpi / ax.bbox.height)
        ax.xaxis.label.set(ha="left", va="top")
    else:
        # Under the axes, which end above as many lines as the legend has.
        lines = -(-len(ax.get_legend_handles_labels()[0]) // below)
        box, high = ax.get_position(), ax.bbox.height / ax.get_position().height / figure.dpi
        foot = (INCHES_ACROSS + INCHES_OF_A_LINE * lines) / high
        ax.set_position((box.x0, foot, box.width, box.y1 - foot))
        ax.legend(
            loc="lower center",
            bbox_to_anchor=(0.5, 0.0),
            bbox_transform=figure.transFigure,
            ncols=below,
            fontsize=POINTS_SMALL,
            borderaxespad=0.1,
            handlelength=1.6,
            labelspacing=0.25,
            columnspacing=0.9,
            handletextpad=0.4,
        )
    return ax


@contextmanager
def _settings(name: str) -> Iterator[None]:
    """The settings of a drawing: the reader's own must not change a byte of the report, nor the report theirs."""
    _load_figure()
    from matplotlib import rc_context, rcParams, rcParamsDefault

    wanted: dict[Any, Any] = {**rcParamsDefault, **_STYLE, "svg.hashsalt": name}
    with _DRAWING, rc_context(), warnings.catch_warnings():
        # The drawing keeps letters as letters; a script that the measuring font lacks is set in another by the page.
        warnings.filterwarnings("ignore", message="Glyph .* missing from font", category=UserWarning)
        rcParams.update({key: wanted[key] for key in wanted.keys() - _OF_THE_PROCESS if rcParams[key] != wanted[key]})
        yield


@cache
def _load_figure() -> type[Figure]:
    """Load what draws; the help of its classes lists no properties but for a person at a prompt.

    To write those lists takes a tenth of the time of a report, and a call that ends with its files shows none. Ctrl-C
    waits meanwhile: the library takes whatever is raised while it loads for a part that is missing, and goes on.
    """
    with stopped_later():
        from matplotlib import artist

        listed = artist.kwdoc
        if not hasattr(sys, "ps1"):
            artist.kwdoc = lambda artist: ""
        try:
            from matplotlib.figure import Figure
        finally:
            artist.kwdoc = listed
    return Figure


def figure_with(draw: Callable[[Axes], object], *, size: FigureSize) -> Figure:
    """A figure with one pair of axes that was drawn on."""
    figure = _load_figure()(figsize=(size.wide, size.high))
    wide, high = size.wide - size.left - size.right, size.high - size.bottom - size.top
    draw(figure.add_axes((size.left / size.wide, size.bottom / size.high, wide / size.wide, high / size.high)))
    return figure


def drawn(
    draw: Callable[[Axes], object],
    *,
    name: str,
    title: str,
    alternative: str,
    size: FigureSize,
    tells: Sequence[str] = (),
) -> str:
    """Have one pair of axes drawn on in a figure of its own and return it as SVG.

    Parameters
    ----------
    draw : callable
        Draws on the axes it is given.
    name : str
        Different for every drawing of a page; the ids inside depend on it.
    title, alternative : str
        Title and description for readers who cannot see it.
    size : FigureSize
        Of the figure.
    tells : sequence of str
        What the marks in groups of the id `TOLD` are called under the pointer, in the order of drawing.

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
    head = (
        f'{opening} role="img" aria-labelledby="{name}-title {name}-desc" '
        'style="stroke-linejoin: round; stroke-linecap: butt">'
        f'<title id="{name}-title">{escape(title, quote=False)}</title>'
        f'<desc id="{name}-desc">{escape(alternative, quote=False)}</desc>'
    )
    named = iter(tells)
    rest = _TOLD.sub(lambda group: re.sub("(<use [^>]*)/>", lambda use: _with_title(use, named), group[0]), rest)
    return head + re.sub(r"\n\s*", "\n", _NOT_DRAWN.sub("", rest)).strip()


def _with_title(use: re.Match[str], named: Iterator[str]) -> str:
    text = next(named, "")
    return f"{use[1]}><title>{escape(shown_text(text), quote=False)}</title></use>" if text else use[0]


def picture(
    id: str,
    title: str,
    *,
    what: str,
    caption: str,
    draw: Callable[[Axes], object],
    size: FigureSize,
    tells: Sequence[str] = (),
) -> Picture:
    """A drawing with its words; the caption says what to see in it, and stands in the alternative text too."""
    caption = shown_text(caption)
    alternative = f"{what}. {caption} The numbers stand in the tables of this report."
    svg = drawn(draw, name=id, title=title, alternative=alternative, size=size, tells=tells)
    return Picture(id=id, title=title, svg=svg, caption=caption, alternative=alternative)
