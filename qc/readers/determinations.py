"""Units of which each determination stands in a row of its own, counted by a column "Injection" or "Replicate"."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import fmean

from msgspec.structs import replace

from qc.fields.field import same_name
from qc.fields.sheets import ASSAY
from qc.fields.words import meant_by, measure_of, plain_words, summary_of, words_known
from qc.patterns import pattern
from qc.problems import quoted
from qc.readers.assays import CONTENTS
from qc.readers.cells import SheetCell, SheetRow, SheetTable, address
from qc.readers.finding.figures import last_digit
from qc.readers.finding.unaccounted import lines_beside
from qc.readers.finding.view import number_in, value_in, view_of
from qc.readers.located import Entry, LocatedTable

_OF_ASSAYS = (*CONTENTS, "stage")
# The mass beside a later determination is accounted for with it.
_KEPT = ("name", "mass_g", *_OF_ASSAYS)
_AS = {"name": "unit"}
# Of one unit (common practice).
MOST_DETERMINATIONS = 6
_COUNT = pattern(r"(\d{1,2})\D*")


def with_units_named(table: SheetTable) -> SheetTable:
    """A sheet with the name of each unit in every row of its determinations, where it stands in the first one alone.

    Under one name for all of them they are the units themselves, and what is headed "Mean" beside determinations across
    is the content, where it is their mean.
    """
    for at, head in enumerate(table.rows):
        texts = {spot: cell.typed for spot, cell in head.cells.items() if cell.number is None}
        counts = next((spot for spot, typed in texts.items() if counts_determinations(typed)), 0)
        name = next((spot for spot, typed in texts.items() if meant_by(typed) == "name"), 0)
        if not counts or not name:
            continue
        if (across := _with_mean(table, at)) is not None:
            return across
        rows, before, unit = list[SheetRow](), 0, None
        for row in table.rows[at + 1 :]:
            count = _count(row.cells.get(counts))
            unit = row.cells.get(name) or (unit if count and count == before + 1 else None)
            before = count
            cells = row.cells if unit is None else {**row.cells, name: replace(unit, address=address(row.number, name))}
            rows.append(replace(row, cells=dict(sorted(cells.items()))))
        numbered = [row for row in rows if _count(row.cells.get(counts))]
        shown = {row.cells[name].shown for row in numbered if name in row.cells}
        if len(numbered) > MOST_DETERMINATIONS and len(shown) == 1:
            of_all = replace(head.cells[name], text=f"{head.cells[name].typed} of all")
            head = replace(head, cells={**head.cells, name: of_all, counts: replace(head.cells[counts], text="Unit")})
        return replace(table, rows=(*table.rows[:at], head, *rows))
    return table


def _with_mean(table: SheetTable, at: int) -> SheetTable | None:
    """A sheet with the mean of determinations across, such as "Inj. 1 (mg)", as content; None where there is none."""
    head = table.rows[at]
    across = [spot for spot, cell in head.cells.items() if counts_determinations(cell.typed) and _measured(cell)]
    means = [spot for spot, cell in head.cells.items() if summary_of(_bare(cell)) == "mean" and _measured(cell)]
    measures = {_measured(head.cells[spot]) for spot in (*across, *means)}
    heading = {"mg": "Content (mg)", "%": "Content (% of label)"}.get("".join(measures), "")
    if len(across) < 2 or len(means) != 1 or not heading:
        return None
    for row in table.rows[at + 1 :]:
        values = [number_in(row.cells[spot]) for spot in across if spot in row.cells]
        mean = row.cells.get(means[0])
        numbers = [float(one) for one in values if one is not None]
        if mean is None or not numbers:
            continue
        if abs(fmean(numbers) - float(value_in(mean))) > 1.01 * last_digit(mean):
            return None
    renamed = {means[0]: heading} | {spot: f"Determination {number}" for number, spot in enumerate(across, start=1)}
    cells = {spot: replace(cell, text=renamed.get(spot, cell.text)) for spot, cell in head.cells.items()}
    return replace(table, rows=(*table.rows[:at], replace(head, cells=cells), *table.rows[at + 1 :]))


def _measured(cell: SheetCell) -> str:
    """The unit of measure at the end of a heading."""
    return measure_of((plain_words(cell.typed) or ("",))[-1])


def _bare(cell: SheetCell) -> str:
    return " ".join(word for word in plain_words(cell.typed) if not measure_of(word))


def determinations_apart(units: LocatedTable) -> tuple[LocatedTable, LocatedTable] | None:
    """The units of a table, each once, and its determinations as the sheet Assay; None where it does not count them.

    Each row of a unit holds the same mass, or the first one alone.
    """
    named: dict[str, list[Entry]] = {}
    for entry in units.entries:
        if (name := entry.cell("name")) is not None:
            named.setdefault(same_name(name.shown), []).append(entry)
    held = [entry for entry in units.entries if any(one in entry.cells for one in CONTENTS)]
    masses = ({cell.shown for one in own if (cell := one.cell("mass_g")) is not None} for own in named.values())
    if len(named) == len(units.entries) or not held or any(len(shown) > 1 for shown in masses):
        return None
    names = [name for entry in units.entries if (name := entry.cell("name")) is not None]
    view = view_of(units.table)
    rest = [cell for cells in view.rows.values() for cell in cells.values() if cell not in names]
    lines = [line for line in lines_beside(view, names, rest) if counts_determinations(line[0])]
    counted = next((line for line in lines if _counts_each(line[1], line[2], named)), None)
    if counted is None:
        return None
    units.findings.tell(units.table, counted[1], f"determinations of each unit, by {quoted(counted[0])}")
    once = [{name: cell for one in reversed(own) for name, cell in one.cells.items()} for own in named.values()]
    entries = [
        replace(own[0], cells={name: cell for name, cell in cells.items() if name not in _OF_ASSAYS})
        for own, cells in zip(named.values(), once, strict=True)
    ]
    held = [replace(one, cells={_AS.get(at, at): one.cells[at] for at in _KEPT if at in one.cells}) for one in held]
    fields = {at: ASSAY.field("unit") if at == "name" else units.columns[at] for at in _KEPT if at in units.columns}
    letters = {_AS.get(at, at): units.letters[at] for at in fields if at in units.letters}
    of_assay = {field.attribute: field for field in fields.values()}
    assay = replace(units, sheet=ASSAY, columns=of_assay, letters=letters, entries=tuple(held))
    columns = {name: field for name, field in units.columns.items() if name not in _OF_ASSAYS}
    return replace(units, columns=columns, entries=tuple(entries)), assay


def counts_determinations(heading: str) -> bool:
    """Whether a heading stands over numbers that count determinations: "Inj. No."."""
    return not words_known().determination.isdisjoint(plain_words(heading)) and meant_by(heading) == ""


def _counts_each(cells: Sequence[SheetCell], names: Sequence[SheetCell], named: dict[str, list[Entry]]) -> bool:
    """Whether numbers count the rows of every unit from 1 on."""
    found: dict[str, list[int]] = {name: [] for name in named}
    for cell, name in zip(cells, names, strict=True):
        found[same_name(name.shown)].append(_count(cell))
    return all(sorted(counts) == list(range(1, len(named[name]) + 1)) for name, counts in found.items())


def _count(cell: SheetCell | None) -> int:
    """The whole number in a cell, "2" or "Inj 2"; 0 where it holds none."""
    if cell is None or (number_in(cell) or 0) % 1:
        return 0
    digits = _COUNT.findall(cell.shown)
    return int(digits[0]) if len(digits) == 1 else 0
