"""Tables under headings: the blocks of a sheet, each with its columns and rows, side by side or below each other."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from itertools import takewhile

from msgspec import Struct

from qc.fields.words import (
    Heading,
    balance_sign,
    heading_of,
    meant_by,
    measure_of,
    plain_words,
    says_mass,
    says_who,
    summary_of,
    words_known,
)
from qc.readers.cells import SheetCell
from qc.readers.finding.grids import counts_along, is_place
from qc.readers.finding.unread import active_in_mg, in_mg_per_unit, in_percent
from qc.readers.finding.view import LEAST_WHOLE, SheetView, Spot, decimals_in, like_a_mass, number_in

# How far below its heading a column of masses may begin (common practice: a line for the unit of measure, one blank),
# and how far above it the name of the mould may stand.
REACH, REACH_UP = 3, 2
# From how many columns of numbers on one text over the first of them is a title.
FEWEST_COLUMNS = 3


class HeadedBlock(Struct, frozen=True, kw_only=True):
    """One table of weights.

    Parameters
    ----------
    view : SheetView
    headings : dict
        The heading cells of the table by spot, the unit of measure below them included.
    columns : dict
        The column of each attribute.
    measures : dict
        The unit of measure that the heading of an attribute states, or empty.
    rows : dict
        By row of the view, the filled cells of the columns by attribute.
    label : str
        What stands above the block, or empty.
    left, right : int
        The columns of the tables beside it, between which it stands; `right` is 0 where none follows.
    """

    view: SheetView
    columns: dict[str, int]
    measures: dict[str, str]
    rows: dict[int, dict[str, SheetCell]]
    headings: dict[Spot, SheetCell]
    label: str
    left: int
    right: int

    def beside(self, row: int) -> dict[int, SheetCell]:
        """The cells of a row that lie in no known column and in no table beside this one."""
        known = set(self.columns.values())
        ends = self.left, self.right or math.inf
        return {
            column: cell
            for column, cell in self.view.rows[row].items()
            if ends[0] < column < ends[1] and column not in known
        }


def headed_blocks(view: SheetView) -> list[HeadedBlock]:
    """Every table under a heading of masses, by rows and then by columns; a table ends where the next one begins."""
    heads = [(row, group) for row, cells in view.rows.items() for group in _groups(view, row, cells)]
    blocks = []
    for row, group in heads:
        ends = [other for other, beside in heads if other > row and beside.keys() & group.keys()]
        # A unit stands where one of them is a number: "n/a" and "g" are then what was typed for its mass.
        numbered = any(view.numbers_below((row, column), within=1) for column in group)
        below = {column: "" if numbered else measure_of(view.text((row + 1, column))) for column in group}
        has_measures = any(below.values())
        columns = {heading.attribute: column for column, heading in group.items()}
        headings = {(row, column): view.rows[row][column] for column in group}
        if has_measures:
            headings |= {(row + 1, column): view.rows[row + 1][column] for column in group if below[column]}
        blocks.append(
            HeadedBlock(
                view=view,
                columns=columns,
                measures={one.attribute: one.measure or below[column] for column, one in group.items()},
                rows=dict(_rows(view, columns, first=row + 1 + has_measures, end=min(ends, default=0))),
                headings=headings,
                label=_label_above(view, row, min(group), max(group)),
                left=max((max(one) for _, one in heads if max(one) < min(group)), default=0),
                right=min((min(one) for _, one in heads if min(one) > max(group)), default=0),
            )
        )
    return blocks


def _groups(view: SheetView, row: int, cells: Mapping[int, SheetCell]) -> Iterator[dict[int, Heading]]:
    """The known headings of a row, a group for each column of masses; a heading that repeats begins the next group."""
    texts = {column: cell.typed for column, cell in cells.items() if number_in(cell) is None}
    if not texts:
        return
    known = {column: heading for column, text in texts.items() if (heading := heading_of(text)) is not None}
    if any(says_mass(texts[column]) for column, one in known.items() if one.attribute == "mass_g"):
        # Beside masses what is in mg per unit is what it holds.
        named = set().union(*map(plain_words, _said_above(view, row)))
        of_product = {column for column, text in texts.items() if active_in_mg(text) in named}
        of_product |= {column for column, text in texts.items() if in_mg_per_unit(text)}
        known |= dict.fromkeys(of_product, Heading("content_mg", "mg"))
    if any((one.attribute, one.measure) == ("content_mg", "mg") for one in known.values()):
        # "Recovery %" beside what was found in mg is the same in per cent, which is held against it.
        known |= {column: Heading("content_percent", "%") for column, text in texts.items() if in_percent(text)}
        known = dict(sorted(known.items()))
    if not any(one.attribute == "mass_g" for one in known.values()):
        # Beside the names of units, or behind a day and a time; "Fat" and "Wax" may be ingredients.
        names = [at for at, one in known.items() if one.attribute in ("name", "cavity", "mould")]
        stands = any(not _in_every_row(view, row, at) for at in names)
        before = {at: all(stands or says_who(texts[left]) for left in texts if left < at) for at in texts}
        weighed = {at for at, text in texts.items() if before[at] and _are_results(view, (row, at), text)}
        known = dict(sorted({**known, **dict.fromkeys(weighed, Heading("mass_g"))}.items()))
    # A column "Unit" of a print-out holds the unit of mass.
    measured = [
        column for column, heading in known.items() if heading.attribute == "name" and _in_every_row(view, row, column)
    ]
    known = {column: heading for column, heading in known.items() if column not in measured}
    # In a row of numbers a word heads what stands behind it.
    if 2 * len(texts) <= len(cells) or (len(cells) == 1 and _heads_a_grid(view, row, next(iter(texts), 0))):
        return
    masses = [
        column
        for column, heading in known.items()
        if heading.attribute == "mass_g"
        and view.numbers_below((row, column), within=REACH)
        and not (measure_of(texts[column]) and not _may_head(view, (row, column), known))
        and not _is_title(view, (row, column))
        and not (view.turned and _is_a_corner(view, (row, column)))
    ]
    if not masses:
        return
    group: dict[int, Heading] = {}
    for column, heading in [*known.items(), (0, None)]:
        if heading is None or heading.attribute in {one.attribute for one in group.values()}:
            if any(spot in masses for spot in group):
                yield group
            group = {}
        if heading is not None and heading.attribute != "other" and (heading.attribute != "mass_g" or column in masses):
            group[column] = heading


def _said_above(view: SheetView, row: int) -> Iterator[str]:
    """The texts above a row, and the names of the sheet and of its file."""
    yield from (view.table.sheet, view.table.file.rpartition(".")[0])
    yield from (cell.typed for at, cells in view.rows.items() if at < row for cell in cells.values())


def _is_title(view: SheetView, spot: Spot) -> bool:
    """Whether a text stands over headings of names or places, or over several columns of numbers, and heads none."""
    row, column = spot
    texts = (view.text((row + step, column)) for step in range(1, REACH + 1) if view.at((row + step, column)))
    if any(meant_by(text) in ("name", "cavity", "mould") or counts_along(text) for text in takewhile(bool, texts)):
        return True
    ends = [one.right for one in view.table.merges if not view.turned and (one.top, one.left) == spot]
    # "Weights:" before the first of several rows.
    ends += [column + 1] if view.turned and view.text(spot).endswith(":") and view.at((row, column + 1)) is None else []
    return sum(view.numbers_below((row, at), within=REACH) > 1 for at in range(column, max(ends, default=0) + 1)) > 1


def _is_a_corner(view: SheetView, spot: Spot) -> bool:
    """Whether a text at the corner of a grid stands before 1, 2, 3 ... and the next ones name its rows."""
    row, column = spot
    counts = [number_in(cell) if (cell := view.at((row + step, column))) else None for step in (1, 2, 3)]
    # "A" and "B" may be two batches.
    texts = [view.text((row, column + step)) for step in (1, 2)]
    named = all(not words_known().row_or_column.isdisjoint(plain_words(text)) for text in texts)
    runs = any(texts) and all(counts_along(text) for text in texts if text)
    return counts == [1, 2, 3] and (runs or (named and all(map(is_place, texts))))


def _are_results(view: SheetView, spot: Spot, text: str) -> bool:
    """Whether a heading such as "Value" stands over numbers in g, by the column beside them."""
    row, column = spot
    below = range(row + 1, row + 1 + REACH)
    in_g = all(
        measure_of(view.text((at, column + 1))) == "g" and view.numbers_below((at - 1, column), within=1)
        for at in below
    )
    # What a balance signs as gross is read with its sign.
    signs = {balance_sign(view.text((at, column + step))) for at in below for step in (2, 3)}
    if not signs.isdisjoint(("gross", "tare", "moving")):
        return False
    words = plain_words(text)
    said = [word for word in words if measure_of(word) != "g"]
    return (in_g or len(said) < len(words)) and bool(said) and words_known().result >= {*said}


def _in_every_row(view: SheetView, row: int, column: int) -> bool:
    """Whether the next cells of a column hold a unit of measure each."""
    texts = [view.text((row + step, column)) for step in range(1, REACH + 1)]
    return all(map(measure_of, texts))


def _heads_a_grid(view: SheetView, row: int, column: int) -> bool:
    """Whether one text alone stands over the first of several columns of numbers, or over their names: a title."""
    below = view.rows.get(row + 1, {})
    numbers = [column for column, cell in below.items() if like_a_mass(cell)]
    reach = (view.rows.get(row + step, {}) for step in range(1, REACH + 1))
    # A corner stands over the names.
    first = next((cells for cells in reach if column in cells and number_in(cells[column]) is not None), {})
    names = (
        column in first and not decimals_in(first[column]) and (number_in(first[column]) or LEAST_WHOLE) < LEAST_WHOLE
    )
    beside = any(decimals_in(cell) > 0 for spot, cell in first.items() if spot > column)
    return (len(numbers) >= FEWEST_COLUMNS and numbers[0] == column) or (names and beside)


def _may_head(view: SheetView, spot: Spot, known: Mapping[int, Heading]) -> bool:
    """Whether a unit of measure alone is a heading: it stands beside others, over several numbers, and below none."""
    row, column = spot
    others = any(one.attribute in ("name", "cavity") for one in known.values())
    # A, B ... G are columns of a mould.
    before = view.text((row, column - 1))
    lettered = len(view.text(spot)) == 1 and len(before) == 1 and before.isalpha()
    return (
        others
        and not lettered
        and view.numbers_below(spot, within=REACH) > 1
        and meant_by(view.text((row - 1, column))) != "mass_g"
    )


def _rows(
    view: SheetView, columns: Mapping[str, int], *, first: int, end: int
) -> Iterator[tuple[int, dict[str, SheetCell]]]:
    for row, cells in view.rows.items():
        if row >= first and (not end or row < end):
            if _heads_another(view, (row, columns["mass_g"])):
                return
            filled = {attribute: cells[column] for attribute, column in columns.items() if column in cells}
            if filled:
                yield row, filled


def _heads_another(view: SheetView, spot: Spot) -> bool:
    """Whether a text among the masses stands over numbers of another kind: "Hardness (kg)", "Upper limit"."""
    text = view.text(spot)
    words = plain_words(text)
    said = bool(words) and (meant_by(text) or summary_of(text) or measure_of(words[-1]))
    return bool(said) and view.numbers_below(spot, within=1) > 0


def _label_above(view: SheetView, row: int, left: int, right: int) -> str:
    """The one text in the nearest row above that stands over a block; numbers there are names too ("Mould" 2)."""
    for above in range(row - 1, row - 1 - REACH_UP, -1):
        cells = [cell for column, cell in view.rows.get(above, {}).items() if left <= column <= right]
        if cells:
            texts = [cell for cell in cells if number_in(cell) is None]
            # A target with its value is no title.
            if len(cells) > 1 and any(summary_of(cell.shown) for cell in texts):
                return ""
            return " ".join(cell.shown for cell in cells) if len(texts) <= 1 and len(cells) <= 2 else ""
    return ""
