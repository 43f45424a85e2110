"""Faults that are said to change nothing stand beside the lines of today."""

from __future__ import annotations

from pathlib import Path

from tests.benchmarks.mutants import carry_over, reasons


def test_each_fault_said_to_change_nothing_names_a_line_that_is_there() -> None:
    assert all(reasons().values())


def test_what_was_learned_of_a_line_goes_with_it(tmp_path: Path) -> None:
    (tmp_path / "qc").mkdir()
    (tmp_path / "qc" / "one.py").write_text("a = 1\nnew = 0\nb = 2\n", encoding="utf-8")
    known = {"sources": {"qc/one.py": "a = 1\nb = 2\n"}, "lines": {"qc/one.py": {"1": ["first"], "2": ["second"]}}}
    carry_over(known, tmp_path)
    assert known["lines"] == {"qc/one.py": {"1": ["first"], "3": ["second"]}}
    assert known["sources"] == {"qc/one.py": "a = 1\nnew = 0\nb = 2\n"}
