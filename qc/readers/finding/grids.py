"""Masses without a heading: a grid of cavities, or a list, with or without labels at its edges."""

from __future__ import annotations

import re
from collections.abc import Iterator

from msgspec import Struct

from qc.fields.words import heading_of, measure_of, plain_words, summary_of
from qc.readers.cells import SheetCell
from qc.readers.finding.view import SheetView, Spot, decimals_in, number_in

FEWEST = 3
# A place in a mould as people label it: a number, a letter, or both, with or without the word for it.
_PLACE = re.compile(r"(?:[a-z]{0,2}\d{1,3}|[a-z]|\d{1,3}[a-z]|[ivx]{1,5})", re.ASCII)


class Grid(Struct, frozen=True, kw_only=True):
    """A rectangle of masses.

    Parameters
    ----------
    masses : dict
        The cells that hold a mass by spot.
    beside, above : dict
        The labels at its left edge by row, and at its upper edge by column.
    """

    masses: dict[Spot, SheetCell]
    beside: dict[int, SheetCell]
    above: dict[int, SheetCell]
    measure: str = ""


def grids_of(view: SheetView) -> Iterator[Grid]:
    """Every rectangle of numbers with digits behind their decimal mark, or of whole numbers of three digits or more."""
    masses = {spot: cell for spot, cell in view.cells.items() if _could_be_mass(cell)}
    while masses:
        part = _joined(min(masses), masses)
        for spot in part:
            del masses[spot]
        if len(part) >= FEWEST:
            yield _labelled(view, part)


def _could_be_mass(cell: SheetCell) -> bool:
    value = number_in(cell)
    return value is not None and value > 0 and (decimals_in(cell) > 0 or value >= 100)


def _joined(start: Spot, masses: dict[Spot, SheetCell]) -> dict[Spot, SheetCell]:
    """The cells that touch each other by their sides, from one on."""
    found, open_spots = {}, [start]
    while open_spots:
        row, column = open_spots.pop()
        if (row, column) in masses and (row, column) not in found:
            found[row, column] = masses[row, column]
            open_spots += [(row + 1, column), (row - 1, column), (row, column + 1), (row, column - 1)]
    return dict(sorted(found.items()))


def _labelled(view: SheetView, masses: dict[Spot, SheetCell]) -> Grid:
    rows, columns = {row for row, _ in masses}, {column for _, column in masses}
    top, left = min(rows) - 1, min(columns) - 1
    beside = {row: view.cells[row, left] for row in rows if (row, left) in view.cells}
    above = {column: view.cells[top, column] for column in columns if (top, column) in view.cells}
    texts = [*(cell.typed for cell in beside.values()), *(cell.typed for cell in above.values())]
    corner = view.text((top, left))
    measure = next(
        filter(None, (measure_of(words[-1]) for text in (corner, *texts) if (words := plain_words(text)))), ""
    )
    return Grid(masses=masses, beside=beside, above=above, measure=measure)


def is_place(label: str) -> bool:
    """Whether a label at the edge of a grid names a place of a mould, or a mould: nothing else makes a grid of units.

    Examples
    --------
    >>> is_place("A"), is_place("Row 3"), is_place("Mould B"), is_place("Before"), is_place("Weight 2")
    (True, True, True, False, False)
    """
    words = [word for word in plain_words(label) if word not in _PLACE_WORDS and not _known_place(word)]
    return len(words) <= 1 and all(_PLACE.fullmatch(word) for word in words) and not summary_of(label)


def names_mould(label: str) -> bool:
    """Whether a label names a mould."""
    return any(_is(word, "mould") for word in plain_words(label))


_PLACE_WORDS = frozenset(
    {"row", "column", "col", "reihe", "zeile", "spalte", "rangee", "ligne", "colonne", "fila", "columna"}
)


def _known_place(word: str) -> bool:
    return _is(word, "mould") or _is(word, "cavity") or _is(word, "name")


def _is(word: str, attribute: str) -> bool:
    heading = heading_of(word)
    return heading is not None and heading.attribute == attribute
