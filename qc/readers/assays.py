"""The Assay sheet, one determination a row; and the contents of whole units that a bare table carries."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from qc.batch import Active, Assay, Part
from qc.readers.known_tables import Entry
from qc.readers.names import near_name, same_name
from qc.readers.plausible import THOUSAND, Placed, check_percents, ratio_within, refuse_thousandfold
from qc.readers.read_tables import ReadTable
from qc.readers.units import UnitRows

ONLY_ACTIVE = "active"
"""The name of an active that nobody named."""

LAST_STAGE = 2

AssayRows = list[tuple[Assay, Entry]]
"""Determinations with the rows they came from."""


def read_assays(table: ReadTable, units: UnitRows, actives: Sequence[Active]) -> tuple[Assay, ...]:
    """The determinations in the order in which they stand.

    Parameters
    ----------
    table : ReadTable
        The Assay table.
    units : UnitRows
        The units; a determination must belong to one.
    actives : sequence of Active
        The actives of the Actives sheet; none when there is no such sheet.
    """
    if not _has_columns(table):
        return ()
    spelled = {same_name(active.name): active.name for active in actives}
    rows: AssayRows = []
    for entry in table.rows:
        unit = _unit(table, entry, units)
        active = _active(table, entry, spelled, actives)
        content = _content(table, entry)
        part = entry.value("part") if entry.cell("part") else Part.WHOLE
        if unit is None or active is None or part is None or not content:
            continue
        said = {"stage": entry.value("stage"), "part_mass_g": entry.value("part_mass_g")}
        rows.append((Assay(unit=unit, active=active, part=part, **content, **said), entry))
    _check_stages(table, rows)
    _check_contents(table, rows, actives)
    return tuple(assay for assay, _ in rows)


def read_whole_unit_contents(table: ReadTable, units: UnitRows, active: Active) -> tuple[Assay, ...]:
    """The contents that stand beside the masses of a bare table."""
    rows: AssayRows = []
    for unit, entry in units.rows:
        if (entry.cell("content_mg") or entry.cell("content_percent")) and (content := _content(table, entry)):
            rows.append((Assay(unit=unit.name, active=active.name, **content), entry))
    _check_contents(table, rows, (active,))
    return tuple(assay for assay, _ in rows)


def _has_columns(table: ReadTable) -> bool:
    """Whether the table has the columns without which nothing can be read; refused otherwise."""
    unknown, doubt = table.known.unknown, table.known.doubt
    hints = f"{unknown.for_column()}{doubt.found}"
    if not table.rows:
        return True
    if not table.has("unit"):
        mend = f'Write the heading "Unit" over the unit of each determination{doubt.mend}'
        table.refuse_table(f'the table has no column "Unit"{hints}', mend)
        return False
    if not table.has("content_mg") and not table.has("content_percent"):
        found = f'the table has neither a column "Content (mg)" nor "Content (% of label)"{hints}'
        table.refuse_table(found, f"Write one of these headings over the contents{doubt.mend}")
        return False
    return True


def _unit(table: ReadTable, entry: Entry, units: UnitRows) -> str | None:
    name: str | None = entry.value("unit")
    if entry.cell("unit") is None:
        mend = "Type the unit that was assayed, or clear the row"
        table.refuse(entry, "unit", "the determination has no unit", mend)
    known = None if name is None else units.named(name)
    if name is not None and known is None:
        mend = f"Type the unit as it is named there, or add it there{_did_you_mean(units.near(name))}"
        table.refuse(entry, "unit", f'unit "{name}" does not stand in Units', mend)
    return known


def _active(table: ReadTable, entry: Entry, spelled: dict[str, str], actives: Sequence[Active]) -> str | None:
    """The active of a determination as Actives spells it; without Actives, as it is first spelled here."""
    name: str | None = entry.value("active")
    if name is None:
        if entry.cell("active") is not None:
            return None
        if len(actives) > 1:
            names = ", ".join(active.name for active in actives)
            table.refuse(entry, "active", "the determination names no active", f"Type which it is: {names}")
            return None
        return actives[0].name if actives else ONLY_ACTIVE
    if not actives:
        return spelled.setdefault(same_name(name), name)
    known = spelled.get(same_name(name))
    if known is None:
        mend = (
            f"Type the active as it is named there, or add it there{_did_you_mean(near_name(name, spelled.values()))}"
        )
        table.refuse(entry, "active", f'active "{name}" does not stand in Actives', mend)
    return known


def _did_you_mean(near: str | None) -> str:
    return f"; did you mean {near}?" if near else ""


def _content(table: ReadTable, entry: Entry) -> dict[str, Any]:
    """The one content of a determination by its attribute; nothing (and a problem) where there is not exactly one."""
    in_mg, in_percent = entry.cell("content_mg"), entry.cell("content_percent")
    if in_mg is not None and in_percent is not None:
        there = f'"{in_mg.text.strip()}" here and "{in_percent.text.strip()}" in {in_percent.address}'
        mend = "Keep the one that was determined, and clear the other"
        table.refuse(entry, "content_mg", f"the content stands twice, {there}", mend)
        return {}
    if in_mg is None and in_percent is None:
        attribute = "content_mg" if table.has("content_mg") else "content_percent"
        table.refuse(entry, attribute, "the determination has no content", "Type the content, or clear the row")
    return {name: value for name in ("content_mg", "content_percent") if (value := entry.value(name)) is not None}


def _check_stages(table: ReadTable, rows: AssayRows) -> None:
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
        if all(assay.stage == LAST_STAGE for assay, _ in own):
            found = f"the determinations of {active} are all stage 2, and stage 1 is missing"
            mend = "Stage 2 pools all thirty units: enter the first ten too, as stage 1"
            table.refuse(own[0][1], "stage", found, mend)


def _check_contents(table: ReadTable, rows: AssayRows, actives: Sequence[Active]) -> None:
    """Refuse contents of whole units that are wrong by a thousand or are fractions typed for percentages."""
    claims = {active.name: active.label_claim_mg for active in actives}
    for active in dict.fromkeys(assay.active for assay, _ in rows):
        in_percent, in_mg = (
            [
                Placed(name=assay.unit, entry=row, value=value)
                for assay, row in rows
                if assay.active == active and assay.part is Part.WHOLE and (value := getattr(assay, name)) is not None
            ]
            for name in ("content_percent", "content_mg")
        )
        check_percents(table, in_percent)
        if in_mg:
            refuse_thousandfold(table, "content_mg", in_mg)
            _check_claim(table, active, in_mg, claims.get(active))


def _check_claim(table: ReadTable, active: str, contents: Sequence[Placed], claim: Decimal | None) -> None:
    off = [one for one in contents if claim is not None and ratio_within(one.value, claim, THOUSAND)]
    # Single ones are already told apart from the others; here all of them are on the wrong side.
    if claim is None or not off or 2 * len(off) <= len(contents):
        return
    wrong = f"{off[0].value:f} mg and the like, are about a thousand times off the label claim of {claim:f} mg"
    mend = "See which of the two is in the wrong unit, and type it in mg"
    table.refuse(off[0].entry, "content_mg", f"the contents of {active}, {wrong}", mend)
