"""The Units sheet: one unit a row, each name once, weighed one by one."""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import pairwise

from msgspec import Struct

from qc.batch import Unit
from qc.readers.known_tables import Entry
from qc.readers.names import near_name, same_name
from qc.readers.plausible import Placed, check_masses
from qc.readers.read_tables import ReadTable

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
    """The units with the rows they came from, in the order in which they stand; `names` by the compared form."""

    rows: tuple[tuple[Unit, Entry], ...]
    names: dict[str, str]

    @property
    def units(self) -> tuple[Unit, ...]:
        """The units alone."""
        return tuple(unit for unit, _ in self.rows)

    def named(self, name: str) -> str | None:
        """The name as Units has it, or None when there is no such unit."""
        return self.names.get(same_name(name))

    def near(self, name: str) -> str | None:
        """The unit whose name is nearest."""
        return near_name(name, self.names.values())


def read_units(table: ReadTable) -> UnitRows:
    """The units of the table, and what is wrong with their names, order and masses."""
    if not table.has("name"):
        hints, doubt = table.known.unknown.for_column('"Unit"'), table.known.doubt
        table.refuse_table(
            f'the table has no column "Unit"{hints}{doubt.found}',
            f'Name every unit, once each, under the heading "Unit"{doubt.mend}',
        )
        return UnitRows(rows=(), names={})
    named = _named_rows(table)
    _check_ranges(table, named)
    rows = tuple((_unit(table, entry), entry) for _, entry in named)
    check_masses(table, masses_as_headed(table, rows))
    _remark_on_order(table, rows)
    return UnitRows(rows=rows, names={same_name(name): name for name, _ in named})


def _unit(table: ReadTable, entry: Entry) -> Unit:
    # A bare table has contents beside its masses; they belong to the assays.
    said = {name: value for name, value in entry.said().items() if name in Unit.__struct_fields__}
    reason = said.get("left_out_because")
    # A mere yes or no is refused, because nobody can tell whether the unit counts.
    if reason is not None and (
        reason.casefold().replace(".", "") in NO_REASON or not any(character.isalpha() for character in reason)
    ):
        mend = "Give the reason in words, or clear the cell when the unit is not left out"
        table.refuse(entry, "left_out_because", f'left out because "{reason}" gives no reason', mend)
    return Unit(**said)


def _named_rows(table: ReadTable) -> list[tuple[str, Entry]]:
    """The rows that name a unit for the first time."""
    named: list[tuple[str, Entry]] = []
    first: dict[str, str] = {}
    for entry in table.rows:
        name: str | None = entry.value("name")
        place = table.place("name", entry)
        if _is_summary(name, entry):
            word = name or next(cell.text.strip() for cell in entry.cells.values() if _summary_text(cell.text))
            found = f'"{word}" is no unit: a mean or a total is worked out here, not typed in'
            table.refuse(entry, "name", found, f"Remove row {entry.number}")
        elif entry.cell("name") is None:
            filled = next(iter(entry.cells.values()))
            found = f'the row has no unit, but "{filled.text.strip()}" stands in {filled.address}'
            table.refuse(entry, "name", found, "Type the name of the unit, or clear the row")
        elif name is not None and same_name(name) in first:
            earlier = first[same_name(name)]
            found = f'unit "{name}" stands again, after {earlier}'
            table.refuse(entry, "name", found, f"Give each unit its own name in {earlier} and {place}")
        elif name is not None:
            first[same_name(name)] = place
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
    return any(_summary_text(cell.text) for place, cell in entry.cells.items() if place in ("mould", "cavity"))


def _check_ranges(table: ReadTable, named: Sequence[tuple[str, Entry]]) -> None:
    """Names such as "1-10" that stand for several units weighed together.

    "1-2" is also a name for a cavity of a mould. Ranges of units run upward and do not overlap; cavities do.
    """
    ranges: list[tuple[int, int, str, Entry]] = []
    for name, entry in named:
        if match := _RANGE.fullmatch(name.strip()):
            first, dash, last = int(match.group(1)), match.group(2), int(match.group(3))
            if dash not in "-\u2013" and first < last:
                _refuse_range(table, name, entry)
            elif dash in "-\u2013":
                ranges.append((first, last, name, entry))
    ranges.sort(key=lambda one: (one[0], one[1]))
    upward = all(first < last for first, last, _, _ in ranges)
    apart = all(one[1] < other[0] for one, other in pairwise(ranges))
    if upward and apart:
        for _, _, name, entry in ranges:
            _refuse_range(table, name, entry)


def _refuse_range(table: ReadTable, name: str, entry: Entry) -> None:
    found = f'unit "{name}" reads as several units weighed together'
    table.refuse(entry, "name", found, "Weigh the units one by one, one row each")


def masses_as_headed(table: ReadTable, rows: Sequence[tuple[Unit, Entry]]) -> list[Placed]:
    """The masses of units in the unit of their heading, with their rows."""
    power = -table.known.columns["mass_g"].power if table.has("mass_g") else 0
    return [
        Placed(name=unit.name, entry=entry, value=unit.mass_g.scaleb(power) if power else unit.mass_g)
        for unit, entry in rows
        if unit.mass_g is not None
    ]


def _remark_on_order(table: ReadTable, rows: Sequence[tuple[Unit, Entry]]) -> None:
    """Notices for a pour order with gaps or with units that have none."""
    orders = sorted(unit.pour_order for unit, _ in rows if unit.pour_order is not None)
    if not orders:
        return
    without = [(unit.name, entry) for unit, entry in rows if entry.cell("pour_order") is None]
    if without:
        place = table.place("pour_order", without[0][1]) if len(without) == 1 else ""
        table.remark(place, f"No pour order is given for {names_in_short([name for name, _ in without])}.")
    gaps: list[str] = []
    before, reached = 0, 0
    for count, order in enumerate(orders):
        # Two units poured together as 2 may be followed by 3, or by 4 as in a race.
        reached = max(before, count)
        if order > reached + 1:
            gaps.append(str(order - 1) if order == reached + 2 else f"{reached + 1} to {order - 1}")
        before = order
    if gaps:
        table.remark("", f"The pour order leaves out {', '.join(gaps)}.")


def remark_on_unmeasured(table: ReadTable, unmeasured: Sequence[tuple[str, Entry]]) -> None:
    """Notices for units that have neither a mass nor an assay, and for rows of text that are hardly units.

    Parameters
    ----------
    table : ReadTable
        The Units table.
    unmeasured : sequence of (str, Entry)
        Names of the units, with their rows.
    """
    texts = [(name, entry) for name, entry in unmeasured if set(entry.cells) == {"name"} and _is_text(name)]
    for name, entry in texts:
        table.remark(
            table.place("name", entry),
            f'Nothing stands beside "{name}", which was read as a unit without a mass; if it is a remark, write it '
            "under Note or above the headings.",
        )
    rest = [one for one in unmeasured if one not in texts]
    if rest:
        place = table.place("mass_g", rest[0][1]) if len(rest) == 1 else ""
        table.remark(place, f"Neither a mass nor an assay is entered for {names_in_short([name for name, _ in rest])}.")


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
