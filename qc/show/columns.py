"""Tables by their columns: a head, and how a row is shown under it."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Generic, TypeVar

from msgspec import Struct

from qc.say.numbers import NOTHING
from qc.show.view import Column, Table

Row = TypeVar("Row")
Shown = Callable[[Row], str | int | None]


class ColumnOf(Struct, Generic[Row], frozen=True, kw_only=True):
    """One column of a table: what stands over it, and what of a row stands in it; None is shown as a dash."""

    column: Column
    show: Shown[Row]


def column(head: str, show: Shown[Row]) -> ColumnOf[Row]:
    """A column of words, on the left."""
    return ColumnOf(column=Column(head=head), show=show)


def number(head: str, show: Shown[Row]) -> ColumnOf[Row]:
    """A column of numbers, on the right; the head states their unit."""
    return ColumnOf(column=Column(head=head, number=True), show=show)


def table(
    caption: str,
    rows: Iterable[Row],
    *columns: ColumnOf[Row],
    strong: Callable[[Row], bool] | None = None,
    filled_alone: bool = False,
) -> Table:
    """A table of records, a line each.

    Parameters
    ----------
    caption : str
        What the table shows.
    rows : iterable
        The records.
    *columns : ColumnOf
        From left to right.
    strong : function of a record, optional
        Whether its line is marked.
    filled_alone : bool
        Leave out columns that are empty throughout.

    Returns
    -------
    Table
        Before it is laid out.

    Examples
    --------
    >>> table("Masses", [("1", None), ("2", "2.1")], column("Unit", lambda row: row[0]),
    ...       number("[g]", lambda row: row[1])).rows
    (('1', '–'), ('2', '2.1'))
    """
    kept = tuple(rows)
    cells = [tuple(_cell(one.show(row)) for one in columns) for row in kept]
    places = [
        place for place in range(len(columns)) if not filled_alone or any(line[place] != NOTHING for line in cells)
    ]
    return Table(
        caption=caption,
        columns=tuple(columns[place].column for place in places),
        rows=tuple(tuple(line[place] for place in places) for line in cells),
        strong=() if strong is None else tuple(place for place, row in enumerate(kept) if strong(row)),
    )


def _cell(shown: str | int | None) -> str:
    return NOTHING if shown is None else str(shown)
