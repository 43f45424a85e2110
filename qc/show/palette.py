"""Colours: blue below, orange above, and text that stands out on either."""

from __future__ import annotations

INK = "#1a1a1a"
MUTED = "#595959"
PAPER = "#ffffff"
NO_VALUE = "#eeeeee"
DRAWN = "#1f5fa8"
ACCENT = "#c2570c"
BAND = "#eec39b"

FONT = "DejaVu Sans"


def deviation_colour(deviation: float | None, *, reach: float) -> str:
    """The colour of a deviation: white at zero, full blue or orange at `reach` and past it.

    Parameters
    ----------
    deviation : float or None
        Signed deviation [%]; None is grey.
    reach : float
        Where the colour is full [%].

    Returns
    -------
    str
        A hexadecimal colour.

    Examples
    --------
    >>> deviation_colour(0.0, reach=10), deviation_colour(-20.0, reach=10)
    ('#ffffff', '#1f5fa8')
    """
    if deviation is None:
        return NO_VALUE
    share = min(abs(deviation) / reach, 1.0)
    end = _parts(DRAWN if deviation < 0 else ACCENT)
    return "#" + "".join(f"{round(255 + (part - 255) * share):02x}" for part in end)


def text_on(colour: str) -> str:
    """Black or white, whichever stands out more on a colour (relative luminance of WCAG 2.1, section 1.4.3).

    Examples
    --------
    >>> text_on("#ffffff"), text_on("#1f5fa8")
    ('#1a1a1a', '#ffffff')
    """
    return INK if contrast(colour, INK) >= contrast(colour, PAPER) else PAPER


def contrast(one: str, other: str) -> float:
    """The contrast ratio of two colours, 1 to 21 (WCAG 2.1, success criterion 1.4.3).

    Examples
    --------
    >>> round(contrast("#000000", "#ffffff"), 1)
    21.0
    """
    bright, dark = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (bright + 0.05) / (dark + 0.05)


def _parts(colour: str) -> bytes:
    """Red, green and blue."""
    return bytes.fromhex(colour[1:])


def _luminance(colour: str) -> float:
    parts = [part / 255 for part in _parts(colour)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
