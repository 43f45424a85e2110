"""The rows of a found table and what of them is set aside or in doubt, with the words of these doubts."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from decimal import Decimal
from functools import cached_property

from msgspec import Struct

from qc.fields.words import summary_of
from qc.readers.cells import SheetCell
from qc.readers.finding.view import number_in

# What tells units apart that bear no names, and the share of the rows from which on a row without it is none.
PLACES, MOST_SHARE = frozenset({"pour_order", "weighing_order", "mould", "cavity"}), 0.8
IF_SINGLE = "Write Mass (g) over the masses if these are the masses of single units, net"
NAME_THEM = (
    "Head them Weighed again (g) if they are second weighings of the same units, and Content (mg) or Content (% of "
    "label) if they are what a unit holds of the active; put other units below the first ones, with names of their own"
)
PART = "Take it out if all are of one batch, and name a mould by Mould; else keep the units of one batch on a sheet"
# What of a unit is typed freely, so that its mass may have come to stand there.
_FREE = ("name", "mould", "cavity", "seen", "note")
# Units of one kind weigh less than this times as much as each other.
NEAR = 2
# How far a mean lies from the planned mass at most (common practice) [-].
MOST_FROM_STRENGTH = Decimal("0.1")


class FoundLine(Struct, frozen=True, kw_only=True, dict=True):
    """One row of a found table, before anybody decides whether it is a unit.

    Parameters
    ----------
    number : int
        Row or column in which it stands; a step of more than one is a gap.
    cells : dict
        By attribute.
    texts : tuple of SheetCell
        The texts before its mass that are under no heading of their own.
    unsure : tuple of SheetCell
        Words for a figure that stand behind it, and may be about it or not.
    """

    number: int
    cells: dict[str, SheetCell]
    texts: tuple[SheetCell, ...] = ()
    unsure: tuple[SheetCell, ...] = ()

    @cached_property
    def mass(self) -> SheetCell | None:
        """The cell of its mass where that holds a number."""
        cell = self.cells.get("mass_g")
        return None if cell is None or number_in(cell) is None else cell

    @property
    def labels(self) -> list[SheetCell]:
        """Its name, then its other texts, and a word for a figure in the place of a cavity."""
        figures = (cell for place in ("mould", "cavity") if (cell := self.cells.get(place)) and len(cell.shown) > 1)
        return [
            *(cell for cell in (self.cells.get("name"), *self.texts) if cell is not None),
            *(cell for cell in figures if "name" not in self.cells and summary_of(cell.shown)),
        ]

    @property
    def everything(self) -> tuple[SheetCell, ...]:
        """All its cells, its labels first."""
        return tuple(dict.fromkeys((*self.labels, *self.cells.values())))

    @property
    def word_beside(self) -> SheetCell | None:
        """A word for a figure beside its mass, in a column of remarks or behind it."""
        remarks = (cell for name, cell in self.cells.items() if name not in ("name", "mass_g", *PLACES))
        return next((cell for cell in (*self.unsure, *remarks) if summary_of(cell.shown)), None)


class Aside(Struct, frozen=True, kw_only=True):
    """Cells that are no unit: what they are called, and the kind of figure that was recognised (or empty)."""

    cells: tuple[SheetCell, ...]
    label: str
    kind: str = ""


def no_figures(asides: Iterable[Aside]) -> Iterator[SheetCell]:
    """The cells that were set aside and are no figure with its label: what they say, they say of the table."""
    for aside in asides:
        if not aside.kind or all(number_in(cell) is None for cell in aside.cells):
            yield from aside.cells


def without_mass(rows: Iterable[Mapping[str, SheetCell]]) -> Iterator[SheetCell]:
    """The texts of units of which nothing was measured."""
    for cells in rows:
        if not {"mass_g", "content_mg", "content_percent", "left_out_because"} & cells.keys():
            yield from (cells[name] for name in _FREE if name in cells)


class Doubtful(Struct, frozen=True, kw_only=True):
    """A cell that may or may not be a unit, which nobody but the person who typed it can tell."""

    cell: SheetCell
    found: str
    mend: str
