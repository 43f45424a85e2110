"""Filed reports added to a history: where they are looked for, in which order they stand, and what is kept of each."""

from __future__ import annotations

import shutil
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from qc.history.register import open_register
from qc.jobs import history as under_test
from qc.jobs.check import check_batch
from qc.jobs.history import History, add_reports, appended
from qc.problems import InputProblems
from qc.readers.options import ReadOptions
from qc.show.filing import JSON

EXAMPLES = Path(__file__).parents[2] / "reports" / "examples"
SOUND, FAILS = "sound", "fails-on-content"


@pytest.fixture
def reports(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    for name in (SOUND, FAILS):
        shutil.copytree(EXAMPLES / name, tmp_path / "reports" / "2026" / name)
    monkeypatch.chdir(tmp_path)
    return Path("reports")


@pytest.mark.parametrize(
    ("asked", "found"),
    [
        ((".",), (FAILS, SOUND)),
        ((f"2026/{SOUND}",), (SOUND,)),
        ((f"2026/{SOUND}", "2026"), (SOUND, FAILS)),
        ((f"2026/{SOUND}/{JSON}",), (SOUND,)),
    ],
)
def test_reports_are_found_in_a_folder_and_below_it_and_stand_once(
    asked: tuple[str, ...], found: tuple[str, ...], reports: Path, tmp_path: Path
) -> None:
    with open_register("h.db") as register:
        added = add_reports(register, [reports / one for one in asked])
        new = {folder.name: one.number for folder, one in added if one.new}
        assert new == {name: number for number, name in enumerate(found, start=1)}
        of = {number: figures.report for number, figures in register.records()}  # type: ignore[union-attr]
        assert of == {number: str(tmp_path / "reports/2026" / name) for name, number in new.items()}
        assert [one.new for _, one in add_reports(register, [reports / "2026" / SOUND])] == [False]


def test_nothing_is_added_where_one_is_no_report_and_each_that_is_none_is_named(reports: Path, tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    with open_register("h.db") as register:
        with pytest.raises(InputProblems) as refused:
            add_reports(register, [Path("none"), reports, Path("empty")])
        assert [problem.file for problem in refused.value.problems] == ["none", "empty"]
        assert list(register.records()) == []


def test_the_order_is_that_of_the_judging_and_an_earlier_result_goes_before_the_one_that_supersedes_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    sound = under_test.whole_report(EXAMPLES / SOUND)

    def of(folder: Path) -> Any:
        day, _, kind = folder.name.partition(" ")
        document = sound.document | {"batch": {"number": folder.name}} | ({"supersedes": {}} if kind == "later" else {})
        document["seal"] = {**sound.document["seal"], "result_sha256": folder.name, "drawn_from": "what was read"}
        seal = SimpleNamespace(judged_at=day)
        return SimpleNamespace(document=document, seal=seal, folder=SimpleNamespace(path=folder))

    monkeypatch.setattr(under_test, "whole_report", of)
    names = ("2026-02-02", "2026-02-01 later", "2026-02-01 first")
    with open_register(str(tmp_path / "h.db")) as register:
        added = add_reports(register, [tmp_path / name for name in names])
        assert [folder.name for folder, _ in added] == list(reversed(names))
        # What the pages were drawn from stays with the pages.
        assert register.entry(1).document()["seal"] == {**sound.document["seal"], "result_sha256": names[2]}


def test_a_batch_is_appended_if_what_is_done_meanwhile_goes_well(tmp_path: Path) -> None:
    table, store = tmp_path / "a.csv", str(tmp_path / "h.db")
    table.write_text("Unit,Mass (g)\n" + "".join(f"{n},2.0{n:02d}\n" for n in range(1, 21)))
    checked = check_batch(table, options=ReadOptions(form="suppositories"))
    with pytest.raises(ZeroDivisionError), appended(store, checked, report=None):
        raise ZeroDivisionError
    told = []
    for _ in range(2):
        with appended(store, checked, report=tmp_path / "reports" / "a") as where:
            told.append(where)
    assert told == [f"{store}, entry 1", f"{store}, the same result was already entry 1"]
    assert History(store).frame().report.tolist() == [str(tmp_path / "reports" / "a")]
