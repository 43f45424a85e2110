"""Units as pictures and tables show them: in which order, by what name, and which of them lie outside."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import TypeVar

from qc.batch import counting_order
from qc.results import JudgedBatch, Place, UnitRow
from qc.say.numbers import as_typed, signed
from qc.say.text import listed, shortened, shown_text

OUTSIDE = (Place.BEYOND_INNER, Place.BEYOND_OUTER)
LETTERS_OF_A_NAME = 6
"""What a circle of the tray has room for."""
NAMED = 8
LONGEST_NAME = 40
MOST_DRAWN = 600
"""More than so many units are drawn by stretches: nobody tells more apart, and a page of them weighs megabytes."""
Drawn = TypeVar("Drawn")


def poured_order(rows: Sequence[UnitRow]) -> list[UnitRow]:
    """Rows in pour order, those of one place and those without one by their names."""
    return sorted(rows, key=lambda row: (row.pour_order is None, row.pour_order or 0, counting_order(row.unit)))


def places_in_pour(rows: Sequence[UnitRow]) -> tuple[dict[str, int], str]:
    """Where each unit stands on the axis of the pour, and what that axis is called."""
    if any(row.pour_order is not None for row in rows):
        return {row.unit: row.pour_order for row in rows if row.pour_order is not None}, "place in the pour order"
    return {row.unit: place for place, row in enumerate(rows, start=1)}, "units by name (no pour order was given)"


def in_which_order(rows: Sequence[UnitRow]) -> str:
    """How the units are arranged: the place of a row in a table is no place in the pour."""
    return "in pour order" if any(row.pour_order is not None for row in rows) else "by name"


def short_names(rows: Sequence[UnitRow]) -> tuple[dict[str, str], str]:
    """What pictures call each unit, and a sentence that says so where it is not its name.

    Where the names are too long for a circle of the tray, the place in the pour stands for them.
    """
    names = {row.unit: shown_text(row.unit) for row in rows}
    if all(len(name) <= LETTERS_OF_A_NAME for name in names.values()):
        return names, ""
    places, axis = places_in_pour(rows)
    return {unit: str(places.get(unit, "")) for unit in names}, f" The number of a unit in the picture is its {axis}."


def of_each_stretch(units: Sequence[Drawn], *, off: Callable[[Drawn], float]) -> tuple[list[Drawn], str]:
    """What a picture draws of very many units: of each stretch of neighbours the one farthest off; and that it does so.

    Examples
    --------
    >>> kept, told = of_each_stretch(range(1201), off=lambda place: place % 3)
    >>> kept[:3], kept[-1], told
    ([2, 5, 8], 1200, ' Of every 3 units in order the one farthest off is drawn; the tables hold all.')
    """
    size = -(-len(units) // MOST_DRAWN)
    if size <= 1:
        return list(units), ""
    kept = [max(units[first : first + size], key=off) for first in range(0, len(units), size)]
    return kept, f" Of every {size} units in order the one farthest off is drawn; the tables hold all."


def unit_in_words(row: UnitRow) -> str:
    """A unit as a picture names it under the pointer: its mass, and how far that lies from the mean."""
    mass = as_typed(row.counting_g, unit="g") if row.counting_g is not None else ""
    deviation = "" if row.deviation_percent is None else f"{signed(row.deviation_percent, decimals=2)} %"
    return f"unit {row.unit}: {', '.join(part for part in (mass, deviation, row.left_out_because) if part)}"


def named(units: Iterable[str]) -> str:
    """Units by name in a sentence, long lists and long names cut."""
    return listed([shortened(shown_text(unit), most=LONGEST_NAME) for unit in units], most=NAMED)


def actives_measured(judged: JudgedBatch) -> tuple[str, ...]:
    """Every active that was entered, assayed or judged, in that order."""
    return tuple(
        dict.fromkeys(
            [active.name for active in judged.batch.actives]
            + [active for row in judged.unit_rows for active in row.contents]
            + [edge.active for edge in judged.boundaries]
        )
    )
