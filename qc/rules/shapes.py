"""What must be true of the numbers of a rule before anything is judged by it: limits nested, in order, above zero."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from msgspec import Struct

from qc.rules.kind import shown
from qc.rules.kinds import kind_of
from qc.rules.records import FormRow, Rule
from qc.rules.schema import About, schema_of
from qc.rules.strict_records import Findings


def note_misshapen(rule: Rule, findings: Findings) -> None:
    """Note what cannot be true of the numbers of a rule whose keys and types are right."""
    if not rule.clauses:
        findings.add("clauses", "the rule has no clause", "Add at least one")
    _note_figures(rule, findings)
    kind_of(rule).note_misshapen(rule, findings)


def _note_figures(record: Struct, findings: Findings) -> None:
    """Every figure of a record, and of the rows of its tables, by what stands beside its field."""
    for name, shape in schema_of(type(record)).items():
        value = getattr(record, name)
        if shape.of_rows:
            for number, row in enumerate(value, start=1):
                _note_figures(row, findings.within(f"{name}[{number}]"))
        elif value is not None:
            _note_figure(record, value, shape.about, findings.within(name))


def _note_figure(record: Struct, value: Any, about: About, findings: Findings) -> None:
    if about.positive and value <= 0:
        findings.add("", f"a limit of {value:f} lets nothing pass", "Give a number above zero")
    if about.sample and value < 2:
        findings.add("", f"a sample of {value} has no spread", "Give two or more")
    if about.below:
        _note_order(record, value, findings, greater=about.below, may_be_equal=False)
    if about.not_above:
        _note_order(record, value, findings, greater=about.not_above, may_be_equal=True)


def _note_order(record: Struct, value: Any, findings: Findings, *, greater: str, may_be_equal: bool) -> None:
    """Note a figure that is not smaller than another one of its record, where both are set."""
    most: Decimal | None = getattr(record, greater)
    if most is None or value < most or (may_be_equal and value == most):
        return
    whose = f" of {', '.join(record.forms)}" if isinstance(record, FormRow) else ""
    lies, give = ("lies above", "{} or less") if may_be_equal else ("is not below", "less than {}")
    findings.add("", f"{shown(value)}{whose} {lies} {greater}, {shown(most)}", f"Give {give.format(shown(most))}")
