"""A kind of rule has one home: a file put into `qc/rules/kinds/` is enough for reading, listing and tightening."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from fractions import Fraction
from importlib import import_module
from pathlib import Path

import pytest

from qc.batch import Batch
from qc.document import result_document
from qc.results import BatchVerdict, JudgedBatch
from qc.rules import kinds
from qc.rules.built_in import read_rule
from qc.rules.kinds import all_kinds, kind_of, kinds_of_tests
from qc.rules.measured import Measured
from qc.rules.rule_books import load_rule, rule_ids
from qc.rules.strict_records import Findings, RuleProblem
from qc.rules.tightening import settable_somewhere, tighten
from qc.say.limits import lines
from qc.say.messages import all_words, words
from qc.say.rule_pages import rule_page

TOY = '''
"""How far a unit may float above the ground: a kind of rule that no book has."""

from decimal import Decimal
from fractions import Fraction
from typing import Annotated

from qc.results import TestResult, Verdict, message
from qc.rules.kind import Kind
from qc.rules.looks import count_limit, first_that_holds, look_at, written_down
from qc.rules.records import Rule
from qc.rules.schema import About


class FloatingRule(Rule, frozen=True, kw_only=True):
    """The greatest height at which a unit may float [cm]."""

    height_cm: Annotated[Decimal, About("greatest height", "cm", tighter="less", positive=True)]


KIND = Kind(record=FloatingRule, tests=("floating",), place=99)


def judge_heights(units, *, rule):
    look = look_at(units, centre=Fraction(rule.height_cm))
    higher = look.beyond(Decimal(10))
    limit = count_limit(
        "beyond_limit", higher, of=look.n, allowed=0, met=not higher, percent=Decimal(10), centre="label"
    )
    cases = ((len(higher) > 0, Verdict.DOES_NOT_COMPLY), (True, Verdict.COMPLIES))
    return written_down(
        look,
        rule=rule,
        verdict=first_that_holds(cases),
        reasons=[message("tests.exceeded", limit=limit)] if higher else [],
        limits=[limit],
        figures={"higher": len(higher)},
        outside=look.outside(inner=Decimal(10), outer=Decimal(10)),
        working=[],
    )
'''

RULE = """
id = "floats"
title = "Units stay near the ground"
test = "floating"
height_cm = 3
[reference]
work = "Example"
section = "1"
edition = "1"
mark = "our reading"
[[clauses]]
number = "1"
text = "No unit floats higher than 3 cm."
mark = "our reading"
"""


@pytest.fixture
def with_a_new_kind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    (tmp_path / "floating_toy.py").write_text(TOY, encoding="utf-8")
    monkeypatch.setattr(kinds, "__path__", [*kinds.__path__, str(tmp_path)])
    forget()
    yield
    forget()


def forget() -> None:
    for remembered in (all_kinds, kinds_of_tests, kinds._by_record):
        remembered.cache_clear()


def rule_file(folder: Path, text: str) -> Path:
    path = folder / "floats.toml"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.usefixtures("with_a_new_kind")
class TestANewKind:
    def test_its_file_is_read_strictly(self, tmp_path: Path) -> None:
        with pytest.raises(RuleProblem) as caught:
            read_rule(rule_file(tmp_path, RULE.replace("height_cm", "hight_cm")))
        assert str(caught.value).splitlines() == [
            'floats.toml, hight_cm: the key "hight_cm" is not known. Did you mean height_cm?',
            'floats.toml, height_cm: the key "height_cm" is missing. Add height_cm.',
        ]

    def test_what_stands_beside_its_fields_is_checked(self, tmp_path: Path) -> None:
        with pytest.raises(RuleProblem, match="a limit of 0 lets nothing pass"):
            read_rule(rule_file(tmp_path, RULE.replace("height_cm = 3", "height_cm = 0")))

    def test_its_page_shows_its_figures(self, tmp_path: Path) -> None:
        page = rule_page(read_rule(rule_file(tmp_path, RULE)))
        assert f"\nFigures\n  {'greatest height':<35}  3 cm\n" in page

    def test_a_house_can_tighten_it_and_not_loosen_it(self, tmp_path: Path) -> None:
        rule = read_rule(rule_file(tmp_path, RULE))
        assert "height_cm" in settable_somewhere()
        findings = Findings("house.toml")
        tighter, (change,) = tighten(rule, {"height_cm": Decimal(2)}, findings.within("rule[1]"))
        assert (findings.problems, change.short) == ([], "height_cm: 3 -> 2")
        assert words(change.clause(base="floats")) == "Greatest height: 2 cm in this house; floats has 3 cm."
        assert kind_of(tighter).record is type(rule)
        tighten(rule, {"height_cm": Decimal(4)}, findings.within("rule[1]"))
        (problem,) = findings.problems
        assert (problem.found, problem.mend) == ("4 is looser than the 3 of floats", "Give 3 or less")

    def test_its_limits_are_worded_and_stand_in_the_result_document(self, tmp_path: Path) -> None:
        rule = read_rule(rule_file(tmp_path, RULE))
        all_kinds()
        units = [Measured(unit=name, value=Fraction(height)) for name, height in (("1", "3.0"), ("2", "3.4"))]
        test = import_module("qc.rules.kinds.floating_toy").judge_heights(units, rule=rule)
        (line,) = lines(test.criteria)
        assert (line.what, line.figure, line.limit, line.met) == (
            "units beyond 10 % of the labelled mass",
            "1 of 2",
            "none allowed",
            False,
        )
        assert all_words(test.reasons) == (
            "Unit 2 deviates by more than 10 % from the labelled mass; the rule allows none.",
        )
        judged = JudgedBatch(batch=Batch(units=()), rule_set="x", verdict=BatchVerdict.DOES_NOT_COMPLY, tests=(test,))
        (told,) = result_document(judged)["tests"]  # type: ignore[misc]
        assert told["limits"] == [{"what": "beyond_limit", "figure": 1, "bound": 0, "met": False, "unit": "units"}]


def test_every_built_in_rule_is_of_the_kind_of_its_test() -> None:
    for id in rule_ids():
        rule = load_rule(id)
        assert kind_of(rule) is kinds_of_tests()[rule.test]


def test_kinds_stand_in_an_order_of_their_own_and_share_no_test() -> None:
    every = all_kinds()
    assert len({kind.place for kind in every}) == len(every)
    assert len(kinds_of_tests()) == sum(len(kind.tests) for kind in every)
