"""Every limit that is handed up has a function that words its line; a line carries what was decided unchanged."""

from __future__ import annotations

import ast
from decimal import Decimal
from fractions import Fraction

import pytest
from msgspec.structs import replace
from parsed import modules, parsed

from qc.results import Limit, TestResult, Verdict
from qc.say import limits
from qc.say.in_short import not_met
from qc.say.limits import LimitLine, in_short, line

pytestmark = pytest.mark.xdist_group("parsed")


def made() -> set[str]:
    """The ids of limits that are written out where a limit is made."""
    found = set()
    for path in modules():
        for node in ast.walk(parsed(path)):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "Limit":
                found |= {
                    word.value.value
                    for word in node.keywords
                    if word.arg == "what" and isinstance(word.value, ast.Constant)
                }
    return found


def test_every_limit_has_words() -> None:
    found = made()
    assert "units_unaccounted" in found
    assert [what for what in sorted(found) if what not in limits.LINES and not hasattr(limits, what)] == []


def test_a_line_keeps_what_was_decided() -> None:
    limit = Limit(what="lines_ticked", figure=9, bound=11, met=False, clause="4")
    assert line(limit) == LimitLine(what="lines ticked", figure="9 of 11", limit="every line", met=False)


def test_a_limit_without_words_is_a_fault_that_names_it() -> None:
    with pytest.raises(LookupError, match="no words for the limit weight_of_the_moon"):
        line(Limit(what="weight_of_the_moon", figure=1))


@pytest.mark.parametrize(
    ("limit", "figure"),
    [
        (Limit(what="mean_against_plan", figure=10.0098, bound=Decimal(10), met=False), "+10.01 %"),
        (Limit(what="mean_against_plan", figure=-10.00098, bound=Decimal(10), met=False), "\u221210.001 %"),
        (Limit(what="mean_against_plan", figure=10.0, bound=Decimal(10), met=True), "+10.00 %"),
        (
            Limit(what="mean_of_label", figure=Fraction(949999, 10000), bound=(Decimal(95), None), met=False),
            "94.9999 %",
        ),
        (Limit(what="mean_of_label", figure=Fraction(105), bound=(None, Decimal(105)), met=True), "105.00 %"),
        (
            Limit(
                what="acceptance_value",
                figure=Decimal("15.0"),
                bound=Decimal(15),
                met=True,
                values={"unrounded": 15.0498, "n": 10},
            ),
            "15.0 (15.0498)",
        ),
    ],
)
def test_a_figure_has_the_digits_that_show_on_which_side_of_its_limit_it_lies(limit: Limit, figure: str) -> None:
    assert line(limit).figure == figure


def test_a_test_that_lacks_units_still_shows_its_figure_beside_its_limit_on_a_line() -> None:
    limit = Limit(
        what="acceptance_value", figure=Decimal("15.2"), bound=Decimal(15), met=None,
        values={"unrounded": Decimal("15.18"), "n": 10},
    )  # fmt: skip
    waits = TestResult(
        id="dosage-unit-uniformity",
        rule="",
        verdict=Verdict.SECOND_STAGE,
        criteria=(limit,),
        missing="20 further units",
    )
    assert not_met(waits, most=80) == "Dosage units: AV 15.2 (15.18); at most 15; missing: 20 further units"
    assert not_met(waits, most=45) == "Dosage units: AV 15.2 (15.18); at most 15"
    lacking = replace(waits, verdict=Verdict.NOT_ASSESSED)
    assert not_met(lacking, most=80) == "Dosage units: not assessed, missing: 20 further units"


def test_the_line_of_an_assay_leaves_its_interval_out_and_page_one_does_not() -> None:
    limit = Limit(
        what="mean_of_units", figure=Decimal("85.9"), bound=(Decimal(95), Decimal(105)), met=False, unit="%",
        values={"unrounded": Decimal("85.94"), "n": 10, "interval": (84.9, 87.0), "against": None},
    )  # fmt: skip
    assert in_short(limit)[0] == "mean content of 10 units 85.9 % (85.94)"
    assert line(limit).figure == "85.9 % (85.94; 95 % interval 84.9 to 87.0 if all are alike)"
