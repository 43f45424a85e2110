"""One decision: what judges a batch in hand on exact numbers is the formula of the workbook too."""

from __future__ import annotations

import pytest

from qc.expr import expression
from qc.rules.kinds.mass.procedure import mass_cases
from qc.rules.looks import first_that_holds
from qc.rules.rule_books import load_rule
from qc.workbook.recheck.unit_sheet import verdict_of


@pytest.mark.parametrize("beyond", [0, 2, 3])
@pytest.mark.parametrize("farther", [0, 1])
@pytest.mark.parametrize("hidden", [0, 1])
@pytest.mark.parametrize("n", [19, 20])
def test_the_formula_of_the_workbook_says_what_the_judge_says(beyond: int, farther: int, hidden: int, n: int) -> None:
    rule = load_rule("ph-eur-2.9.5")
    counts = {"beyond": beyond, "farther": farther, "hidden": hidden, "n": n}
    formula = verdict_of(mass_cases(**{name: expression(count) for name, count in counts.items()}, rule=rule))
    assert formula.value == first_that_holds(mass_cases(**counts, rule=rule)).value
