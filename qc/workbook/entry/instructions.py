"""The first sheet: instructions in plain words, and the list of dosage forms that other sheets refer to."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from msgspec import Struct

from qc.fields.sheets import INSTRUCTIONS_SHEET
from qc.workbook.entry.limits import ShownLimits
from qc.workbook.entry.look import Look, protect, set_page
from qc.workbook.entry.words import INSTRUCTIONS, TITLE

if TYPE_CHECKING:
    from xlsxwriter.worksheet import Worksheet

_CHARACTERS_A_LINE = 112
_LINE_HEIGHT = 13.5


class FormRanges(Struct, frozen=True, kw_only=True):
    """Ranges that other sheets refer to: the dosage forms, and the two columns of limits beside them."""

    forms: str
    limits: str


def write_instructions(
    sheet: Worksheet, *, look: Look, limits: ShownLimits, further_forms: Sequence[str]
) -> FormRanges:
    """The page, then the list of dosage forms with the limits of those that have one at every mass.

    `further_forms` are offered too where the rule does not name them; their limit is for the house to give.
    """
    sheet.set_column(0, 0, 50)
    sheet.set_column(1, 2, 24)
    sheet.write_string(0, 0, TITLE, look.title)
    sheet.set_row(0, 24)
    row = 2
    for heading, paragraphs in INSTRUCTIONS:
        for column in range(3):
            sheet.write_string(row, column, heading if column == 0 else "", look.heading)
        sheet.set_row(row, 18)
        row += 1
        for paragraph in paragraphs:
            sheet.merge_range(row, 0, row, 2, paragraph, look.plain)
            lines = -(-len(paragraph) // _CHARACTERS_A_LINE)
            sheet.set_row(row, _LINE_HEIGHT * lines + 3)
            row += 1
        row += 1
    lists = _write_forms(sheet, look=look, limits=limits, further_forms=further_forms, row=row)
    set_page(sheet, landscape=False, header_row=None)
    protect(sheet)
    return lists


def _write_forms(
    sheet: Worksheet, *, look: Look, limits: ShownLimits, further_forms: Sequence[str], row: int
) -> FormRanges:
    for column, text in enumerate(
        ("Dosage forms and their limits of mass", "Limit (% of the mean)", "Outer limit (% of the mean)")
    ):
        sheet.write_string(row, column, text, look.heading)
    row += 1
    note = (
        f"From {limits.source}. Where no figure stands, the limit hangs on the mean mass, or the source has none: "
        "type it into the box on the sheet Units, and name its source on the sheet Batch under Note."
    )
    sheet.merge_range(row, 0, row, 2, note, look.plain)
    sheet.set_row(row, _LINE_HEIGHT * 3 + 3)
    first = row + 1
    known = {form: (limit, outer) for form, limit, outer in limits.by_form}
    forms = list(dict.fromkeys((*known, *further_forms, *limits.forms)))
    for place, form in enumerate(forms, start=first):
        sheet.write_string(place, 0, form, look.plain)
        for column, number in enumerate(known.get(form, ()), start=1):
            sheet.write_number(place, column, float(number), look.plain)
    last = first + len(forms)
    return FormRanges(
        forms=f"'{INSTRUCTIONS_SHEET}'!$A${first + 1}:$A${last}",
        limits=f"'{INSTRUCTIONS_SHEET}'!$B${first + 1}:$C${last}",
    )
