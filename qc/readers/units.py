"""The Units sheet: one unit a row, each name once, weighed one by one."""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import pairwise

from msgspec.structs import replace

from qc.batch import Unit
from qc.fields.field import Plausible
from qc.patterns import pattern
from qc.problems import quoted
from qc.readers.located import Entry, LocatedTable, in_runs, names_in_short
from qc.readers.options import RowOrder
from qc.readers.plausible import OF_A_MASS, MeasuredColumn, check_masses, how_far_off, measured
from qc.readers.repeated import tell_of_repeats
from qc.readers.words_of_units import UnitRows, check_words

# A name without a digit that is at least as long as this is more likely a remark than a unit (common practice).
SHORTEST_TEXT = 4

# So many times as many as there are others is no place in the pour (common practice).
FAR_BEYOND = 10

NO_REASON = frozenset({"no", "none", "n", "n/a", "na", "nil", "false", "not left out"}) | frozenset(
    {"yes", "y", "x", "true", "left out"}
)
_RANGE = pattern(r"(\d+)\s*(-|\u2013|to|bis|\.\.\.?|\u2026|&|\+|and|und|et)\s*(\d+)", re.IGNORECASE | re.ASCII)


def read_units(table: LocatedTable, usual: Plausible, *, order: RowOrder | None) -> UnitRows:
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
    masses = masses_of(table, rows)
    check_masses(masses, usual)
    tell_of_repeats(masses)
    _check_weighed_again(table, rows)
    _remark_on_order(table, rows)
    check_words(table, rows)
    return rows


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
        text, said = f"{text}remark, write it under Note or above the headings.", f"{quoted(unit.name)} without a mass"
        alone = entry.cells["name"]
        table.findings.ignore(table.table, alone.address, text, cells=[alone], what="a unit", said=said)
    if rest:
        names = names_in_short([unit.name for unit, _ in rest])
        entries, text = [entry for _, entry in rest], f"Neither a mass nor an assay is entered for {names}."
        where = table.place("mass_g", entries[0]) if len(entries) == 1 else ""
        cells = [cell for entry in entries if (cell := entry.cell("name")) is not None]
        table.findings.ignore(table.table, where, text, cells=cells, what="units", said=f"no mass of {names}")


def _is_text(name: str) -> bool:
    return len(name) >= SHORTEST_TEXT and not any(character.isdigit() for character in name)
