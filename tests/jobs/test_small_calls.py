"""What a call hands on and where it ends: small questions about jobs."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import pytest

import qc
from qc.batch import Batch, Superseded
from qc.jobs.check import check_batch, default_report_folder
from qc.jobs.history import _refuse_broken
from qc.jobs.seal import Asked
from qc.jobs.superseded import superseded_input
from qc.jobs.sweep.reports import ADDED, REASON, UNSAID, _because, place_of_reason
from qc.problems import InputProblems, Problem
from qc.readers.options import ReadOptions
from qc.results import JudgedBatch


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
