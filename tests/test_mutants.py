"""Faults that are said to change nothing stand beside the lines of today."""

from __future__ import annotations

from tests.benchmarks.mutants import reasons


def test_each_fault_said_to_change_nothing_names_a_line_that_is_there() -> None:
    assert all(reasons().values())
