"""The Units sheet: one unit a row, each name once, weighed one by one."""

from __future__ import annotations

import re
from collections.abc import Sequence
from decimal import Decimal
from itertools import pairwise

from msgspec import Struct

from qc.batch import Unit
from qc.readers.entries import Entries, near_name, same_name
from qc.readers.known_tables import Entry
from qc.readers.plausible import Measured, check_masses

# A name without a digit that is at least as long as this is more likely a remark than a unit (common practice).
SHORTEST_TEXT = 4

# Words that stand before a figure worked out from the units, in the languages our users have shown us.
SUMMARY_WORDS = frozenset(
    {"mean", "average", "avg", "sum", "total", "totals", "sd", "stdev", "std", "rsd", "cv"}
    | {"min", "minimum", "max", "maximum", "median", "range", "variance"}
    | {"mittelwert", "durchschnitt", "summe", "gesamt", "moyenne", "somme"}
    | {"média", "media", "promedio", "suma", "soma"}
)
NO_REASON = frozenset({"no", "none", "n", "n/a", "na", "nil", "false", "not left out"}) | frozenset(
    {"yes", "y", "x", "true", "left out"}
)
_RANGE = re.compile(r"(\d+)\s*(-|\u2013|to|bis|\.\.\.?|\u2026)\s*(\d+)", re.IGNORECASE | re.ASCII)


class UnitRows(Struct, frozen=True, kw_only=True):
    """The units with the rows they came from, in the order in which they stand."""

    units: tuple[Unit, ...]
    rows: tuple[Entry, ...]
    names: dict[str, str]

    def named(self, name: str) -> str | None:
        """The name as Units has it, or None when there is no such unit."""
        return self.names.get(same_name(name))

    def near(self, name: str) -> str | None:
        """The unit whose name is nearest."""
        return near_name(name, [unit.name for unit in self.units])


def read_units(entries: Entries) -> UnitRows:
    """The units of the table, and what is wrong with their names, order and masses."""
    named = _named_rows(entries)
    _check_ranges(entries, named)
    units = tuple(
        Unit(
            name=name,
            pour_order=entries.whole(entry, "pour_order"),
            mould=entries.name(entry, "mould"),
            cavity=entries.name(entry, "cavity"),
            mass_g=entries.number(entry, "mass"),
            test_sample=entries.yes_no(entry, "test_sample"),
            seen=_seen(entries.text(entry, "seen")),
            left_out_because=_reason(entries, entry),
            note=entries.text(entry, "note"),
        )
        for name, entry in named
    )
    check_masses(entries, _masses(entries, named))
    rows = tuple(entry for _, entry in named)
    _remark_on_order(entries, units, rows)
    return UnitRows(units=units, rows=rows, names={same_name(unit.name): unit.name for unit in units})


def _named_rows(entries: Entries) -> list[tuple[str, Entry]]:
    """The rows that name a unit for the first time."""
    named: list[tuple[str, Entry]] = []
    first: dict[str, str] = {}
    if "unit" not in entries.known.columns:
        hints, doubt = entries.known.unknown.for_column('"Unit"'), entries.known.doubt
        entries.findings.refuse(
            entries.known.table,
            "",
            found=f'the table has no column "Unit"{hints}{doubt.found}',
            mend=f'Name every unit, once each, under the heading "Unit"{doubt.mend}',
        )
        return named
    for entry in entries.rows:
        name = entries.name(entry, "unit")
        if _is_summary(name, entry):
            word = name or next(cell.text.strip() for cell in entry.cells.values() if _summary_text(cell.text))
            entries.refuse(
                entry,
                "unit",
                found=f'"{word}" is no unit: a mean or a total is worked out here, not typed in',
                mend=f"Remove row {entry.number}",
            )
        elif entry.cell("unit") is None:
            filled = next(iter(entry.cells.values()))
            entries.refuse(
                entry,
                "unit",
                found=f'the row has no unit, but "{filled.text.strip()}" stands in {filled.address}',
                mend="Type the name of the unit, or clear the row",
            )
        elif name is not None and same_name(name) in first:
            earlier = first[same_name(name)]
            place = entries.known.place("unit", entry)
            entries.refuse(
                entry,
                "unit",
                found=f'unit "{name}" stands again, after {earlier}',
                mend=f"Give each unit its own name in {earlier} and {place}",
            )
        elif name is not None:
            first[same_name(name)] = entries.known.place("unit", entry)
            named.append((name, entry))
    return named


def _summary_text(text: str) -> bool:
    word = re.match(r"[^\W\d_]+", text.strip())
    rest = text.strip()[word.end() :] if word else ""
    # "Mean:", "Mean (g)", "Mean mass" are summaries; "Total 3" may be somebody's name for a unit.
    return word is not None and word.group().casefold() in SUMMARY_WORDS and not re.search(r"\d", rest)


def _is_summary(name: str | None, entry: Entry) -> bool:
    if name is not None:
        return _summary_text(name)
    return any(_summary_text(cell.text) for field, cell in entry.cells.items() if field in ("mould", "cavity"))


def _check_ranges(entries: Entries, named: Sequence[tuple[str, Entry]]) -> None:
    """Names such as "1-10" that stand for several units weighed together.

    "1-2" is also a name for a cavity of a mould. Ranges of units run upward and do not overlap; cavities do.
    """
    ranges: list[tuple[int, int, str, Entry]] = []
    for name, entry in named:
        if match := _RANGE.fullmatch(name.strip()):
            first, dash, last = int(match.group(1)), match.group(2), int(match.group(3))
            if dash not in "-\u2013" and first < last:
                _refuse_range(entries, name, entry)
            elif dash in "-\u2013":
                ranges.append((first, last, name, entry))
    ranges.sort(key=lambda one: (one[0], one[1]))
    upward = all(first < last for first, last, _, _ in ranges)
    apart = all(one[1] < other[0] for one, other in pairwise(ranges))
    if upward and apart:
        for _, _, name, entry in ranges:
            _refuse_range(entries, name, entry)


def _refuse_range(entries: Entries, name: str, entry: Entry) -> None:
    entries.refuse(
        entry,
        "unit",
        found=f'unit "{name}" reads as several units weighed together',
        mend="Weigh the units one by one, one row each",
    )


def _masses(entries: Entries, named: Sequence[tuple[str, Entry]]) -> list[Measured]:
    found: list[Measured] = []
    for name, entry in named:
        mass = entries.number(entry, "mass")
        if mass is not None:
            in_milligrams = entries.known.columns["mass"].unit == "mg"
            shown: Decimal = mass.scaleb(3) if in_milligrams else mass
            found.append(Measured(name=name, entry=entry, value=shown))
    return found


def _seen(text: str | None) -> tuple[str, ...]:
    return tuple(word.strip() for word in (text or "").split(";") if word.strip())


def _reason(entries: Entries, entry: Entry) -> str | None:
    """Why a unit is left out; a mere yes or no is refused, because nobody can tell whether the unit counts."""
    text = entries.text(entry, "left_out_because")
    if text is None:
        return None
    if text.casefold().replace(".", "") in NO_REASON or not any(character.isalpha() for character in text):
        mend = "Give the reason in words, or clear the cell when the unit is not left out"
        entries.refuse(entry, "left_out_because", found=f'left out because "{text}" gives no reason', mend=mend)
        return None
    return text


def _remark_on_order(entries: Entries, units: Sequence[Unit], rows: Sequence[Entry]) -> None:
    """Notices for a pour order with gaps or with units that have none."""
    orders = sorted(unit.pour_order for unit in units if unit.pour_order is not None)
    if not orders:
        return
    without = [(unit.name, entry) for unit, entry in zip(units, rows, strict=True) if entry.cell("pour_order") is None]
    if without:
        place = entries.known.place("pour_order", without[0][1]) if len(without) == 1 else ""
        entries.remark(place, f"No pour order is given for {names_in_short([name for name, _ in without])}.")
    gaps: list[str] = []
    before, reached = 0, 0
    for count, order in enumerate(orders):
        # Two units poured together as 2 may be followed by 3, or by 4 as in a race.
        reached = max(before, count)
        if order > reached + 1:
            gaps.append(str(order - 1) if order == reached + 2 else f"{reached + 1} to {order - 1}")
        before = order
    if gaps:
        entries.remark("", f"The pour order leaves out {', '.join(gaps)}.")


def remark_on_unmeasured(entries: Entries, unmeasured: Sequence[tuple[str, Entry]]) -> None:
    """Notices for units that have neither a mass nor an assay, and for rows of text that are hardly units.

    Parameters
    ----------
    entries : Entries
        The Units table.
    unmeasured : sequence of (str, Entry)
        Names of the units, with their rows.
    """
    texts = [(name, entry) for name, entry in unmeasured if set(entry.cells) == {"unit"} and _is_text(name)]
    for name, entry in texts:
        entries.remark(
            entries.known.place("unit", entry),
            f'Nothing stands beside "{name}", which was read as a unit without a mass; if it is a remark, write it '
            "under Note or above the headings.",
        )
    rest = [one for one in unmeasured if one not in texts]
    if rest:
        place = entries.known.place("mass", rest[0][1]) if len(rest) == 1 else ""
        entries.remark(
            place, f"Neither a mass nor an assay is entered for {names_in_short([name for name, _ in rest])}."
        )


def _is_text(name: str) -> bool:
    return len(name) >= SHORTEST_TEXT and not any(character.isdigit() for character in name)


def names_in_short(names: Sequence[str], *, most: int = 6) -> str:
    """A list of unit names that stays readable.

    Examples
    --------
    >>> names_in_short(["1", "2"])
    'units 1, 2'
    """
    word = "unit" if len(names) == 1 else "units"
    if len(names) <= most:
        return f"{word} {', '.join(names)}"
    return f"{word} {', '.join(names[:most])} and {len(names) - most} more"
