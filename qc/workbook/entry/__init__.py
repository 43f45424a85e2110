"""The entry workbook: an empty one, one for a planned batch, or one that already holds what was typed."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from io import BytesIO
from pathlib import Path

from msgspec import Struct

from qc.batch import Batch
from qc.fields.entries import Entries, Row, entries_of
from qc.fields.sheets import ACTIVES, ASSAY, BATCH, CAVITIES, CHECKS, INSTRUCTIONS_SHEET, UNITS
from qc.rules.forms import all_forms, find_form
from qc.rules.kinds.mass.record import MassRule
from qc.rules.rule_books import load_rule, set_ids
from qc.workbook.entry.cells import Lists
from qc.workbook.entry.instructions import write_instructions
from qc.workbook.entry.limits import ShownLimits, shown_limits
from qc.workbook.entry.look import look_of
from qc.workbook.entry.plan import Plan
from qc.workbook.entry.tables import FIRST_ROW, write_added_mass, write_assay_live, write_batch, write_table
from qc.workbook.entry.units import FIRST_ROW as FIRST_UNIT_ROW
from qc.workbook.entry.units import write_units

MASS_RULE = "ph-eur-2.9.5"

# A fixed date: the same entries give the same bytes.
_MADE = datetime(2026, 1, 1)

_EMPTY_UNITS = 60
_SPARE = 6


class _Room(Struct, frozen=True, kw_only=True):
    """Rows kept for each table: those filled, and some to spare."""

    actives: int = 6
    units: int = _EMPTY_UNITS
    assay: int = 60
    cavities: int = 60
    checks: int = 16


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
    return workbook_bytes(entries_of(plan.planned_batch()), working="" if unit is None else unit.working)


def workbook_bytes(entries: Entries, *, working: str = "") -> bytes:
    """An entry workbook that holds entries already, as bytes.

    Parameters
    ----------
    entries : Entries
        What is typed in; `entries_of` makes them from a batch.
    working : str
        The arithmetic of the planned mass, shown below the facts of the batch.
    """
    from xlsxwriter import Workbook

    buffer = BytesIO()
    workbook = Workbook(
        buffer, {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    )
    workbook.set_properties({"title": "Entry workbook", "created": _MADE})
    look = look_of(workbook)
    limits = _limits(entries.batch)
    room = _room_for(entries)
    names = (known.name for known in (BATCH, ACTIVES, UNITS, ASSAY, CAVITIES, CHECKS))
    sheets = {name: workbook.add_worksheet(name) for name in (INSTRUCTIONS_SHEET, *names)}
    forms = write_instructions(
        sheets[INSTRUCTIONS_SHEET], look=look, limits=limits, further_forms=tuple(form.name for form in all_forms())
    )
    last_unit_row = FIRST_UNIT_ROW + room.units - 1
    lists: Lists = {
        "forms": f"={forms.forms}",
        "rules": list(set_ids()),
        "units": f"=Units!$A${FIRST_UNIT_ROW + 1}:$A${last_unit_row + 1}",
        "actives": f"=Actives!$A${FIRST_ROW + 1}:$A${FIRST_ROW + room.actives}",
    }
    write_batch(sheets["Batch"], look=look, values=entries.batch, lists=lists, working=working)
    for known, rows, count in (
        (ACTIVES, entries.actives, room.actives),
        (ASSAY, entries.assay, room.assay),
        (CAVITIES, entries.cavities, room.cavities),
        (CHECKS, entries.checks, room.checks),
    ):
        write_table(sheets[known.name], known, look=look, rows=rows, last_row=FIRST_ROW + count - 1, lists=lists)
    write_added_mass(sheets["Actives"], look=look, rows=entries.actives, last_row=FIRST_ROW + room.actives - 1)
    write_assay_live(sheets["Assay"], look=look, rows=entries.assay, last_row=FIRST_ROW + room.assay - 1)
    write_units(
        sheets["Units"],
        look=look,
        rows=entries.units,
        batch=entries.batch,
        limits=limits,
        lists=lists,
        limit_list=forms.limits,
        last_row=last_unit_row,
    )
    workbook.close()
    return buffer.getvalue()


def _limits(batch: Row) -> ShownLimits:
    rule = load_rule(MASS_RULE)
    if not isinstance(rule, MassRule):
        raise TypeError(f"{MASS_RULE} is not a rule of mass")
    form = batch.get(BATCH.field("dosage_form").heading)
    known = find_form(form) if isinstance(form, str) else None
    planned = batch.get(BATCH.field("planned_mass_g").heading)
    return shown_limits(
        rule,
        form=None if known is None else known.name,
        planned_mass_g=planned if isinstance(planned, Decimal) else None,
    )


def _room_for(entries: Entries) -> _Room:
    least = _Room()
    # As many assays as there are units of each active; every empty row costs the reader time.
    assays = len(entries.units) * max(1, len(entries.actives)) if entries.units else least.assay
    return _Room(
        actives=max(least.actives, len(entries.actives) + 2),
        units=len(entries.units) + _SPARE if entries.units else least.units,
        assay=max(assays, len(entries.assay)) + _SPARE,
        cavities=max(least.cavities, len(entries.cavities) + _SPARE),
        checks=max(least.checks, len(entries.checks) + _SPARE),
    )
