"""The chance as a job: which rule is asked, what the answer looks like, and its words."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from msgspec.structs import replace

import qc
from qc.assurance.planning import acceptance_limits
from qc.jobs.chance import Chance, band_of, chance, question, rule_of
from qc.jobs.chance import text as under_test
from qc.jobs.chance.found import batch_of, in_words
from qc.jobs.chance.plan import chance_plan, dosage_unit_limits
from qc.jobs.chance.text import chance_text, limits_table, of_hundred
from qc.rules.kinds import dosage_units
from qc.rules.kinds.dosage_units.record import DosageUnitRule
from qc.rules.kinds.mass.record import MassRule
from qc.rules.rule_books import load_rule
from qc.say.numbers import NOTHING
from qc.show.pages_text import text_page

KEYS = ["test", "mean_percent", "sd_percent", "pass_first_stage", "pass_overall", "error_bound"]


def test_package_call_is_this_job() -> None:
    assert qc.chance is chance


@pytest.mark.parametrize("test", ["mass-uniformity", "content-uniformity", "dosage-unit-uniformity"])
def test_answer_for_one_batch_is_plain_numbers_by_name_and_by_key(test: str) -> None:
    found = chance(test, 100, 4)
    assert list(found.keys()) == KEYS
    document = json.loads(json.dumps(found.as_dict()))
    assert list(document) == KEYS
    assert document["test"] == test
    assert (document["mean_percent"], document["sd_percent"]) == (100.0, 4.0)
    for key in KEYS[2:]:
        assert isinstance(found[key], float)
        assert found[key] == getattr(found, key) == document[key]
    assert 0.0 <= document["pass_first_stage"] <= document["pass_overall"] <= 1.0
    assert 0.0 < document["error_bound"] <= 1e-4


def test_arrays_in_arrays_out() -> None:
    found = chance("dosage-unit-uniformity", np.array([[95.0], [100.0]]), [3.0, 6.0, 9.0])
    assert isinstance(found.pass_overall, np.ndarray)
    assert found.pass_overall.shape == (2, 3)
    one = chance("dosage-unit-uniformity", 100, 6).pass_overall
    assert found.pass_overall[1, 1] == pytest.approx(one, rel=1e-12)
    document = json.loads(json.dumps(found.as_dict()))
    assert np.array(document["mean_percent"]).shape == (2, 3)


def test_an_unknown_key_is_a_key_error() -> None:
    with pytest.raises(KeyError, match="rule_text"):
        chance("mass-uniformity", 100, 3)["rule_text"]


def test_content_uniformity_means_test_b_unless_a_rule_is_named() -> None:
    assert chance("content-uniformity", 100, 7).rule == "ph-eur-2.9.6-b"
    strict = chance("content-uniformity", 100, 7, rule="ph-eur-2.9.6-a")
    assert strict.rule == "ph-eur-2.9.6-a"
    assert float(strict.pass_overall) < float(chance("content-uniformity", 100, 7).pass_overall)


def test_what_a_plan_allows_is_rounded_as_the_chance_beside_it() -> None:
    plan = chance_plan(question("dosage-unit-uniformity", rounded=True), 100, 4)
    at_most = chance("dosage-unit-uniformity", 100, plan.greatest_sd_percent, rounded=True)
    assert float(at_most.pass_overall) == pytest.approx(0.95, abs=1e-5)
    assert (round(plan.greatest_sd_percent, 2), plan.units_needed) == (6.21, 25)
    exact = chance_plan(question("dosage-unit-uniformity"), 100, 4)
    assert (round(exact.greatest_sd_percent, 2), exact.units_needed) == (6.19, 26)


def test_rounded_helps_at_the_limit() -> None:
    rounded = chance("dosage-unit-uniformity", 95, 5, rounded=True)
    assert float(rounded.pass_overall) > float(chance("dosage-unit-uniformity", 95, 5).pass_overall)


def test_a_house_file_is_asked_by_its_path(tmp_path: Path) -> None:
    house = tmp_path / "house.toml"
    house.write_text(
        '[[rule]]\nid = "house-mass"\nbuilds_on = "ph-eur-2.9.5"\nsource = "procedure 7"\nmost_beyond_limit = 1\n',
        encoding="utf-8",
    )
    tighter = chance("mass-uniformity", 100, 3, rule=house)
    assert float(tighter.pass_overall) < float(chance("mass-uniformity", 100, 3).pass_overall)


def test_a_record_is_asked_as_it_is() -> None:
    record = load_rule("harmonised-udu")
    assert chance("dosage-unit-uniformity", 100, 6, rule=record).pass_overall == pytest.approx(0.97182, abs=1e-4)


def test_a_table_by_mass_asks_for_the_mass() -> None:
    message = r"^the limit of chp-0107 for suppositories depends on the mass of a unit; give it in mg$"
    with pytest.raises(ValueError, match=message):
        chance("mass-uniformity", 100, 4, rule="chp-0107")
    small = chance("mass-uniformity", 100, 4, rule="chp-0107", unit_mass_mg=1000)
    large = chance("mass-uniformity", 100, 4, rule="chp-0107", unit_mass_mg=1000.5)
    assert float(small.pass_overall) > float(large.pass_overall)


def test_a_form_that_the_table_does_not_name_is_refused() -> None:
    with pytest.raises(ValueError, match=r"^ph-eur-2\.9\.5 has no limit for moulded lozenges; it has limits for "):
        chance("mass-uniformity", 100, 4, form="moulded lozenges")


def test_a_table_of_two_rows_asks_for_the_mass_and_one_of_one_row_does_not() -> None:
    rule = load_rule("chp-0107")
    assert isinstance(rule, MassRule)
    one, other, *_ = [band for band in rule.bands if "suppositories" in band.forms]
    assert band_of(replace(rule, bands=(one,)), form="suppositories", unit_mass_mg=None) == one
    with pytest.raises(ValueError, match="depends on the mass of a unit"):
        band_of(replace(rule, bands=(one, other)), form="suppositories", unit_mass_mg=None)


def test_a_mass_that_the_table_leaves_out_is_refused() -> None:
    with pytest.raises(ValueError, match=r"^ph-eur-2\.9\.5 has no limit for powders for parenteral use of 40 mg$"):
        chance("mass-uniformity", 100, 4, form="powders for parenteral use", unit_mass_mg=40)


def test_an_unknown_test_is_refused_with_the_known_ones() -> None:
    message = (
        '^"hardness" is no test with a chance of passing; name one of mass-uniformity, content-uniformity, '
        "dosage-unit-uniformity$"
    )
    with pytest.raises(ValueError, match=message):
        rule_of("hardness")


def test_a_rule_of_another_test_is_refused() -> None:
    message = (
        r"^the rule harmonised-udu is for dosage-unit-uniformity, not for mass-uniformity; name a rule of "
        r"mass-uniformity$"
    )
    with pytest.raises(ValueError, match=message):
        chance("mass-uniformity", 100, 3, rule="harmonised-udu")


def test_words_of_one_batch() -> None:
    found = chance("mass-uniformity", 100, 3)
    assert chance_text(found) == (
        "Uniformity of mass (rule ph-eur-2.9.5)\n"
        "\n"
        "Of 100 samples from such a batch about 74 pass.\n"
        "\n"
        "A batch of true RSD 3 %\n"
        "  Passes                Chance\n"
        "  at the first stage   73.99 %\n"
        "  in all               73.99 %\n"
        "\n"
        "For units that are normally distributed and drawn at random. The chance is\n"
        "calculated without random numbers; its error is at most 0.00010 percentage\n"
        "points."
    )


def test_nearly_certain_is_not_certain() -> None:
    assert "over 99.99 %" in chance_text(chance("dosage-unit-uniformity", 100, 3))
    assert "under 0.01 %" in chance_text(chance("dosage-unit-uniformity", 80, 2))


def test_words_are_for_one_batch_only() -> None:
    with pytest.raises(ValueError, match=r"^chances in words are for one mean and one SD$"):
        chance_text(chance("mass-uniformity", 100, [3, 4]))


@pytest.mark.parametrize("test", ["mass-uniformity", "content-uniformity", "dosage-unit-uniformity"])
def test_plan_is_consistent_and_fits_the_terminal(test: str) -> None:
    plan = chance_plan(question(test), 100, 4)
    found = chance(test, 100, [plan.greatest_sd_percent, plan.even_sd_percent, plan.poor_sd_percent])
    assert np.asarray(found.pass_overall) == pytest.approx([0.95, 0.5, 0.05], abs=1e-4)
    # Half of the first stage, six at least, and twice and three times as many beside it.
    assert [cost.n for cost in plan.samples] == ([10, 20, 40, 60] if test == "mass-uniformity" else [6, 10, 20, 30])
    (own,) = [cost for cost in plan.samples if cost.n == plan.first_size]
    assert own.sound_refused >= 0.05 - 1e-4
    assert (plan.units_needed is None) == (test != "dosage-unit-uniformity")
    lines = chance_text(chance(test, 100, 4), plan=plan).splitlines()
    assert max(len(line) for line in lines) <= 80
    assert f"The rule's first stage has {plan.first_size} units" in " ".join(lines)


def test_plan_names_the_units_to_test() -> None:
    text = chance_text(
        chance("dosage-unit-uniformity", 100, 4), plan=chance_plan(question("dosage-unit-uniformity"), 100, 4)
    )
    assert (
        "To assure a chance of 95 % with 95 % confidence, it takes 26 units that show a\n"
        "mean of 100 % and an SD of 4 %; 10 units of that mean do where their SD is\n"
        "2.80 % or less. The bound of qc check, which takes no spread for granted, is\n"
        "lower."
    ) in text


def test_a_plan_in_words() -> None:
    """Figures of our own run."""
    found = chance("mass-uniformity", 98, 4)
    told = chance_text(found, plan=chance_plan(question("mass-uniformity", wanted=0.9), 98, 4))
    assert told.partition("points.\n\n")[2] == (
        "A batch passes with a chance of 90 % up to a true RSD of 2.62 %, is as likely to\n"
        "pass as not at 3.32 %, and passes with a chance of 5 % or less from 4.62 % on.\n"
        "\n"
        "What the size of a single sample costs, the limits being kept and no second\n"
        "stage tested\n"
        "  Units   Sound batch refused at once   Poor batch passed\n"
        "     10                        9.15 %             20.99 %\n"
        "     20                       10.00 %              5.00 %\n"
        "     40                        8.84 %              0.35 %\n"
        "     60                        7.40 %              0.03 %\n"
        "\n"
        "Sound: RSD 2.62 %. Poor: RSD 4.62 %. The rule's first stage has 20 units; no\n"
        "other size is its test."
    )
    assert "A batch of true RSD 4.081633 %\n" in told
    asked = question("dosage-unit-uniformity", wanted=0.9, confidence=0.8)
    told = chance_text(chance("dosage-unit-uniformity", 98, 4), plan=chance_plan(asked, 98, 4))
    assert told.partition("points.\n\n")[2].partition("What the size")[0] == (
        "At a mean of 98 % of label a batch passes with a chance of 90 % up to a true SD\n"
        "of 6.11 %, is as likely to pass as not at 7.35 %, and passes with a chance of\n"
        "5 % or less from 9.92 % on.\n"
        "\n"
        "To assure a chance of 90 % with 80 % confidence, it takes 18 units that show a\n"
        "mean of 98 % and an SD of 4 %; 10 units of that mean do where their SD is 3.42 %\n"
        "or less. The bound of qc check, which takes no spread for granted, is lower.\n"
        "\n"
    )


@pytest.mark.parametrize(
    ("share", "said"),
    [
        (0.0049, "fewer than 1"),
        (0.005, "about 1"),
        (0.5, "about 50"),
        (0.9949, "about 99"),
        (0.995, "more than 99"),
    ],
)
def test_a_chance_of_a_hundred_is_never_none_and_never_all(share: float, said: str) -> None:
    assert of_hundred(share) == said


TEN = (98.1, 101.2, 99.4, 97.6, 103.0, 100.3, 96.8, 99.9, 102.4, 98.8)


@pytest.mark.parametrize(
    ("test", "values", "said"),
    [
        ("dosage-unit-uniformity", TEN, ("10 units about 2 are", "About 85 are", "of 95 %. For")),
        ("dosage-unit-uniformity", TEN * 3, ("About 92 are", ", at least 46 % with 90 % confidence. For")),
        # Units of mass by the gram; a bound below one of ten is none that anybody is told of.
        ("mass-uniformity", [value / 40.0 for value in TEN], ("10 units about 16", "About 48", "of 79 %. For")),
        ("dosage-unit-uniformity", (90.0, 90.0, 0.0), ("3 units about 92", "About 1 are", "of 9 %. For")),
    ],
)
def test_units_found_in_words(test: str, values: Sequence[float], said: Sequence[str]) -> None:
    """Figures of our own run."""
    asked = question(test, confidence=0.9)
    told = in_words(batch_of(values, asked=asked), asked=asked)
    assert [one for one in said if one not in told] == []


@pytest.mark.parametrize("values", [(), (98.0, 99.0), (98.0, 98.0, 98.0), (98.0, 99.0, -0.1)])
def test_units_that_say_nothing_of_their_batch_are_refused(values: Sequence[float]) -> None:
    with pytest.raises(ValueError, match=r"^\d units? cannot be used; give 3 or more that differ, from 0 up$"):
        batch_of(values, asked=question("dosage-unit-uniformity"))


def test_plan_says_when_no_number_of_units_would_do() -> None:
    text = chance_text(
        chance("dosage-unit-uniformity", 80, 4), plan=chance_plan(question("dosage-unit-uniformity"), 80, 4)
    )
    assert "not even a thousand units" in text
    assert "no 10 units of that mean do." in text.replace("\n", " ")


@pytest.mark.parametrize(("wanted", "shown"), [(0.0, "0"), (1.0, "1"), (95.0, "95")])
def test_a_wanted_chance_that_is_no_chance_is_refused(wanted: float, shown: str) -> None:
    message = f"^a chance of {shown} cannot be used; give a number between 0 and 1, for example 0.95$"
    with pytest.raises(ValueError, match=message):
        question("mass-uniformity", wanted=wanted)


def test_table_of_limits_in_words() -> None:
    rule = load_rule("harmonised-udu")
    assert isinstance(rule, DosageUnitRule)
    table = acceptance_limits(plan=dosage_units.KIND.plan(rule), means=[80.0, 90.0, 100.0], numbers=[10, 30])
    assert text_page([limits_table(table)]) == (
        "Greatest SD (% of label) that the tested units may show to assure, with 95 %\n"
        "confidence, that another sample passes with a chance of at least 95 %.\n"
        "   mean   n 10   n 30\n"
        "   80.0      -      -\n"
        "   90.0   1.10   1.65\n"
        "  100.0   2.80   4.18"
    )


def test_answer_is_a_frozen_record() -> None:
    found = chance("mass-uniformity", 100, 3)
    assert isinstance(found, Chance)
    with pytest.raises(AttributeError):
        found.test = "other"  # type: ignore[misc]


@pytest.mark.parametrize(("percent", "shown"), [
    (0.0123, "0.013"), (0.05, "0.050"), (0.051, "0.051"), (1.21, "1.3"), (9.9, "9.9"), (9.91, "10.0"), (12.3, "13"),
    (100.0, "100"), (123.4, "124"),
])  # fmt: skip
def test_what_is_at_most_is_rounded_up_to_two_digits(percent: float, shown: str) -> None:
    assert under_test._up(percent) == shown


@pytest.mark.parametrize(("sd", "shown"), [(2.8099, "2.80"), (2.81, "2.81"), (0.999999999, "1.00"), (0.5, "0.50"),
                                           (0.0, NOTHING), (-1.0, NOTHING)])  # fmt: skip
def test_the_greatest_spread_is_rounded_down(sd: float, shown: str) -> None:
    assert under_test._floor(sd) == shown


@pytest.mark.parametrize(("target", "last"), [(100.0, 113), (104.0, 116)])
def test_the_table_of_limits_covers_the_means_that_may_pass(
    target: float, last: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """L1 is 15 % and the mean counts as it is from 98.5 to 101.5 %, or to the target (Ph. Eur. 11.0, 2.9.40)."""
    asked: list[dict[str, Any]] = []
    monkeypatch.setattr("qc.assurance.planning.acceptance_limits", lambda **how: asked.append(how))
    dosage_unit_limits(question("dosage-unit-uniformity", target_percent=target, wanted=0.9, confidence=0.8))
    (how,) = asked
    assert (how["means"], how["numbers"]) == (list(range(86, last + 1)), (10, 20, 30, 40, 50, 60, 100))
    assert (how["wanted"], how["confidence"]) == (0.9, 0.8)
    with pytest.raises(ValueError, match=r"^ph-eur-2\.9\.5 has no acceptance value; name a rule of dosage"):
        dosage_unit_limits(question("mass-uniformity"))


@pytest.mark.parametrize("sd", [4.0, 30.0])
def test_the_page_holds_answer_and_plan_and_a_picture_past_both_spreads(
    sd: float, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    drawn: list[dict[str, Any]] = []
    monkeypatch.setattr(under_test, "chance_page", lambda **what: drawn.append(what) or "a page")
    asked = question("dosage-unit-uniformity")
    answer, plan = chance("dosage-unit-uniformity", 100, sd), chance_plan(asked, 100, sd)
    page = under_test.write_chance_report(tmp_path, asked=asked, answer=answer, plan=plan)
    assert page.read_text() == "a page"
    (what,) = drawn
    told, expected = (text_page(pieces) for pieces in (what["answer"], under_test.chance_pieces(answer, plan=plan)))
    assert told == expected
    assert "To assure a chance" in told
    curve = what["curve"]
    assert (curve.mean_percent, curve.sample_sd_percent) == (100.0, sd)
    assert curve.sds_percent[-1] == pytest.approx(1.3 * max(plan.poor_sd_percent, sd))
