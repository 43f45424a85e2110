"""What is looked at besides the tests of units: a result, the rule behind it, and whether the rule set asks for it."""

from __future__ import annotations

from msgspec import Struct

from qc.results import TestResult
from qc.rules.records import Rule


class LookedAt(Struct, frozen=True, kw_only=True):
    """One result besides the tests of units.

    Parameters
    ----------
    test : TestResult
    rule : Rule
        The record it was judged by.
    asked : bool
        Whether the rule set asks for it; what was entered beside can fail a batch or keep it undecided, and never makes
        it comply by itself.
    """

    test: TestResult
    rule: Rule
    asked: bool
