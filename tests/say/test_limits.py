"""Every limit that is handed up has a function that words its line; a line carries what was decided unchanged."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

import qc
from qc.results import Limit
from qc.say import limits
from qc.say.limits import LimitLine, line

PACKAGE = Path(qc.__file__).parent


def made() -> set[str]:
    """The ids of limits that are written out where a limit is made."""
    found = set()
    for path in sorted(PACKAGE.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "Limit":
                found |= {
                    word.value.value
                    for word in node.keywords
                    if word.arg == "what" and isinstance(word.value, ast.Constant)
                }
    return found


def test_every_limit_has_words() -> None:
    assert "units_unaccounted" in made()
    assert [what for what in sorted(made()) if what not in limits.LINES and not hasattr(limits, what)] == []


def test_a_line_keeps_what_was_decided() -> None:
    limit = Limit(what="lines_ticked", figure=9, bound=11, met=False, clause="4")
    assert line(limit) == LimitLine(what="lines ticked", figure="9 of 11", limit="every line", met=False)


def test_a_limit_without_words_is_a_fault_that_names_it() -> None:
    with pytest.raises(LookupError, match="no words for the limit weight_of_the_moon"):
        line(Limit(what="weight_of_the_moon", figure=1))
