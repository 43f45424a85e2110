"""The entry workbook: an empty one, one for a planned batch, or one that already holds what was typed."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from msgspec.structs import replace

from qc.batch import Batch
from qc.expr import CellRef
from qc.fields.entries import Entries, Row, entries_of
from qc.fields.field import Sheet
from qc.fields.sheets import (
    ACTIVES,
    ADDED_HEADING,
    ASSAY,
    BATCH,
    CAVITIES,
    CHECKS,
    FACTS,
    HINT_HEADING,
    INSTRUCTIONS_SHEET,
    SHARE_HEADING,
    UNITS,
)
from qc.rules.kinds import mass
from qc.rules.rule_books import load_rule, set_ids
from qc.say.messages import words
from qc.workbook.entry.cells import LIVE_HEADER, ROW_HEIGHT, Lists, input_check, put_entry, write_entries, write_live
from qc.workbook.entry.instructions import write_instructions
from qc.workbook.entry.live import added_mass, share_of_mean
from qc.workbook.entry.plan import Plan
from qc.workbook.entry.units import HEADER_ROW as UNITS_HEADER_ROW
from qc.workbook.entry.units import limits_shown, write_units
from qc.workbook.page import FIRST_ROW, GREY, HEADER, HEADER_ROW, NOTE, Page, Pages, Style, column_of, workbook_of

MASS_RULE = "ph-eur-2.9.5"

_SPARE = 6
# The widest table that an upright page holds in readable letters [characters].
_UPRIGHT_WIDTH = 100.0
_ADDED: Style = {**GREY, "num_format": "+0.0000;-0.0000;0.0000;@", "align": "right"}
_SHARE: Style = {**GREY, "num_format": "0.00", "align": "right"}
_HINT: Style = {**GREY, "italic": True, "indent": 1}


def write_sheet(path: Path, *, plan: Plan | None = None, replace: bool = False) -> None:
    """Write an entry workbook, empty or filled with a plan; a person types into it and `qc check` reads it.

    Parameters
    ----------
    path : Path
        Where it goes; its name ends in .xlsx.
    plan : Plan or None
        What is known before the pour: units, order, cavities and planned mass are then filled in.
    replace : bool
        Whether a file that stands there may be written over.

    Raises
    ------
    ValueError
        When the name does not end in .xlsx.
    FileExistsError
        When a file stands there already and may not be written over: it may hold entries.
    """
    if path.suffix.lower() != ".xlsx":
        raise ValueError(
            f'"{path.name}" does not end in .xlsx: name the workbook for example {path.stem or "batch"}.xlsx'
        )
    if path.exists() and not replace:
        raise FileExistsError(
            f"{path.name} exists already and may hold entries: choose another name, or move it away first"
        )
    # Written beside and moved into place, so that a full disk leaves no half workbook.
    beside = path.with_name(f".{path.name}.part")
    try:
        beside.write_bytes(sheet_bytes(plan))
        beside.replace(path)
    finally:
        beside.unlink(missing_ok=True)


def sheet_bytes(plan: Plan | None = None) -> bytes:
    """The entry workbook as bytes; equal plans give equal bytes.

    Parameters
    ----------
    plan : Plan or None
        What is known before the pour.
    """
    if plan is None:
        return workbook_bytes(entries_of(Batch(units=())))
    unit = plan.planned_unit()
    return workbook_bytes(entries_of(plan.planned_batch()), working="" if unit is None else words(unit.working))


def workbook_bytes(entries: Entries, *, working: str = "") -> bytes:
    """An entry workbook that holds entries already, as bytes.

    Parameters
    ----------
    entries : Entries
        What is typed in; `entries_of` makes them from a batch.
    working : str
        The arithmetic of the planned mass, shown below the facts of the batch.
    """
    return workbook_of("Entry workbook", lambda pages: _write(pages, entries, working=working))


def _write(pages: Pages, entries: Entries, *, working: str) -> None:
    rule = mass.KIND.own(load_rule(MASS_RULE))
    assert rule is not None, f"{MASS_RULE} is a rule of mass"
    forms, limits = write_instructions(pages.page(INSTRUCTIONS_SHEET, header_row=None, landscape=False), rule)
    kept = _rows_kept(entries)
    lists: dict[str, str | list[str]] = {"forms": f"={forms.text()}", "rules": list(set_ids())}
    facts = _write_batch(pages.page(BATCH.name), entries.batch, lists=lists, working=working)

    def table(known: Sheet, rows: Sequence[Row]) -> tuple[Page, list[dict[str, CellRef]]]:
        page = pages.page(known.name, landscape=sum(field.width for field in known.entered) > _UPRIGHT_WIDTH)
        page.head(known.name, known.guide)
        return page, write_entries(page, known, rows, count=kept[known.name], lists=lists)

    page, actives = table(ACTIVES, entries.actives)
    lists["actives"] = f"={column_of(actives, 'name').text()}"
    write_live(page, actives, ADDED_HEADING, added_mass, style=_ADDED)
    page = pages.page(UNITS.name, header_row=UNITS_HEADER_ROW)
    shown = limits_shown(rule, facts, forms=forms, limits=limits)
    planned = facts["planned_mass_g"]
    units = write_units(
        page, entries.units, count=kept[UNITS.name], lists=lists, rule=rule, planned=planned, limits=shown
    )
    lists["units"] = f"={column_of(units, 'name').text()}"
    page, assays = table(ASSAY, entries.assay)
    write_live(page, assays, SHARE_HEADING, share_of_mean(assays), style=_SHARE)
    table(CAVITIES, entries.cavities)
    table(CHECKS, entries.checks)


def _write_batch(page: Page, values: Row, *, lists: Lists, working: str) -> dict[str, CellRef]:
    """The sheet Batch: a field a row, with what to write beside it; `working` is the arithmetic of the planned mass."""
    page.head(BATCH.name, BATCH.guide)
    page.set_widths(28, 34, 84)
    page.sheet.set_default_row(18)
    page.headers(HEADER_ROW, 0, (field.heading for field in FACTS.fields))
    page.put(HEADER_ROW, 2, HINT_HEADING, LIVE_HEADER)
    facts = {}
    for row, field in enumerate(BATCH.entered, start=FIRST_ROW):
        page.put(row, 0, field.heading, HEADER)
        cell = put_entry(page, row, 1, field=field, value=values.get(field.heading))
        facts[field.attribute] = replace(cell, written=f"{page.name}!$B${row + 1}")
        page.sheet.data_validation(row, 1, row, 1, input_check(field, lists))
        page.put(row, 2, field.hint, _HINT)
    if working:
        # Under the hints, where the reader looks for no field.
        row = FIRST_ROW + len(BATCH.entered)
        page.put(row, 2, f"Planned mass: {working}", NOTE)
        page.sheet.set_row(row, ROW_HEIGHT * 3)
    return facts


def _rows_kept(entries: Entries) -> dict[str, int]:
    """Rows of each table: those filled, and some to spare; every empty row costs the reader time."""
    units, actives = len(entries.units), len(entries.actives)
    # As many assays as there are units of each active.
    assays = units * max(1, actives) if units else 60
    return {
        ACTIVES.name: max(6, actives + 2),
        UNITS.name: units + _SPARE if units else 60,
        ASSAY.name: max(assays, len(entries.assay)) + _SPARE,
        CAVITIES.name: max(60, len(entries.cavities) + _SPARE),
        CHECKS.name: max(16, len(entries.checks) + _SPARE),
    }
