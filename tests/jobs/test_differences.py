"""What differs between two results, place by place: nothing that moved is passed over, nothing that stood is told."""

from __future__ import annotations

from typing import Any

from qc.jobs.differences import result_differences, rule_differences, sealed_differences, verdict_differences


def unit(name: str, mass: float | None, **contents: tuple[float | None, float | None]) -> dict[str, Any]:
    told = {active: {"mg": mg, "percent_of_label": percent} for active, (mg, percent) in contents.items()}
    return {"unit": name, "mass_g": mass, "deviation_percent": 1.0, "seen": [], "contents": told}


def judged(id: str, verdict: str = "complies", *, active: str | None = None, **more: Any) -> dict[str, Any]:
    return {"id": id, "verdict": verdict, "rule": "r", "n": 20, "active": active, "subject": None, **more}


BEFORE: dict[str, Any] = {
    "verdict": "complies",
    "rule_set": "default",
    "qc_version": "1",
    "tests": [
        judged("mass-uniformity", figures={"mean_g": 2.0, "sd_g": None}, outside=[], sample=["1", "2"]),
        judged("content-uniformity", active="a"),
        judged("check", subject="softening"),
        judged("check", subject="softening"),
    ],
    "planned_mass": {"planned_g": 2.1},
    "batch": {"number": "B-7", "lots": ["x", "y"], "note": None, "empty": []},
    "units": [unit("1", 2.0, a=(10.0, 100.0)), unit("2", 2.1, a=(None, 99.0)), unit("3", None)],
}


def told(found: Any) -> list[tuple[str, str, object, object]]:
    return [(one.where, one.what, one.before, one.after) for one in found]


def test_a_result_does_not_differ_from_itself() -> None:
    assert result_differences(BEFORE, BEFORE) == ()


def test_every_place_that_moved_is_told_in_its_order() -> None:
    after = {
        **BEFORE,
        "verdict": "undecided",
        "rule_set": "br",
        "qc_version": "2",
        "tests": [
            judged(
                *("mass-uniformity", "second-stage-needed"), rule="q", n=19, figures={"mean_g": 2.2, "cv": 1.0},
                outside=[{"unit": "2"}, {"unit": "9"}], sample=["1"],
            ),
            judged("check", subject="softening"),
            judged("check", "does-not-comply", subject="softening"),
            judged("dosage-unit-uniformity", active="a"),
        ],
        "planned_mass": None,
        "batch": {"number": "B-7", "lots": ["x"], "note": "", "empty": None, "made_by": "A"},
        "units": [unit("1", 2.0, a=(10.5, 105.0)), {**unit("2", 2.15, a=(None, 98.0)), "deviation_percent": 3.0},
                  unit("4", 1.0)],
    }  # fmt: skip
    verdicts = [
        ("batch", "verdict", "complies", "undecided"),
        ("batch", "rule_set", "default", "br"),
        ("Uniformity of mass", "verdict", "complies", "second-stage-needed"),
        ("Uniformity of mass", "rule", "r", "q"),
        ("Uniformity of mass", "n", 20, 19),
        ("Uniformity of mass", "mean_g", 2.0, 2.2),
        ("Uniformity of mass", "units outside", None, "2, 9"),
        ("Uniformity of mass", "sample", "1, 2", "1"),
        ("Uniformity of mass", "cv", None, 1.0),
        ("Uniformity of content, a", "verdict", "complies", None),
        ("Check, softening (2)", "verdict", "complies", "does-not-comply"),
        ("Uniformity of dosage units, a", "verdict", None, "complies"),
        ("planned mass", "planned_g", 2.1, None),
    ]
    found = told(verdict_differences(BEFORE, after))
    assert [(where.casefold(), *rest) for where, *rest in found] == [
        (where.casefold(), *rest) for where, *rest in verdicts
    ]
    assert told(result_differences(BEFORE, after)) == [
        *found,
        ("batch", "lots", "x, y", "x"),
        ("batch", "note", None, ""),
        ("batch", "made_by", None, "A"),
        ("unit 1", "a mg", 10.0, 10.5),
        ("unit 2", "mass_g", 2.1, 2.15),
        ("unit 2", "a percent_of_label", 99.0, 98.0),
        ("unit 3", "record", "entered", None),
        ("unit 4", "record", None, "entered"),
        ("qc", "version", "1", "2"),
    ]


def test_units_are_held_against_each_other_where_both_results_tell_them() -> None:
    bare = {name: value for name, value in BEFORE.items() if name not in ("units", "batch", "tests")}
    assert told(result_differences(bare, {**bare, "units": BEFORE["units"]})) == []
    assert told(result_differences({**bare, "units": BEFORE["units"]}, bare)) == []


def test_rules_are_told_by_edition_and_record() -> None:
    one, other = {"a": {"edition": "11.0", "sha256": "1"}}, {"a": {"edition": "11.1", "sha256": "2"}}
    moved = [("rule a", "edition", "11.0", "11.1"), ("rule a", "SHA-256 of its record", "1", "2")]
    assert told(rule_differences(one, other)) == moved
    assert told(rule_differences(one, {})) == [
        ("rule a", "edition", "11.0", None), ("rule a", "SHA-256 of its record", "1", None)
    ]  # fmt: skip
    documents = [
        {**BEFORE, "verdict": verdict, "seal": {"rules": rules}}
        for verdict, rules in (("complies", one), ("undecided", other))
    ]
    assert told(sealed_differences(*documents)) == [("batch", "verdict", "complies", "undecided"), *moved]
