"""What is said of units in words: refused where it is a measurement or says that a row is no unit, told otherwise."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from decimal import Decimal
from itertools import pairwise
from statistics import median

from qc.batch import Unit
from qc.fields.remarks import (
    SHORTEST_NAME,
    how_plain,
    is_plain,
    other_masses,
    parts_groups,
    says_no_unit,
    says_of_some,
)
from qc.fields.words import meant_by, plain_words, words_known
from qc.patterns import pattern
from qc.problems import TOLD, in_full, quoted
from qc.readers.cells import SheetCell
from qc.readers.finding.figures import FINE
from qc.readers.finding.lines import NEAR, PART
from qc.readers.finding.masses_told import tells_masses
from qc.readers.finding.printed import numbers_told
from qc.readers.finding.set_aside import MEASURED
from qc.readers.finding.view import decimals_in, number_in
from qc.readers.located import Entry, LocatedTable, names_in_short
from qc.readers.typed_number import NotANumberError, written

UnitRows = list[tuple[Unit, Entry]]
"""The units with the rows they came from, in the order in which they stand."""

# Of so many notes the words are told, each with so many names.
_MOST_NOTES, _MOST_NAMED, _MOST_WORDS = 6, 3, 50
# Where something may be said of a unit in words.
_SAY_WHICH, _SAID_OF_ALL = ("name", "seen", "mould", "cavity"), ("name", "note", "seen", "mould", "cavity")
_WORDS_OF_A_UNIT = ("note", "seen", "left_out_because", "weighed_again_because")
# From how many units on a gap in their numbers shows, and how many numbers one leaves out.
_FEWEST_COUNTED, _MOST_MISSING, _FEWEST_TWINS = 10, 2, 5
# Two units under one name; a row and a column of a grid that are named by numbers.
_PAIR, _PLACE = pattern(r"(\d{1,4})\s*[,;/&+\u2013-]\s*(\d{1,4})"), pattern(r"(\d+) \d+")
_DIGITS, _LONGEST_NUMBER, _LONGEST_COUNT = pattern(r"\d+"), 5, 9


def check_words(table: LocatedTable, rows: UnitRows) -> None:
    """Refuse words that measure something or say that a row is no unit; tell the others, and gaps in the numbers."""
    if _refuse_numbers(table, rows):
        return
    weighed = [(unit, entry) for unit, entry in rows if unit.mass_g]
    masses = [unit.mass_g for unit, _ in weighed if unit.mass_g]
    if masses:
        _refuse_masses(table, rows, masses)
        _refuse_no_units(table, weighed, median(masses))
        _refuse_names_in_mg(table, rows, median(masses))
        _refuse_said_of_all(table, weighed)
        _refuse_two_batches(table, weighed)
        _refuse_parts(table, rows)
    _tell_what_was_seen(table, weighed)
    _tell_of_unweighed(table, [one for one in rows if one[0].mass_g is None])
    _tell_notes(table, [one for one in weighed if one[0].note and not one[0].left_out_because], len(masses))
    if not (table.has("mould") or table.has("cavity")):
        _tell_of_names_alike(table, _cells("name", weighed))
    if not tell_of_gaps(table, _cells("name", rows)):
        _tell_of_runs(table, rows)
    _tell_of_twins(table, rows)
    _tell_of_names(table, rows)
    _tell_of_moulds(table, rows)


def _cells(of: str, rows: UnitRows) -> list[SheetCell]:
    return [cell for _, entry in rows if (cell := entry.cell(of)) is not None]


def _refuse_numbers(table: LocatedTable, rows: UnitRows) -> bool:
    """Refuse notes that are numbers, which were measured and lost; whether there are any."""
    numbers = [(unit, entry) for unit, entry in rows if unit.note and _is_number(unit.note)]
    if not numbers or table.findings.problems:
        return False
    (unit, entry), more = numbers[0], len(numbers) - 1
    found = f"the note of unit {unit.name} is a number, {quoted(unit.note or '')}"
    found += f", and so are {more} more, which nobody judges" if more else ", which nobody judges"
    mend = "Put what was measured under its own heading, such as Content (% of label) or Weighed again (g); or "
    table.refuse(entry, "note", found, f"{mend}write in words what the number says")
    return True


def _is_number(text: str) -> bool:
    """Whether a text is a number and nothing more, with or without a unit of measure."""
    try:
        written(text)
    except NotANumberError:
        return False
    return True


def _refuse_masses(table: LocatedTable, rows: UnitRows, masses: Sequence[Decimal]) -> None:
    """Refuse words on a unit that tell a mass which was not entered."""
    for unit, entry in rows:
        for of in _WORDS_OF_A_UNIT:
            said, mass = entry.cell(of), unit.mass_g or median(masses)
            near = said is not None and tells_masses(said, mass / NEAR, NEAR * mass, decimals=1)
            told = {*numbers_told(said.text)} if said else set()
            if said and near and not (told and told <= {*masses, unit.weighed_again_g}):
                found = f"the {table.columns[of].noun} of unit {unit.name} tells a mass, {said.quoted}"
                mend = "Put what was weighed under Mass (g) or Weighed again (g), or say in words what it says"
                table.refuse(entry, of, found, mend)


def _refuse_no_units(table: LocatedTable, weighed: UnitRows, middle: Decimal) -> None:
    """Refuse what was seen of a unit, or where it was cast, that says it is none, or that weighs like one."""
    for of in _SAY_WHICH:
        cells, count = _cells(of, weighed), len(weighed)
        alike = Counter(cell.shown for cell in cells)
        for cell in cells:
            number, few = number_in(cell), 2 * alike[cell.shown] <= count
            says = few and of != "name" and not cell.shown.isdigit()
            other = says_no_unit(cell.shown, count=count) if says else ""
            other = cell.shown if says and of != "seen" and says_of_some(cell.shown) else other
            fine = decimals_in(cell) >= FINE or (decimals_in(cell) > 1 and 2 * len(cells) < count)
            said = f"{table.columns[of].heading} {cell.quoted}"
            if other:
                found = f"{said} stands beside a mass, and what {quoted(other)} says of it is not understood"
                mend = "Take the row out if it is no unit; say under Left out because why a unit does not count"
                table.refuse_at(cell.address, found, mend)
            elif number is not None and number % 1 and fine and middle / NEAR <= number <= NEAR * middle:
                mend = "Put what was weighed under Mass (g) or Weighed again (g), or name the place otherwise"
                table.refuse_at(cell.address, f"{said} weighs like a unit", mend)


def _refuse_names_in_mg(table: LocatedTable, rows: UnitRows, middle: Decimal) -> None:
    """Refuse the name of a unit without a mass that is one in mg, and no number that goes on from the others."""
    names = {cell: number for _, entry in rows if (cell := entry.cell("name")) and (number := number_in(cell))}
    for unit, entry in rows:
        number = names.get(cell) if (cell := entry.cell("name")) else None
        if cell is None or number is None or unit.mass_g is not None:
            continue
        others = [abs(other) for one, other in names.items() if one is not cell]
        if others and number > NEAR * max(others) and middle / NEAR <= number.scaleb(-3) <= NEAR * middle:
            found = f"{table.columns['name'].heading} {cell.quoted} has no mass, and weighs like one in mg"
            table.refuse_at(cell.address, found, "Name the unit and put its mass under Mass (g), or clear the cell")


def _refuse_said_of_all(table: LocatedTable, weighed: UnitRows) -> None:
    """Refuse what is said of all units alike where it says that other things were weighed."""
    for of in _SAID_OF_ALL:
        cells = _cells(of, weighed)
        bare = {_DIGITS.sub(" ", cell.shown).strip() for cell in cells}
        if len(cells) != len(weighed) or len(cells) < 2 or len(bare) != 1:
            continue
        if other := other_masses(*bare, count=len(weighed)):
            found = f"{table.columns[of].heading} {cells[0].quoted}, and the like of all units, says {quoted(other)}, "
            mend = "Write the net masses of single units, or reword the text where it says something else"
            table.refuse_at(cells[0].address, f"{found}which is not understood", mend)
        elif of == "name" and not is_plain(*bare) and max(map(len, plain_words(*bare))) > SHORTEST_NAME:
            table.findings.tell(table.table, cells, f"all units named as {cells[0].quoted}")


def _refuse_two_batches(table: LocatedTable, weighed: UnitRows) -> None:
    """Refuse names of units that name two batches: "Batch A 1" and "Batch B 1"."""
    first: dict[str, SheetCell] = {}
    for of in ("name", "mould", "cavity"):
        for cell in _cells(of, weighed):
            words = plain_words(cell.shown)
            if len(words) > (2 if of == "name" else 1) and meant_by(words[0]) == "batch":
                first.setdefault(words[1], cell)
    if len(first) > 1:
        one, other, *_ = first.values()
        found = f"{one.quoted} and {other.quoted} name two batches"
        table.refuse_at(other.address, found, "Keep the units of one batch, or head their batches Batch")


def _tell_of_names_alike(table: LocatedTable, cells: Sequence[SheetCell]) -> None:
    """A notice of a name that differs from the number of another unit by letters or zeros: "7a" or "07" and 7, "7b"."""
    numbers: dict[int, SheetCell] = {}
    for cell in cells:
        if cell.shown.isdecimal() and len(cell.shown) <= _LONGEST_COUNT:
            numbers.setdefault(int(cell.shown), cell)
    lettered: dict[int, SheetCell] = {}
    for cell in cells if 2 * len(numbers) > len(cells) else ():
        digits = _DIGITS.findall(cell.shown)
        short = len(digits) == 1 and len(cell.shown) <= min(len(digits[0]) + 2, _LONGEST_COUNT)
        other = numbers.get(int(digits[0])) or lettered.setdefault(int(digits[0]), cell) if short else None
        if other is not None and other is not cell:
            table.findings.tell(table.table, [cell], f"a unit named {cell.quoted} beside {other.quoted}")


def _refuse_parts(table: LocatedTable, rows: UnitRows) -> None:
    """Refuse a name alone in its row, unlike all others and between units, that may part two batches: "B2"."""
    heads = Counter(_DIGITS.sub("", unit.name) for unit, _ in rows)
    among = [at for at, (unit, _) in enumerate(rows) if unit.mass_g]
    for unit, entry in rows[among[0] : among[-1]] if 2 * max(heads.values()) > len(rows) else ():
        if entry.cells.keys() == {"name"} and heads[_DIGITS.sub("", unit.name)] == 1 and parts_groups(unit.name):
            cell = entry.cells["name"]
            found = f"{cell.quoted} stands among the masses, and may part those above it from those below it"
            table.refuse_at(cell.address, found, PART)


def _tell_what_was_seen(table: LocatedTable, weighed: UnitRows) -> None:
    """A notice of what was seen of units that count and says that something was wrong."""
    by_eye = [(unit, cell) for unit, entry in weighed if (cell := entry.cell("seen")) is not None]
    if seen := [(unit, cell) for unit, cell in by_eye if says_of_some(cell.shown)]:
        words = "; ".join(f"unit {unit.name}, {in_full(cell.typed)}" for unit, cell in seen[:_MOST_WORDS])
        table.findings.tell(table.table, [cell for _, cell in seen], f"seen on {words}")


def _tell_of_unweighed(table: LocatedTable, rows: UnitRows) -> None:
    """Notices of what is said of units without a mass, by their words or their names."""
    for unit, entry in rows:
        why = [cell for of in _WORDS_OF_A_UNIT if (cell := entry.cell(of)) is not None]
        if not why and says_of_some(unit.name) and (named := entry.cell("name")) is not None:
            word = f"{quoted(unit.name)} without a mass"
            table.findings.ignore(table.table, "", f"Read {word}.", cells=[named], what="a unit", said=word)
        if why and not any(entry.cell(name) for name in MEASURED):
            words = f"unit {unit.name} without a mass, {', '.join(in_full(cell.typed) for cell in why)}"
            text = f"Read what is said of {words}."
            table.findings.ignore(table.table, why[0].address, text, cells=why, what="words on units", said=words)


def _tell_notes(table: LocatedTable, noted: UnitRows, weighed: int) -> None:
    """A notice of the notes on units that count; an answer that is the same for all tells nothing, "ok"."""
    by_note: dict[str, list[str]] = {}
    for unit, _ in noted:
        by_note.setdefault(unit.note or "", []).append(unit.name)
    same = len(noted) == weighed > 1 and len(by_note) == 1
    answers = words_known().remark.answer | words_known().balance["rest"]
    if not noted or (same and {*plain_words(next(iter(by_note)))} <= answers):
        return
    # What is said of few, or says that something was wrong, stands before what is said of many.
    first = sorted(by_note, key=lambda note: (how_plain(note), len(by_note[note])))
    said = "; ".join(
        f"{names_in_short(by_note[note], most=_MOST_NAMED) if len(by_note[note]) < weighed else 'all units'}, "
        f"{in_full(note)}"
        for note in first[:_MOST_WORDS]
    )
    said += f"; and {len(first) - _MOST_WORDS} more" if len(first) > _MOST_WORDS else ""
    text = f"Read the notes on units that count: {said}. They change no verdict: what does not count stands under "
    text += "Left out because, what was put right under Weighed again (g)."
    entries = [entry for _, entry in noted]
    where = table.place("note", entries[0]) if len(entries) == 1 else ""
    cells = [entry.cells["note"] for entry in entries]
    table.findings.ignore(table.table, where, text, cells=cells, what=TOLD, said=said)


def _tell_of_runs(table: LocatedTable, rows: UnitRows) -> None:
    """A notice where units of no mould are counted in several runs, as those of two lots are."""
    cells = _cells("name", rows)
    if table.has("mould") or table.has("cavity") or len({cell.column for cell in cells}) != 1:
        return
    runs: list[tuple[str, int, list[SheetCell]]] = []
    for cell in cells:
        digits = next(iter(_DIGITS.findall(cell.shown)[-1:]), "")
        if not 0 < len(digits) <= _LONGEST_COUNT:
            return
        head, number = cell.shown[: cell.shown.rindex(digits)], int(digits)
        held = runs.pop()[2] if runs and runs[-1][:2] == (head, number - 1) else []
        runs.append((head, number, held))
        held.append(cell)
    # A letter alone, or a word for it, is that of a mould.
    heads = {"".join(filter(str.isalnum, head)) for head, _, _ in runs}
    lettered = len(heads) > 1 and all(head.isalpha() and (is_plain(head) or len(head) == 1) for head in heads)
    if not lettered and 1 < len(runs) <= _MOST_NOTES and all(len(run) > 1 for _, _, run in runs):
        said = ", ".join(f"{run[0].quoted} to {run[-1].quoted}" for _, _, run in runs)
        table.findings.tell(table.table, cells, f"units named {said}")


def _tell_of_names(table: LocatedTable, rows: UnitRows) -> None:
    """A notice where units are named by words, or counted by two or three; two units under one mass are refused."""
    cells = _cells("name", rows)
    shown = [cell.shown for cell in cells]
    pairs = [int(number) for one in shown if (match := _PAIR.fullmatch(one)) for number in match.groups()]
    if len(pairs) == 2 * len(cells) > 2 and {after - one for one, after in pairwise(pairs)} == {1}:
        found = f"{cells[0].quoted} and the like name two units each"
        mend = "Weigh the units one by one, one row each"
        table.refuse_at(cells[0].address, found, mend)
    numbers = [int(one) for one in shown if one.isdecimal() and len(one) <= _LONGEST_COUNT]
    steps = {after - one for one, after in pairwise(numbers)} if len(numbers) == len(cells) > 2 else set[int]()
    counted = [int(one) if one.isdecimal() and len(one) <= _LONGEST_COUNT else -1 for one in shown]
    names, known = frozenset(shown), frozenset(counted)
    for (before, here, after), one in zip(
        zip(counted, counted[1:], counted[2:], strict=False), cells[1:], strict=False
    ):
        # "07" between 6 and 8.
        longer = here == before + 1 and len(one.shown) > len(str(here)) and str(before) in names
        if after - before == 2 < after and (longer or before + 1 not in known):
            table.findings.tell(table.table, [one], f"a unit named {one.quoted} between {before} and {after}")
    if steps == {1} and 1 < numbers[0] <= len(numbers):
        table.findings.tell(table.table, cells, f"units counted from {numbers[0]} on")
    words = len(shown) > 2 and all(one.isalpha() and len(one) > 2 for one in shown) and not table.has("mould")
    if words or steps in ({2}, {3}):
        said = f"units named {cells[0].quoted}, {cells[1].quoted} to {cells[-1].quoted}"
        table.findings.tell(table.table, cells, said)


def _tell_of_twins(table: LocatedTable, rows: UnitRows) -> None:
    """A notice where each number of a unit stands in several names, as those of two weighings do: "1" and "1 2nd"."""
    cells = [] if table.has("mould") or table.has("cavity") else _cells("name", rows)
    numbers = [next(iter(_DIGITS.findall(cell.shown)), "") for cell in cells]
    counts = Counter(numbers)
    first = all(cell.shown.lstrip()[:1].isdigit() for cell in cells)
    if (
        first
        and "" not in counts
        and len(counts) >= _FEWEST_TWINS
        and len({*counts.values()}) == 1 < counts[numbers[0]]
    ):
        alike = [cell.quoted for cell, number in zip(cells, numbers, strict=True) if number == numbers[0]]
        said = f"units named {' and '.join(alike[:_MOST_NAMED])}"
        table.findings.tell(table.table, cells, said)


def _tell_of_moulds(table: LocatedTable, rows: UnitRows) -> None:
    """A notice of moulds and cavities that are named by words of which no record is made, and of rows not counted."""
    places = [(cell, match.group(1)) for cell in _cells("cavity", rows) if (match := _PLACE.fullmatch(cell.shown))]
    counted = dict.fromkeys(number for _, number in places)
    if counted and "1" not in counted:
        said = f"rows named {', '.join(map(quoted, [*counted][:_MOST_NAMED]))}"
        table.findings.tell(table.table, [cell for cell, _ in places], said)
    cells = [cell for of in ("mould", "cavity") for cell in _cells(of, rows)]
    named = {cell.shown: cell for cell in cells if not is_plain(cell.shown) and len(cell.shown) > SHORTEST_NAME}
    # A form is a mould in German, and a dosage form.
    forms = {cell.shown: cell for cell in cells if "form" in plain_words(cell.shown)}
    named = {name: cell for name, cell in named.items() if not any(map(str.isdigit, name))} | forms
    if named:
        said = f"moulds named {', '.join(map(quoted, [*named][:_MOST_NAMED]))}"
        table.findings.tell(table.table, [*named.values()], said)


def tell_of_gaps(table: LocatedTable, cells: Sequence[SheetCell]) -> bool:
    """A notice where one or two numbers are left out of units that are counted, weighed or assayed; whether any is."""
    bare = {_DIGITS.sub(" ", cell.shown) for cell in cells}
    found = [_DIGITS.findall(cell.shown) for cell in cells]
    if len(bare) != 1 or not all(len(one) == 1 and len(one[0]) < _LONGEST_NUMBER for one in found):
        return False
    numbers = {int(digits) for (digits,) in found}
    missing = sorted({*range(min(numbers), max(numbers))} - numbers)
    told = len(numbers) >= max(_FEWEST_COUNTED, len(cells)) and 0 < len(missing) <= _MOST_MISSING
    if told:
        said = f"no {names_in_short(list(map(str, missing)))} between {min(numbers)} and {max(numbers)}"
        table.findings.tell(table.table, cells, said, f"Found {said}: see whether one was weighed and left out.")
    return told
