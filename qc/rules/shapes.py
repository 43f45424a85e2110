"""What must be true of the numbers of a rule before anything is judged by it: limits nested, in order, above zero."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from msgspec import Struct

from qc.rules.kind import Kind
from qc.rules.records import Rule
from qc.rules.schema import About, schema_of
from qc.rules.strict_records import Findings


def note_misshapen(rule: Rule, *, kind: Kind[Any], at: str, findings: Findings) -> None:
    """Note what cannot be true of a rule's numbers.

    Parameters
    ----------
    rule : Rule
        A record whose keys and types are right.
    kind : Kind
        The kind of that rule.
    at : str
        Key of the rule in its file; empty for the file itself.
    findings : Findings
        Takes the problems.
    """
    place = f"{at}." if at else ""
    if not rule.clauses:
        findings.add(f"{place}clauses", "the rule has no clause", "Add at least one")
    _note_figures(rule, place=place, findings=findings)
    kind.note_misshapen(rule, place=place, findings=findings)


def note_not_inside(key: str, *, inner: Decimal, outer: Decimal, findings: Findings, whose: str = "") -> None:
    """Note an inner limit that does not lie inside the outer one."""
    if inner >= outer:
        findings.add(
            key,
            f"the inner limit {inner:f}{whose} does not lie inside the outer limit {outer:f}",
            "Give an inner limit below the outer one",
        )


def _note_figures(record: Struct, *, place: str, findings: Findings) -> None:
    """Every figure of a record, and of the rows of its tables, by what stands beside its field."""
    for name, shape in schema_of(type(record)).items():
        value = getattr(record, name)
        if shape.several and issubclass(shape.kind, Struct):
            for number, row in enumerate(value, start=1):
                _note_figures(row, place=f"{place}{name}[{number}].", findings=findings)
        elif value is not None:
            _note_figure(record, value, about=shape.about, key=f"{place}{name}", findings=findings)


def _note_figure(record: Struct, value: Any, *, about: About, key: str, findings: Findings) -> None:
    if about.positive and value <= 0:
        findings.add(key, f"a limit of {value:f} lets nothing pass", "Give a number above zero")
    if about.sample and value < 2:
        findings.add(key, f"a sample of {value} has no spread", "Give two or more")
    if about.inside:
        forms: tuple[str, ...] = getattr(record, "forms", ())
        whose = f" of {', '.join(forms)}" if forms else ""
        note_not_inside(key, inner=value, outer=getattr(record, about.inside), findings=findings, whose=whose)
    if about.below is not None:
        greater, mend = about.below
        high: Decimal | None = getattr(record, greater)
        if high is not None and value >= high:
            findings.add(key, f"{value:f} is not below {high:f}", mend)
    if about.not_above:
        most: Decimal | None = getattr(record, about.not_above)
        if most is not None and value > most:
            findings.add(key, f"{value:f} lies above {about.not_above}, {most:f}", f"Give {most:f} or less")
