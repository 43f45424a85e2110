"""The first sheet: instructions in plain words, and the list of dosage forms that other sheets refer to."""

from __future__ import annotations

from pathlib import Path

from qc.expr.parts import CellRange
from qc.rules.forms import all_forms
from qc.rules.kinds.mass.record import MassRule
from qc.workbook.entry.units import rows_at_every_mass, source_of
from qc.workbook.page import HEADING, NOTE, Page

TITLE = "Entry workbook for one batch of moulded units"

# A heading, then its paragraphs, one a line; an empty line between two chapters.
INSTRUCTIONS = Path(__file__).with_name("how_to_fill_in.txt")

_WIDTHS = (50, 24, 24)
_FORMS_HEADINGS = ("Dosage forms and their limits of mass", "Limit (% of the mean)", "Outer limit (% of the mean)")


def write_instructions(page: Page, rule: MassRule) -> tuple[CellRange, CellRange, int]:
    """The page, then the list of dosage forms with the limits of those that have one at every mass.

    Forms that the rule does not name are offered too; their limit is for the house to give.

    Returns
    -------
    tuple of CellRange and int
        The dosage forms, the two columns of limits beside them, and their last row.
    """
    page.head(TITLE)
    page.set_widths(*_WIDTHS)
    row = 2
    for chapter in INSTRUCTIONS.read_text(encoding="utf-8").split("\n\n"):
        heading, *paragraphs = chapter.splitlines()
        page.headers(row, 0, (heading, "", ""), HEADING)
        for place, paragraph in enumerate(paragraphs, start=row + 1):
            page.spread(place, paragraph, columns=len(_WIDTHS))
        row += len(paragraphs) + 2
    page.headers(row, 0, _FORMS_HEADINGS, HEADING)
    note = (
        f"From {source_of(rule)}. Where no figure stands, the limit hangs on the mean mass, or the source has none: "
        "type it into the box on the sheet Units, and name its source on the sheet Batch under Note."
    )
    page.spread(row + 1, note, columns=len(_WIDTHS))
    settled = rows_at_every_mass(rule)
    forms, limits = [], []
    for place, form in enumerate(dict.fromkeys((*settled, *(form.name for form in all_forms()))), start=row + 2):
        band = settled.get(form)
        forms.append(page.put(place, 0, form, NOTE))
        for column, limit in enumerate((band.limit_percent, band.outer_percent) if band else (None, None), start=1):
            limits.append(page.put(place, column, limit, NOTE))
    return CellRange(cells=tuple(forms)), CellRange(cells=tuple(limits)), place
