"""What must be true of the numbers of a rule before anything is judged by it: limits nested, in order, above zero."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from msgspec import Struct

from qc.rules.kind import Kind, shown
from qc.rules.records import FormRow, Rule
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


def _note_figures(record: Struct, *, place: str, findings: Findings) -> None:
    """Every figure of a record, and of the rows of its tables, by what stands beside its field."""
    for name, shape in schema_of(type(record)).items():
        value = getattr(record, name)
        if shape.of_rows:
            for number, row in enumerate(value, start=1):
                _note_figures(row, place=f"{place}{name}[{number}].", findings=findings)
        elif value is not None:
            _note_figure(record, value, about=shape.about, key=f"{place}{name}", findings=findings)


def _note_figure(record: Struct, value: Any, *, about: About, key: str, findings: Findings) -> None:
    if about.positive and value <= 0:
        findings.add(key, f"a limit of {value:f} lets nothing pass", "Give a number above zero")
    if about.sample and value < 2:
        findings.add(key, f"a sample of {value} has no spread", "Give two or more")
    if about.below:
        _note_order(record, value, greater=about.below, may_be_equal=False, key=key, findings=findings)
    if about.not_above:
        _note_order(record, value, greater=about.not_above, may_be_equal=True, key=key, findings=findings)


def _note_order(record: Struct, value: Any, *, greater: str, may_be_equal: bool, key: str, findings: Findings) -> None:
    """Note a figure that is not smaller than another one of its record, where both are set."""
    most: Decimal | None = getattr(record, greater)
    if most is None or value < most or (may_be_equal and value == most):
        return
    whose = f" of {', '.join(record.forms)}" if isinstance(record, FormRow) else ""
    if may_be_equal:
        findings.add(key, f"{shown(value)}{whose} lies above {greater}, {shown(most)}", f"Give {shown(most)} or less")
    else:
        findings.add(
            key, f"{shown(value)}{whose} is not below {greater}, {shown(most)}", f"Give less than {shown(most)}"
        )
