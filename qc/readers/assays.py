"""The Assay sheet, one determination a row; and the contents of whole units that a bare table carries."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from qc.batch import Active, Assay, Part
from qc.readers.entries import Entries, near_name, same_name
from qc.readers.known_tables import Entry
from qc.readers.plausible import THOUSAND, Measured, check_percents, ratio_within, refuse_thousandfold
from qc.readers.units import UnitRows

ONLY_ACTIVE = "active"
"""The name of an active that nobody named."""

LAST_STAGE = 2


def read_assays(entries: Entries, units: UnitRows, actives: Sequence[Active]) -> tuple[Assay, ...]:
    """The determinations in the order in which they stand.

    Parameters
    ----------
    entries : Entries
        The Assay table.
    units : UnitRows
        The units; a determination must belong to one.
    actives : sequence of Active
        The actives of the Actives sheet; none when there is no such sheet.
    """
    assays: list[Assay] = []
    rows: list[Entry] = []
    spelled = {same_name(active.name): active.name for active in actives}
    may_be_new = not actives
    if "unit" not in entries.known.columns and entries.rows:
        entries.findings.refuse(
            entries.known.table,
            "",
            found=f'the table has no column "Unit"{_hints(entries)}',
            mend=f'Write the heading "Unit" over the unit of each determination{entries.known.doubt.mend}',
        )
        return ()
    if not _has_content_column(entries):
        return ()
    for entry in entries.rows:
        unit = _unit(entries, entry, units)
        active = _active(entries, entry, spelled, actives, may_be_new=may_be_new)
        part = entries.word(entry, "part", Part) if entry.cell("part") else Part.WHOLE
        stage = _stage(entries, entry)
        if not _has_one_content(entries, entry):
            continue
        content_mg = entries.number(entry, "content_mg")
        content_percent = entries.number(entry, "content_percent")
        if unit is None or active is None or part is None or (content_mg is None and content_percent is None):
            continue
        rows.append(entry)
        assays.append(
            Assay(
                unit=unit,
                active=active,
                part=part,
                stage=stage,
                content_mg=content_mg,
                content_percent=content_percent,
                part_mass_g=entries.number(entry, "part_mass_g"),
            )
        )
    _check_stages(entries, assays, rows)
    check_contents(entries, assays, rows, actives)
    return tuple(assays)


def read_whole_unit_contents(entries: Entries, units: UnitRows, active: Active) -> tuple[Assay, ...]:
    """The contents that stand beside the masses of a bare table."""
    assays: list[Assay] = []
    rows: list[Entry] = []
    for unit, entry in zip(units.units, units.rows, strict=True):
        if entry.cell("content_mg") is None and entry.cell("content_percent") is None:
            continue
        if not _has_one_content(entries, entry):
            continue
        content_mg, content_percent = entries.number(entry, "content_mg"), entries.number(entry, "content_percent")
        if content_mg is not None or content_percent is not None:
            rows.append(entry)
            assays.append(
                Assay(unit=unit.name, active=active.name, content_mg=content_mg, content_percent=content_percent)
            )
    check_contents(entries, assays, rows, (active,))
    return tuple(assays)


def _hints(entries: Entries) -> str:
    return f"{entries.known.unknown.for_column()}{entries.known.doubt.found}"


def _has_content_column(entries: Entries) -> bool:
    if not entries.rows or {"content_mg", "content_percent"} & set(entries.known.columns):
        return True
    entries.findings.refuse(
        entries.known.table,
        "",
        found=f'the table has neither a column "Content (mg)" nor "Content (% of label)"{_hints(entries)}',
        mend=f"Write one of these headings over the contents{entries.known.doubt.mend}",
    )
    return False


def _unit(entries: Entries, entry: Entry, units: UnitRows) -> str | None:
    name = entries.name(entry, "unit")
    if name is None:
        if entry.cell("unit") is None:
            mend = "Type the unit that was assayed, or clear the row"
            entries.refuse(entry, "unit", found="the determination has no unit", mend=mend)
        return None
    known = units.named(name)
    if known is None:
        near = units.near(name)
        hint = f"; did you mean {near}?" if near else ""
        entries.refuse(
            entry,
            "unit",
            found=f'unit "{name}" does not stand in Units',
            mend=f"Type the unit as it is named there, or add it there{hint}",
        )
    return known


def _active(
    entries: Entries, entry: Entry, spelled: dict[str, str], actives: Sequence[Active], *, may_be_new: bool
) -> str | None:
    """The active of a determination as Actives spells it; without Actives, as it is first spelled here."""
    name = entries.name(entry, "active")
    if name is None:
        if entry.cell("active") is not None:
            return None
        if len(actives) > 1:
            names = ", ".join(active.name for active in actives)
            entries.refuse(
                entry, "active", found="the determination names no active", mend=f"Type which it is: {names}"
            )
            return None
        return actives[0].name if actives else ONLY_ACTIVE
    if may_be_new:
        return spelled.setdefault(same_name(name), name)
    known = spelled.get(same_name(name))
    if known is None:
        near = near_name(name, list(spelled.values()))
        hint = f"; did you mean {near}?" if near else ""
        entries.refuse(
            entry,
            "active",
            found=f'active "{name}" does not stand in Actives',
            mend=f"Type the active as it is named there, or add it there{hint}",
        )
    return known


def _stage(entries: Entries, entry: Entry) -> int | None:
    stage = entries.whole(entry, "stage")
    if stage is not None and stage > LAST_STAGE:
        entries.refuse(entry, "stage", found=f"stage {stage} is neither 1 nor 2", mend="Type 1 or 2, or leave it empty")
        return None
    return stage


def _has_one_content(entries: Entries, entry: Entry) -> bool:
    in_mg, in_percent = entry.cell("content_mg"), entry.cell("content_percent")
    if in_mg is not None and in_percent is not None:
        entries.refuse(
            entry,
            "content_mg",
            found=f'the content stands twice, "{in_mg.text.strip()}" here and "{in_percent.text.strip()}" '
            f"in {in_percent.address}",
            mend="Keep the one that was determined, and clear the other",
        )
        return False
    if in_mg is None and in_percent is None:
        field = "content_mg" if "content_mg" in entries.known.columns else "content_percent"
        entries.refuse(
            entry, field, found="the determination has no content", mend="Type the content, or clear the row"
        )
        return False
    return True


def _check_stages(entries: Entries, assays: Sequence[Assay], rows: Sequence[Entry]) -> None:
    """Refuse a second stage without its first, and a unit that stands in both: its mean would belong to neither."""
    first_row: dict[tuple[str, str], tuple[Assay, Entry]] = {}
    for assay, row in zip(assays, rows, strict=True):
        if assay.stage is None:
            continue
        earlier, where = first_row.setdefault((assay.unit, assay.active), (assay, row))
        if earlier.stage != assay.stage:
            entries.refuse(
                row,
                "stage",
                found=f"unit {assay.unit} is stage {assay.stage} here and stage {earlier.stage} in row {where.number}",
                mend="A unit belongs to one stage: correct the unit, or give its duplicates the same stage",
            )
    for active in dict.fromkeys(assay.active for assay in assays):
        own = [(assay, row) for assay, row in zip(assays, rows, strict=True) if assay.active == active]
        if all(assay.stage == LAST_STAGE for assay, _ in own):
            entries.refuse(
                own[0][1],
                "stage",
                found=f"the determinations of {active} are all stage 2, and stage 1 is missing",
                mend="Stage 2 pools all thirty units: enter the first ten too, as stage 1",
            )


def check_contents(entries: Entries, assays: Sequence[Assay], rows: Sequence[Entry], actives: Sequence[Active]) -> None:
    """Refuse contents of whole units that are wrong by a thousand or are fractions typed for percentages."""
    claims = {active.name: active.label_claim_mg for active in actives}
    for active in dict.fromkeys(assay.active for assay in assays):
        own = [
            (assay, row)
            for assay, row in zip(assays, rows, strict=True)
            if assay.active == active and assay.part is Part.WHOLE
        ]
        in_percent = [
            Measured(name=assay.unit, entry=row, value=assay.content_percent)
            for assay, row in own
            if assay.content_percent is not None
        ]
        in_mg = [
            Measured(name=assay.unit, entry=row, value=assay.content_mg)
            for assay, row in own
            if assay.content_mg is not None
        ]
        check_percents(entries, "content_percent", in_percent)
        refuse_thousandfold(entries, "content_mg", "mg", in_mg)
        _check_claim(entries, active, in_mg, claims.get(active))


def _check_claim(entries: Entries, active: str, contents: Sequence[Measured], claim: Decimal | None) -> None:
    off = [one for one in contents if claim is not None and ratio_within(one.value, claim, THOUSAND)]
    # Single ones are already told apart from the others; here all of them are on the wrong side.
    if claim is None or not off or 2 * len(off) <= len(contents):
        return
    entries.refuse(
        off[0].entry,
        "content_mg",
        found=f"the contents of {active}, {off[0].value:f} mg and the like, are about a thousand times off "
        f"the label claim of {claim:f} mg",
        mend="See which of the two is in the wrong unit, and type it in mg",
    )
