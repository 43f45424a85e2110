"""The first sheet: instructions in plain words, and the list of dosage forms that other sheets refer to."""

from __future__ import annotations

from qc.expr import CellRange
from qc.rules.forms import all_forms
from qc.rules.kinds.mass.record import MassRule
from qc.workbook.entry.units import rows_at_every_mass, source_of
from qc.workbook.page import HEADING, NOTE, Page

TITLE = "Entry workbook for one batch of moulded units"

# A heading, then its paragraphs.
INSTRUCTIONS: tuple[tuple[str, tuple[str, ...]], ...] = (
    (
        "What it is for",
        (
            "Type in what was planned, weighed, assayed and seen. Then run:  qc check followed by the name of "
            "this file. "
            "It judges the sample by the rules, says where in the pour a fault lies, and writes a report to sign.",
            "It judges a sample. It releases nothing: that is for the person licensed to do it, by the "
            "pharmacopoeia in "
            "force where you work and by your own procedures. Where those differ from this page, they hold.",
            "The colours and counts on the sheet Units are a guide while you weigh. They are no verdict.",
        ),
    ),
    (
        "How to type",
        (
            "Type only in the pale yellow cells; the others are locked (Review, Unprotect Sheet opens them; "
            "there is no password).",
            "Numbers in digits, without the unit: the header says the unit. A zero is 0, not the letter O.",
            "Type what the balance shows, every digit, one unit at a time. Never a mean, never ten units weighed "
            "together.",
            "Do not sort, add totals below a table, or type in other columns. Empty rows do no harm.",
            "A sheet you do not need stays empty. Only Units is needed.",
        ),
    ),
    (
        "Batch and Actives",
        (
            "Nominal mass is what a cavity holds in plain base. Planned mass is what the finished unit should weigh.",
            "Displacement value: how many g of active take the place of 1 g of base. Most solids: above 1.",
            "Displacement factor: how many g of base 1 g of active displaces. Most solids: below 1.",
            "The two are each other's inverse: 1.25 in the one is 0.8 in the other. Give one of them. "
            "See which one your source means before you copy it: the wrong one shifts the dose of every unit.",
            "Planned mass = nominal mass + dose x (1 - 1 / displacement value), summed over the actives, doses in g. "
            "The sheet Actives works it out beside each row.",
        ),
    ),
    (
        "Cavities",
        (
            "If you can, pour plain base into every cavity once, trim and weigh. Then a light cavity is told "
            "from a light fill. Several rows for one cavity are replicates.",
        ),
    ),
    (
        "Units, and how to draw the test sample",
        (
            "Number the units as they leave the moulds and keep their order of pouring. Without it, nobody can "
            "see a drift.",
            "Draw the sample before you weigh, by lot: one slip of paper for each unit, shuffled, or random numbers "
            "from a table or a calculator. Do not pick by eye, and do not take the first at hand. Mark the drawn units "
            "with yes, the others with no.",
            "Weigh all units if you can. A unit beyond the outer limit counts even when the lot did not draw it.",
            "In the column Seen, write what you saw; several words are parted by a semicolon.",
            "Left out because: give a reason if you hold that a unit should not count, for example that it was "
            "dropped. It stays in the record and in the verdict; the report shows beside it what the verdict would be "
            "without it. "
            "No unit is taken out to make a batch pass.",
        ),
    ),
    (
        "Assay",
        (
            "One row a determination. Content in mg, or in % of the label claim; not both in one row.",
            "Draw the units for the assay by lot too, as many as the rule asks for (qc rules shows it). "
            "A second stage is judged on the units of both stages: type in all of them.",
            "A unit cut in parts: one row each for tip, middle and end, with the mass of the part.",
        ),
    ),
    (
        "When all is typed",
        (
            "Save in this format (.xlsx). Have a second person compare it with the balance print-outs. Then run "
            "qc check.",
        ),
    ),
)

_WIDTHS = (50, 24, 24)
_FORMS_HEADINGS = ("Dosage forms and their limits of mass", "Limit (% of the mean)", "Outer limit (% of the mean)")


def write_instructions(page: Page, rule: MassRule) -> tuple[CellRange, CellRange]:
    """The page, then the list of dosage forms with the limits of those that have one at every mass.

    Forms that the rule does not name are offered too; their limit is for the house to give.

    Returns
    -------
    tuple of CellRange
        The dosage forms, and the two columns of limits beside them.
    """
    page.head(TITLE)
    page.set_widths(*_WIDTHS)
    row = 2
    for heading, paragraphs in INSTRUCTIONS:
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
    return CellRange(cells=tuple(forms)), CellRange(cells=tuple(limits))
