"""The rules as pages of plain text: all of them in a table, one of them clause by clause, a set line by line."""

from __future__ import annotations

from qc.rules.built_in import load_rule, load_set, rule_ids, set_ids
from qc.rules.kind import shown
from qc.rules.kinds import kind_of, kinds_of_tests
from qc.rules.page_lines import marked, pairs, paragraph, row
from qc.rules.records import Asks, Reference, Rule, RuleSet
from qc.rules.schema import schema_of
from qc.say.messages import words
from qc.say.names import MARK, TEST, marks_told

_MARKS_EXPLAINED = f"{marks_told(MARK)} The pharmacopoeia in force always goes before these records."


def list_rules() -> str:
    """All built-in rules with source and mark, test by test, and all rule sets, in 80 columns."""
    rules = [load_rule(id) for id in rule_ids()]
    lines: list[str] = []
    for test in kinds_of_tests():
        lines += [f"{TEST[test]} ({test})"]
        for rule in rules:
            if rule.test == test:
                source = f"{rule.reference.work}, {rule.reference.section}"
                lines += row((rule.id, 18), (source, 42), (rule.reference.mark.value, 12))
        lines.append("")
    lines += ["Rule sets: which rules judge a batch"]
    for id in set_ids():
        lines += row((id, 18), (load_set(id).title, 56))
    advice = '"qc rules ID" shows a rule or a set clause by clause.'
    return _page(*lines, "", *paragraph(_MARKS_EXPLAINED), "", *paragraph(advice))


def page_of(id: str) -> str:
    """A built-in rule, clause by clause, with its limits and sources; or a built-in set, line by line.

    Raises
    ------
    RuleProblem
        When no rule or set has that id; the message names the nearest.
    """
    return set_page(load_set(id)) if id in set_ids() else rule_page(load_rule(id))


def _page(*lines: str) -> str:
    return "\n".join(lines) + "\n"


def rule_page(rule: Rule) -> str:
    """A rule, built-in or of a house, as a page of 80 columns: source, clauses, limits."""
    lines = [rule.id, *paragraph(rule.title, indent=0), "", *_source(rule.reference)]
    lines += row(("Judged as", 9), (rule.test, 65))
    if rule.builds_on:
        lines += row(("Builds on", 9), (rule.builds_on, 65))
        for number, change in enumerate(rule.differs):
            lines += row(("Differs" if number == 0 else "", 9), (change, 65))
    lines += ["", "Clauses"]
    for clause in rule.clauses:
        lines += row((clause.number, 3), (f"{words(clause.text)} {marked(clause.mark)}", 71))
    named = [(shape, getattr(rule, name)) for name, shape in schema_of(type(rule)).items() if shape.about.name]
    figures = [
        (shape.about.name, shown(value or None, unit=shape.about.unit, none=shape.about.none))
        for shape, value in named
        if not shape.of_rows
    ]
    if kind_of(rule).of_units and not hasattr(rule, "rounding_decimals"):
        figures.append(("rounded before comparison", "no"))
    lines += ["", "Figures", *pairs(figures)]
    for shape, rows in named:
        if shape.of_rows and rows:
            lines += ["", shape.about.name[0].upper() + shape.about.name[1:]]
            for one in rows:
                mark = f" {marked(one.mark)}" if hasattr(one, "mark") else ""
                lines += row((one.holds, 42), (one.said(rule) + mark, 32))
    return _page(*lines, "", *paragraph(_MARKS_EXPLAINED))


def set_page(rule_set: RuleSet) -> str:
    """A rule set as a page of 80 columns: which rule it asks for, of which forms and doses."""
    lines = [rule_set.id, *paragraph(rule_set.title, indent=0), ""]
    if rule_set.reference is not None:
        lines += [*_source(rule_set.reference), ""]
    lines += ["Asks for"]
    for ask in rule_set.asks:
        lines += row((ask.rule, 18), (f"{_asked_in_words(ask)} {marked(ask.mark)}", 56))
    if rule_set.notes:
        lines += ["", "Notes"]
        for note in rule_set.notes:
            lines += paragraph(note)
    return _page(*lines)


def _source(reference: Reference) -> list[str]:
    rows = (
        ("Work", reference.work),
        ("Section", reference.section),
        ("Edition", reference.edition),
        ("Read in", reference.read_in),
        ("Mark", reference.mark.value),
    )
    return [line for name, text in rows if text for line in row((name, 9), (text, 65))]


def _asked_in_words(ask: Asks) -> str:
    """One line of a set as a sentence: whether it must be judged, of which forms, of which actives."""
    must = "required" if ask.required else "judged where it has its data"
    parts = [f"{must}; {', '.join(ask.forms) if ask.forms else 'every form'}"]
    under = _under_in_words(ask)
    if ask.actives == "under":
        parts.append(f"asked of actives of {under}")
    if ask.actives == "labelled":
        parts.append("required of actives with a label claim")
    if ask.unless_all_under:
        parts.append(f"waived where every active is of {under}")
    return "; ".join(parts)


def _under_in_words(ask: Asks) -> str:
    thresholds = ((ask.dose_below_mg, "mg", ""), (ask.fraction_below_percent, "%", " of the unit's mass"))
    return " or ".join(
        f"{shown(value, unit=unit)} or less{of}" if ask.inclusive else f"less than {shown(value, unit=unit)}{of}"
        for value, unit, of in thresholds
        if value is not None
    )
