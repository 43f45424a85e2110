"""Which results are of one batch, where a further report of it goes, and what tables of results hold."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from msgspec.structs import replace

import qc
from qc.history.entries import Confirmed, to_append
from qc.history.figures import BatchFigures, WithinBatch
from qc.history.register import open_register
from qc.jobs.check import REACH_OF_SD, _of_test
from qc.jobs.folder_name import plain_name, unfit_part
from qc.jobs.history import History, confirm_cause, confirmed_causes
from qc.jobs.supersede import another_batch, next_free_folder
from qc.problems import RefusedCall
from qc.results import TestResult, Verdict
from qc.rules.kinds.dosage_units.record import DosageUnitRule
from qc.rules.rule_books import load_rule


def document(*masses: float | None, number: str | None = "B-7", product: str | None = "Zinc") -> dict[str, Any]:
    units = [{"unit": f"{place}", "mass_g": mass} for place, mass in enumerate(masses, start=1)]
    return {"batch": {"number": number, "product": product}, "units": units}


HALF = "most of its units have other masses"


@pytest.mark.parametrize(
    ("one", "other", "because", "told"),
    [
        # One number and one product: whatever its units say.
        (document(1, 2), document(8, 9), "", ""),
        (document(1, number="b-7 "), document(9, number="B-7"), "", ""),
        (document(1), document(1, number="B-8"), "", "its number is B-7, and here B-8"),
        (document(1), document(1, product="Tar"), "", "its product is Zinc, and here Tar"),
        (document(1), document(1, number="B-8", product="Tar"), "", "its number is B-7, and here B-8"),
        # The reason names what was typed wrongly; then the units decide.
        (document(1, 2), document(1, 2, number="B-8"), "it was not b-7", ""),
        (document(1, 2), document(8, 9, number="B-8"), "it was not B-7", HALF),
        (document(1, 2), document(1, 2, number="B-8"), "it was B-8", "its number is B-7, and here B-8"),
        (document(1, 2), document(1, 2, number="B-8"), "not B-71, nor AB-7", "its number is B-7, and here B-8"),
        (document(1), document(9, product="Tar"), "no zinc in it", ""),
        # Nor does a number that one of them does not know tell them apart.
        (document(1, 2, 3, 4, number=None), document(1, 2, 8, 9), "", ""),
        (document(1, 2, 3, 4), document(1, 2, 8, 9, number=None), "", ""),
        (document(1, 2, 3, 4, number=""), document(1, 2, 8, 9, number=None), "", ""),
        (document(1, 2, 3, 4, number=None), document(1, 7, 8, 9), "", HALF),
        # Of the longer one: two of five are fewer than half.
        (document(1, 2, number=None), document(1, 2, 3, 4), "", ""),
        (document(1, 2, number=None), document(1, 2, 3, 4, 5), "", HALF),
        (document(1, 2, 3, 4, 5, number=None), document(1, 2), "", HALF),
        (document(number=None), document(), "", ""),
        (document(None, 2, number=None), document(None, 2), "", ""),
    ],
)
def test_results_are_of_one_batch_by_their_facts_or_else_by_half_of_their_units(
    one: dict[str, Any], other: dict[str, Any], because: str, told: str
) -> None:
    assert another_batch(one, other, because=because) == told


def test_only_the_facts_that_are_asked_for_tell_batches_apart() -> None:
    assert another_batch(document(1), document(9, product="Tar"), because="", known_by=("number",)) == ""
    assert another_batch(document(1), document(9, number="B-8"), because="", known_by=("product",)) == HALF


def test_a_further_report_goes_into_the_next_folder_that_holds_none(tmp_path: Path) -> None:
    place = tmp_path / "B-7"
    assert next_free_folder(place) == place
    place.mkdir()
    (place / "notes.txt").touch()
    assert next_free_folder(place) == place
    for name, file in (("B-7", "report.html"), ("B-7-2", "result.json"), ("B-7-4", "result.json")):
        (tmp_path / name).mkdir(exist_ok=True)
        (tmp_path / name / file).touch()
    assert next_free_folder(place) == tmp_path / "B-7-3"


@pytest.mark.parametrize(("sd", "top"), [(2.0, 15 * REACH_OF_SD), (12 / 1.25, 12.0), (12.0, 15.0), (40.0, 50.0)])
def test_a_curve_reaches_as_far_as_a_batch_may_pass_and_past_its_own_spread(sd: float, top: float) -> None:
    rule = load_rule("harmonised-udu")
    assert isinstance(rule, DosageUnitRule)
    assert REACH_OF_SD == 0.8
    figures = {"mean_percent": 99.0, "sd_percent": sd}
    test = TestResult(id="dosage-unit-uniformity", rule="", verdict=Verdict.COMPLIES, active="a", figures=figures, n=10)
    curve = _of_test(test, rule)
    assert curve is not None
    assert (curve.active, curve.mean_percent, curve.sample_sd_percent) == ("a", 99.0, sd)
    assert (len(curve.sds_percent), curve.sds_percent[-1]) == (41, pytest.approx(top))


def test_a_curve_asks_for_a_mean_and_a_spread_and_knows_the_target() -> None:
    rule = load_rule("harmonised-udu")
    assert isinstance(rule, DosageUnitRule)
    figures: dict[str, Any] = {"mean_percent": 104.0, "sd_percent": 4.0}
    test = TestResult(id="dosage-unit-uniformity", rule="", verdict=Verdict.COMPLIES, figures=figures, n=2)
    usual = _of_test(test, rule)
    assert usual is not None
    for lacking in ({"mean_percent": None}, {"sd_percent": None}, {"sd_percent": 0.0}):
        assert _of_test(replace(test, figures={**figures, **lacking}), rule) is None
    assert _of_test(replace(test, n=1), rule) is None
    # At a target of 100 % nothing changes, at 104 % a mean of 104 % is on it.
    same, on_target = (_of_test(replace(test, figures={**figures, "target_percent": t}), rule) for t in (100, 104))
    assert same == usual
    assert on_target is not None
    assert on_target.overall[-20] > usual.overall[-20]


def test_the_frame_of_a_history_holds_every_figure_of_every_batch(tmp_path: Path) -> None:
    store = str(tmp_path / "h.db")
    full = BatchFigures(
        result_sha256="1" * 64, verdict="undecided", number="B-1", product="Zinc", strength="25 mg",
        made_on="2026-01-02", judged_at="2026-01-03T10:00", basis="mass-alone", planned_g=2.1,
        mass=WithinBatch(n=20, mean=2.05, sd=0.02),
        contents={"zinc": WithinBatch(n=10, mean=99.0, sd=2.5, acceptance_value=6.0)},
        causes={"sound": 0.2, "uneven-fill": 0.7, "poor-mixing": 0.1}, made_by="A", base_lot="L", report="/r",
    )  # fmt: skip
    bare = BatchFigures(result_sha256="2" * 64, verdict="complies", number="B-0", made_on="2026-01-01", product="Zinc",
                        strength="25 mg")  # fmt: skip
    with open_register(store) as register:
        for one in (full, bare):
            register.append(to_append(one))
        for cause in ("poor-mixing", "uneven-fill"):
            register.append(to_append(Confirmed(result_sha256="1" * 64, number="B-1", cause=cause)))
        register.append(to_append(Confirmed(result_sha256="2" * 64, number="B-0", cause="sound")))
    first, second = History(store).frame().astype(object).where(lambda frame: frame.notna(), None).to_dict("records")
    assert second == {
        "entry": 1, "product": "Zinc", "strength": "25 mg", "number": "B-1", "made_on": "2026-01-02",
        "verdict": "undecided", "basis": "mass-alone", "planned_g": 2.1, "made_by": "A", "base_lot": "L",
        "mean_g": 2.05, "sd_g": 0.02, "n": 20, "zinc mean": 99.0, "zinc sd": 2.5, "zinc av": 6.0, "zinc n": 10,
        "likeliest_cause": "uneven-fill", "confirmed_cause": "uneven-fill", "report": "/r", "result_sha256": "1" * 64,
    }  # fmt: skip
    assert (first["entry"], first["number"], first["mean_g"], first["likeliest_cause"]) == (2, "B-0", None, None)
    # Of each batch the latest counts.
    assert confirmed_causes(store) == {"sound": 1, "uneven-fill": 1}
    assert confirmed_causes(str(tmp_path / "none.db")) == {}
    assert not (tmp_path / "none.db").exists()


def test_frames_of_a_result_hold_what_its_records_hold(tmp_path: Path) -> None:
    rows = "".join(f"u{n},{n},{21 - n},M,{n % 4},2.0{n:02d},{98 + n % 5}\n" for n in range(1, 11))
    path = tmp_path / "units.csv"
    path.write_text(f"Unit,Pour order,Weighing order,Mould,Cavity,Mass (g),Content (mg)\n{rows}")
    result = qc.judge(qc.read(path, form="suppositories", label_mg=100), seed=1)
    units = result.units_frame()
    assert list(units) == [
        *("unit", "pour_order", "weighing_order", "mould", "cavity", "mass_g", "deviation_percent", "mass_place"),
        *("in_mass_sample", "seen", "left_out_because"),
        *(f"active {what}" for what in ("mg", "% of label", "% of mean", "mg/g", "place")),
    ]
    for row, (_, unit) in zip(result.judged.unit_rows, units.iterrows(), strict=True):
        content = row.contents["active"]
        assert (unit["unit"], unit["pour_order"], unit["weighing_order"]) == (
            *(row.unit, row.pour_order, row.weighing_order),
        )
        assert (unit["mould"], unit["cavity"], unit["mass_g"]) == (row.mould, row.cavity, float(row.counting_g or 0))
        assert (unit["deviation_percent"], unit["in_mass_sample"]) == (row.deviation_percent, row.in_mass_sample)
        assert row.place is not None
        assert unit["mass_place"] == row.place.value
        assert [unit[f"active {what}"] for what in ("mg", "% of label", "% of mean", "mg/g")] == [
            *(content.mg, content.percent_of_label, content.percent_of_mean, content.concentration_mg_per_g),
        ]
        assert content.place is not None
        assert unit["active place"] == content.place.value
    told: Any = result.as_dict()["tests"]
    tests = result.tests_frame()
    assert list(tests) == ["test", "rule", "active", "verdict", "n", "what", "figure", "bound", "met", "unit"]
    flat = [(test["id"], test["rule"], limit.get("what")) for test in told for limit in test["limits"] or [{}]]
    found = tests.astype(object).where(tests.notna(), None)
    assert list(found[["test", "rule", "what"]].itertuples(index=False, name=None)) == flat
    causes = result.causes_frame()
    assert list(causes) == ["cause", "probability", "name", "evidence"]
    likeliest = max(result.judged.causes, key=lambda one: one.probability)
    assert causes.iloc[0][["cause", "probability"]].tolist() == [likeliest.cause, likeliest.probability]
    assert all(causes["evidence"].astype(bool))
    none = replace(result, judged=replace(result.judged, unit_rows=()))
    assert none.units_frame().empty


def test_a_folder_beside_another_has_a_name_of_its_own_where_they_are_alike_but_for_capitals() -> None:
    digest = "-f2a15e5d"
    assert plain_name("b-7", beside=["C", "B-70", "XB-7"]) == "b-7"
    assert plain_name("b-7", beside=["B-7"]) == f"b-7{digest}"
    # Its own folder is no other; beside both it stays its own.
    assert plain_name("b-7", beside=["b-7"]) == plain_name("b-7", beside=["B-7", "b-7"]) == "b-7"


@pytest.mark.parametrize(
    ("path", "unfit"),
    [
        *(("a/b:c", "b:c"), ("a/b ", "b "), ("a./b", "a."), ("a/CON.txt/b", "CON.txt"), ("a/com\u00b9", "com\u00b9")),
        *(("a/../b", ""), ("./a", ""), ("C:/a", ""), ("C:a?", "a?"), ("", "")),
    ],
)
def test_the_part_of_a_path_that_a_system_cannot_hold_is_named(path: str, unfit: str) -> None:
    assert unfit_part(path) == unfit


def test_a_cause_is_confirmed_of_one_batch_by_its_number_or_the_begin_of_its_digest(tmp_path: Path) -> None:
    figures = [
        BatchFigures(result_sha256=f"{place}" * 64, verdict="complies", number=number, product=product)
        for place, (number, product) in enumerate((("B-1", "Zinc"), ("B-1", "Tar"), ("B-2", "Tar")))
    ]
    with open_register(str(tmp_path / "h.db")) as register:
        for one in figures:
            register.append(to_append(one))
        for asked, told in (("b-1", '2 batches "b-1" stand'), ("B-3", 'no batch "B-3" stands')):
            with pytest.raises(RefusedCall, match=f"^{told} in the history. Give its number, or the first digits"):
                confirm_cause(register, asked, "uneven-fill")
        with pytest.raises(RefusedCall, match=r'^"uneven" is no cause. Give one of .*uneven-fill'):
            confirm_cause(register, "b-2", "uneven")
        for asked in ("111", "b-2"):
            confirm_cause(register, asked, "uneven-fill", by="A")
        assert [(one.result_sha256[0], one.number, one.by) for one in register.confirmed()] == [
            *(("1", "B-1", "A"), ("2", "B-2", "A")),
        ]
