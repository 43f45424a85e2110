"""The sheet of the rules: the page each limit stands on, the edition, and every clause with its mark."""

from __future__ import annotations

from collections.abc import Sequence

from qc.rules.records import Rule
from qc.workbook.page import Page

_GUIDE = (
    "Every limit on the sheets names its rule by its id. The mark says how it came to us; the pharmacopoeia in force "
    "goes before all of it."
)
_WIDTHS = {"Rule": 22, "Clause": 10, "Text": 110, "Mark": 18}


def write_rules(page: Page, *, rules: Sequence[Rule]) -> None:
    """Write every rule that judged the batch."""
    page.head("Rules", _GUIDE)
    page.set_widths(*_WIDTHS.values())
    page.table(_WIDTHS, [dict(zip(_WIDTHS, (rule.id, *line), strict=True)) for rule in rules for line in _lines(rule)])


def _lines(rule: Rule) -> list[tuple[str, str, str]]:
    reference = rule.reference
    source = f"{rule.title}. {reference.work} {reference.section}; edition: {reference.edition}."
    lines = [("source", source, reference.mark.value)]
    if reference.read_in:
        lines.append(("read in", reference.read_in, ""))
    if rule.builds_on:
        lines.append(("builds on", f"{rule.builds_on}; differs in {'; '.join(rule.differs)}", ""))
    return lines + [(clause.number, clause.text, clause.mark.value) for clause in rule.clauses]
