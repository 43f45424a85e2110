"""Masses without a heading: a grid of cavities, or a list, with or without labels at its edges."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from decimal import Decimal
from functools import cached_property
from itertools import accumulate, pairwise
from statistics import fmean, median
from typing import Any

from msgspec import Struct

from qc.fields.words import meant_by, measure_of, not_understood, plain_words, summary_of, words_known
from qc.patterns import pattern
from qc.readers.cells import SheetCell
from qc.readers.finding.view import LEAST_WHOLE, SheetView, Spot, decimals_in, number_in, value_in

FEWEST = 3
# Beyond which ratio of the greatest to the least a block of numbers holds more than masses of one kind of unit, and
# from how many rows on two columns that go up and down together are told (common practice).
MOST_RATIO, FEWEST_ROWS = 3, 5
ALIKE = 0.3
# From how many masses on a line is compared with the one beside it, and beyond which ratio of their variances the two
# are of different kinds (1 in 1,000 of two normal samples of ten).
FEWEST_UNLIKE, MOST_SPREAD = 10, 12
# From one number to another, as units are counted.
_RUN = pattern(r"\b(\d{1,3})\s*(?:[-\u2013\u2026]|\.\.+|to|bis|\u00e0|au?|al|tot|do|at[e\u00e9])\s*(\d{1,3})\b")
# A place in a mould as people label it: a number, a letter, or both, with or without the word for it.
_YEAR = pattern(r"(?:19|20)\d\d")
_STRENGTH = pattern(r"\d\s*mg\b")
_DIGITS = pattern(r"\d+")
_PLACE = pattern(r"(?:[a-z]{0,2}\d{1,4}|[a-z]|\d{1,3}[a-z]|[ivx]{1,5})", re.ASCII)


class Grid(Struct, frozen=True, kw_only=True, dict=True):
    """A rectangle of masses.

    Parameters
    ----------
    masses : dict
        The cells that hold a mass by spot.
    beside, above : dict
        The labels at its left edge by row, and at its upper edge by column.
    inside : tuple of SheetCell
        What stands among the masses and is no number.
    over : tuple of SheetCell
        What stands over a single column, or before a single row, of masses.
    measure : str
        Unit of mass that a label states, or empty.
    """

    masses: dict[Spot, SheetCell]
    beside: dict[int, SheetCell]
    above: dict[int, SheetCell]
    inside: tuple[SheetCell, ...]
    over: tuple[SheetCell, ...]
    measure: str

    @cached_property
    def rows(self) -> list[int]:
        """The rows that hold a mass."""
        return sorted({row for row, _ in self.masses})

    @cached_property
    def columns(self) -> list[int]:
        """The columns that hold a mass."""
        return sorted({column for _, column in self.masses})

    def line(self, *, row: int = 0, column: int = 0) -> list[SheetCell]:
        """The masses of a row or of a column."""
        return [cell for spot, cell in self.masses.items() if (spot[0] == row if row else spot[1] == column)]

    @property
    def is_mixed(self) -> bool:
        """Whether its numbers differ by more than the masses of one kind of unit do."""
        values = _values(self.masses.values())
        return bool(values) and max(values) > MOST_RATIO * min(values)

    def is_near(self, numbers: Iterable[Decimal]) -> bool:
        """Whether one of some numbers has decimals and weighs like these masses."""
        middle = median(_values(self.masses.values()))
        return any(number % 1 and middle / 2 <= number <= 2 * middle for number in numbers)

    @property
    def lines(self) -> Iterator[list[dict[int, SheetCell]]]:
        """The masses of each column by row, then those of each row by column."""
        for one, other in ((0, 1), (1, 0)):
            lines: dict[int, dict[int, SheetCell]] = {}
            for spot, cell in self.masses.items():
                lines.setdefault(spot[other], {})[spot[one]] = cell
            yield list(lines.values())

    @property
    def unlike(self) -> SheetCell | None:
        """The first cell of a long column or row without a name that holds another kind of numbers than the one before.

        It is shown with other decimals, lies apart from it, scatters far less or more, or is its running mean.
        """
        columns, rows = self.lines
        for lines, named in ((columns, self.above), (rows, self.beside)):
            for one, other in pairwise(() if named else lines):
                cells = list(one.values()), list(other.values())
                if min(map(len, cells)) >= FEWEST_UNLIKE and _differ(*cells):
                    return cells[1][0]
        return None


def _differ(one: Sequence[SheetCell], other: Sequence[SheetCell]) -> bool:
    first, second = ([float(value) for value in _values(cells)] for cells in (one, other))
    decimals = {max(map(decimals_in, cells)) for cells in (one, other)}
    apart = max(first) < min(second) or max(second) < min(first)
    spreads = sorted(map(_variance, (first, second)))
    pairs = [(first, second), (second, first)]
    means = any(
        all(abs(total / count - mean) <= 10.0 ** -min(decimals) for count, (total, mean) in enumerate(summed, start=1))
        for summed in (list(zip(accumulate(values), means, strict=False)) for values, means in pairs)
    )
    return len(decimals) > 1 or apart or spreads[1] > MOST_SPREAD * spreads[0] or means


def weighed_again(lines: Sequence[Mapping[Any, SheetCell]]) -> SheetCell | None:
    """The first mass of a line that goes up and down with one before it, as two weighings of the same units do."""
    for spot, first in enumerate(lines):
        for second in lines[spot + 1 :]:
            pairs = [_values((first[name], second[name])) for name in first if name in second]
            if len(pairs) >= FEWEST_ROWS and _repeats(pairs):
                return next(iter(second.values()))
    return None


def _repeats(pairs: Sequence[Sequence[Decimal]]) -> bool:
    """Whether two weighings of one row differ far less than the rows do."""
    firsts, differences = [float(one[0]) for one in pairs], [float(one[1] - one[0]) for one in pairs]
    return _variance(differences) < ALIKE**2 * _variance(firsts)


def _variance(values: Sequence[float]) -> float:
    middle = fmean(values)
    return fmean((value - middle) ** 2 for value in values)


def _values(cells: Iterable[SheetCell]) -> list[Decimal]:
    return [number for cell in cells if (number := number_in(cell)) is not None]


def grids_of(view: SheetView) -> Iterator[Grid]:
    """Every rectangle of numbers with digits behind their decimal mark, or of whole numbers of three digits or more."""
    numbers = {
        (row, column): cell for row, cells in view.rows.items() for column, cell in cells.items() if value_in(cell) > 0
    }
    masses = {spot: cell for spot, cell in numbers.items() if decimals_in(cell)}
    whole = {spot: cell for spot, cell in numbers.items() if spot not in masses and value_in(cell) >= LEAST_WHOLE}
    middle = median(_values(whole.values()) or [Decimal(0)])
    # Among masses in mg a mean alone has decimals.
    if len(masses) < FEWEST or (
        middle and any(middle / 2 <= number <= 2 * middle for number in _values(masses.values()))
    ):
        masses |= whole
    for spot in _runs(masses):
        del masses[spot]
    masses |= _whole_between(masses, numbers)
    while masses:
        part = _with_whole(_joined(min(masses), masses), numbers)
        for spot in part.keys() & masses.keys():
            del masses[spot]
        if len(part) >= FEWEST:
            yield _labelled(view, part)


def _runs(masses: Mapping[Spot, SheetCell]) -> list[Spot]:
    """The spots of columns that count upward by one: numbers of units, not masses."""
    found: list[Spot] = []
    for column in {column for _, column in masses}:
        spots = sorted(spot for spot in masses if spot[1] == column)
        values = _values(masses[spot] for spot in spots)
        if len(values) >= FEWEST and all(after - before == 1 for before, after in pairwise(values)):
            found += spots
    return found


def _whole_between(masses: Mapping[Spot, SheetCell], numbers: Mapping[Spot, SheetCell]) -> dict[Spot, SheetCell]:
    """The numbers that lost their decimals between masses of the same column that are not far from them."""
    found: dict[Spot, SheetCell] = {}
    for column in {column for _, column in masses}:
        rows = sorted(row for row, at in masses if at == column)
        values = _values(masses[row, column] for row in rows)
        for before, after in pairwise(rows):
            between = [(row, column) for row in range(before + 1, after)]
            near = (
                [spot for spot in between if min(values) <= value_in(numbers[spot]) <= max(values)]
                if all(spot in numbers for spot in between)
                else []
            )
            if near == between:
                found |= {spot: numbers[spot] for spot in between}
    return found


def _joined(start: Spot, masses: dict[Spot, SheetCell]) -> dict[Spot, SheetCell]:
    """The cells that touch each other by their sides, from one on."""
    found, open_spots = {}, [start]
    while open_spots:
        row, column = open_spots.pop()
        if (row, column) in masses and (row, column) not in found:
            found[row, column] = masses[row, column]
            open_spots += [(row + 1, column), (row - 1, column), (row, column + 1), (row, column - 1)]
    return found


def _with_whole(part: dict[Spot, SheetCell], numbers: Mapping[Spot, SheetCell]) -> dict[Spot, SheetCell]:
    """A rectangle with the numbers that lost their decimals, 2.000 stored as 2: within it, or at the end of a line."""
    middle = median(_values(part.values()))
    rows, columns = {row for row, _ in part}, {column for _, column in part}
    down, right = (0, 1) if len(rows) == 1 else (1, 0)
    spots = [spot for spot in numbers if spot not in part and spot[0] in rows and spot[1] in columns]
    block = min(len(rows), len(columns)) > 1
    for row, column in part:
        # A whole number before the first is more likely the number of a mould or of a column.
        spot = row + down, column + right
        # Below a block a number far from its masses, as their count is, ends it.
        while spot in numbers and spot not in part and not (block and value_in(numbers[spot]) > 2 * middle):
            spots.append(spot)
            spot = spot[0] + down, spot[1] + right
    if len(columns) == 1:
        spots += _counted_above(part, numbers)
    fits = {spot: numbers[spot] for spot in spots if middle / 2 <= value_in(numbers[spot]) <= 2 * middle}
    return dict(sorted({**part, **fits}.items()))


def _counted_above(part: Mapping[Spot, SheetCell], numbers: Mapping[Spot, SheetCell]) -> list[Spot]:
    """The spots over a column of masses whose rows are counted before them as its own are."""
    row, column = min(part)
    found: list[Spot] = []
    while (row - 1, column) in numbers:
        counts = _values(numbers[spot] for spot in ((row - 1, column - 1), (row, column - 1)) if spot in numbers)
        if len(counts) < 2 or counts[1] - counts[0] != 1:
            break
        row -= 1
        found.append((row, column))
    return found


def _labelled(view: SheetView, masses: dict[Spot, SheetCell]) -> Grid:
    rows, columns = {row for row, _ in masses}, {column for _, column in masses}
    top, left = min(rows) - 1, min(columns) - 1
    # A number may stand over the names, beside the heading of the masses.
    names = {row: cell for row in view.rows if (cell := view.at((row, left))) is not None}
    rows = _named_on(rows, {row: cell for row, cell in names.items() if not _is_heading(view, row, min(columns))})
    columns = _named_on(columns, view.rows.get(top, {}))
    top, left = min(rows) - 1, min(columns) - 1
    beside = {row: cell for row in rows if (cell := view.at((row, left))) is not None}
    # Between the places and the masses of each may stand their unit of measure.
    units = [cell for column in columns if (cell := view.at((top, column))) is not None and measure_of(cell.typed)]
    units = units if len(units) == len(columns) > 1 == len({measure_of(cell.typed) for cell in units}) else []
    top -= bool(units)
    above = {column: cell for column in columns if (cell := view.at((top, column))) is not None}
    texts = [*(cell.typed for cell in beside.values()), *(cell.typed for cell in above.values())]
    inside = tuple(
        cell
        for row in range(min(rows), max(rows) + 1)
        for column, cell in view.rows.get(row, {}).items()
        if min(columns) <= column <= max(columns) and (row, column) not in masses
    )
    # What goes on a list without names, and is no word for a figure, stands in the place of a mass.
    end = (max(rows) + 1, min(columns)) if len(columns) == 1 else (min(rows), max(columns) + 1)
    if 1 in (len(rows), len(columns)) and (cell := view.at(end)) is not None and not (beside or above):
        is_figure = len(cell.shown) > 1 and summary_of(cell.shown)
        inside = (*inside, *([] if is_figure or value_in(cell) > 0 else [cell]))
    corner = view.text((top, left))
    over = [view.at((top, min(columns)))] if len(columns) == 1 else []
    # Over a unit of measure stands what is measured in it.
    over += (
        [view.at((top - 1, min(columns)))] if len(columns) == 1 and measure_of(view.text((top, min(columns)))) else []
    )
    over += units
    over += [view.at((min(rows), left))] if len(rows) == 1 else []
    over += [view.at((top, left))] if len(columns) > 1 and not_understood(corner) else []
    # Among A, B, C ... the letter G is a place.
    letters = {text for text in texts if len(text) == 1}
    labels = (text for text in (corner, *texts) if not summary_of(text) and (len(letters) < 2 or text not in letters))
    said = map(plain_words, labels)
    # Behind a number it is that of a strength or a limit.
    measures = [measure_of(cell.typed) for cell in units[:1]]
    measures += (measure_of(words[-1]) for words in said if words and not (words[1:] and _DIGITS.fullmatch(words[-2])))
    return Grid(
        masses=masses,
        beside=beside,
        above=above,
        inside=inside,
        over=tuple(cell for cell in over if cell is not None),
        measure=next(filter(None, measures), ""),
    )


def _is_heading(view: SheetView, row: int, column: int) -> bool:
    text = view.text((row, column))
    return meant_by(text) == "mass_g" and not measure_of(text)


def _named_on(lines: set[int], labels: Mapping[int, SheetCell]) -> set[int]:
    """The rows or columns of a grid with those next to them whose names are made like its own: units without a mass."""
    found = set(lines)
    for line, step in ((min(lines), -1), (max(lines), 1)):
        own = labels[line].shown if line in labels else ""
        while _DIGITS.search(own) and (cell := labels.get(line + step)) is not None and _DIGITS.search(cell.shown):
            if _DIGITS.sub("", cell.shown) != _DIGITS.sub("", own):
                break
            line += step
            found.add(line)
    return found


def is_place(label: str) -> bool:
    """Whether a label at the edge of a grid names a place of a mould, or a mould: nothing else makes a grid of units.

    Examples
    --------
    >>> is_place("A"), is_place("Row 3"), is_place("Mould B (g)"), is_place("Before"), is_place("Weight 2")
    (True, True, True, False, False)
    """
    known = words_known().row_or_column | _POUR
    named = [word for word in plain_words(label) if word not in known and meant_by(word) not in _PLACES]
    words = named[:-1] if len(named) > 1 and measure_of(named[-1]) else named
    # "100 mg" is a strength.
    if any(map(_YEAR.fullmatch, words)) or _STRENGTH.search(label):
        return False
    return len(words) <= 1 and all(_PLACE.fullmatch(word) for word in words) and not summary_of(label)


def counts_along(label: str, count: int = 0) -> int:
    """The first number where a label at the edge of a grid counts units, so many where given: "11 to 20"; else 0."""
    run = _RUN.search(label)
    length = int(run[2]) - int(run[1]) + 1 if run is not None and is_place(_RUN.sub(" ", label)) else 0
    return int(run[1]) if run is not None and length > 1 and count in (0, length) else 0


_POUR = frozenset({"pour", "pouring", "guss", "coulee", "colata", "vertido"})
_PLACES = ("mould", "cavity", "name")
