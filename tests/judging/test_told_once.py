"""What is asked for once, of whom it is asked, and from which figure: small questions about a judged batch."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from pathlib import Path

import pytest

from qc.batch import Active, Batch
from qc.judging.advice import next_steps
from qc.judging.judge import judge_batch
from qc.judging.next_units import with_next_units
from qc.results import BatchVerdict, JudgedBatch, TestResult, UnitLedger, Verdict, message
from qc.results.messages import Message
from qc.rules.rule_books import rule_book
from qc.say.messages import all_words

MakeBatch = Callable[..., Batch]
Judge = Callable[..., JudgedBatch]
FindTest = Callable[..., TestResult]
TEN = ("99", "101", "98", "102", "100", "97", "103", "100", "99", "101")


def steps(*tests: TestResult, findings: tuple[object, ...] = ()) -> tuple[str, ...]:
    return tuple(one.id for one in next_steps(tests, verdict=BatchVerdict.COMPLIES, findings=findings))  # type: ignore[arg-type]


def test_a_check_with_one_reason_among_the_open_findings_is_not_left_to_the_signer_as_well() -> None:
    finding, other = message("record.one_person"), message("record.expiry")
    check = TestResult(
        id="release-check",
        rule="x",
        verdict=Verdict.NOT_ASSESSED,
        required=False,
        subject="pH",
        reasons=(finding, other),
    )
    assert steps(check, findings=(finding,)) == ("advice.open_finding",)
    assert steps(check) == ("checks.left_to_signer",)


def test_a_content_test_that_lacks_nothing_asks_for_nothing() -> None:
    test = TestResult(id="content-uniformity", rule="x", verdict=Verdict.NOT_ASSESSED, required=False, active="drug")
    assert steps(test) == ("advice.nothing_more",)


@pytest.mark.parametrize(
    ("facts", "rules"),
    [
        ({"planned_mass_g": "2"}, ["ph-eur-2.9.5"]),
        ({"planned_mass_g": "2.1"}, ["ph-eur-2.9.6-b"]),
        ({"nominal_mass_g": "2"}, ["ph-eur-2.9.5"]),
        ({"nominal_mass_g": "2.1"}, ["ph-eur-2.9.6-b"]),
        ({"planned_mass_g": "2", "nominal_mass_g": "2.1"}, ["ph-eur-2.9.5"]),
    ],
)
def test_where_nothing_was_weighed_a_dose_is_a_share_of_the_planned_mass_else_of_what_the_mould_holds(
    facts: dict[str, str], rules: list[str], make_batch: MakeBatch, judge: Judge
) -> None:
    grams = {name: Decimal(mass) for name, mass in facts.items()}
    batch = make_batch(masses=(), contents=TEN, active=Active(name="drug", label_claim_mg=Decimal(40)), **grams)
    found = [test.rule for test in judge(batch, "ph-eur").tests if test.rule.startswith("ph-eur-2.9")]
    assert found[:1] == rules


def test_an_assay_that_a_house_asks_for_of_no_active_names_itself(
    make_batch: MakeBatch, find_test: FindTest, tmp_path: Path
) -> None:
    house = tmp_path / "house.toml"
    house.write_text('[[rule]]\nid = "mean"\nbuilds_on = "stated-assay"\nsource = "procedure 7"\nlow_percent = 95\n')
    judged = judge_batch(make_batch(active=None), book=rule_book(house))
    assert find_test(judged, "batch-assay").subject == "assay"


def test_limits_of_the_mean_content_are_held_against_the_units_of_the_dosage_unit_test_alone(
    make_batch: MakeBatch, judge: Judge, find_test: FindTest
) -> None:
    active = Active(name="drug", label_claim_mg=Decimal(100), assay_limits_percent="95.0 to 105.0")
    sample = {str(at): {"test_sample": True} for at in range(1, 11)}
    judged = judge(make_batch(contents=(*TEN, "160", "160"), active=active, units=sample))
    found = find_test(judged, "batch-assay")
    assert {*found.sample} == {*map(str, range(1, 11))}
    assert found.verdict is Verdict.COMPLIES


@pytest.mark.parametrize(
    ("high", "low", "verdict"), [("115", "85", Verdict.COMPLIES), ("115.01", "84.99", Verdict.NOT_ASSESSED)]
)
def test_contents_beside_the_sample_at_the_inner_limit_raise_no_doubt(
    high: str, low: str, verdict: Verdict, make_batch: MakeBatch, judge: Judge, find_test: FindTest
) -> None:
    sample = {str(at): {"test_sample": True} for at in range(1, 11)}
    judged = judge(make_batch(contents=(*("100",) * 10, *(high, low) * 7), units=sample), "ph-eur-2.9.6-b")
    assert find_test(judged, "content-uniformity").verdict is verdict


def test_nothing_assayed_for_the_test_of_a_large_sample_names_the_active_it_lacks(
    make_batch: MakeBatch, judge: Judge, find_test: FindTest
) -> None:
    (test,) = (one for one in judge(make_batch(), "ph-eur-2.9.47").tests if one.rule == "ph-eur-2.9.47")
    (reason,) = all_words(test.reasons)
    assert "drug" in reason


@pytest.mark.parametrize(("active", "left", "asked"), [(None, 10, 10), (None, 9, 0), ("drug", 10, 0), ("drug", 12, 10)])
def test_what_other_tests_used_up_was_weighed_perhaps_and_cannot_be_assayed(
    active: str | None, left: int, asked: int, make_batch: MakeBatch
) -> None:
    batch = make_batch(masses=("2.0",) * 20, contents=("100",) * 10)
    counts = dict.fromkeys(("weighed_and_kept", "assayed", "rejected", "retained", "left", "released_at_most"), 0)
    taken = 20 if active is None else 10
    ledger = UnitLedger(whole=taken + left, other_tests=2, released=None, **counts)
    test = TestResult(id="x", rule="x", verdict=Verdict.SECOND_STAGE, active=active, more_units=10)
    found = with_next_units(test, batch=batch, verdict=BatchVerdict.UNDECIDED, seed=1, ledger=ledger, rule=None)
    assert found.more_units == asked


@pytest.mark.parametrize(("label", "by_mass"), [(None, True), ("25", True), ("24.9", False)])
def test_tablets_whose_dose_may_be_large_lack_an_assay_for_the_way_by_mass(
    label: str | None, by_mass: bool, make_batch: MakeBatch, judge: Judge, find_test: FindTest
) -> None:
    active = Active(name="drug", label_claim_mg=None if label is None else Decimal(label))
    tablets = make_batch(masses=("0.1",) * 30, active=active, dosage_form="uncoated tablets")
    test = find_test(judge(tablets, "harmonised"), "dosage-unit-uniformity")
    reasons = [one.id for one in test.reasons if isinstance(one, Message)]
    assert reasons == ["tests.nothing_assayed", "tests.route_needs"][: 1 + by_mass]
    assert isinstance(test.missing, Message)
    assert bool(test.missing.values["mass_route"]) is by_mass


@pytest.mark.parametrize("blind", [True, False])
def test_where_a_change_of_contents_comes_from_is_kept_from_who_judges_blind(
    blind: bool, make_batch: MakeBatch
) -> None:
    masses = [1.9 + 0.004 * at for at in range(24)]
    contents = [f"{50 * mass + (at % 3 - 1) * 0.2:.1f}" for at, mass in enumerate(masses)]
    order = {str(at): {"pour_order": at} for at in range(1, 25)}
    poured = make_batch(masses=[f"{mass:.3f}" for mass in masses], contents=contents, units=order)
    found = judge_batch(poured, book=rule_book(None), blind=blind).mould_findings
    assert [one.id for one in found] == ["pour.filling"] * (not blind)
