"""A figure as SVG text that is the same on every run and can stand beside others in one page."""

from __future__ import annotations

import re
import warnings
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from functools import cache
from html import escape
from io import StringIO
from itertools import chain
from typing import Any

from qc.show.frame import Frame
from qc.show.palette import FONT, PAPER

INCHES_WIDE = 6.9

_STYLE: dict[Any, Any] = {"svg.fonttype": "none", "figure.facecolor": PAPER}
_OF_THE_PROCESS = frozenset({"backend", "backend_fallback", "interactive", "toolbar", "timezone"})
"""Settings that shape no drawing; setting a backend would load it."""
_NOT_DRAWN = re.compile(
    r'<metadata>.*?</metadata>|<defs>\s*<style type="text/css">.*?</style>\s*</defs>|<!--.*?-->', re.DOTALL
)
_LETTERS = re.compile(r"(>[^<>\n]+<)")
"""What stands between two tags on one line: the letters of a text."""
_BETWEEN = "\0"
"""Stands for the letters of a text; no XML holds it."""
_FINER = re.compile(r"(\.\d\d)\d+")
_NOT_TURNED = re.compile(r' transform="rotate\(-?0 [^"]*\)"')
_REFERENCE = re.compile(r'(?:href="#|url\(#)([^")]+)')
_ID = re.compile(r' id="([^"]+)"')


@cache
def _defaults() -> Mapping[str, object]:
    import matplotlib

    return {key: value for key, value in matplotlib.rcParamsDefault.items() if key not in _OF_THE_PROCESS}


@contextmanager
def _settings(name: str) -> Iterator[None]:
    """The settings of a drawing: the reader's own must not change a byte of the report, nor the report theirs.

    What matplotlib's own context of settings does, but it keeps all three hundred and puts all of them back, and every
    value that is set is checked first; here only those that differ are.
    """
    import matplotlib

    own = matplotlib.rcParams
    wanted = {**_defaults(), **_STYLE, "svg.hashsalt": name}
    before = {key: own[key] for key in wanted}
    changed = [key for key, value in wanted.items() if before[key] != value]
    own.update({key: wanted[key] for key in changed})
    try:
        yield
    finally:
        own.update({key: before[key] for key in changed})


def drawn(
    draw: Callable[[Frame], object],
    *,
    name: str,
    title: str,
    alternative: str,
    inches_high: float,
    margins: tuple[float, float, float, float],
) -> str:
    """Have one frame drawn on a figure of its own and return it as SVG.

    Parameters
    ----------
    draw : callable
        Draws on the frame it is given.
    name : str
        Goes before every id inside the drawing, so that several drawings can share a page.
    title, alternative : str
        Title and description for readers who cannot see it.
    inches_high : float
        Height of the figure [inch]; the width is the same for all.
    margins : tuple of float
        Left, right, bottom and top margin around the frame [inch].

    Returns
    -------
    str
        An `svg` element without an XML declaration.
    """
    from matplotlib.figure import Figure

    left, right, bottom, top = margins
    wide = INCHES_WIDE
    with _settings(name), warnings.catch_warnings():
        # The drawing keeps letters as letters; a script that the measuring font lacks is set in another by the page.
        warnings.filterwarnings("ignore", message="Glyph .* missing from font", category=UserWarning)
        figure = Figure(figsize=(wide, inches_high))
        place = (left / wide, bottom / inches_high, 1 - (left + right) / wide, 1 - (bottom + top) / inches_high)
        draw(Frame(figure, place))
        written = StringIO()
        figure.savefig(written, format="svg", metadata={"Date": None, "Creator": None, "Format": None, "Type": None})
    return standing_alone(written.getvalue(), name=name, title=title, alternative=alternative)


def standing_alone(written: str, *, name: str, title: str, alternative: str) -> str:
    """SVG as matplotlib writes it, made fit to stand in a page beside others.

    The declaration and the style sheet that would reach the whole page go, ids that nothing refers to go, the others
    carry the name of the drawing, and title and description come in.
    """
    body = _NOT_DRAWN.sub("", written[written.index("<svg") :])
    parts = _LETTERS.split(body)
    # What a text says stays as it is.
    letters, markup = parts[1::2], _BETWEEN.join(parts[::2])
    # A hundredth of a point is finer than any printer.
    markup = _FINER.sub(r"\1", markup)
    # Text that is not turned needs no transform, and the family stands once, on the drawing.
    markup = _NOT_TURNED.sub("", markup).replace(f"; font-family: '{FONT}'", "")
    used = set(_REFERENCE.findall(markup))
    markup = _ID.sub(lambda found: f' id="{name}-{found[1]}"' if found[1] in used else "", markup)
    markup = markup.replace('href="#', f'href="#{name}-').replace("url(#", f"url(#{name}-")
    body = "".join(chain.from_iterable(zip(markup.split(_BETWEEN), [*letters, ""], strict=True)))
    opening, rest = body.split(">", 1)
    size = re.search(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', opening)
    if size is None:
        raise ValueError(f"the drawing {name} has no viewBox: {opening}")
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" version="1.1" role="img" '
        f'width="{size[1]}pt" height="{size[2]}pt" viewBox="0 0 {size[1]} {size[2]}" '
        f'aria-labelledby="{name}-title {name}-desc" '
        f"style=\"stroke-linejoin: round; stroke-linecap: butt; font-family: '{FONT}'\">"
        f'<title id="{name}-title">{escape(title, quote=False)}</title>'
        f'<desc id="{name}-desc">{escape(alternative, quote=False)}</desc>'
    )
    return head + re.sub(r"\n\s*", "\n", rest).strip()
