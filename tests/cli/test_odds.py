"""`qc odds` as other programs and people call it."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from typer.testing import Result

Call = Callable[..., Result]


def test_json_on_standard_output_is_the_document_and_nothing_else(qc: Call) -> None:
    result = qc("odds", "--test", "dosage-unit-uniformity", "--mean", "100", "--sd", "6", "--json", "-")
    assert result.exit_code == 0
    assert result.stderr == ""
    document = json.loads(result.stdout)
    assert list(document) == ["test", "mean_percent", "sd_percent", "pass_first_stage", "pass_overall", "error_bound"]
    # Computed, not published: 16 million simulated batches (tests/reference/odds).
    assert document["pass_overall"] == pytest.approx(0.971828, abs=2e-4)


def test_json_file_is_written_beside_the_words(qc: Call, tmp_path: Path) -> None:
    path = tmp_path / "odds.json"
    result = qc("odds", "--test", "mass-uniformity", "--sd", "3", "--json", str(path))
    assert result.exit_code == 0
    assert json.loads(path.read_text(encoding="utf-8"))["test"] == "mass-uniformity"
    assert result.stdout.startswith("Uniformity of mass (rule ph-eur-2.9.5)\nA batch of true RSD 3 %\n")


def test_words_fit_eighty_columns(qc: Call) -> None:
    for words in (("--sd", "4"), ("--limits",)):
        result = qc("odds", *words)
        assert result.exit_code == 0
        assert max(len(line) for line in result.stdout.splitlines()) <= 80


def test_table_of_limits_ends_where_no_spread_is_left(qc: Call) -> None:
    lines = qc("odds", "--limits", "--confidence", "0.9").stdout.splitlines()
    assert lines[:2] == [
        "Greatest SD (% of label) that the tested units may show to assure, with 90 %",
        "confidence, that another sample passes with a chance of at least 95 %.",
    ]
    # Computed, not published, after ASTM E2810: 3.209 at mean 100 and n 10, 4.076 at n 20 (tests/reference/odds).
    (row,) = [line.split() for line in lines if line.startswith("   100.0")]
    assert row[:3] == ["100.0", "3.20", "4.07"]


def test_rounded_and_rule_are_heard(qc: Call) -> None:
    def chance(*words: str) -> float:
        return float(json.loads(qc("odds", *words, "--json", "-").stdout)["pass_overall"])

    assert chance("--sd", "6", "--rounded") > chance("--sd", "6")
    content = ("--test", "content-uniformity", "--sd", "7")
    assert chance(*content, "--rule", "ph-eur-2.9.6-a") < chance(*content)


@pytest.mark.parametrize(
    ("words", "message"),
    [
        ((), "--sd is missing. Give the true SD in % of label, for example --sd 4."),
        (("--sd", "-1"), "The SD -1 cannot be used. Give a number 0 or greater, in % of label."),
        (
            ("--sd", "4", "--test", "hardness"),
            '"hardness" is no test with a chance of passing. Name one of mass-uniformity, content-uniformity, '
            "dosage-unit-uniformity.",
        ),
        (
            ("--sd", "4", "--wanted", "95"),
            "A chance of 95 cannot be used. Give a number between 0 and 1, for example 0.95.",
        ),
        (
            ("--limits", "--json", "-"),
            "--limits and --json are both given. Leave out one of them; the table is for reading.",
        ),
        (
            ("--sd", "4", "--json", "no-such-folder/odds.json"),
            "no-such-folder/odds.json cannot be written (No such file or directory). Name a file in a folder that is "
            "there.",
        ),
    ],
)
def test_an_unusable_call_says_how_to_mend_it(
    qc: Call, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...], message: str
) -> None:
    monkeypatch.chdir(tmp_path)
    result = qc("odds", *words)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert result.stderr == message + "\n"
