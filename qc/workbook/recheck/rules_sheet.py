"""The sheet of the rules: the page each limit stands on, the edition, and every clause with its mark."""

from __future__ import annotations

from collections.abc import Sequence

from qc.rules.records import AnyRule
from qc.workbook.recheck.cells import Page
from qc.workbook.recheck.data import FIRST_ROW, HEADER_ROW
from qc.workbook.recheck.look import set_page


def write_rules(page: Page, *, rules: Sequence[AnyRule]) -> None:
    """Write every rule that judged the batch."""
    page.text(0, 0, "Rules", page.look.title)
    page.text(
        1,
        0,
        "Every limit on the sheets names its rule by its id. The mark says how it came to us; the pharmacopoeia in "
        "force goes before all of it.",
        page.look.small,
    )
    for column, (header, width) in enumerate((("Rule", 22), ("Clause", 10), ("Text", 110), ("Mark", 18))):
        page.text(HEADER_ROW, column, header, page.look.header)
        page.sheet.set_column(column, column, width)
    row = FIRST_ROW
    for rule in rules:
        reference = rule.reference
        source = f"{rule.title}. {reference.work} {reference.section}; edition: {reference.edition}."
        lines = [("source", source, reference.mark.value)]
        if reference.read_in:
            lines.append(("read in", reference.read_in, ""))
        if rule.builds_on:
            lines.append(("builds on", f"{rule.builds_on}; differs in {'; '.join(rule.differs)}", ""))
        lines += [(clause.number, clause.text, clause.mark.value) for clause in rule.clauses]
        for number, text, mark in lines:
            page.text(row, 0, rule.id, page.look.wrapped)
            page.text(row, 1, number, page.look.wrapped)
            page.text(row, 2, text, page.look.wrapped)
            page.text(row, 3, mark, page.look.wrapped)
            page.fit(row, (text, 110))
            row += 1
    set_page(page.sheet, landscape=True, header_row=HEADER_ROW)
