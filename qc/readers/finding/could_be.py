"""Whether a number outside of a table could be one of its masses."""

from __future__ import annotations

import functools
from collections import Counter
from collections.abc import Collection, Sequence
from decimal import Decimal

from msgspec import Struct

from qc.fields.words import meant_by, measure_of, plain_words, summary_of, words_known
from qc.readers.cells import CellKind, SheetCell, row_of
from qc.readers.finding.printed import printed_line
from qc.readers.finding.unit_names import SHORT
from qc.readers.finding.unread import what_it_says
from qc.readers.finding.view import LEAST_WHOLE, SheetView, decimals_in, meant_in, measure_in, number_in

# What is said of a batch or of a unit, under which a number with decimals is not at home.
_MAY_HEAD_MASSES = ("", "mass_g", "name", "mould", "batch", "note", "seen")


class Around(Struct, frozen=True, kw_only=True):
    """What stands around a number: the words over it and before it, and whether its row holds a unit or one fact.

    Parameters
    ----------
    over, before : str
    heads : bool
        Whether a cell of its row was understood.
    fact : bool
        Whether its row holds a name and one number.
    """

    over: str
    before: str
    heads: bool
    fact: bool


class Weighed(Struct, frozen=True, kw_only=True):
    """The masses and contents of a table, against which a number outside of it is held.

    Parameters
    ----------
    view : SheetView
    addresses, columns : frozenset
        Where the masses stand, and the columns of several.
    first_mass, first_row : int
        The first row with a mass, and the first with a cell that was understood.
    ends, held : tuple of Decimal
        Between which numbers one is like the masses, and like the contents.
    decimals : int
        How many the masses have at most.
    """

    view: SheetView
    addresses: frozenset[str]
    columns: frozenset[int]
    first_mass: int
    first_row: int
    ends: tuple[Decimal, Decimal]
    held: tuple[Decimal, Decimal]
    decimals: int

    @classmethod
    def of(
        cls,
        view: SheetView,
        masses: Sequence[SheetCell],
        *,
        like: Sequence[SheetCell],
        contents: Sequence[SheetCell],
        used: Collection[str],
    ) -> Weighed:
        """The masses of a table, or where it has none those of another one, and its contents."""
        counts = Counter(cell.column for cell in masses)
        return cls(
            view=view,
            addresses=frozenset(cell.address for cell in masses),
            columns=frozenset(column for column, count in counts.items() if count > 1),
            first_mass=min(map(row_of, masses), default=0),
            first_row=first_used(view, used),
            ends=_ends(masses or like),
            held=_ends(contents),
            decimals=max(map(decimals_in, masses or like), default=0),
        )

    def is_near(self, cell: SheetCell, around: Around) -> bool:
        """Whether a number is like the masses or contents, in whatever unit where it has no name."""
        row, column, typed = row_of(cell), cell.column, number_in(cell)
        # Without a name it may be a mass in the other unit as well, or one with a slip of the point or sign.
        fine = typed is not None and decimals_in(cell) > 0 and not around.heads
        slips = range(-3, 4) if fine else (0, 3, -3)
        powers = slips if not around.over and not around.before else (0,)
        meant = [abs(number).scaleb(power) for number in numbers_meant(cell) for power in powers]
        near = any(self.ends[0] <= number <= self.ends[1] for number in meant)
        if fine and typed is not None and what_it_says(around.before) != "content":
            near = near or self.held[0] <= typed <= self.held[1]
        as_masses = all(not text or meant_by(text) == "mass_g" for text in (around.over, around.before))
        unsaved = [_is_unsaved(self.view.at(spot)) for spot in ((row + 1, column), (row, column + 1))]
        return near or (as_masses and _is_unsaved(cell) and any(unsaved))

    def is_known(self, cell: SheetCell, around: Around) -> bool:
        """Whether the words around a number, or its being whole, say that it is no mass."""
        row, before = row_of(cell), around.before
        # A whole number is no mass of three decimals where anything stands over it or before it, or it counts.
        whole = bool(self.decimals) and number_in(cell) is not None and not decimals_in(cell) and not measure_in(cell)
        below = self.view.at((row + 1, cell.column))
        leads = below is not None and below.address in self.addresses
        named = bool(before) and (whole or (row < self.first_row and not leads and is_plain_fact(before)))
        known = named or is_something_else(around.over) or _is_told(around)
        return known or (whole and (around.over != "" or _counts(self.view, row, cell.column)))

    def could_be(self, cell: SheetCell, around: Around, *, near: bool, known: bool) -> bool:
        """Whether a number could be one of the masses: `near` them, and not `known` for something else."""
        told, row = _is_told(around), row_of(cell)
        over, before, column = around.over, around.before, cell.column
        own, first_mass = column in self.columns, self.first_mass
        # In the column of the masses, behind what could name a unit, stands a mass or a slip of one.
        named_so = not before or any(map(str.isdigit, before)) or len(before) <= SHORT
        in_list = number_in(cell) is not None and own and row >= self.first_row and named_so
        # Another word over it heads no column: the units go on below, "Date" or "Tare" between them.
        cells = self.view.rows[row].items()
        named = any(any(map(str.isdigit, one.shown)) for at, one in cells if at < column)
        goes_on = near and named and row > first_mass
        in_list = in_list and not told and (not over or meant_by(over) == "mass_g" or goes_on)
        # A word over several numbers that weigh like the units above it may part them.
        parts = near and not told and not before and own and row > first_mass
        next_to = [self.view.at((row + step, column)) for step in (-1, 1)]
        parts = parts and over != "" and any(one is not None and number_in(one) is not None for one in next_to)
        return (near and not known) or in_list or parts


def _ends(cells: Sequence[SheetCell]) -> tuple[Decimal, Decimal]:
    """Between which numbers one is like some numbers; beside none of them none is."""
    values = [number for cell in cells if (number := number_in(cell)) is not None] or [Decimal(-1)]
    return min(values) / 2, max(values) * 2


def first_used(view: SheetView, used: Collection[str]) -> int:
    """The first row of a sheet with a cell that was understood."""
    return next((row for row, cells in view.rows.items() if any(cell.address in used for cell in cells.values())), 0)


def _is_told(around: Around) -> bool:
    """Whether the word before a number says it; before a row of numbers only one for a figure is about all of them."""
    return is_something_else(around.before) if around.fact else _is_figure(around.before)


def _is_unsaved(cell: SheetCell | None) -> bool:
    return cell is not None and cell.kind is CellKind.UNSAVED


def numbers_meant(cell: SheetCell) -> list[Decimal]:
    """The number of a cell or what was meant by one; of one with a unit of mass behind it, in either unit."""
    line = printed_line(cell.text) if cell.kind is CellKind.TEXT else None
    if line is not None and line.measure and not line.label:
        return [line.grams, line.grams.scaleb(3)]
    number = meant_in(cell) if (typed := number_in(cell)) is None else typed
    return [] if number is None else [number]


def _counts(view: SheetView, row: int, column: int) -> bool:
    """Whether a whole number is one of a column of small whole numbers."""
    here, beside = view.at((row, column)), (view.at((row - 1, column)), view.at((row + 1, column)))
    number = None if here is None else number_in(here)
    numbers = [number, *(number_in(cell) for cell in beside if cell is not None)]
    # The size first: of a number of a hundred digits no remainder is taken.
    return number is not None and sum(one is not None and one < LEAST_WHOLE and not one % 1 for one in numbers) > 1


@functools.lru_cache(maxsize=4096)
def is_plain_fact(text: str) -> bool:
    """Whether a word of a name before a number is known to be about something else than what a unit weighs."""
    known = words_known()
    others = known.remark.figure | known.remark.reference | known.heading.other | known.heading.packed
    others |= known.elsewhere | known.plainly | known.claimed
    return not any(map(str.isdigit, text)) and not others.isdisjoint(plain_words(text))


def _is_figure(text: str) -> bool:
    return summary_of(text) != "" or meant_by(text) == "other"


@functools.lru_cache(maxsize=4096)
def is_something_else(text: str) -> bool:
    """Whether a text over or before a number says that it is no mass of a unit."""
    words = plain_words(text)
    in_other = bool(words) and measure_of(words[-1]) not in ("", "g", "mg")
    return in_other or _is_figure(text) or meant_by(text) not in _MAY_HEAD_MASSES
