"""A figure as SVG text that is the same on every run and can stand beside others in one page."""

from __future__ import annotations

import re
import warnings
from collections.abc import Callable
from io import StringIO
from typing import TYPE_CHECKING, Any
from xml.sax.saxutils import escape

from qc.report.palette import FONT, INK, MUTED, PAPER

if TYPE_CHECKING:
    from matplotlib.axes import Axes

INCHES_WIDE = 6.9

_STYLE: dict[Any, Any] = {
    "svg.fonttype": "none",
    "text.parse_math": False,
    "text.usetex": False,
    "axes.formatter.use_mathtext": False,
    "axes.unicode_minus": True,
    "font.family": [FONT],
    "font.sans-serif": [FONT],
    "font.size": 8.0,
    "axes.linewidth": 0.6,
    "axes.edgecolor": MUTED,
    "axes.labelcolor": INK,
    "axes.labelsize": 8.0,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "text.color": INK,
    "xtick.color": MUTED,
    "ytick.color": MUTED,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "xtick.labelsize": 7.5,
    "ytick.labelsize": 7.5,
    "xtick.major.width": 0.6,
    "ytick.major.width": 0.6,
    "figure.facecolor": PAPER,
    "axes.facecolor": PAPER,
}
_OF_THE_PROCESS = frozenset({"backend", "backend_fallback", "interactive", "toolbar", "timezone"})
"""Settings that shape no drawing; setting a backend would load it."""
_LONG_NUMBER = re.compile(r"\d+\.\d{3,}")


def _two_decimals(found: re.Match[str]) -> str:
    return f"{float(found[0]):.2f}"


def drawn(
    draw: Callable[[Axes], object],
    *,
    name: str,
    title: str,
    alternative: str,
    inches_high: float,
    margins: tuple[float, float, float, float],
) -> str:
    """Have one axis drawn on a figure of its own and return it as SVG.

    Parameters
    ----------
    draw : callable
        Draws on the axis it is given.
    name : str
        Goes before every id inside the drawing, so that several drawings can share a page.
    title, alternative : str
        Title and description for readers who cannot see it.
    inches_high : float
        Height of the figure [inch]; the width is the same for all.
    margins : tuple of float
        Left, right, bottom and top margin around the axis [inch].

    Returns
    -------
    str
        An `svg` element without an XML declaration.
    """
    import matplotlib
    from matplotlib.figure import Figure

    left, right, bottom, top = margins
    wide = INCHES_WIDE
    # The reader's own settings must not change a byte of the report, nor the report their settings.
    with matplotlib.rc_context(), warnings.catch_warnings():
        # The drawing keeps letters as letters; a script that the measuring font lacks is set in another by the page.
        warnings.filterwarnings("ignore", message="Glyph .* missing from font", category=UserWarning)
        # What matplotlib.rcdefaults does, without reading its library of styles from the disk.
        # Every value that is set is checked first, so only those that differ are.
        own = matplotlib.rcParams
        plain = {
            key: value
            for key, value in matplotlib.rcParamsDefault.items()
            if key not in _OF_THE_PROCESS and own[key] != value
        }
        own.update({**plain, **_STYLE, "svg.hashsalt": name})
        figure = Figure(figsize=(wide, inches_high))
        place = (left / wide, bottom / inches_high, 1 - (left + right) / wide, 1 - (bottom + top) / inches_high)
        draw(figure.add_axes(place))
        written = StringIO()
        figure.savefig(written, format="svg", metadata={"Date": None, "Creator": None, "Format": None, "Type": None})
    return standing_alone(written.getvalue(), name=name, title=title, alternative=alternative)


def standing_alone(written: str, *, name: str, title: str, alternative: str) -> str:
    """SVG as matplotlib writes it, made fit to stand in a page beside others.

    The declaration and the style sheet that would reach the whole page go, ids that nothing refers to go, the others
    carry the name of the drawing, and title and description come in.
    """
    body = written[written.index("<svg") :]
    body = re.sub(r"\s*<metadata>.*?</metadata>", "", body, flags=re.DOTALL)
    body = re.sub(r'\s*<defs>\s*<style type="text/css">.*?</style>\s*</defs>', "", body, flags=re.DOTALL)
    body = re.sub(r"\s*<!--.*?-->", "", body, flags=re.DOTALL)
    # A hundredth of a point is finer than any printer.
    body = re.sub(r' (?:d|x|y)="[^"]+"', lambda found: _LONG_NUMBER.sub(_two_decimals, found[0]), body)
    # Text that is not turned needs no transform, and the family stands once, on the drawing.
    body = re.sub(r' transform="rotate\(-?0 [^"]*\)"', "", body)
    body = re.sub(rf'(style="[^"]*?); font-family: \'{FONT}\'', r"\1", body)
    used = set(re.findall(r'(?:href="#|url\(#)([^")]+)', body))
    body = re.sub(r' id="([^"]+)"', lambda found: f' id="{name}-{found[1]}"' if found[1] in used else "", body)
    body = re.sub(r'(href="#|url\(#)', rf"\g<1>{name}-", body)
    opening, rest = body.split(">", 1)
    size = re.search(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', opening)
    if size is None:
        raise ValueError(f"the drawing {name} has no viewBox: {opening}")
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" version="1.1" role="img" '
        f'width="{size[1]}pt" height="{size[2]}pt" viewBox="0 0 {size[1]} {size[2]}" '
        f'aria-labelledby="{name}-title {name}-desc" '
        f"style=\"stroke-linejoin: round; stroke-linecap: butt; font-family: '{FONT}'\">"
        f'<title id="{name}-title">{escape(title)}</title><desc id="{name}-desc">{escape(alternative)}</desc>'
    )
    return head + re.sub(r"\n\s*", "\n", rest).strip()
