"""What stands beside the units or on other sheets and was not read, column by column: each is told in a few words."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from decimal import Decimal

from qc.fields.field import plain
from qc.fields.remarks import SHORTEST_NAME, how_plain, is_plain, says_of_some
from qc.fields.sheets import SHOWN_ONLY
from qc.fields.words import balance_sign, measure_of, plain_words, words_known
from qc.patterns import pattern
from qc.problems import COLUMNS, TITLES, IgnoredCells, all_in_full, in_full, quoted
from qc.readers.cells import CellKind, SheetCell, SheetTable, areas, column_letters, placed, row_of
from qc.readers.finding.printed import is_clock
from qc.readers.finding.unaccounted import counts_up, lines_beside, says_nothing_new, value_of
from qc.readers.finding.view import SheetView, number_in, view_of
from qc.readers.located import LocatedTable

_DIGITS = pattern(r"\d{1,9}")
# So many digits behind the point are told of what a formula worked out; so many words is a name long.
_FINEST, _LONGEST_NAME = 4, 2


def columns_left(
    units: LocatedTable, told: Collection[str], ignored: Sequence[IgnoredCells], *, of: Sequence[str] = ()
) -> list[IgnoredCells]:
    """What was ignored, with the columns beside the units that nothing took; what a record's own words head last.

    Parameters
    ----------
    units : LocatedTable
        The table of units.
    told : collection of str
        The addresses of cells whose words are told otherwise.
    ignored : sequence of IgnoredCells
        What was ignored so far; a column of it that says nothing of its own is told with the others.
    of : sequence of str
        The attributes of the contents, where the table holds these: what is the same for all of them is told as well.
    """
    view, table = view_of(units.table), units.table
    taken = {cell.address for entry in units.entries for cell in entry.cells.values()} | {*told}
    at = of or ("mass_g", "name")
    masses = [cells[0] for entry in units.entries if (cells := [*filter(None, map(entry.cell, at))])]
    beside = [cell for cells in view.rows.values() for cell in cells.values() if cell.address not in taken]
    lines = [
        line[:2] for line in lines_beside(view, masses, beside) if _is_told(*line, units=len(masses), alike=bool(of))
    ]
    said = {one.cells.rpartition("!")[2] for one in ignored if one.said}
    lines = sorted((line for line in lines if areas(table, line[1]) not in said), key=lambda line: is_plain(line[0]))
    if not lines:
        return [*ignored]
    alone = {areas(table, cells) for _, cells in lines}
    kept = [one for one in ignored if one.said or one.cells.rpartition("!")[2] not in alone]
    where = placed(table, areas(table, [cell for _, column in lines for cell in column]))
    said_of_each = ", ".join(_said(*one) for one in lines)
    there = f"of {table.name} " if of else ""
    return [*kept, IgnoredCells(cells=where, what=COLUMNS, said=there + said_of_each)]


def told_as_titles(table: SheetTable, titles: Sequence[SheetCell]) -> IgnoredCells:
    """Titles in their own words, each with the number beside it."""
    at = {(row.number, spot): cell for row in table.rows for spot, cell in row.cells.items()}
    said: list[str] = []
    for cell in titles:
        beside = at.get((row_of(cell), cell.column + 1))
        number = f" {beside.shown}" if beside is not None and number_in(beside) is not None else ""
        said.append(in_full(cell.shown) + number)
    return IgnoredCells(cells=areas(table, titles), what=TITLES, said=", ".join(dict.fromkeys(said)))


def columns_of(view: SheetView) -> str:
    """The columns of a sheet with several numbers that do not count its rows, as they are told."""
    told: list[str] = []
    for column in view.on_its_side().rows.values():
        cells = [cell for cell in column.values() if number_in(cell) is not None]
        if len(cells) > 1 and not counts_up([value_of(cell) for cell in cells]):
            told.append(_said(next((cell.typed for cell in column.values() if number_in(cell) is None), ""), cells))
    return ", ".join(told)


def _is_told(heading: str, cells: Sequence[SheetCell], masses: Sequence[SheetCell], *, units: int, alike: bool) -> bool:
    """Whether a column says more than when a unit was weighed, by whom or on what, and what follows from the masses.

    Where `alike`, also what is the same for all.
    """
    same = len({cell.shown for cell in cells}) == 1
    when = all(cell.kind is CellKind.DATE or is_clock(cell.typed) for cell in cells)
    if plain(heading) in SHOWN_ONLY or (when and (same or not alike)):
        return False
    if all(number_in(cell) is not None for cell in (*cells, *masses)) and says_nothing_new(cells, masses):
        return False
    same = same and number_in(cells[0]) is None
    text = cells[0].shown
    # A person or a balance has a name of two words; more of them, or a dosage form, say something of every unit.
    words = plain_words(text)
    tells = (len(words) > _LONGEST_NAME and any(map(str.isalpha, text))) or says_of_some(text)
    tells = tells or (len(text) > SHORTEST_NAME and words_known().heading.unit.issuperset(words))
    says_nothing = (heading != "" and not tells) or all(map(balance_sign, text.split())) or len(cells) < units
    says_nothing = bool(measure_of(text)) or (says_nothing and not alike)
    same = same and is_plain(heading) and says_nothing
    return not same and bool("".join(cell.shown for cell in cells).strip("-\u2013./ "))


def _said(heading: str, cells: Sequence[SheetCell]) -> str:
    """The heading of a column and what stands below it: the least and the greatest number, and the texts."""
    numbers = [value_of(cell) for cell in cells if number_in(cell) is not None or cell.kind is CellKind.PERCENT]
    ends = dict.fromkeys((min(numbers), max(numbers))) if numbers else ()
    texts = [cell.typed for cell in cells if number_in(cell) is None and cell.kind is CellKind.TEXT]
    said = (
        [" to ".join(f"{round(number, _FINEST) if _is_long(number) else number:f}" for number in ends)] if ends else []
    )
    said.append(all_in_full(sorted(texts, key=lambda text: min(how_plain(text), how_plain(""))), between=" "))
    return (
        f"{quoted(heading) if heading else f'column {column_letters(cells[0].column)}'} {' '.join(filter(None, said))}"
    )


def _is_long(number: Decimal) -> bool:
    return -int(number.as_tuple().exponent) > _FINEST
