"""Numbers that nothing took, under a heading that says mass or content: a verdict without them could be another one."""

from __future__ import annotations

import functools
import math
from collections.abc import Iterator, Sequence
from itertools import takewhile
from statistics import median

from msgspec import Struct

from qc.fields.field import Plausible
from qc.fields.words import (
    claims_a_content,
    every_word,
    meant_by,
    measure_of,
    not_understood,
    plain_words,
    says_content,
    says_mass,
    summary_of,
    words_known,
)
from qc.patterns import pattern
from qc.problems import quoted
from qc.readers.cells import SheetCell, SheetTable, row_of
from qc.readers.finding.candidate import span
from qc.readers.finding.view import SheetView, decimals_in, number_in

# How many numbers make a column; from how many letters on a name without a digit is that of something else than a unit;
# beyond which ratio of the greatest to the least numbers are no masses of one kind of unit (common practice).
FEWEST, SHORTEST_NAME, MOST_RATIO = 2, 4, 3
# How far above numbers, and the names of their columns, a title may stand.
REACH_UP = 3
_STRENGTH = pattern(r"\d\s*m?g\b")


class Unread(Struct, frozen=True, kw_only=True):
    """Numbers that nothing took, and what stands over or before them, which says mass or content."""

    text: str
    cells: list[SheetCell]
    content: bool

    @property
    def told(self) -> str:
        """As a refusal calls it."""
        says = "content" if self.content else "mass"
        return f"{quoted(self.text)} says {says}, with {len(self.cells)} numbers"

    @property
    def where(self) -> str:
        """From the first number to the last."""
        return span([cell.address for cell in self.cells])


def unread(view: SheetView, text: str, cells: list[SheetCell], *, titles: bool, plausible: Plausible) -> Unread | None:
    """Numbers that could be the masses or the contents of units; None where they are plainly something else.

    Parameters
    ----------
    view : SheetView
        The sheet, upright.
    text : str
        What stands over them, or before them in their row.
    cells : list of SheetCell
        Numbers that nothing took.
    titles : bool
        Whether what stands over their headings is about them.
    plausible : Plausible
        Between which masses a unit weighs [g].
    """
    kind = what_it_says(text)
    values = [number for cell in cells if (number := number_in(cell)) is not None and number > 0]
    if meant_by(text) == "other" and all(_is_tare(view, cell) for cell in cells):
        return None
    if len(values) < FEWEST or about_something_else(view, cells, titles=titles):
        return None
    if meant_by(text) == "weighing_order" and not any(map(decimals_in, cells)):
        return None
    powers = {"g": (0,), "mg": (-3,)}.get(measure_of(plain_words(text)[-1]), (0, -3))
    middles = [median(values).scaleb(power) for power in powers]
    weighs = any(plausible.floor <= middle <= plausible.ceiling for middle in middles)
    # What a unit holds of something weighs less than a unit.
    part = kind == "mg" or (kind == "mass" and min(middles) < plausible.floor and not_understood(text))
    content = kind == "content" or bool(part and len(set(values)) > 1)
    return Unread(text=text, cells=cells, content=content) if content or (kind != "mg" and weighs) else None


def _is_tare(view: SheetView, cell: SheetCell) -> bool:
    """Whether a number is by how much two others of its row differ, as the tare is of a gross and a net mass."""
    row, tare = [number_in(one) for one in view.rows[row_of(cell)].values() if one is not cell], number_in(cell)
    numbers = {number for number in row if number is not None and number % 1}
    return bool(tare) and any(number + (tare or 0) in numbers for number in numbers)


@functools.lru_cache(maxsize=1024)
def what_it_says(text: str) -> str:
    """Whether a heading says "content" or "mass", or no more than that something is in "g" or "mg"; or nothing.

    Examples
    --------
    >>> [what_it_says(text) for text in ("Assay result", "Mass 2 (g)", "Paracetamol (mg)", "Zinc 250 mg", "Tare (g)")]
    ['content', 'mass', 'mg', '', '']
    """
    words = plain_words(text)
    said, others = meant_by(text), words_known().heading.other & {*words}
    claims = words_known().claimed if "%" in text else frozenset[str]()
    content = says_content(text) and others <= {"%", "percent"} | claims and not summary_of(text)
    if content or claims_a_content() & claims & {*words}:
        return "content"
    if not words or summary_of(text) or (said == "other" and (others or not says_mass(text))):
        return ""
    if said.startswith("content"):
        return "content"
    weighed = said in ("", "weighing_order") and words_known().remark.weighed & {*words}
    if said == "mass_g" or says_mass(text) or weighed:
        return "mass"
    if in_mg_per_unit(text):
        return "mg"
    # A strength heads nothing.
    is_none = len(words) < 2 or _STRENGTH.search(text) or others
    return measure if not is_none and (measure := measure_of(words[-1])) in ("g", "mg") else ""


def in_mg_per_unit(text: str) -> bool:
    """Whether a heading says that something is in mg of each unit, and not of what: "mg/suppository"."""
    words = plain_words(text)
    per = words_known().heading.unit & {*words} and ("/" in text or {"per", "pro", "je"} & {*words})
    return bool(per) and "mg" in map(measure_of, words) and not says_mass(text)


def active_in_mg(text: str) -> str:
    """The one word of a heading, not known for anything else, that is in mg: "Paracetamol (mg)"; or empty."""
    *words, measure = plain_words(text) or ("",)
    return words[0] if len(words) == 1 and measure_of(measure) == "mg" and words[0] not in every_word() else ""


def in_percent(text: str) -> bool:
    """Whether a heading says content in per cent, of the label or of nothing that is said."""
    return "%" in text and what_it_says(text) == "content" and meant_by(text) != "other"


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
    # On the sheet of the units only the names of the rows and the heading itself are about the numbers.
    last = math.inf if titles else cells[0].column
    spots = ((row, column) for row in over[0 if titles else -1 :] for column in view.rows[row] if column <= last)
    texts = [view.text(spot) for spot in spots]
    words = {word for text in (view.table.sheet, *texts) for word in plain_words(text)}
    if not words_known().elsewhere.isdisjoint(words):
        return True
    # Most numbers stand behind a name of several letters and no digit and are not alike, as those of ingredients are.
    before = [[one for left, one in view.rows.get(row_of(cell), {}).items() if left < cell.column] for cell in cells]
    labels = [next((one.typed for one in reversed(row) if number_in(one) is None), "") for row in before]
    named = [
        one for one in labels if len(one) >= SHORTEST_NAME and not any(map(str.isdigit, one)) and not meant_by(one)
    ]
    values = [number for cell in cells if (number := number_in(cell)) is not None]
    return 2 * len(named) > len(cells) and max(values, default=0) > MOST_RATIO * min(values, default=0)


def about_contents(table: SheetTable) -> bool:
    """Whether the name of a sheet says content, or by which method it was found."""
    method = not words_known().assayed_by.isdisjoint(plain_words(table.sheet))
    return method or what_it_says(table.sheet) == "content"


def _rows_above(view: SheetView, row: int) -> Iterator[dict[int, SheetCell]]:
    return (view.rows.get(above, {}) for above in range(row - 1, row - 1 - REACH_UP, -1))


def texts_over(view: SheetView, cells: Sequence[SheetCell], *, label: str = "") -> list[str]:
    """What stands over or before some numbers, and the titles above them."""
    row, column = row_of(cells[0]), cells[0].column
    spots = [(row, column - 1), *((row - 1, at) for at in dict.fromkeys(cell.column for cell in cells))]
    above = takewhile(lambda cells: not any(map(decimals_in, cells.values())), _rows_above(view, row))
    titles = (one.typed for cells in above if len(cells) == 1 for one in cells.values() if number_in(one) is None)
    return [text for text in (label, *map(view.text, spots), *titles) if text]


def says_another(view: SheetView, cells: Sequence[SheetCell], *, label: str = "") -> str:
    """What the words over or before some numbers, or the name of their sheet, say them to be: "content" or "other".

    They, or a title, say content, or a method that finds contents, or a unit of measure in which nothing is weighed:
    "RT (min)". It is empty where they may be masses.
    """
    texts = texts_over(view, cells, label=label)
    says = set(map(what_it_says, texts))
    if "mass" in says:
        return ""
    if "content" in says or ("g" not in says and about_contents(view.table)):
        return "content"
    measures = {measure_of(word) for text in texts for word in plain_words(text)[-1:]}
    return "other" if measures - {"", "g", "mg"} else ""
