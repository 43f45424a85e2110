"""Pieces as text for a terminal: lines of at most 80 columns, in letters that every terminal has."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

from qc.show.pieces import Lines, Piece, Prose, Table, shown

WIDTH = 80
# A terminal may know only the plain letters of its code page.
_PLAIN_LETTERS = str.maketrans(
    {"\N{MINUS SIGN}": "-", "\N{EN DASH}": "-", "\N{MULTIPLICATION SIGN}": "x", "\N{NO-BREAK SPACE}": " "}
)


def text_page(pieces: Iterable[Piece]) -> str:
    """Pieces one below the other with an empty line between them; a picture has no place in a text.

    Examples
    --------
    >>> print(text_page([Prose(text="One."), Lines(title="Two", items=("a", "b"))]))
    One.
    <BLANKLINE>
    Two
      - a
      - b
    """
    return "\n\n".join("\n".join(lines) for piece in pieces if (lines := piece_lines(piece)))


def piece_lines(piece: Piece) -> list[str]:
    """The lines of one piece; none where it has nothing to say."""
    if isinstance(piece, Prose):
        return wrapped(piece.text)
    if isinstance(piece, Lines):
        items = [line for item in piece.items for line in wrapped(item, first="  - ", rest="    ")]
        return [piece.title, *items] if items and piece.title else items
    return aligned(piece) if isinstance(piece, Table) else []


def wrapped(text: str, *, first: str = "", rest: str = "") -> list[str]:
    """A text in lines, with what stands before its first line and before the rest."""
    lines = textwrap.wrap(
        shown(text), WIDTH, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False, break_long_words=True
    )
    return [*map(plain, lines)]


def aligned(table: Table) -> list[str]:
    """A table under its caption, numbers to the right.

    Examples
    --------
    >>> from qc.show.pieces import Column
    >>> columns = (Column(head="Passes"), Column(head="Chance", number=True))
    >>> print(*aligned(Table(caption="A batch", columns=columns, rows=(("in all", "9 %"),))), sep="\\n")
    A batch
      Passes   Chance
      in all      9 %
    """
    rows = [tuple(map(plain, row)) for row in (tuple(column.head for column in table.columns), *table.rows)]
    widths = [max(map(len, cells)) for cells in zip(*rows, strict=True)]
    sides = [">" if column.number else "<" for column in table.columns]
    lines = [
        "   ".join(f"{cell:{side}{wide}}" for cell, side, wide in zip(row, sides, widths, strict=True)) for row in rows
    ]
    return [*wrapped(table.caption), *(f"  {line}".rstrip() for line in lines)]


def plain(text: str) -> str:
    """Text in letters that every terminal has.

    Examples
    --------
    >>> plain("\\N{MINUS SIGN}2\\N{NO-BREAK SPACE}%")
    '-2 %'
    """
    return text.translate(_PLAIN_LETTERS)
