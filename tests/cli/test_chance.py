"""`qc chance` as other programs and people call it."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from qc.cli.main import application

Call = Callable[..., Result]

DOSAGE = ("--test", "dosage-unit-uniformity")


def test_json_on_standard_output_is_the_document_and_nothing_else(qc: Call) -> None:
    result = qc("chance", "--test", "dosage-unit-uniformity", "--mean", "100", "--sd", "6", "--json", "-")
    assert result.exit_code == 0
    assert result.stderr == ""
    document = json.loads(result.stdout)
    assert list(document) == ["test", "mean_percent", "sd_percent", "pass_first_stage", "pass_overall", "error_bound"]
    # Computed, not published: 16 million simulated batches (tests/reference/chance).
    assert document["pass_overall"] == pytest.approx(0.971828, abs=2e-4)


def test_words_name_test_rule_and_spread(qc: Call) -> None:
    result = qc("chance", "--test", "mass-uniformity", "--sd", "3")
    assert result.exit_code == 0
    assert result.stdout.startswith(
        "Uniformity of mass (rule ph-eur-2.9.5)\n\nOf 100 samples from such a batch about 74 pass.\n"
    )


def test_words_fit_eighty_columns(qc: Call) -> None:
    for words in ((), ("--limits",)):
        result = qc("chance", *DOSAGE, "--sd", "4", *words)
        assert result.exit_code == 0
        assert max(len(line) for line in result.stdout.splitlines()) <= 80


def test_table_of_limits_ends_where_no_spread_is_left(qc: Call) -> None:
    lines = qc("chance", *DOSAGE, "--sd", "4", "--limits", "--confidence", "0.9").stdout.splitlines()
    assert lines[:2] == [
        "Greatest SD (% of label) that the tested units may show to assure, with 90 %",
        "confidence, that another sample passes with a chance of at least 95 %.",
    ]
    # Computed, not published, after ASTM E2810: 3.209 at mean 100 and n 10, 4.076 at n 20 (tests/reference/chance).
    (row,) = [line.split() for line in lines if line.startswith("  100.0")]
    assert row[:3] == ["100.0", "3.20", "4.07"]


def test_rounded_and_rule_are_heard(qc: Call) -> None:
    def chance(*words: str) -> float:
        return float(json.loads(qc("chance", *words, "--json", "-").stdout)["pass_overall"])

    assert chance(*DOSAGE, "--sd", "6", "--rounded") > chance(*DOSAGE, "--sd", "6")
    content = ("--test", "content-uniformity", "--sd", "7")
    assert chance(*content, "--rule", "ph-eur-2.9.6-a") < chance(*content)


def test_a_target_moves_the_table_of_limits(qc: Call) -> None:
    usual = qc("chance", *DOSAGE, "--sd", "4", "--limits").stdout.splitlines()
    aimed = qc("chance", *DOSAGE, "--sd", "4", "--limits", "--target", "105").stdout.splitlines()
    assert len(aimed) == len(usual) + 4
    assert usual[-1].startswith("  113.0")
    assert aimed[-1].startswith("  117.0")


@pytest.mark.parametrize(
    ("words", "found"),
    [
        ((*DOSAGE, "--sd", "-1"), "the SD -1 cannot be used; give a number 0 or greater, in % of label."),
        ((*DOSAGE, "--sd", "1e7"), "the SD 10000000 cannot be used; give a number up to 1000000, in % of label."),
        (
            ("--test", "hardness", "--sd", "4"),
            '"hardness" is no test with a chance of passing; name one of mass-uniformity, content-uniformity, '
            "dosage-unit-uniformity.",
        ),
        (
            (*DOSAGE, "--sd", "4", "--wanted", "95"),
            "a chance of 95 cannot be used; give a number between 0 and 1, for example 0.95.",
        ),
    ],
)
def test_an_unusable_call_says_how_to_mend_it(qc: Call, words: tuple[str, ...], found: str) -> None:
    result = qc("chance", *words)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert result.stderr == f"{found} See qc chance --help.\n"


def test_report_is_one_page_with_the_picture_and_the_table(qc: Call, tmp_path: Path) -> None:
    result = qc("chance", *DOSAGE, "--mean", "97", "--sd", "5", "--report", str(tmp_path / "chance"))
    assert result.exit_code == 0
    assert result.stdout.endswith(f"Report: {tmp_path / 'chance' / 'chance.html'}\n")
    page = (tmp_path / "chance" / "chance.html").read_text(encoding="utf-8").replace("\xa0", " ")
    assert page.count("<svg") == page.count("<figcaption>") == 1
    assert all(f"<bdi>{shown}</bdi>" in page for shown in ("71.43 %", "98.89 %"))
    assert "<script" not in page
    assert [path.name for path in (tmp_path / "chance").iterdir()] == ["chance.html"]


def test_report_of_a_test_about_the_own_mean_has_the_curve_alone(qc: Call, tmp_path: Path) -> None:
    result = qc("chance", "--test", "mass-uniformity", "--sd", "3", "--report", str(tmp_path), "--json", "-")
    assert json.loads(result.stdout)["test"] == "mass-uniformity"
    page = (tmp_path / "chance.html").read_text(encoding="utf-8")
    assert page.count("<svg") == 1
    assert "true RSD [%]" in page


def test_report_is_never_written_over(qc: Call, tmp_path: Path) -> None:
    (tmp_path / "chance.html").write_text("mine", encoding="utf-8")
    result = qc("chance", *DOSAGE, "--sd", "5", "--report", str(tmp_path))
    assert result.exit_code == 2
    assert f"{tmp_path} already holds a report (chance.html); it was left as it is." in result.stderr
    assert (tmp_path / "chance.html").read_text(encoding="utf-8") == "mine"


def test_limits_are_given_to_other_programs_too() -> None:
    done = CliRunner().invoke(
        application("chance"), ["chance", "--test", "dosage-unit-uniformity", "--sd", "4", "--limits", "--json", "-"]
    )
    document = json.loads(done.stdout)
    assert (document["test"], document["wanted"], document["confidence"]) == ("dosage-unit-uniformity", 0.95, 0.95)
    assert len(document["greatest_sd_percent"]) == len(document["means_percent"])
    assert {len(row) for row in document["greatest_sd_percent"]} == {len(document["numbers"])}


def test_the_first_sentence_says_the_chance_in_words() -> None:
    done = CliRunner().invoke(
        application("chance"), ["chance", "--test", "dosage-unit-uniformity", "--mean", "97", "--sd", "4"]
    )
    assert done.stdout.splitlines()[2:4] == [
        "Of 100 samples from such a batch about 94 pass at the first stage, and more than",
        "99 once a second stage is tested where it is due.",
    ]


TEN = "98.1 101.2 99.4 97.6 103.0 100.3 96.8 99.9 102.4 98.8"


def test_units_that_were_found_say_how_likely_their_batch_is_bad(qc: Call) -> None:
    good, poor = (
        qc("chance", "--found", TEN),
        qc("chance", "--found", "88.1, 111.2, 99.4, 87.6, 103, 110.3, 96.8, 78.8"),
    )
    assert good.stdout.splitlines()[:2] == [
        "Of 100 batches that show these 10 units about 2 are bad: their samples fail more",
        "often than they pass. About 85 are good: their samples pass in 95 % of the cases",
    ]
    assert poor.stdout.startswith("Of 100 batches that show these 8 units more than 99 are bad")
    assert "at least" not in poor.stdout
    document = json.loads(qc("chance", "--found", TEN, "--json", "-").stdout)
    assert list(document) == ["test", "rule", "n", "bad", "good", "pass_chance", "pass_chance_low"]
    assert document["bad"] + document["good"] <= 1.0


def test_masses_are_taken_about_their_own_mean(qc: Call) -> None:
    grams = "2.00 2.05 1.98 2.02 1.95 2.03 2.01 1.99 2.04 1.97"
    twice = " ".join(f"{2 * float(one):.2f}" for one in grams.split())
    by_mass = ("chance", "--test", "mass-uniformity", "--json", "-", "--found")
    assert qc(*by_mass, grams).stdout == qc(*by_mass, twice).stdout


def test_a_settling_is_noticed_by_more_assays_and_earlier_at_the_ends(qc: Call, tmp_path: Path) -> None:
    result = qc("chance", "--drift", "5", "--report", str(tmp_path))
    lines = result.stdout.splitlines()
    assert lines[0] == "Of 100 pours whose concentration changes by +5.0 % from the first unit to the"
    assert lines[3:5] == [
        "  - Evenly: units 1, 4, 6, 9, 11, 14, 16, 19, 21 and 24.",
        "  - First and last: 1, 2, 3, 4, 5, 20, 21, 22, 23 and 24.",
    ] or lines[4:6] == [
        "  - Evenly: units 1, 4, 6, 9, 11, 14, 16, 19, 21 and 24.",
        "  - First and last: 1, 2, 3, 4, 5, 20, 21, 22, 23 and 24.",
    ]
    rows = json.loads(qc("chance", "--drift", "5", "--json", "-").stdout)["others"]
    chances = [row["evenly"] for row in rows]
    assert chances == sorted(chances)
    assert [row["at_ends"] is None for row in rows] == [row["n"] < 10 for row in rows]
    assert all(row["at_ends"] > row["evenly"] for row in rows if row["n"] >= 10)
    assert [row["effort"] for row in rows] == [12.0 * row["n"] for row in rows]
    page = (tmp_path / "chance.html").read_text(encoding="utf-8")
    assert page.count("<svg") == 1
    assert "concentration [% from the mean]" in page


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ((), "One question at a time is answered. Give one of --sd PERCENT, --found NUMBERS, --drift PERCENT.\n"),
        (
            ("--sd", "4", "--drift", "5"),
            "One question at a time is answered. Give one of --sd PERCENT, --found NUMBERS, --drift PERCENT.\n",
        ),
        (
            ("--found", "98,1 101,2"),
            '--found "98,1 101,2" can be read two ways. Type decimal points, and blanks between the numbers.\n',
        ),
        (("--found", "98 x"), '--found "98 x" is not a list of numbers. Give for example --found "98.1 101.2 99.4".\n'),
        (("--found", "98"), "1 unit cannot be used; give 3 or more that differ, from 0 up. See qc chance --help.\n"),
        (
            ("--drift", "5", "--assays", "30"),
            "30 assays of 24 units that scatter by 1.6 % cannot be asked about; give at least 4 assays, no fewer "
            "units, and a scatter above 0. See qc chance --help.\n",
        ),
    ],
)
def test_a_question_that_cannot_be_answered_is_refused(qc: Call, words: tuple[str, ...], said: str) -> None:
    done = qc("chance", *words)
    assert (done.exit_code, done.stderr) == (2, said)
