"""What a judged batch is told about another sample of it."""

from __future__ import annotations

from decimal import Decimal

import pytest
from msgspec.structs import replace

from qc.assurance.assure import MOST_ASSURED, REFUTED, assure_batch
from qc.assurance.joint_region import assured_chance, joint_region
from qc.batch import Assay, Batch, Unit
from qc.results import Assurance, TestResult, Verdict
from qc.rules.kinds import dosage_units
from qc.rules.kinds.dosage_units.record import DosageUnitRule
from qc.rules.rule_books import load_rule
from qc.say.messages import paragraph
from qc.stats.tolerance import two_sided_factor

RULES = {id: load_rule(id) for id in ("ph-eur-2.9.5", "ph-eur-2.9.6-b", "ph-eur-2.9.6-c", "harmonised-udu", "chp-0107")}

UNKNOWN_SIZE = "The number of units poured was not entered, so nothing is said of those left."


def batch(units: int = 40, assayed: int = 10) -> Batch:
    return Batch(
        units=tuple(Unit(name=str(number), mass_g=Decimal(2)) for number in range(units)),
        assays=tuple(Assay(unit=str(number), active="A", content_percent=Decimal(99)) for number in range(assayed)),
    )


def dosage(mean: float, sd: float, *, n: int = 10, target: float = 100.0) -> TestResult:
    return TestResult(
        id="dosage-unit-uniformity",
        rule="harmonised-udu",
        active="A",
        verdict=Verdict.COMPLIES,
        n=n,
        figures={"mean_percent": mean, "sd_percent": sd, "target_percent": target},
    )


def content(rsd: float, *, rule: str = "ph-eur-2.9.6-b", **figures: float) -> TestResult:
    return TestResult(
        id="content-uniformity",
        rule=rule,
        active="A",
        verdict=Verdict.COMPLIES,
        n=10,
        figures={"rsd_percent": rsd, **figures},
    )


def mass(rsd: float, *, rule: str = "ph-eur-2.9.5", limit: float | None = 5.0) -> TestResult:
    return TestResult(
        id="mass-uniformity",
        rule=rule,
        verdict=Verdict.COMPLIES,
        n=20,
        figures={"mean_g": 2.0, "rsd_percent": rsd, "limit_percent": limit},
        mass_limits=None if limit is None else (Decimal(str(limit)), 2 * Decimal(str(limit))),
    )


def only(test: TestResult, *, of: Batch | None = None) -> Assurance:
    (found,) = assure_batch(tests=(test,), book_rules=RULES, batch=of or batch())
    return found


@pytest.mark.parametrize("test", [dosage(100, 0.1), content(0.1), mass(0.1)], ids=["dosage units", "content", "mass"])
def test_no_data_assure_certainty(test: TestResult) -> None:
    chance = only(test).pass_chance_low
    assert chance is not None
    assert MOST_ASSURED - 1e-5 < chance <= MOST_ASSURED


def test_dosage_units_are_assured_by_the_standard_method() -> None:
    found = only(dosage(98, 2))
    rule = RULES["harmonised-udu"]
    assert isinstance(rule, DosageUnitRule)
    expected = assured_chance(joint_region(98, 2, n=10), geometry=dosage_units.KIND.plan(rule))
    assert (found.test, found.active, found.confidence) == ("dosage-unit-uniformity", "A", 0.95)
    assert found.pass_chance_low == expected
    reach = two_sided_factor(10, coverage=found.coverage, confidence=0.95) * 2
    assert [found.tolerance_low_percent, found.tolerance_high_percent] == pytest.approx([98 - reach, 98 + reach])


def test_sentence_of_a_good_batch_is_one_a_pharmacist_can_use() -> None:
    assert paragraph(only(dosage(98, 2.9)).said) == (
        "Another ten units of this batch, second stage included, would pass with a chance of at least 56 % (95 % "
        "confidence). With the same confidence at least 95 % of all units lie between 88.2 and "
        "107.8 % of label, and not more than 4.0 % of them outside 85 to 115 %. "
        f"{UNKNOWN_SIZE}"
    )


def test_sentence_of_a_batch_that_assures_nothing_says_so() -> None:
    found = only(dosage(91, 8))
    assert found.pass_chance_low is not None
    assert found.pass_chance_low < 0.01
    assert paragraph(found.said).startswith(
        "The 10 units tested do not assure that another ten units of this batch, second stage included, would pass: "
        "the chance may be less than 1 % (95 % confidence)."
    )


def test_too_few_units_left_are_told_as_a_batch_like_this_one() -> None:
    found = only(dosage(100, 1), of=batch(units=14))
    assert paragraph(found.said).startswith(
        "Ten units of a batch like this one (only 4 of it are left), second stage included,"
    )
    one = only(dosage(100, 1), of=batch(units=11))
    assert "(only 1 of it is left)" in paragraph(one.said)


def test_units_that_are_not_left_for_a_second_stage_are_said_to_be_missing() -> None:
    exactly = paragraph(only(dosage(100, 1), of=batch(units=40)).said)
    assert exactly.startswith("Another ten units of this batch, second stage included, would pass")
    found = paragraph(only(dosage(100, 1), of=batch(units=39)).said)
    assert found.startswith(
        "Another ten units of this batch, second stage included (too few are left for it), would pass"
    )


def test_a_pour_that_changed_limits_what_the_bound_holds_for() -> None:
    tests = (mass(1.0), dosage(98, 2))
    whole = assure_batch(tests=tests, book_rules=RULES, batch=batch())
    changed = assure_batch(tests=tests, book_rules=RULES, batch=batch(), changed={None})
    added = " A change was seen along the pour: this holds only for units drawn at random from the whole batch."
    assert paragraph(changed[0].said) == paragraph(whole[0].said) + added
    assert changed[1] == whole[1]
    assert paragraph(assure_batch(tests=tests, book_rules=RULES, batch=batch(), changed={"A"})[1].said).endswith(added)


def test_units_without_any_difference_assure_nothing() -> None:
    found = only(dosage(100, 0.0))
    assert found.pass_chance_low is None
    assert (found.tolerance_low_percent, found.tolerance_high_percent) == (None, None)
    assert paragraph(found.said) == (
        "The 10 units tested do not differ at all, so nothing can be said about another ten units of this batch, "
        f"second stage included. {UNKNOWN_SIZE}"
    )


def test_a_target_above_the_range_is_used() -> None:
    aimed, usual = only(dosage(106, 2, target=106.0)).pass_chance_low, only(dosage(106, 2)).pass_chance_low
    assert aimed is not None
    assert usual is not None
    assert aimed > usual


def test_mass_is_assured_in_percent_of_its_mean() -> None:
    found = only(mass(1.0))
    assert found.pass_chance_low is not None
    assert 0.99 < found.pass_chance_low < 1.0
    assert found.tolerance_low_percent is not None
    assert found.tolerance_low_percent == pytest.approx(100 - two_sided_factor(20, coverage=0.95, confidence=0.95))
    assert paragraph(found.said) == (
        "Another twenty units of this batch would pass with a chance of at least 99.9 % (95 % confidence). "
        "With the same confidence at least 95 % of all units lie between 97.2 and 102.8 % of the mean. "
        f"{UNKNOWN_SIZE}"
    )


def test_mass_without_a_limit_is_not_assured() -> None:
    found = only(mass(1.0, limit=None))
    assert found.pass_chance_low is None
    assert paragraph(found.said).startswith(
        "The limit of the rule cannot be told from these data, so nothing can be said about another twenty units of "
        "this batch. With 95 % confidence at least 95 % of all units lie between"
    )


def test_mass_against_a_label_looks_at_both_corners() -> None:
    found = only(mass(3.0, rule="chp-0107", limit=7.5))
    assert found.pass_chance_low is not None
    assert 0.0 < found.pass_chance_low < 1.0


def test_content_about_its_mean_needs_no_label() -> None:
    relative = only(content(3.0))
    labelled = only(content(3.0, mean_percent=90.0, sd_percent=2.7))
    assert relative.pass_chance_low == pytest.approx(labelled.pass_chance_low, abs=1e-9)
    assert "% of the mean" in paragraph(relative.said)
    assert "% of label" in paragraph(labelled.said)


def test_content_with_a_bounded_mean_is_assured_by_the_poorer_corner() -> None:
    inside = only(content(2.0, rule="ph-eur-2.9.6-c", mean_percent=100.0, sd_percent=2.0)).pass_chance_low
    edge = only(content(2.0, rule="ph-eur-2.9.6-c", mean_percent=108.0, sd_percent=2.0)).pass_chance_low
    assert inside is not None
    assert edge is not None
    assert inside > 0.99
    assert edge < 0.5


def test_content_with_a_bounded_mean_and_no_label_is_not_assured() -> None:
    assert only(content(2.0, rule="ph-eur-2.9.6-c")).pass_chance_low is None


def test_more_confidence_assures_less() -> None:
    chances = [
        assure_batch(tests=(dosage(98, 3),), book_rules=RULES, batch=batch(), confidence=level)[0].pass_chance_low
        for level in (0.90, 0.95, 0.99)
    ]
    assert None not in chances
    assert chances == sorted(chances, key=lambda chance: -(chance or 0.0))


@pytest.mark.parametrize(
    "test",
    [
        TestResult(id="dosage-unit-uniformity", rule="harmonised-udu", verdict=Verdict.NOT_ASSESSED),
        TestResult(id="dosage-unit-uniformity", rule="harmonised-udu", verdict=Verdict.TOO_FEW_UNITS, n=1),
        TestResult(id="dosage-unit-uniformity", rule="harmonised-udu", verdict=Verdict.TOO_FEW_UNITS, n=3),
        TestResult(id="mass-uniformity", rule="ph-eur-2.9.5", verdict=Verdict.TOO_FEW_UNITS, n=3),
        TestResult(id="mean-mass", rule="unknown", verdict=Verdict.COMPLIES, n=20),
    ],
    ids=["not assessed", "one unit", "no figures", "no spread", "unknown rule"],
)
def test_a_test_without_mean_and_spread_is_left_out(test: TestResult) -> None:
    assert assure_batch(tests=(test,), book_rules=RULES, batch=batch()) == ()


@pytest.mark.parametrize(("rsd", "refuted"), [(1.0, True), (3.0, False)])
def test_a_sample_that_fails_though_its_spread_would_pass_is_not_said_to_pass_again(rsd: float, refuted: bool) -> None:
    (sure,) = assure_batch(tests=(mass(rsd),), book_rules=RULES, batch=batch())
    (one,) = assure_batch(tests=(replace(mass(rsd), verdict=Verdict.DOES_NOT_COMPLY),), book_rules=RULES, batch=batch())
    assert sure.pass_chance_low is not None
    assert (sure.pass_chance_low > REFUTED) is refuted
    assert (one.pass_chance_low is None) is refuted
    assert (
        "The sample does not comply, though its mean and spread would mostly pass: its units do not lie as normal ones "
        "do, so nothing can be said about another twenty units of this batch." in paragraph(one.said)
    ) is refuted
