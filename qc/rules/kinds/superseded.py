"""An input whose report a later one supersedes: it is not judged again as if it stood."""

from __future__ import annotations

from msgspec.structs import asdict

from qc.batch import Superseded
from qc.results import TestResult, Verdict, message
from qc.rules.kind import Kind
from qc.rules.records import Rule


class SupersededRule(Rule, frozen=True, kw_only=True):
    """Nothing that was corrected is judged in place of its correction."""


KIND = Kind(record=SupersededRule, tests=("superseded-input",), place=13, of_units=False)


def judge_superseded(by: Superseded, *, rule: Rule) -> TestResult:
    """The test of an input that was superseded: the batch stays undecided."""
    return TestResult(
        id=rule.test,
        rule=rule.id,
        verdict=Verdict.NOT_ASSESSED,
        reasons=(message("record.superseded", **asdict(by)),),
        missing=message("record.corrected_input", folder=by.folder),
    )
