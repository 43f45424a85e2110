"""What a call hands on and where it ends: small questions about jobs."""

from __future__ import annotations

import inspect
from collections.abc import Callable
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import pandas as pd
import pytest

import qc
from qc.batch import Batch, Superseded
from qc.jobs.check import check_batch, default_report_folder
from qc.jobs.history import _refuse_broken
from qc.jobs.judgement import Judgement
from qc.jobs.seal import Asked, call_of, packed, unpacked
from qc.jobs.superseded import FiledMark, standing, superseded_input
from qc.jobs.sweep.reports import ADDED, REASON, UNSAID, _because, place_of_reason
from qc.jobs.verify.again import _beside, _records
from qc.jobs.verify.files import Status
from qc.problems import InputProblems, Problem
from qc.readers.options import ReadOptions
from qc.results import BatchVerdict, JudgedBatch, Limit, Place, TestResult, UnitContent, UnitRow, Verdict
from qc.rules.rule_books import set_digest
from qc.show.filing import JSON


def of_number(number: str) -> JudgedBatch:
    return cast(JudgedBatch, SimpleNamespace(batch=Batch(units=(), number=number)))


def test_a_folder_of_a_report_differs_from_those_beside_it_by_more_than_capitals(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert default_report_folder(of_number("b-7"), path=Path("x.csv")) == Path("reports/b-7")
    (tmp_path / "reports" / "B-7").mkdir(parents=True)
    assert default_report_folder(of_number("b-7"), path=Path("x.csv")) == Path("reports/b-7-f2a15e5d")


@pytest.mark.parametrize(
    ("changed", "said"),
    [(8, "entry 1, 2, 3, 4, 5, 6, 7 and 8"), (9, "entry 1, 2, 3, 4, 5, 6, 7, 8 and 1 more")],
)
def test_of_the_entries_that_were_changed_eight_are_named(changed: int, said: str) -> None:
    chain = SimpleNamespace(whole=False, changed=range(1, changed + 1), missing=(), damage="")
    register: Any = SimpleNamespace(name="h.db", verify=lambda: chain)
    with pytest.raises(InputProblems, match=f"the history was changed: {said}. Go back"):
        _refuse_broken(register)


def test_a_batch_is_read_from_the_cells_that_the_call_names(tmp_path: Path) -> None:
    file = tmp_path / "two.csv"
    file.write_text("No.,Weight (g),,No.,Weight (g)\n1,2.013,,11,2.113\n2,2.021,,12,2.121\n3,1.998,,13,2.098\n")
    batch = qc.read(file, form="suppositories", sheet="D1:E4")
    assert [unit.name for unit in batch.units] == ["11", "12", "13"]


def test_what_came_from_no_file_was_superseded_by_nothing(tmp_path: Path) -> None:
    assert superseded_input(Batch(units=()), path=tmp_path / "x.csv") is None


def with_note(note: str) -> dict[str, Any]:
    return {"batch": {"note": note}, "units": []}


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        ("", "typing", ("typing", "")),
        ("old", "new", ("new", "")),
        ("old", "old", (ADDED, "B2")),
        ("old", "", (UNSAID, "B2")),
    ],
)
def test_the_reason_of_a_correction_is_a_note_that_was_not_there_before(
    before: str, after: str, said: tuple[str, str]
) -> None:
    assert _because(with_note(before), with_note(after), missing="B2", path=Path("x.csv")) == said


@pytest.mark.parametrize(
    ("rows", "place"),
    [
        (f"Batch number,B-7\n{REASON},\n", "!B3"),
        ("Batch number,B-7\n", f"!B3, with {REASON} beside it in A3,"),
    ],
)
def test_the_cell_for_a_reason_is_named_or_the_first_row_that_is_free(rows: str, place: str, tmp_path: Path) -> None:
    (tmp_path / "units.csv").write_text("Unit,Mass (g)\n1,2.013\n")
    (tmp_path / "batch.csv").write_text(f"Field,Value\n{rows}")
    assert place_of_reason(tmp_path).endswith(place)


def test_how_a_batch_was_asked_about_stands_beside_it(tmp_path: Path) -> None:
    table = tmp_path / "a.csv"
    table.write_text("Unit,Mass (g)\n" + "".join(f"{n},2.0{n:02d}\n" for n in range(1, 21)))
    options, at = ReadOptions(form="suppositories"), datetime(2026, 11, 28, tzinfo=UTC)
    mark = Superseded(by="1" * 12, folder="B-2", because="weighed again", at="2026-11-26T10:00:00+00:00")
    how: dict[str, Any] = {"rules": "br", "blind": True, "confirmed": {"sound": 2}, "at": at}
    checked = check_batch(table, options=options, seed=7, superseded=lambda batch: mark if batch.units else None, **how)
    assert checked.asked == Asked(options=options, **how)
    assert (checked.judged.batch.superseded, checked.judged.causes, checked.document["seed"]) == (mark, (), 7)
    assert list(checked.document)[:3] == ["schema", "qc_version", "input"]


def test_what_is_wrong_with_a_call_is_told_before_what_is_wrong_with_the_file(tmp_path: Path) -> None:
    wrong = Problem(file="", sheet="", cell="", found="--form is no form", mend="Give another")
    with pytest.raises(InputProblems) as refused:
        check_batch(tmp_path / "none.csv", options=ReadOptions(), rules="no such rules", refused=[wrong])
    assert refused.value.problems[0] == wrong
    assert len(refused.value.problems) == 3


def test_a_frame_of_units_holds_each_as_it_was_found() -> None:
    rows = (
        UnitRow(unit="1", pour_order=2, mould="A", cavity="1", mass_g=Decimal("2.013"), deviation_percent=0.5,
                in_mass_sample=True, place=Place.INSIDE, seen=("chipped", "light"), contents={"zinc": UnitContent(
                    mg=10.1, percent_of_label=101.0, percent_of_mean=100.5, concentration_mg_per_g=5.0,
                    place=Place.BEYOND_OUTER)}),
        UnitRow(unit="2", pour_order=None, mould=None, cavity=None, mass_g=None, deviation_percent=None,
                left_out_because="dropped", contents={"zinc": UnitContent(mg=None, percent_of_label=99.0)}),
    )  # fmt: skip
    judged = JudgedBatch(batch=Batch(units=()), rule_set="", verdict=BatchVerdict.UNDECIDED, tests=(), unit_rows=rows)
    first, second = Judgement(judged, cast(Any, None)).units_frame().astype(object).to_dict("records")
    assert pd.isna(first.pop("left_out_because"))
    assert first == {
        "unit": "1", "pour_order": 2, "weighing_order": None, "mould": "A", "cavity": "1", "mass_g": 2.013,
        "deviation_percent": 0.5, "mass_place": "inside", "in_mass_sample": True, "seen": "chipped; light",
        "zinc mg": 10.1, "zinc % of label": 101.0, "zinc % of mean": 100.5,
        "zinc mg/g": 5.0, "zinc place": Place.BEYOND_OUTER.value,
    }  # fmt: skip
    assert pd.isna(second["mass_place"])
    assert pd.isna(second["zinc place"])
    assert second["left_out_because"] == "dropped"


def test_a_call_hands_on_all_that_it_says_of_a_batch(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    asked = list[ReadOptions]()
    monkeypatch.setattr(
        "qc.jobs.python_calls.read_batch", lambda path, options: asked.append(options) or Batch(units=())
    )
    said: dict[str, Any] = {"form": "pessaries", "decimal": "comma", "sheet": "S", "order": "pour", "batch": "B-7"}
    qc.read(tmp_path, label_mg=250, displacement="1.5", mass_unit="mg", ignore=["D2:D9"], **said)
    named = {"label_mg": Decimal(250), "displacement": Decimal("1.5"), "mass_unit": "mg", "ignore": ("D2:D9",)}
    (options,) = asked
    assert {name: getattr(options, name) for name in (*said, *named)} == said | named


def test_a_sweep_from_a_notebook_goes_on_where_an_earlier_one_ended(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = list[Any]()
    swept = SimpleNamespace(rows=())
    monkeypatch.setattr("qc.jobs.sweep.run.sweep", lambda paths, **how: asked.append((paths, how)) or swept)
    for out in (None, tmp_path):
        qc.sweep(tmp_path / "a.csv", rules="br", form="pessaries", jobs=2, out=out)
    (_, first), (paths, second) = asked
    assert (paths, second["out"], second["resume"], second["jobs"]) == ([tmp_path / "a.csv"], tmp_path, True, 2)
    assert second["call"] == call_of(ReadOptions(form="pessaries"), rules="br")
    assert first["out"] != tmp_path


def test_a_result_that_prints_itself_names_what_is_not_met_on_one_line() -> None:
    many = [Limit(what="beyond_limit", figure=n, bound=2, met=False, unit="units",
                  values={"percent": 5, "centre": "mean", "of": 20}) for n in range(3, 9)]  # fmt: skip
    tests = tuple(
        TestResult(id="mass-uniformity", rule="", verdict=verdict, criteria=tuple(many[:count]))
        for verdict, count in ((Verdict.DOES_NOT_COMPLY, 6), (Verdict.COMPLIES, 1), (Verdict.SECOND_STAGE, 1))
    )
    judged = JudgedBatch(batch=Batch(units=()), rule_set="br", verdict=BatchVerdict.UNDECIDED, tests=tests)
    lines = repr(Judgement(judged, cast(Any, None))).replace("\xa0", " ").splitlines()
    met = "Mass: 3 of 20 beyond 5.000000 % of the mean"
    assert lines == [
        "UNDECIDED: batch without a number",
        "Units: 0 entered, 0 weighed; rules: br",
        "Mean: \u2013",
        f"Not met: {met}; at most 2; {met}\u2026",
        "Pour: \u2013",
        "Cause: \u2013",
    ]


@pytest.mark.parametrize(
    ("call", "usual"),
    [
        (qc.chance, {"rounded": False, "form": "suppositories", "target_percent": 100.0}),
        (qc.lesson, {"units": 24, "seed": 1, "strength": 1.0}),
        (qc.pour_melt, {"units": 24}),
        (qc.read, {"ignore": ()}),
        (qc.sweep_frames, {"rows": 10_000}),
    ],
)
def test_what_a_call_does_not_say_is_usual(call: Callable[..., object], usual: dict[str, object]) -> None:
    asked = {name: one.default for name, one in inspect.signature(call).parameters.items()}
    assert {name: one for name, one in asked.items() if one not in (None, inspect.Parameter.empty)} == usual


def test_reports_that_supersede_each_other_lead_to_an_end(tmp_path: Path) -> None:
    for name, later in (("a", "b"), ("b", "a")):
        (tmp_path / name).mkdir()
        (tmp_path / name / "result.json").touch()
        mark = FiledMark(by="1", folder=later, because="", at="")
        (tmp_path / name / "superseded.json").write_bytes(mark.as_bytes())
    assert standing(tmp_path / "a") == tmp_path / "a"


def test_what_a_seal_holds_is_no_text_with_letters_between() -> None:
    result = of_drawn()
    text = packed(result)
    assert unpacked(text) == result
    with pytest.raises(ValueError, match=r".+"):
        unpacked(f"{text[:8]}\n{text[8:]}")


def of_drawn() -> JudgedBatch:
    return JudgedBatch(batch=Batch(units=()), rule_set="", verdict=BatchVerdict.UNDECIDED, tests=())


def test_an_input_is_looked_for_beside_its_report_and_above_and_is_no_report(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    report, meant = tmp_path / "a" / "reports" / "B-7", tmp_path / "a" / "B-7"
    for folder in (report, meant):
        folder.mkdir(parents=True)
    (report / JSON).write_text("{}")
    (tmp_path / "b.csv").write_text("Unit,Mass (g)\n")
    said = {name: _beside(name, folder=report) for name in ("B-7", "b.csv", "", "../B-7", "c.csv", "c" * 300)}
    assert {name: found for name, found in said.items() if found} == {"B-7": [meant], "b.csv": [tmp_path / "b.csv"]}


def test_a_rule_set_that_asks_for_something_else_than_it_did_is_told() -> None:
    def lines(digest: str) -> list[tuple[object, ...]]:
        seal = SimpleNamespace(qc_version=qc.__version__, rules={}, rule_set=SimpleNamespace(sha256=digest))
        filed: Any = SimpleNamespace(seal=seal)
        return [(one.state, one.what, one.told) for one in _records(filed, "br")]

    assert lines("0" * 64) == [(Status.BROKEN, "rule set", "what it asks for was changed since")]
    assert [state for state, *_ in lines(set_digest("br").sha256)] == [Status.HOLDS]
