"""The entry workbook: an empty one, one for a planned batch, or one that already holds what was typed."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import Any

from msgspec.structs import replace

from qc import expr
from qc.batch import Batch, Unit
from qc.expr.parts import CellRef
from qc.fields import sheets
from qc.fields.entries import Entries, Row, entries_of
from qc.fields.field import Sheet
from qc.rules.kinds import mass
from qc.rules.rule_books import load_rule, set_ids
from qc.say.messages import words
from qc.workbook.entry.cells import LIVE_HEADER, ROW_HEIGHT, Lists, input_check, put_entry, write_entries, write_live
from qc.workbook.entry.instructions import write_instructions
from qc.workbook.entry.kept import stamp
from qc.workbook.entry.live import added_mass, share_of_mean
from qc.workbook.entry.plan import Plan, few_for_a_second_stage
from qc.workbook.entry.units import HEADER_ROW as UNITS_HEADER_ROW
from qc.workbook.entry.units import limits_shown, write_units
from qc.workbook.page import (
    FIRST_ROW,
    GREY,
    HEADER,
    HEADER_ROW,
    NOTE,
    REMARK,
    Page,
    Pages,
    Style,
    column_of,
    workbook_of,
)

MASS_RULE = "ph-eur-2.9.5"

EMPTY_UNITS = 30
"""Units of a sheet without a plan: as many as a content test with both its stages takes."""
_SPARE = 6
_MOST_ASSAYED = 200
"""Units for whose assays rows are kept; further ones are typed below them."""
# Rows of entries that a printed page holds in readable letters.
_ON_ONE_PAGE = 36
_NUMBER_COLUMN = 2
_NUMBER: Style = {"bold": True}
_TO_WRITE = "____________________"
# The widest table that an upright page holds in readable letters [characters].
_UPRIGHT_WIDTH = 100.0
_ADDED: Style = {**GREY, "num_format": "+0.0000;-0.0000;0.0000;@", "align": "right"}
_SHARE: Style = {**GREY, "num_format": "0.00", "align": "right"}
_HINT: Style = {**GREY, "italic": True, "indent": 1}


def filled_bytes(batch: Batch) -> bytes:
    """The entry workbook with what was entered elsewhere, everything as it was read, as bytes."""
    return _stamped(entries_of(batch))


def sheet_bytes(plan: Plan | None = None, *, units: int = EMPTY_UNITS) -> bytes:
    """The entry workbook as bytes; equal plans give equal bytes.

    Parameters
    ----------
    plan : Plan or None
        What is known before the pour.
    units : int
        Rows of a sheet without a plan, each with its number [-].
    """
    if plan is None:
        numbered = tuple(Unit(name=str(number)) for number in range(1, units + 1))
        return _stamped(entries_of(Batch(units=numbered)), spare=0)
    unit, short = plan.planned_unit(), few_for_a_second_stage(plan)
    working = "" if unit is None else words(unit.working)
    return _stamped(entries_of(plan.planned_batch()), working=working, warning="" if short is None else words(short))


def _stamped(entries: Entries, **said: Any) -> bytes:
    """An entry workbook that says how it was written; the rest as for `workbook_bytes`."""
    write = partial(workbook_bytes, entries, **said)
    return write(stamped=stamp(write()))


def workbook_bytes(
    entries: Entries, *, working: str = "", warning: str = "", spare: int = _SPARE, stamped: str = ""
) -> bytes:
    """An entry workbook that holds entries already, as bytes.

    Parameters
    ----------
    entries : Entries
        What is typed in; `entries_of` makes them from a batch.
    working : str
        The arithmetic of the planned mass, shown below the facts of the batch.
    warning : str
        What to know before the pour, shown over the units.
    spare : int
        Empty rows below the units [-].
    stamped : str
        A line on the first sheet about how it was written.
    """
    write = partial(_write, entries=entries, working=working, warning=warning, spare=spare, stamped=stamped)
    return workbook_of("Entry workbook", write)


def _write(pages: Pages, entries: Entries, *, working: str, warning: str, spare: int, stamped: str) -> None:
    rule = mass.KIND.own(load_rule(MASS_RULE))
    assert rule is not None, f"{MASS_RULE} is a rule of mass"
    page = pages.page(sheets.INSTRUCTIONS_SHEET, header_row=None, landscape=False)
    page.sheet.fit_to_pages(1, 1)
    first_page = page
    forms, limits, last_row = write_instructions(page, rule)
    kept = _rows_kept(entries, spare=spare)
    lists: dict[str, str | list[str]] = {"forms": f"={forms.text()}", "rules": list(set_ids())}
    page = pages.page(sheets.BATCH.name, landscape=False)
    facts = _write_batch(page, entries.batch, lists=lists, working=working)
    _for_paper(page)
    number = facts["number"]

    def table(known: Sheet, rows: Sequence[Row]) -> tuple[Page, list[dict[str, CellRef]]]:
        page = pages.page(known.name, landscape=sum(field.width for field in known.entered) > _UPRIGHT_WIDTH)
        page.head(known.name, known.guide)
        _for_paper(page, number=number, rows=kept[known.name])
        return page, write_entries(page, known, rows, count=kept[known.name], lists=lists)

    page, actives = table(sheets.ACTIVES, entries.actives)
    lists["actives"] = f"={column_of(actives, 'name').text()}"
    write_live(page, actives, sheets.ADDED_HEADING, added_mass, style=_ADDED)
    page = pages.page(sheets.UNITS.name, header_row=UNITS_HEADER_ROW)
    _for_paper(page, number=number, rows=kept[sheets.UNITS.name], header_row=UNITS_HEADER_ROW)
    if warning:
        page.put(UNITS_HEADER_ROW - 1, 0, warning, REMARK)
    shown = limits_shown(rule, facts, forms=forms, limits=limits)
    planned = facts["planned_mass_g"]
    units = write_units(
        page, entries.units, count=kept[sheets.UNITS.name], lists=lists, rule=rule, planned=planned, limits=shown
    )
    lists["units"] = f"={column_of(units, 'name').text()}"
    page, assays = table(sheets.ASSAY, entries.assay)
    write_live(page, assays, sheets.SHARE_HEADING, share_of_mean(assays), style=_SHARE)
    table(sheets.CAVITIES, entries.cavities)
    table(sheets.CHECKS, entries.checks)
    if stamped:
        first_page.put(last_row + 2, 0, stamped, NOTE)


def _for_paper(page: Page, *, number: CellRef | None = None, rows: int = 0, header_row: int = HEADER_ROW) -> None:
    """Batch number and a line to sign on every printed page; a table that is not too long on one page."""
    page.sheet.set_footer(
        "&L&A, page &P of &N&RFilled in by ________________ on ____________"
        "     Checked by ________________ on ____________"
    )
    if rows <= _ON_ONE_PAGE:
        page.sheet.fit_to_pages(1, 1)
    if number is not None:
        page.put(
            0, _NUMBER_COLUMN, expr.joined("Batch number: ", expr.when(number.equals(""), _TO_WRITE, number)), _NUMBER
        )
        page.sheet.repeat_rows(0, header_row)


def _write_batch(page: Page, values: Row, *, lists: Lists, working: str) -> dict[str, CellRef]:
    """The sheet Batch: a field a row, with what to write beside it; `working` is the arithmetic of the planned mass."""
    page.head(sheets.BATCH.name, sheets.BATCH.guide)
    page.set_widths(28, 34, 84)
    page.sheet.set_default_row(24)
    page.headers(HEADER_ROW, 0, (field.heading for field in sheets.FACTS.fields))
    page.put(HEADER_ROW, 2, sheets.HINT_HEADING, LIVE_HEADER)
    facts = {}
    for row, field in enumerate(sheets.BATCH.entered, start=FIRST_ROW):
        page.put(row, 0, field.heading, HEADER)
        cell = put_entry(page, row, 1, field=field, value=values.get(field.heading))
        facts[field.attribute] = replace(cell, written=f"{page.name}!$B${row + 1}")
        page.sheet.data_validation(row, 1, row, 1, input_check(field, lists))
        page.put(row, 2, field.hint, _HINT)
    if working:
        # Under the hints, where the reader looks for no field.
        row = FIRST_ROW + len(sheets.BATCH.entered)
        page.put(row, 2, f"Planned mass: {working}", NOTE)
        page.sheet.set_row(row, ROW_HEIGHT * 3)
    return facts


def _rows_kept(entries: Entries, *, spare: int) -> dict[str, int]:
    """Rows of each table: those filled, and some to spare; every empty row costs the reader time."""
    units, actives = len(entries.units), len(entries.actives)
    # As many assays as there are units of each active; each row asks all of them for the mean.
    assays = min(units, _MOST_ASSAYED) * max(1, actives) if units else EMPTY_UNITS
    return {
        sheets.ACTIVES.name: max(6, actives + 2),
        sheets.UNITS.name: units + spare if units else EMPTY_UNITS,
        sheets.ASSAY.name: max(assays, len(entries.assay)) + _SPARE,
        sheets.CAVITIES.name: max(_ON_ONE_PAGE, len(entries.cavities) + _SPARE),
        sheets.CHECKS.name: max(16, len(entries.checks) + _SPARE),
    }
