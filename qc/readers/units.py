"""The Units sheet: one unit a row, each name once, weighed one by one."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from decimal import Decimal
from itertools import pairwise
from statistics import median

from msgspec.structs import replace

from qc.batch import Unit, counting_order
from qc.fields.field import Plausible
from qc.fields.remarks import other_masses, says_no_unit, says_of_some
from qc.fields.sheets import USUAL_MASS_G
from qc.problems import quoted
from qc.readers.cells import SheetCell
from qc.readers.finding.beside import tells_masses
from qc.readers.finding.figures import FINE
from qc.readers.finding.lines import NEAR
from qc.readers.finding.printed import numbers_told
from qc.readers.finding.set_aside import MEASURED
from qc.readers.finding.view import decimals_in, number_in
from qc.readers.located import Entry, LocatedTable, in_runs
from qc.readers.options import RowOrder
from qc.readers.plausible import OF_A_MASS, MeasuredColumn, check_masses, how_far_off, measured
from qc.readers.typed_number import NotANumberError, written

# A name without a digit that is at least as long as this is more likely a remark than a unit (common practice).
SHORTEST_TEXT = 4

# So many times as many as there are others is no place in the pour (common practice).
FAR_BEYOND = 10

# Of so many notes the words are told.
_MOST_NOTES, _MOST_NAMED = 6, 3

NO_REASON = frozenset({"no", "none", "n", "n/a", "na", "nil", "false", "not left out"}) | frozenset(
    {"yes", "y", "x", "true", "left out"}
)
_RANGE = re.compile(r"(\d+)\s*(-|\u2013|to|bis|\.\.\.?|\u2026|&|\+|and|und|et)\s*(\d+)", re.IGNORECASE | re.ASCII)


UnitRows = list[tuple[Unit, Entry]]
"""The units with the rows they came from, in the order in which they stand."""


def read_units(table: LocatedTable, usual: Plausible = USUAL_MASS_G, *, order: RowOrder | None = None) -> UnitRows:
    """The units of the table, and what is wrong with their names, order and masses (usually between `usual` [g]).

    Where the call says so, the rows stand in the `order` of pouring, of weighing, or of both.
    """
    if not table.has("name"):
        mend = 'Name every unit, once each, under the heading "Unit"'
        table.refuse_missing('the table has no column "Unit"', mend)
        return []
    entries = list(table.named_once(table.entries))
    _check_ranges(table, entries)
    rows = _in_order([(_unit(table, entry), entry) for entry in entries], table, order)
    check_masses(masses_of(table, rows), usual)
    _check_weighed_again(table, rows)
    _remark_on_order(table, rows)
    _check_notes(table, rows)
    _tell_of_gaps(table, rows)
    return rows


# Where something may be said of a unit in words.
_SAY_WHICH, _SAID_OF_ALL = ("name", "seen", "mould", "cavity"), ("name", "note", "seen", "mould", "cavity")
_DIGITS, _LONGEST_NUMBER = re.compile(r"\d+"), 5
# From how many units on a gap in their numbers shows, and how many numbers one leaves out.
_FEWEST_COUNTED, _MOST_MISSING = 10, 2
_WORDS_OF_A_UNIT = ("note", "seen", "left_out_because", "weighed_again_because")


def _check_notes(table: LocatedTable, rows: UnitRows) -> None:
    """Refuse notes that are numbers, which were measured and lost; a notice that the others are to be read."""
    numbers = [(unit, entry) for unit, entry in rows if unit.note and _is_number(unit.note)]
    if numbers and not table.findings.problems:
        (unit, entry), more = numbers[0], len(numbers) - 1
        found = f"the note of unit {unit.name} is a number, {quoted(unit.note or '')}"
        found += f", and so are {more} more, which nobody judges" if more else ", which nobody judges"
        mend = "Put what was measured under its own heading, such as Content (% of label) or Weighed again (g); or "
        table.refuse(entry, "note", found, f"{mend}write in words what the number says")
        return
    noted = [(unit, entry) for unit, entry in rows if unit.note and unit.mass_g and not unit.left_out_because]
    masses = [unit.mass_g for unit, _ in rows if unit.mass_g]
    for unit, entry in rows if masses else ():
        for of in _WORDS_OF_A_UNIT:
            said, mass = entry.cell(of), unit.mass_g or median(masses)
            near = said is not None and tells_masses(said, mass / NEAR, NEAR * mass, decimals=1)
            told = {*numbers_told(said.text)} if said else set()
            if said and near and not (told and told <= {*masses, unit.weighed_again_g}):
                found = f"the {table.columns[of].noun} of unit {unit.name} tells a mass, {said.quoted}"
                mend = "Put what was weighed under Mass (g) or Weighed again (g), or say in words what it says"
                table.refuse(entry, of, found, mend)
    for of in _SAY_WHICH if masses else ():
        cells = [cell for unit, entry in rows if unit.mass_g and (cell := entry.cell(of)) is not None]
        alike, middle = Counter(cell.shown for cell in cells), median(masses)
        for cell in cells:
            _refuse_no_unit(table, of, cell, alike=alike, middle=middle, count=len(masses))
    by_eye = [(unit, cell) for unit, entry in rows if unit.mass_g and (cell := entry.cell("seen")) is not None]
    seen = [(unit, cell) for unit, cell in by_eye if says_of_some(cell.shown)]
    if seen:
        words = "; ".join(f"unit {unit.name}, {cell.quoted}" for unit, cell in seen[:_MOST_NOTES])
        text = f"Read what was seen of units that count: {words}."
        cells = [cell for _, cell in seen]
        table.findings.ignore(table.table, "", text, cells=cells, what="seen on units", said=f"seen on {words}")
    for unit, entry in rows:
        why = [cell for of in _WORDS_OF_A_UNIT if (cell := entry.cell(of)) is not None and unit.mass_g is None]
        if not why and unit.mass_g is None and says_of_some(unit.name) and (named := entry.cell("name")) is not None:
            word = f"{quoted(unit.name)} without a mass"
            table.findings.ignore(table.table, "", f"Read {word}.", cells=[named], what="a unit", said=word)
        if why and not any(entry.cell(name) for name in MEASURED):
            words = f"unit {unit.name} without a mass, {', '.join(cell.quoted for cell in why)}"
            text = f"Read what is said of {words}."
            table.findings.ignore(table.table, why[0].address, text, cells=why, what="words on units", said=words)
    # What is said of all alike tells none apart.
    same = len(noted) == len(masses) > 1 and len({unit.note for unit, _ in noted}) == 1
    same = same and not says_of_some(noted[0][0].note or "")
    for of in _SAID_OF_ALL if masses else ():
        cells = [cell for unit, entry in rows if unit.mass_g and (cell := entry.cell(of)) is not None]
        bare = {_DIGITS.sub(" ", cell.shown).strip() for cell in cells}
        if len(cells) == len(masses) > 1 and len(bare) == 1 and (other := other_masses(*bare, count=len(masses))):
            found = f"the {table.columns[of].noun} {cells[0].quoted}, and the like of all units, says {quoted(other)}, "
            mend = "Write the net masses of single units, or reword the text where it says something else"
            table.refuse_at(cells[0].address, f"{found}which is not understood", mend)
    if noted and not same:
        by_note: dict[str, list[str]] = {}
        for unit, _ in noted:
            by_note.setdefault(unit.note or "", []).append(unit.name)
        # What is said of few, or says that something was wrong, stands before what is said of many.
        first = sorted(by_note, key=lambda note: (not says_of_some(note), len(by_note[note])))
        words = "; ".join(
            f"{names_in_short(by_note[note], most=_MOST_NAMED)}, {quoted(note)}" for note in first[:_MOST_NOTES]
        )
        words += f"; and {len(first) - _MOST_NOTES} more" if len(first) > _MOST_NOTES else ""
        text = f"Read the notes on units that count: {words}. They change no verdict: what does not count stands under "
        text += "Left out because, what was put right under Weighed again (g)."
        entries = [entry for _, entry in noted]
        where = table.place("note", entries[0]) if len(entries) == 1 else ""
        cells = [entry.cells["note"] for entry in entries]
        table.findings.ignore(table.table, where, text, cells=cells, what="notes on units", said=words)


def _tell_of_gaps(table: LocatedTable, rows: UnitRows) -> None:
    """A notice where one or two numbers are left out of units that are counted."""
    cells = [cell for _, entry in rows if (cell := entry.cell("name")) is not None]
    bare = {_DIGITS.sub(" ", cell.shown) for cell in cells}
    found = [_DIGITS.findall(cell.shown) for cell in cells]
    numbers = (
        {int(digits) for digits, *more in found if not more and len(digits) < _LONGEST_NUMBER} if all(found) else ()
    )
    if len(bare) != 1 or len(numbers) < max(_FEWEST_COUNTED, len(cells)):
        return
    missing = sorted({*range(min(numbers), max(numbers))} - {*numbers})
    if 0 < len(missing) <= _MOST_MISSING:
        said = f"no {names_in_short(list(map(str, missing)))} between {min(numbers)} and {max(numbers)}"
        text = f"There is {said}: see whether one was weighed and left out."
        table.findings.ignore(table.table, "", text, cells=cells, what="names of units", said=said)


def _refuse_no_unit(
    table: LocatedTable, of: str, cell: SheetCell, *, alike: Counter[str], middle: Decimal, count: int
) -> None:
    """Refuse what was seen of a unit, or where it was cast, that says it is none, or that weighs like one."""
    noun, number = table.columns[of].noun, number_in(cell)
    few = 2 * alike[cell.shown] <= count
    says = few and of != "name" and not cell.shown.isdigit()
    other = says_no_unit(cell.shown, count=count) if says else ""
    other = cell.shown if says and of != "seen" and says_of_some(cell.shown) else other
    fine = decimals_in(cell) >= FINE or (decimals_in(cell) > 1 and 2 * alike.total() < count)
    if other:
        found = f"the {noun} {cell.quoted} stands beside a mass, and what {quoted(other)} says of it is not understood"
        mend = "Take the row out if it is no unit; say under Left out because why a unit does not count"
        table.refuse_at(cell.address, found, mend)
    elif number is not None and number % 1 and fine and middle / NEAR <= number <= NEAR * middle:
        mend = "Put what was weighed under Mass (g) or Weighed again (g), or name the place otherwise"
        table.refuse_at(cell.address, f"the {noun} {cell.quoted} weighs like a unit", mend)


def _is_number(text: str) -> bool:
    """Whether a text is a number and nothing more, with or without a unit of measure."""
    try:
        written(text)
    except NotANumberError:
        return False
    return True


def _in_order(rows: UnitRows, table: LocatedTable, order: RowOrder | None) -> UnitRows:
    """The units with their places in the rows as the order that the call names; refused where the table has its own."""
    said = {
        None: (),
        "pour": ("pour_order",),
        "weighing": ("weighing_order",),
        "both": ("pour_order", "weighing_order"),
    }
    for attribute in said[order]:
        if table.has(attribute):
            found = f'the table has a column "{table.columns[attribute].heading}", but the call gives --order {order}'
            table.refuse_column(attribute, found, "Leave out --order, or clear the column")
    return [
        (replace(unit, **dict.fromkeys(said[order], place)), entry) for place, (unit, entry) in enumerate(rows, start=1)
    ]


def masses_of(table: LocatedTable, rows: UnitRows) -> MeasuredColumn:
    """The masses of the units, in the unit of their heading."""
    return measured(table, "mass_g", ((unit.name, entry) for unit, entry in rows))


def _unit(table: LocatedTable, entry: Entry) -> Unit:
    # A bare table has contents beside its masses; they belong to the assays.
    said = {name: value for name, value in entry.values.items() if name in Unit.__struct_fields__}
    for attribute, otherwise in (("left_out_because", "left out"), ("weighed_again_because", "weighed again")):
        reason = said.get(attribute)
        # A mere yes or no is refused, because nobody can tell whether the unit counts.
        if reason is not None and (
            reason.casefold().replace(".", "") in NO_REASON or not any(character.isalpha() for character in reason)
        ):
            mend = f"Give the reason in words, or clear the cell when the unit is not {otherwise}"
            table.refuse(entry, attribute, f"{table.columns[attribute].noun} {quoted(reason)} gives no reason", mend)
    return Unit(**said)


def _check_weighed_again(table: LocatedTable, rows: UnitRows) -> None:
    """Hold second masses against the first ones, and name reasons that have none beside them."""
    first = masses_of(table, rows)
    for unit, entry in rows:
        again = unit.weighed_again_g
        if again is None:
            if unit.weighed_again_because:
                text = f"Unit {unit.name} has a reason to be weighed again, and no second mass stands beside it."
                table.remark_on("weighed_again_because", [entry], text)
            continue
        field = table.columns["weighed_again_g"]
        typed = f"{entry.as_typed('weighed_again_g', again.scaleb(-field.power))} {field.unit}"
        if entry.cell("mass_g") is None:
            found = f"the second mass {typed} of unit {unit.name} has no first one beside it"
            table.refuse(entry, "weighed_again_g", found, "Type the mass that was read first too: both are kept")
        elif (
            first.rows
            and again != unit.mass_g
            and (how := how_far_off(again.scaleb(-first.field.power), first.median, OF_A_MASS))
        ):
            found = f"the second mass {typed} of unit {unit.name} is {how} the first masses"
            table.refuse(entry, "weighed_again_g", found, f"Type what was measured, in {field.unit}")


def _check_ranges(table: LocatedTable, entries: Sequence[Entry]) -> None:
    """Refuse names such as "1-10" that stand for several units weighed together.

    "1-2" is also a name for a cavity of a mould. Ranges of units run upward and do not overlap; cavities do.
    """
    refused: list[Entry] = []
    ranges: list[tuple[int, int, Entry]] = []
    for entry in entries:
        if match := _RANGE.fullmatch(entry.values["name"]):
            first, dash, last = int(match.group(1)), match.group(2), int(match.group(3))
            if dash in "-\u2013":
                ranges.append((first, last, entry))
            elif first < last:
                refused.append(entry)
    ranges.sort(key=lambda one: one[:2])
    apart = all(one[1] < other[0] for one, other in pairwise(ranges))
    if apart and all(first < last for first, last, _ in ranges):
        refused += [entry for _, _, entry in ranges]
    for entry in refused:
        found = f"unit {quoted(entry.values['name'])} reads as several units weighed together"
        table.refuse(entry, "name", found, "Weigh the units one by one, one row each")


def _remark_on_order(table: LocatedTable, rows: UnitRows) -> None:
    """Notices for a pour order with gaps or with units that have none."""
    orders = sorted(unit.pour_order for unit, _ in rows if unit.pour_order is not None)
    if not orders:
        return
    without = [
        (unit.name, entry) for unit, entry in rows if entry.cell("pour_order") is None and unit.pour_order is None
    ]
    if without:
        names = names_in_short([name for name, _ in without])
        table.remark_on("pour_order", [entry for _, entry in without], f"No pour order is given for {names}.")
    *others, last = [0, *orders]
    if last > FAR_BEYOND * max(others[-1], len(rows)):
        entry = next(entry for unit, entry in rows if unit.pour_order == last)
        found = f"pour order {last} lies far beyond the others, which end at {others[-1]}"
        table.refuse(entry, "pour_order", found, "Type the place of the unit in the pour, 1 for the first poured")
    # Two units poured together as 2 may be followed by 3, or by 4 as in a race.
    reached = (max(before, count) for count, before in enumerate([0, *orders]))
    gaps = [number for before, order in zip(reached, orders, strict=False) for number in range(before + 1, order)]
    if gaps:
        table.remark("", f"The pour order leaves out {in_runs(gaps)}.")


def remark_on_unmeasured(table: LocatedTable, unmeasured: UnitRows) -> None:
    """Notices for units that have neither a mass nor an assay nor a word why, and for text that is hardly a unit."""
    rest: UnitRows = []
    for unit, entry in unmeasured:
        if unit.note or unit.left_out_because:
            continue
        if set(entry.cells) != {"name"} or not _is_text(unit.name):
            rest.append((unit, entry))
            continue
        text = f"Nothing stands beside {quoted(unit.name)}, which was read as a unit without a mass; if it is a "
        table.remark_on("name", [entry], f"{text}remark, write it under Note or above the headings.")
    if rest:
        names = names_in_short([unit.name for unit, _ in rest])
        entries = [entry for _, entry in rest]
        table.remark_on("mass_g", entries, f"Neither a mass nor an assay is entered for {names}.")


def _is_text(name: str) -> bool:
    return len(name) >= SHORTEST_TEXT and not any(character.isdigit() for character in name)


def names_in_short(names: Sequence[str], *, most: int = 6) -> str:
    """A list of unit names that stays readable, in the order in which people count.

    Examples
    --------
    >>> names_in_short(["10", "2"])
    'units 2, 10'
    """
    names = sorted(names, key=counting_order)
    word = "unit" if len(names) == 1 else "units"
    if len(names) <= most:
        return f"{word} {', '.join(names)}"
    return f"{word} {', '.join(names[:most])} and {len(names) - most} more"
