"""Limits hold through files too: a number typed in a spreadsheet is judged as the decimal that was typed."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from pathlib import Path

import pytest
from openpyxl import Workbook

import qc
from qc.results import TestResult, Verdict

Rows = Sequence[Sequence[object]]


def as_workbook(path: Path, tables: dict[str, Rows]) -> Path:
    book = Workbook()
    first = book.active
    assert first is not None
    book.remove(first)
    for name, rows in tables.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(list(row))
    book.save(path / "batch.xlsx")
    return path / "batch.xlsx"


def as_folder(path: Path, tables: dict[str, Rows]) -> Path:
    folder = path / "batch"
    folder.mkdir()
    for name, rows in tables.items():
        with (folder / f"{name.casefold()}.csv").open("w", encoding="utf-8", newline="") as file:
            csv.writer(file).writerows(rows)
    return folder


def tables(masses: Sequence[float], contents: Sequence[float] = ()) -> dict[str, Rows]:
    batch = [["Field", "Value"], ["Batch number", "7"], ["Dosage form", "suppositories"]]
    made: dict[str, Rows] = {
        "Batch": batch,
        "Units": [["Unit", "Mass (g)"], *([n, mass] for n, mass in enumerate(masses, 1))],
    }
    if contents:
        made["Actives"] = [["Active", "Label claim (mg)"], ["drug", 100]]
        made["Assay"] = [["Unit", "Content (% of label)"], *([n, value] for n, value in enumerate(contents, 1))]
    return made


def found(path: Path, id: str) -> TestResult:
    return next(test for test in qc.judge(qc.read(path)).tests if test.id == id)


@pytest.mark.parametrize("write", [as_workbook, as_folder])
class TestBothKindsOfFile:
    @pytest.mark.parametrize(
        ("mass", "beyond"), [(2.0999, 0), (2.1, 0), (2.1001, 2)], ids=["below", "at five percent", "above"]
    )
    def test_masses_at_five_percent(self, write: object, mass: float, beyond: int, tmp_path: Path) -> None:
        assert callable(write)
        other = round(4 - mass, 4)
        path = write(tmp_path, tables([mass, other, *[2.0] * 18]))
        test = found(path, "mass-uniformity")
        assert test.figures["mean_g"] == 2.0
        assert test.figures["beyond_limit"] == beyond

    @pytest.mark.parametrize(
        ("content", "verdict"), [(85.0, Verdict.COMPLIES), (84.99, Verdict.SECOND_STAGE)], ids=["at", "outside"]
    )
    def test_contents_at_the_inner_limit(self, write: object, content: float, verdict: Verdict, tmp_path: Path) -> None:
        assert callable(write)
        contents = [content, round(200 - content, 2), *[100.0] * 8]
        assert found(write(tmp_path, tables([2.0] * 20, contents)), "content-uniformity").verdict is verdict

    def test_an_acceptance_value_of_exactly_fifteen(self, write: object, tmp_path: Path) -> None:
        assert callable(write)
        # SD 6.25 exactly: distances 12.5, 4.375 and 0.625 either side of 100 (2 x 175.78125 = 9 x 39.0625).
        distances = [12.5, 4.375, 0.625]
        contents = [100 + sign * step for step in distances for sign in (1, -1)] + [100.0] * 4
        test = found(write(tmp_path, tables([2.0] * 20, contents)), "dosage-unit-uniformity")
        assert test.figures["acceptance_value"] == 15.0
        assert test.verdict is Verdict.COMPLIES


def test_a_workbook_and_a_folder_of_the_same_tables_give_one_verdict(tmp_path: Path) -> None:
    made = tables([1.9, 2.1, *[2.0] * 18], [84, 116, *[100] * 8])
    one = qc.judge(qc.read(as_workbook(tmp_path, made))).as_dict()
    other = qc.judge(qc.read(as_folder(tmp_path, made)), seed=one["seed"]).as_dict()  # type: ignore[arg-type]
    # Where it was read is told apart: a sheet of a workbook, or a file of a folder.
    assert {**one, "read": None} == {**other, "read": None}


def test_a_unit_in_both_stages_is_refused_and_not_averaged(tmp_path: Path) -> None:
    made = tables([2.0] * 20)
    made["Actives"] = [["Active", "Label claim (mg)"], ["drug", 100]]
    assays = [*([n, 1, 100] for n in range(1, 11)), [3, 2, 60], *([n, 2, 100] for n in range(11, 21))]
    made["Assay"] = [["Unit", "Stage", "Content (mg)"], *assays]
    with pytest.raises(qc.InputProblems) as refused:
        qc.read(as_folder(tmp_path, made))
    assert [str(problem) for problem in refused.value.problems] == [
        "assay.csv, assay!B12: unit 3 is stage 2 here and stage 1 in row 4. A unit belongs to one stage: correct the "
        "unit, or give its duplicates the same stage."
    ]


def test_duplicates_of_a_unit_may_carry_their_stage_or_leave_it_empty(tmp_path: Path) -> None:
    made = tables([2.0] * 20)
    made["Actives"] = [["Active", "Label claim (mg)"], ["drug", 100]]
    made["Assay"] = [["Unit", "Stage", "Content (mg)"], *([n, 1, 100] for n in range(1, 11)), [3, 1, 104], [3, "", 108]]
    test = found(as_folder(tmp_path, made), "content-uniformity")
    assert test.n == 10
    assert test.figures["mean_mg"] == 100.4
