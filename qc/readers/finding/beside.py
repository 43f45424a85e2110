"""What stands beside the table of weights: numbers that could be masses too, and what was left out of account."""

from __future__ import annotations

import math
import re
from collections.abc import Collection, Iterable, Sequence
from decimal import Decimal
from statistics import median

from msgspec import Struct, field

from qc.fields.field import Plausible
from qc.fields.sheets import USUAL_MASS_G
from qc.fields.words import measure_of, plain_words, says_mass, summary_of, words_known
from qc.patterns import pattern
from qc.problems import quoted
from qc.readers.cells import CellKind, Noted, SheetCell, SheetTable, areas, row_of
from qc.readers.command import to_ignore
from qc.readers.finding.candidate import span
from qc.readers.finding.could_be import Around, Weighed, is_plain_fact, is_something_else, numbers_meant
from qc.readers.finding.figures import COMPARED
from qc.readers.finding.lines import MOST_FROM_STRENGTH, NAME_THEM, Aside
from qc.readers.finding.masses_told import masses_told
from qc.readers.finding.printed import is_clock, printed_line
from qc.readers.finding.unaccounted import are_shares
from qc.readers.finding.unread import Unread, unread, what_it_says
from qc.readers.finding.view import (
    SheetView,
    decimals_in,
    number_in,
    value_in,
)

NO_HEADING = "numbers under no heading"
# How far below a text that is no heading of the table a number may stand that it is about (common practice).
MOST_GAP = 2
# Of numbers like the masses under one heading so many are told, those farthest from them.
MOST_FEW = 3

_NUMBERS = pattern(r"\d+(?:[.,]\d+)?", re.ASCII)
_LIMIT = pattern(r"\s*[-+\u00b1\u2212]\s*\d+(?:[.,]\d+)?\s*%\s*", re.ASCII)
# From one limit to the other.
_LIMITS = pattern(r"\s*\d+[.,]\d+\s*m?g?\s*[-\u2013]\s*\d+[.,]\d+\s*m?g?\s*", re.ASCII)


class Beside(Struct, frozen=True, kw_only=True):
    """The cells outside a table.

    Parameters
    ----------
    could_be_masses, ignored : dict
        Numbers by the text over them: those that could be masses, and all others.
    unread : list of Unread
        Numbers whose heading says mass or content.
    asides : list of Aside
        A mean, SD or count of the masses beside or under its label.
    notes : list of SheetCell
        Texts.
    """

    could_be_masses: dict[str, list[SheetCell]] = field(default_factory=dict)
    ignored: dict[str, list[SheetCell]] = field(default_factory=dict)
    unread: list[Unread] = field(default_factory=list)
    asides: list[Aside] = field(default_factory=list)
    notes: list[SheetCell] = field(default_factory=list)

    def refuse(self, view: SheetView, findings: Noted, call: str = "", *, kind: str = "masses") -> None:
        """Refuse what nobody can tell; `kind` is what stands in the table, "masses" or "contents"."""
        for over, cells in self.could_be_masses.items():
            what = f"the numbers under {quoted(over)}" if over else NO_HEADING
            found = f"{what} could be {kind} ({cells[0].typed}{' ...' if len(cells) > 1 else ''})"
            mend = "Write over them what they are (Gross, Target ...), or name the true masses Net mass"
            if says_mass(over):
                mend = f"{NAME_THEM}; a mass that does not count is headed Gross, Tare or Target"
            elif over and is_something_else(over):
                mend = f"Take {quoted(over)} out if the units go on below it, or keep these on a sheet of their own"
            mend += f"; or {to_ignore(call, view.table, cells)}"
            findings.refuse(view.table, span([cell.address for cell in cells]), found=found, mend=mend)
        every = [one.cells for one in self.unread]
        for one in self.unread if not findings.problems else ():
            found, mend = f"{one.told} that were not read", f"{NAME_THEM}; or {to_ignore(call, view.table, *every)}"
            findings.refuse(view.table, one.where, found=found, mend=mend)

    def remark(self, table: SheetTable, findings: Noted, *, above: float = math.inf) -> None:
        """Notices for the numbers that were ignored; of those above a row where it is given."""
        for over, every in self.ignored.items():
            what = f"numbers under {quoted(over)}" if over else NO_HEADING
            if cells := [cell for cell in every if row_of(cell) < above]:
                findings.ignore(table, areas(table, cells), f"The {what} were ignored.", cells=cells, what=what)


def beside(
    view: SheetView,
    *,
    masses: Sequence[SheetCell],
    used: Collection[str],
    plausible: Plausible = USUAL_MASS_G,
    texts: Iterable[SheetCell] = (),
    like: Sequence[SheetCell] = (),
    fewest_decimals: int = 2,
    contents: Sequence[SheetCell] = (),
) -> Beside:
    """What stands outside a table.

    A number outside could be a mass where it lies within a factor of two of the masses, unless it is known for
    something else (gross, tare, target, a mean), is named in the lines over the table, or counts rows.

    Parameters
    ----------
    view : SheetView
        The sheet, upright.
    masses : sequence of SheetCell
        The masses of the table.
    used : collection of str
        Addresses of the cells that were understood.
    plausible : Plausible
        Between which masses a unit weighs [g].
    texts : iterable of SheetCell
        Texts of rows without a mass: a mass that stands in one of them belongs elsewhere.
    like : sequence of SheetCell
        The masses of another sheet, where this one has none.
    fewest_decimals : int
        How many decimals a number has at least that is told in a text over the table.
    contents : sequence of SheetCell
        What the units hold, beside their masses: a number with decimals outside their rows may be one of them.
    """
    found, claimed = Beside(), dict[str, list[SheetCell]]()
    weighed = Weighed.of(view, masses, like=like, contents=contents, used=used)
    middle = median(map(value_in, masses or like)) if masses or like else Decimal(-1)
    above: dict[int, tuple[str, bool]] = {}
    last: dict[int, int] = {}
    for row, cells in view.rows.items():
        inside = [cell.address in used for cell in cells.values()]
        before, heads, fact = "", any(inside), not all(inside) and _is_fact(view, row)
        for column, cell in cells.items():
            # A limit in per cent, "-5 %", heads what it comes to.
            limit = cell.kind is CellKind.TEXT and _LIMIT.fullmatch(cell.typed)
            typed = None if limit and view.numbers_below((row, column), within=1) else number_in(cell)
            before = before or _other_limit(view, row, column, used)
            over, far = above.get(column, ("", True))
            # What stands over a gap is a heading of the table alone.
            over = over if far or row - last[column] <= MOST_GAP else ""
            label = _label(view, row, column, used) if typed is not None and cell.address not in used else ""
            # No count has decimals: "N" over a mass is the sign of a balance.
            over, label = ("" if decimals_in(cell) and summary_of(one) == "count" else one for one in (over, label))
            around = Around(over=over, before=before, heads=heads, fact=fact)
            if label:
                found.asides.append(Aside(cells=(cell,), label=label, kind=summary_of(label)))
            elif cell.kind is CellKind.PERCENT and cell.address not in used:
                found.ignored.setdefault(over, []).append(cell)
            elif cell.address not in used and not _take_number(cell, typed, around, weighed, found, claimed):
                titles = row < weighed.first_row and not _is_bare(cell.typed, middle)
                fewest = max(weighed.decimals, fewest_decimals) if titles else 1
                said = masses_told(cell, *weighed.ends, decimals=fewest, before=before)
                # "1.900 - 2.100" under a word for limits is what that word says.
                limits = said is None and summary_of(over) == "reference" and _LIMITS.fullmatch(cell.typed)
                _take_text(cell, [] if limits else said, found, note=True)
            last[column] = row
            if typed is None and not _LIMITS.fullmatch(cell.typed):
                before = before if cell.address in used else cell.typed
                # A fact, "Mould 2 g" or "Nominal: 2.000 g", heads nothing.
                above[column] = ("", False) if not heads and (fact or printed_line(cell.typed)) else (cell.typed, heads)
    for cell in texts:
        said = masses_told(cell, *weighed.ends, decimals=1, before=view.text((row_of(cell), cell.column - 1)))
        # A count alone may be the name of a unit.
        count = said is not None and [one.kind for one in said] == ["count"]
        _take_text(cell, [] if count else said, found, note=False)
    for over, ignored in found.ignored.items():
        few = _few_told(view, over, ignored, weighed=weighed, middle=middle, units=len(masses))
        found.asides.extend(Aside(cells=(one,), label=over, kind="reference") for one in few)
    for text, every in claimed.items():
        one = unread(view, text, every, titles=not used, plausible=plausible)
        if one is not None and not are_shares(every, masses, contents):
            found.unread.append(one)
        else:
            found.ignored.setdefault(text, []).extend(every)
    return found


def _take_number(
    cell: SheetCell,
    typed: Decimal | None,
    around: Around,
    weighed: Weighed,
    found: Beside,
    claimed: dict[str, list[SheetCell]],
) -> bool:
    """Whether a cell holds a number or what could be a mass, which is then put where it belongs."""
    over, before = around.over, around.before
    near, known = weighed.is_near(cell, around), weighed.is_known(cell, around)
    could = weighed.could_be(cell, around, near=near, known=known)
    outside = not around.heads or summary_of(before) or (not over and is_plain_fact(before))
    if near and known and before and typed is not None and not could and outside:
        # A limit or a check weight by its name: told with its value.
        found.asides.append(Aside(cells=(cell,), label=before, kind="reference"))
    elif could:
        found.could_be_masses.setdefault(over, []).append(cell)
    elif typed is not None:
        said = (over, "" if over and measure_of(before) else before)
        claim = next(filter(what_it_says, said), "")
        (claimed if claim else found.ignored).setdefault(claim or over, []).append(cell)
    return could or typed is not None


def _take_text(cell: SheetCell, said: list[Aside] | None, found: Beside, *, note: bool) -> None:
    """Put a text where it belongs, by what it says of masses; one that says nothing may be noted."""
    found.asides.extend(said or ())
    if said is None:
        found.could_be_masses.setdefault("", []).append(cell)
    elif note and not said:
        found.notes.append(cell)


def _few_told(
    view: SheetView, over: str, ignored: Sequence[SheetCell], *, weighed: Weighed, middle: Decimal, units: int
) -> list[SheetCell]:
    """Of numbers that were ignored those to be told: beside few of the units, or few of them like these."""
    fine = [one for one in ignored if decimals_in(one)]
    if not over:
        return [one for one in fine if not view.text((row_of(one), one.column - 1))][:MOST_FEW]
    few = [one for one in fine if any(low <= value_in(one) <= high for low, high in (weighed.ends, weighed.held))]
    in_percent = "%" in over and not any(map(str.isdigit, over))
    # What stands beside all follows from their masses or is refused.
    if 2 * len(ignored) >= units and (in_percent or len(few) > MOST_FEW):
        return []
    farthest = sorted(few, key=lambda one: -abs(value_in(one) - middle))
    each = {number_in(one): one for one in reversed(farthest)}
    return sorted(each.values(), key=farthest.index)[:MOST_FEW]


def _is_bare(text: str, middle: Decimal) -> bool:
    """Whether a text says numbers alone, of a unit at most, "21 = 1.4", and not what all weigh, "Supp. 2.0 g"."""
    words = [word for word in text.casefold().split() if any(map(str.isalpha, word))]
    said = [word for word in words if measure_of(word) not in ("g", "mg")]
    numbers = [Decimal(one.replace(",", ".")) for one in _NUMBERS.findall(text)]
    plainly = words_known().heading.unit | words_known().heading.mass
    nominal = bool(words) and len(numbers) == 1 and abs(numbers[0] / middle - 1) <= MOST_FROM_STRENGTH
    return not nominal and all(plainly.issuperset(plain_words(word)) for word in said)


def _is_fact(view: SheetView, row: int) -> bool:
    """Whether a row over a table holds a name and one number, or one day or time."""
    cells = view.rows[row].values()
    return sum(bool(numbers_meant(cell)) or cell.kind is CellKind.DATE or is_clock(cell.text) for cell in cells) == 1


def _other_limit(view: SheetView, row: int, column: int, used: Collection[str]) -> str:
    """The word for limits before a number that was set aside, right behind which another number stands."""
    before = view.at((row, column - 1))
    word = view.text((row, column - 2))
    aside = before is not None and before.address in used and number_in(before) is not None
    return word if aside and summary_of(word) == "reference" else ""


def _label(view: SheetView, row: int, column: int, used: Collection[str]) -> str:
    """The label of a mean, an SD or a count: the text before it, or over a number that stands by itself.

    What has the number of a unit before it that is not read does not stand by itself.
    """
    texts = (view.text((row, left)).strip("+=: *") for left in range(column - 1, 0, -1) if view.at((row, left)))
    before = next(filter(None, texts), "")
    left = [(at, one) for at, one in view.rows[row].items() if at < column and one.address not in used]
    left = [(at, one) for at, one in left if number_in(one) is not None]
    numbered = any(not summary_of(view.text((row - 1, at))) for at, _ in left)
    alone = view.numbers_below((row, column), within=1) == 0 and not numbered
    over = view.text((row - 1, column)) if alone else ""
    return next((text for text in (before, over) if summary_of(text) in COMPARED), "")
