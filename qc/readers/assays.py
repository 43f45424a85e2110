"""The Assay sheet, one determination a row; and the contents of whole units that a bare table carries."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from statistics import median
from typing import Any

from qc.batch import Active, Assay, Part, counting_order
from qc.fields.field import near_name, same_name
from qc.problems import quoted
from qc.readers.finding.figures import last_digit
from qc.readers.located import Entry, LocatedTable, in_runs
from qc.readers.plausible import check_against, check_contents, measured
from qc.readers.repeated import tell_of_repeats
from qc.readers.words_of_units import UnitRows, tell_of_gaps

ONLY_ACTIVE = "active"
"""The name of an active that nobody named."""

LAST_STAGE = 2
MOST_APART = 2
"""How far two weighings of one whole unit may lie apart [%] (common practice)."""
MOST_FROM_OTHERS = 10
"""How far what the parts of a unit hold may lie from what others hold before it is told [%] (common practice)."""

CONTENTS = ("content_mg", "content_percent")

AssayRows = list[tuple[Assay, Entry]]
"""Determinations with the rows they came from."""


def read_assays(table: LocatedTable, units: UnitRows, actives: Sequence[Active], only: Active) -> tuple[Assay, ...]:
    """The determinations in the order in which they stand.

    Parameters
    ----------
    table : LocatedTable
        The Assay table.
    units : UnitRows
        The units; a determination must belong to one.
    actives : sequence of Active
        The actives of the Actives sheet; none when there is no such sheet.
    only : Active
        Then the one active, with what the call says of it.
    """
    if (table.entries and not _has_columns(table)) or (not units and table.findings.problems):
        # Where the units could not be read, none of these is wrong for not being among them.
        return ()
    units_spelled = {same_name(unit.name): unit.name for unit, _ in units}
    actives_spelled = {same_name(active.name): active.name for active in actives}
    claims = {active.name: active.label_claim_mg for active in actives or (only,)}
    rows: AssayRows = []
    # A row with its stage and without a content stands on the list of units to assay.
    open_rows = [one for one in table.entries if one.cell("stage") and not any(one.cell(name) for name in CONTENTS)]
    if open_rows:
        named = ", ".join(sorted((str(one.value("unit")) for one in open_rows), key=counting_order))
        table.remark_on("stage", open_rows, f"No content stands yet beside: {named}.")
    for entry in table.entries:
        name = table.name_in(entry, "unit")
        unit = None if name is None else _spelled(table, entry, "unit", name, units_spelled)
        active = _active(table, entry, actives_spelled, actives)
        part = entry.value("part") if entry.cell("part") else Part.WHOLE
        content = _content(table, entry, claims.get(active or "", claims.get(ONLY_ACTIVE)))
        if unit is None or active is None or part is None or not content:
            continue
        said = {"stage": entry.value("stage"), "part_mass_g": entry.value("part_mass_g")}
        rows.append((Assay(unit=unit, active=active, part=part, **content, **said), entry))
    _check_stages(table, rows)
    _check_parts(table, rows, units)
    _check_contents(table, rows, actives or (only,))
    return tuple(assay for assay, _ in rows)


def read_whole_unit_contents(table: LocatedTable, units: UnitRows, active: Active) -> tuple[Assay, ...]:
    """The contents that stand beside the masses of a bare table."""
    rows: AssayRows = []
    for unit, entry in units:
        if any(entry.cell(name) for name in CONTENTS) and (content := _content(table, entry, active.label_claim_mg)):
            rows.append((Assay(unit=unit.name, active=active.name, stage=entry.value("stage"), **content), entry))
    _check_stages(table, rows)
    _check_contents(table, rows, (active,))
    return tuple(assay for assay, _ in rows)


def _has_columns(table: LocatedTable) -> bool:
    """Whether the table has the columns without which nothing can be read; refused otherwise."""
    has_content = any(table.has(name) for name in CONTENTS)
    if not table.has("unit"):
        mend = 'Write the heading "Unit" over the unit of each determination'
        table.refuse_missing('the table has no column "Unit"', mend)
    elif not has_content:
        found = 'the table has neither a column "Content (mg)" nor "Content (% of label)"'
        table.refuse_missing(found, "Write one of these headings over the contents")
    return has_content and table.has("unit")


def _active(table: LocatedTable, entry: Entry, spelled: dict[str, str], actives: Sequence[Active]) -> str | None:
    """The active of a determination as Actives spells it; without Actives, as it is first spelled here."""
    name: str | None = entry.value("active")
    if name is not None and actives:
        return _spelled(table, entry, "active", name, spelled)
    if name is not None:
        return spelled.setdefault(same_name(name), name)
    if entry.cell("active") is None and len(actives) <= 1:
        return actives[0].name if actives else ONLY_ACTIVE
    if entry.cell("active") is None:
        mend = f"Type which it is: {', '.join(active.name for active in actives)}"
        table.refuse(entry, "active", "the determination names no active", mend)
    return None


def _spelled(table: LocatedTable, entry: Entry, noun: str, name: str, known: dict[str, str]) -> str | None:
    """A unit or an active as its own sheet spells it; None (and a problem) where it does not stand there."""
    spelled = known.get(same_name(name))
    if spelled is None:
        near = near_name(name, known.values())
        hint = f"; did you mean {near}?" if near else ""
        mend = f"Type the {noun} as it is named there, or add it there{hint}"
        table.refuse(entry, noun, f"{noun} {quoted(name)} does not stand in {noun.capitalize()}s", mend)
    return spelled


def _content(table: LocatedTable, entry: Entry, claim: Decimal | None) -> dict[str, Any]:
    """The one content of a determination by its attribute; nothing (and a problem) where there is not exactly one.

    Of mg and per cent of the label claim that say the same, to their last digits, mg is taken.
    """
    cells = [cell for name in CONTENTS if (cell := entry.cell(name)) is not None]
    if len(cells) == 2:
        content_mg, percent = (entry.values.get(name) for name in CONTENTS)
        if content_mg is None or percent is None:
            return {}
        if claim and abs(float(content_mg / claim * 100 - percent)) <= last_digit(cells[1]) + float(
            100 / claim
        ) * last_digit(cells[0]):
            return {CONTENTS[0]: content_mg}
        found = f"the content stands twice, {cells[0].quoted} here and {cells[1].quoted} in {cells[1].address}"
        mend = "Keep the one that was determined, and clear the other"
        if claim is None:
            mend += "; or give the label claim (--label-mg), by which one follows from the other"
        table.refuse(entry, CONTENTS[0], found, mend)
        return {}
    if not cells and entry.cell("stage") is None:
        attribute = next(name for name in CONTENTS if table.has(name))
        table.refuse(entry, attribute, "the determination has no content", "Type the content, or clear the row")
    return {name: value for name in CONTENTS if (value := entry.value(name)) is not None}


def _check_stages(table: LocatedTable, rows: AssayRows) -> None:
    """Refuse a second stage without its first, and a unit that stands in both: its mean would belong to neither."""
    first_row: dict[tuple[str, str], tuple[Assay, Entry]] = {}
    for assay, row in rows:
        if assay.stage is None:
            continue
        earlier, where = first_row.setdefault((assay.unit, assay.active), (assay, row))
        if earlier.stage != assay.stage:
            there = f"stage {earlier.stage} in row {where.number}"
            found = f"unit {assay.unit} is stage {assay.stage} here and {there}"
            mend = "A unit belongs to one stage: correct the unit, or give its duplicates the same stage"
            table.refuse(row, "stage", found, mend)
    for active in dict.fromkeys(assay.active for assay, _ in rows):
        own = [(assay, row) for assay, row in rows if assay.active == active]
        # A duplicate has the stage of its unit; what is wrong with a stage that was refused is said already.
        marked = {assay.unit for assay, row in own if row.cell("stage")}
        without = [row for assay, row in own if assay.part is Part.WHOLE and assay.unit not in marked]
        if marked and without:
            rows_without = in_runs([row.number for row in without])
            found = f"a part of the units of {active} has a stage, and no stage stands in row {rows_without}"
            mend = "Type 1 or 2 in each of them, 0 where the unit was assayed beside the test, or clear the column"
            table.refuse(without[0], "stage", found, mend)
        if all(assay.stage == LAST_STAGE for assay, _ in own):
            found = f"the determinations of {active} are all stage 2, and stage 1 is missing"
            mend = "Stage 2 pools all thirty units: enter the first ten too, as stage 1"
            table.refuse(own[0][1], "stage", found, mend)


def _check_parts(table: LocatedTable, rows: AssayRows, units: UnitRows) -> None:
    """Refuse a unit assayed whole and in parts, and one that weighs another mass here; tell what parts hold."""
    weighed = {unit.name: (unit.mass_g, unit.weighed_again_g) for unit, _ in units}
    for assay, row in rows:
        masses = [mass for mass in weighed.get(assay.unit, ()) if mass is not None]
        part = assay.part_mass_g
        apart = [100 * abs(part - mass) / mass for mass in masses] if part is not None else []
        if assay.part is Part.WHOLE and apart and min(apart) > MOST_APART:
            found = (
                f"unit {assay.unit} weighs {part:f} g as a whole here, and {masses[0]:f} g on the sheet of the units"
            )
            table.refuse(row, "part_mass_g", found, "Compare both with the record, and keep the one that is right")
    by_unit: dict[tuple[str, str], list[tuple[Assay, Entry]]] = {}
    for assay, row in rows:
        by_unit.setdefault((assay.unit, assay.active), []).append((assay, row))
    for (unit, _), own in by_unit.items():
        parts = [(assay, row) for assay, row in own if assay.part is not Part.WHOLE]
        if parts and len(parts) < len(own):
            found = f"unit {unit} was assayed whole, and part of it ({parts[0][0].part.value}) too"
            table.refuse(
                parts[0][1], "part", found, "A unit is assayed whole or in parts: correct the unit or the part"
            )
    _tell_of_parts(table, rows)


def _tell_of_parts(table: LocatedTable, rows: AssayRows) -> None:
    """A notice for each unit that holds more or less in its three parts together than the others do as a whole."""
    sums: dict[tuple[str, str], list[tuple[Assay, Entry]]] = {}
    for assay, row in rows:
        if assay.part is not Part.WHOLE and assay.content_mg is not None:
            sums.setdefault((assay.active, assay.unit), []).append((assay, row))
    together = {
        whose: sum((assay.content_mg or Decimal(0) for assay, _ in own), Decimal(0))
        for whose, own in sums.items()
        if len(own) == len({assay.part for assay, _ in own}) == len(Part) - 1
    }
    for (active, unit), own in sums.items():
        (assay, row), *more = own
        if not more and (cell := row.cell("content_mg")) is not None:
            said = f"unit {unit} in part ({assay.part.value}) alone, {assay.content_mg:f} mg of {active}"
            text = f"Read {said}: a part is no content of a unit."
            table.findings.ignore(table.table, cell.address, text, cells=[cell], what="parts of a unit", said=said)
    for (active, unit), content in together.items():
        wholes = [
            one.content_mg for one, _ in rows if one.active == active and one.part is Part.WHOLE and one.content_mg
        ]
        wholes += [other for (of, _), other in together.items() if of == active]
        middle = median(wholes)
        if len(wholes) > 1 and 100 * abs(content - middle) <= MOST_FROM_OTHERS * middle:
            continue
        cells = [cell for _, row in sums[active, unit] if (cell := row.cell("content_mg")) is not None]
        said = f"unit {unit} in parts, {content:f} mg of {active} together"
        text = f"Read {said}: its parts are held against one another, not as a unit."
        table.findings.ignore(table.table, cells[0].address, text, cells=cells, what="parts of a unit", said=said)


def _check_contents(table: LocatedTable, rows: AssayRows, actives: Sequence[Active]) -> None:
    """Refuse contents of whole units that are wrong by a thousand or are fractions typed for percentages."""
    claims = {active.name: active.label_claim_mg for active in actives}
    for active in dict.fromkeys(assay.active for assay, _ in rows):
        of_units = (row.cell("unit" if table.has("unit") else "name") for one, row in rows if one.active == active)
        tell_of_gaps(table, list(filter(None, of_units)))
        whole = [(one.unit, row) for one, row in rows if one.active == active and one.part is Part.WHOLE]
        columns = {name: measured(table, name, whole) for name in CONTENTS if table.has(name)}
        for column in columns.values():
            check_contents(column)
            tell_of_repeats(column)
        claim = claims.get(active, claims.get(ONLY_ACTIVE))
        if claim is not None and "content_mg" in columns:
            check_against(columns["content_mg"], claim, what=f"the label claim of {active}, {claim:f} mg")
