"""Plain text in 80 columns: paragraphs, rows of a table, pairs of name and figure."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable
from itertools import zip_longest

from qc.rules.records import Mark

WIDTH = 80
_INDENT = 2

# A mark keeps together at the end of a line; the gap becomes a plain space once the text is wrapped.
_GAP = "\N{NO-BREAK SPACE}"


def pairs(named: Iterable[tuple[str, str]]) -> list[str]:
    """Figures, each with its name before it."""
    return [line for name, text in named for line in row((name, 35), (text, 39))]


def marked(mark: Mark) -> str:
    """A mark in brackets that is not broken over two lines."""
    return f"[{mark.value}]".replace(" ", _GAP)


def paragraph(text: str, *, indent: int = _INDENT) -> list[str]:
    """A text wrapped to the width of the page."""
    return [" " * indent + line for line in _wrapped(text, WIDTH - indent)]


def row(*cells: tuple[str, int]) -> list[str]:
    """One row of a table, each cell wrapped to its width [characters]."""
    columns = (_wrapped(text, width) for text, width in cells)
    widths = [width for _, width in cells]
    return [
        (" " * _INDENT + "  ".join(part.ljust(width) for part, width in zip(parts, widths, strict=True))).rstrip()
        for parts in zip_longest(*columns, fillvalue="")
    ]


def _wrapped(text: str, width: int) -> list[str]:
    lines = textwrap.wrap(text, width, break_on_hyphens=False)
    return [line.replace(_GAP, " ") for line in lines] or [""]
