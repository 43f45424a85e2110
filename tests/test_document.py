"""The result document: every name other programs rely on, plain values only, the same bytes for the same result."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import pytest
from msgspec.structs import replace

import qc
from qc.document import KEYS, WORKED_OUT, as_text

ROOT = Path(__file__).parents[1]
SAMPLES = ROOT / "sample_data"
TEST_KEYS = {"id", "rule", "active", "verdict", "n", "figures", "outside", "reasons"}
TREND_KEYS = {
    "flag",
    "p_value",
    "change_percent",
    "change_low_percent",
    "change_high_percent",
    "detectable_percent",
    "n",
}
ASSURANCE_KEYS = {
    "test",
    "active",
    "confidence",
    "pass_chance",
    "pass_chance_low",
    "coverage",
    "tolerance_low_percent",
    "tolerance_high_percent",
    "units_left",
    "left_within",
    "left_low_percent",
    "left_high_percent",
    "outside_at_most",
    "spoilt_at_most",
}
FIGURES = {
    "mass-uniformity": {"mean_g", "limit_percent", "beyond_limit", "beyond_double", "rsd_percent"},
    "content-uniformity": {"beyond_inner", "beyond_outer", "stage"},
    "dosage-unit-uniformity": {"mean_percent", "sd_percent", "k", "reference_percent", "acceptance_value", "stage"},
}
CAUSES = {
    "sound",
    "settling-in-pour",
    "settling-in-unit",
    "poor-mixing",
    "uneven-fill",
    "cavity-differences",
    "wrong-displacement",
    "active-lost",
    "balance-drift",
    "slip-of-pen",
}


@pytest.fixture(scope="module", params=["fails-on-content", "second-stage", "two-actives"])
def document(request: pytest.FixtureRequest) -> dict[str, Any]:
    return qc.judge(qc.read(SAMPLES / f"{request.param}.xlsx")).as_dict()


def test_the_parts_and_their_order(document: dict[str, Any]) -> None:
    assert document["schema"] == "qc-result/1"
    assert document["qc_version"] == qc.__version__
    assert "input" not in document
    named = ["schema", "qc_version", "batch", "verdict", "tests", "pour_trend", "causes", "assurance", "notices"]
    assert [key for key in document if key in named] == named


def test_the_batch_says_what_was_entered(document: dict[str, Any]) -> None:
    assert {"number", "product", "dosage_form", "units_weighed"} <= set(document["batch"])
    assert document["batch"]["units_weighed"] >= 24


def test_every_test_has_its_names_and_figures(document: dict[str, Any]) -> None:
    verdicts = {"complies", "does-not-comply", "second-stage", "too-few-units", "not-assessed"}
    for test in document["tests"]:
        assert set(test) >= TEST_KEYS
        assert test["verdict"] in verdicts
        assert all({"unit", "deviation_percent"} <= set(unit) for unit in test["outside"])
        if test["verdict"] != "not-assessed":
            assert set(test["figures"]) >= FIGURES.get(test["id"], set())
        if test["id"] == "content-uniformity":
            assert {"mean_mg", "mean_percent"} & set(test["figures"])
    assert {test["id"] for test in document["tests"]} >= set(FIGURES)
    assert document["verdict"] in {"complies", "does-not-comply", "undecided"}


def test_the_trends_have_their_names(document: dict[str, Any]) -> None:
    trends = [document["pour_trend"]["mass"], *document["pour_trend"]["content"].values()]
    for trend in trends:
        assert set(trend) >= TREND_KEYS
        assert trend["flag"] in {"clear", "possible", "none-seen", "cannot-tell"}
    actives = {test["active"] for test in document["tests"] if test["active"] is not None}
    assert set(document["pour_trend"]["content"]) == actives


def test_the_causes_are_probabilities_most_probable_first(document: dict[str, Any]) -> None:
    chances = [cause["probability"] for cause in document["causes"]]
    assert {cause["cause"] for cause in document["causes"]} >= CAUSES
    assert chances == sorted(chances, reverse=True)
    assert math.fsum(chances) == pytest.approx(1, abs=1e-12)
    assert all(isinstance(cause["evidence"], list) for cause in document["causes"])


def test_the_assurance_has_its_names(document: dict[str, Any]) -> None:
    assert document["assurance"]
    for one in document["assurance"]:
        assert set(one) >= ASSURANCE_KEYS
        assert one["pass_chance_low"] is None or 0 <= one["pass_chance_low"] <= 1
        kept = 0 if one["test"] == "mass-uniformity" else document["ledger"]["weighed_and_kept"]
        assert one["units_left"] == document["ledger"]["left"] + kept
        assert (one["left_within"] is None) == (one["units_left"] == 0)
        if one["left_within"] is not None:
            assert one["left_low_percent"] < one["left_high_percent"]
        assert (one["outside_at_most"] is None) == (one["test"] != "dosage-unit-uniformity")


def test_nothing_can_be_released_of_a_batch_that_does_not_comply(document: dict[str, Any]) -> None:
    counted = document["ledger"]
    none = document["verdict"] == "does-not-comply"
    assert counted["released_at_most"] == (0 if none else counted["weighed_and_kept"] + counted["left"])


def test_it_holds_plain_values_only_and_survives_json(document: dict[str, Any]) -> None:
    def plain(value: object) -> bool:
        if isinstance(value, dict):
            return all(type(key) is str and plain(part) for key, part in value.items())
        if isinstance(value, list):
            return all(map(plain, value))
        return value is None or type(value) in (str, int, float, bool)

    assert plain(document)
    assert json.loads(as_text(document)) == document


def test_the_same_batch_gives_the_same_bytes() -> None:
    batch = qc.read(SAMPLES / "second-stage.xlsx")
    assert as_text(qc.judge(batch).as_dict()) == as_text(qc.judge(batch).as_dict())


def test_a_number_that_json_lacks_is_our_own_mistake_and_is_not_written() -> None:
    with pytest.raises(ValueError, match="Out of range float values are not JSON compliant"):
        as_text({"value": float("nan")})


def test_text_of_any_script_stays_readable() -> None:
    assert as_text({"product": "Zäpfchen ≥ 5 %"}) == '{\n  "product": "Zäpfchen ≥ 5 %"\n}\n'


@pytest.mark.parametrize("kind", KEYS, ids=lambda kind: kind.__name__)
def test_every_key_is_a_field_or_is_worked_out(kind: type[Any]) -> None:
    names = KEYS[kind].split()
    assert len(names) == len(set(names))
    assert all(name in WORKED_OUT.get(kind, {}) or hasattr(kind, name) for name in names)
    assert set(WORKED_OUT.get(kind, {})) <= set(names)


def test_an_empty_text_is_null_but_in_a_line_of_the_checklist() -> None:
    batch = qc.read(SAMPLES / "sound.xlsx")
    batch = replace(batch, checks=batch.checks[-1:])
    document = qc.judge(batch).as_dict()
    assert document["tests"][0]["subject"] is None
    assert {line["entered"] for line in document["packing"]["lines"]} == {"", "yes"}


def test_the_text_is_that_of_the_json_library_with_two_blanks_a_level() -> None:
    texts = {'line\n"end"': "\u2028\x7f\x00", "é": "𝄞", "": "a, b: {c} [d]"}
    numbers = [1e300, -0.0, 1e-7, 0.1, 12345678901234567890123, True, None]
    document: dict[str, object] = {
        "empty": [{}, [], [[]]],
        "texts": texts,
        "numbers": numbers,
        "rows": [{"a": {"b": []}}],
    }
    assert as_text(document) == json.dumps(document, ensure_ascii=False, indent=2) + "\n"
    assert as_text({"half": "\ud800"}) == '{\n  "half": "\N{REPLACEMENT CHARACTER}"\n}\n'
    with pytest.raises(ValueError, match="JSON compliant"):
        as_text({"mean": math.nan})
