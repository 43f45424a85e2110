"""Numbers that nothing took, under a heading that says mass or content: a verdict without them could be another one."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Iterator, Sequence
from itertools import count, repeat
from statistics import median

from msgspec import Struct

from qc.fields.field import Plausible
from qc.fields.words import (
    meant_by,
    measure_of,
    not_understood,
    plain_words,
    says_content,
    says_mass,
    summary_of,
    words_known,
)
from qc.problems import quoted
from qc.readers.cells import Noted, SheetCell, row_of
from qc.readers.finding.candidate import span
from qc.readers.finding.lines import NAME_THEM
from qc.readers.finding.view import SheetView, Spot, number_in

# How many numbers make a column, and how far apart they may stand; from how many letters on a name without a digit is
# that of something else than a unit (common practice).
FEWEST, REACH, SHORTEST_NAME = 2, 3, 4
_STRENGTH = re.compile(r"\d\s*m?g\b")


class Unread(Struct, frozen=True, kw_only=True):
    """Numbers that nothing took, and the heading over or before them, which says mass or content."""

    heading: SheetCell
    cells: list[SheetCell]
    content: bool

    @property
    def told(self) -> str:
        """As a refusal calls it."""
        says = "content" if self.content else "mass"
        return f"{quoted(self.heading.shown)} says {says}, with {len(self.cells)} numbers"

    @property
    def where(self) -> str:
        """From the first number to the last."""
        return span([cell.address for cell in self.cells])


def refuse_unread(view: SheetView, *, used: Collection[str], plausible: Plausible, findings: Noted) -> None:
    """Refuse what could be masses or contents of units on a sheet of which other cells were taken."""
    for one in unread(view, used=used, plausible=plausible):
        found = f"{one.told} that were not read"
        findings.refuse(view.table, one.where, found=found, mend=f"{NAME_THEM}; take them out if they are neither")


def unread(view: SheetView, *, used: Collection[str], plausible: Plausible) -> Iterator[Unread]:
    """The columns and rows of numbers that could be the masses or the contents of units, and that nothing took.

    A table that is plainly about something else (prices, a calibration, ingredients by name) holds none.

    Parameters
    ----------
    view : SheetView
        The sheet, upright.
    used : collection of str
        The addresses of the cells that were understood.
    plausible : Plausible
        Between which masses a unit weighs [g].
    """
    for row, cells in view.rows.items():
        for column, heading in cells.items():
            kind = _kind(heading, view.text((row, column)))
            if not kind:
                continue
            below, across = zip(count(row + 1), repeat(column)), zip(repeat(row), count(column + 1))
            found = max((_numbers(view, spots, used) for spots in (below, across)), key=len)
            values = [number for cell in found if (number := number_in(cell)) is not None and number > 0]
            if len(values) < FEWEST or about_something_else(view, found, titles=not used):
                continue
            # What a unit holds of something weighs less than a unit.
            powers = {"g": (0,), "mg": (-3,)}.get(measure_of(plain_words(heading.typed)[-1]), (0, -3))
            middles = [median(values).scaleb(power) for power in powers]
            weighs = any(plausible.floor <= middle <= plausible.ceiling for middle in middles)
            part = kind == "mg" or (kind == "mass" and min(middles) < plausible.floor and not_understood(heading.typed))
            content = kind == "content" or bool(part and len(set(values)) > 1)
            if content or (kind != "mg" and weighs):
                yield Unread(heading=heading, cells=found, content=content)


def _kind(cell: SheetCell, text: str) -> str:
    """Whether a heading says "content" or "mass", or no more than that something is in "g" or "mg"; or nothing."""
    words = plain_words(text)
    if not words or summary_of(text) or (said := meant_by(text)) == "other":
        return ""
    if said.startswith("content") or says_content(text):
        return "content"
    if said == "mass_g" or says_mass(text):
        return "mass"
    # A strength heads nothing: "Paracetamol 250 mg".
    is_none = len(words) < 2 or _STRENGTH.search(text) or words_known().heading.other & {*words}
    return measure if not is_none and (measure := measure_of(words[-1])) in ("g", "mg") else ""


def _numbers(view: SheetView, spots: Iterable[Spot], used: Collection[str]) -> list[SheetCell]:
    """The numbers from a heading on, up to the next text or a gap; those that were taken are none of them."""
    found: list[SheetCell] = []
    gap = 0
    for cell in map(view.at, spots):
        gap = gap + 1 if cell is None else 0
        if gap > REACH or (cell is not None and number_in(cell) is None and not measure_of(cell.typed)):
            break
        found += [cell] if cell is not None and number_in(cell) is not None and cell.address not in used else []
    return found


def about_something_else(view: SheetView, cells: Sequence[SheetCell], *, titles: bool = True) -> bool:
    """Whether a table is plainly about something else than units, by the sheet, the titles and headings or the names.

    Parameters
    ----------
    view : SheetView
        The sheet, upright.
    cells : sequence of SheetCell
        Numbers of the table.
    titles : bool
        Whether what stands over its headings is about it.
    """
    first = row_of(cells[0])
    over = [row for row in view.rows if row < first]
    texts = [view.text((row, column)) for row in over[0 if titles else -1 :] for column in view.rows[row]]
    words = {word for text in (view.table.sheet, *texts) for word in plain_words(text)}
    if not words_known().elsewhere.isdisjoint(words):
        return True
    # Most numbers stand behind a name of several letters and no digit, as ingredients and persons do.
    before = [[one for left, one in view.rows[row_of(cell)].items() if left < cell.column] for cell in cells]
    labels = [next((one.typed for one in reversed(row) if number_in(one) is None), "") for row in before]
    return 2 * sum(len(one) >= SHORTEST_NAME and not any(map(str.isdigit, one)) for one in labels) > len(cells)
