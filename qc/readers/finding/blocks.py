"""Tables under headings: the blocks of a sheet, each with its columns and rows, side by side or below each other."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from msgspec import Struct, field

from qc.fields.words import Heading, heading_of, measure_of
from qc.readers.cells import SheetCell
from qc.readers.finding.view import SheetView, Spot, number_in

# How far below its heading a column of masses may begin (common practice: a line for the unit of measure, one blank).
REACH = 3


class HeadedBlock(Struct, frozen=True, kw_only=True):
    """One table of weights.

    Parameters
    ----------
    view : SheetView
    headings : dict
        The heading cells of the table by spot, the unit of measure below them included.
    columns : dict
        The column of each attribute.
    measure : str
        Unit of mass that the heading states, or empty.
    rows : dict
        By row of the view, the filled cells of the columns by attribute.
    mould : str
        What the label above the block calls it, or empty.
    """

    view: SheetView
    columns: dict[str, int]
    measure: str
    rows: dict[int, dict[str, SheetCell]]
    headings: dict[Spot, SheetCell] = field(default_factory=dict)
    mould: str = ""

    @property
    def numbers(self) -> dict[int, SheetCell]:
        """The cells that hold a mass, by row."""
        return {row: cells["mass_g"] for row, cells in self.rows.items() if _has_mass(cells)}


def _has_mass(cells: Mapping[str, SheetCell]) -> bool:
    return "mass_g" in cells and number_in(cells["mass_g"]) is not None


def headed_blocks(view: SheetView) -> list[HeadedBlock]:
    """Every table under a heading of masses, by rows and then by columns; a table ends where the next one begins."""
    heads = [(row, group) for row, cells in view.rows.items() for group in _groups(view, row, cells)]
    blocks = []
    for row, group in heads:
        (spot,) = [column for column, heading in group.items() if heading.attribute == "mass_g"]
        ends = [other for other, beside in heads if other > row and beside.keys() & group.keys()]
        below = view.text((row + 1, spot))
        measured = {column: view.cells[row + 1, column] for column in group if measure_of(view.text((row + 1, column)))}
        first = row + 2 if measured else row + 1
        columns = {heading.attribute: column for column, heading in group.items()}
        rows = dict(_rows(view, columns, first=first, end=min(ends, default=0)))
        headings = {(row, column): view.cells[row, column] for column in group}
        headings |= {(row + 1, column): cell for column, cell in measured.items()}
        measure = group[spot].measure or measure_of(below)
        label = _label_above(view, row, min(group), max(group))
        blocks.append(
            HeadedBlock(view=view, columns=columns, measure=measure, rows=rows, headings=headings, mould=label)
        )
    return blocks


def _groups(view: SheetView, row: int, cells: Mapping[int, SheetCell]) -> Iterator[dict[int, Heading]]:
    """The known headings of a row, a group for each column of masses; a heading that repeats begins the next group."""
    known = {column: heading for column in cells if (heading := heading_of(view.text((row, column)))) is not None}
    masses = [
        column
        for column, heading in known.items()
        if heading.attribute == "mass_g"
        and view.numbers_below((row, column), within=REACH)
        and not (measure_of(view.text((row, column))) and _is_mass(view.text((row - 1, column))))
    ]
    group: dict[int, Heading] = {}
    for column, heading in [*known.items(), (0, None)]:
        if heading is None or heading.attribute in {one.attribute for one in group.values()}:
            if any(spot in masses for spot in group):
                yield group
            group = {}
        if heading is not None and heading.attribute != "other" and (heading.attribute != "mass_g" or column in masses):
            group[column] = heading


def _is_mass(text: str) -> bool:
    heading = heading_of(text)
    return heading is not None and heading.attribute == "mass_g"


def _rows(
    view: SheetView, columns: Mapping[str, int], *, first: int, end: int
) -> Iterator[tuple[int, dict[str, SheetCell]]]:
    for row, cells in view.rows.items():
        if row >= first and (not end or row < end):
            filled = {attribute: cells[column] for attribute, column in columns.items() if column in cells}
            if filled:
                yield row, filled


def _label_above(view: SheetView, row: int, left: int, right: int) -> str:
    """The one text in the row above that stands over a block."""
    above = [view.text((row - 1, column)) for column in range(left, right + 1)]
    texts = [text for text in above if text]
    return texts[0] if len(texts) == 1 else ""
