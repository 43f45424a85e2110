"""The reports of many batches: where each goes, what one supersedes and why, and how a row tells of one it lacks."""

from __future__ import annotations

import errno
import hashlib
import json
import os
from collections.abc import Callable
from contextlib import AbstractContextManager
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import openpyxl
import pytest
from msgspec.structs import replace

from qc.batch import Superseded
from qc.document import as_text
from qc.jobs import supersede
from qc.jobs.check import TO_ASSAY, Checked, check_batch
from qc.jobs.seal import call_of
from qc.jobs.sweep import reports as under_test
from qc.jobs.sweep.judging import Answer, Task, judge_input
from qc.jobs.sweep.reports import ADDED, UNSAID, _because, filed, place_of_reason
from qc.jobs.sweep.rows import SweptBatch
from qc.problems import InputProblems
from qc.readers.options import ReadOptions

CALL = call_of(ReadOptions(form="suppositories"), rules=None)
LATER: Any = SimpleNamespace()


@pytest.fixture
def table(tmp_path: Path) -> Path:
    """Batches A, with a slip in its third mass, and B/2."""
    lines = [f"{name},{unit},2.0{unit:02d}" for name in ("A", "B/2") for unit in range(1, 21)]
    lines[2] = "A,3,2.OO3"
    (tmp_path / "two.csv").write_text("\n".join(["Batch,Unit,Mass (g)", *lines]) + "\n")
    return tmp_path / "two.csv"


@pytest.fixture
def reports(monkeypatch: pytest.MonkeyPatch) -> list[tuple[Path, bool]]:
    """Where a report was filed, and whether over one that is there; none is made."""
    made: list[tuple[Path, bool]] = []

    def file_report(_: object, place: Path, marks: object, *, replace: bool, **how: object) -> None:
        made.append((place, replace))

    monkeypatch.setattr(under_test, "file_report", file_report)
    return made


def judged(path: Path, **more: Any) -> list[Answer]:
    return list(judge_input(Task(**{"path": str(path), "digest": "", "call": CALL, "out": str(path.parent), **more})))


def test_a_batch_that_cannot_be_judged_is_a_row_of_its_name_and_takes_no_other_along(table: Path) -> None:
    (bad, none), (good, text) = judged(table, copy=1, copies=2)
    assert (bad.file, bad.sheet, bad.batch, bad.verdict, bad.problems[0].cell, none) == (
        *(str(table), "", "A", "", "C4", ""),
    )
    digest = hashlib.sha256(table.read_bytes()).hexdigest()
    assert (good.batch, good.verdict, good.document) == ("B/2", "complies", f"{digest}-4.json")
    assert good.sha256 == hashlib.sha256(text.encode()).hexdigest()


def test_each_document_is_that_of_a_check_of_its_sheet_and_batch(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    for place, name in enumerate(("week 1", "week 2")):
        sheet = book.worksheets[0] if not place else book.create_sheet()
        sheet.title = name
        sheet.append(["Batch", "Unit", "Mass (g)"])
        for one in ("B-1", "B-2"):
            for unit in range(1, 6):
                sheet.append([one, unit, 2 + unit / 1000])
    book.save(tmp_path / "year.xlsx")
    answers = judged(tmp_path / "year.xlsx")
    assert [(row.sheet, row.batch) for row, _ in answers] == [
        *((sheet, one) for sheet in ("week 1", "week 2") for one in ("B-1", "B-2")),
    ]
    for row, text in answers:
        picked = ReadOptions(form="suppositories", sheet=row.sheet, batch=row.batch)
        assert text == as_text(check_batch(tmp_path / "year.xlsx", options=picked).document)


@pytest.mark.parametrize("given", [None, "ph-eur-2.9.5"])
def test_the_rules_of_a_call_go_before_those_that_a_file_names(given: str | None, tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    units, sheet = book.worksheets[0], book.create_sheet("Batch")
    units.title = "Units"
    for row in (["Unit", "Mass (g)"], *([unit, 2 + unit / 1000] for unit in range(1, 21))):
        units.append(row)
    # What the call names is not looked up in the file, where a name may be wrong.
    for row in (["Field", "Value"], ["Rules", "br" if given is None else "no such rules"]):
        sheet.append(row)
    book.save(tmp_path / "a.xlsx")
    ((row, text),) = judged(tmp_path / "a.xlsx", call=call_of(ReadOptions(form="suppositories"), rules=given))
    assert row.problem == ""
    assert json.loads(text)["rule_set"] == (given or "br")


def test_a_report_beside_a_file_shares_its_name_with_no_other_batch(
    table: Path, reports: list[tuple[Path, bool]]
) -> None:
    bare = table.with_name("bare.csv")
    bare.write_text("Unit,Mass (g)\n" + "".join(f"{n},2.0{n:02d}\n" for n in range(1, 21)))
    beside = {"beside": True, "reports": True, "out": str(table.parent)}
    judged(Path("bare.csv"), **beside)
    (table.parent / "reports" / "BARE").mkdir(parents=True)
    judged(Path("bare.csv"), **beside)
    digest = hashlib.sha256(b"bare").hexdigest()[:8]
    assert [place.name for place, _ in reports] == ["bare", f"bare-{digest}"]


def test_a_report_of_a_sweep_is_named_by_batch_input_and_number(table: Path, reports: list[tuple[Path, bool]]) -> None:
    _, (row, _) = judged(table, reports=True)
    digest = hashlib.sha256(table.read_bytes()).hexdigest()[:8]
    name = f"B-2-{hashlib.sha256(b'B/2').hexdigest()[:8]}-{digest}-2"
    assert reports == [(table.parent / "reports" / name, True)]
    assert row.report == f"reports/{name}"
    bare = table.with_name("bare.csv")
    bare.write_text("Unit,Mass (g)\n" + "".join(f"{n},2.0{n:02d}\n" for n in range(1, 21)))
    ((row, _),) = judged(bare, reports=True)
    assert row.report == f"reports/bare-{hashlib.sha256(bare.read_bytes()).hexdigest()[:8]}-1"


@pytest.mark.usefixtures("reports")
def test_that_the_report_of_an_input_was_superseded_is_looked_for_but_beside_it(
    table: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    mark = Superseded(by="1" * 64, folder="B-2", because="weighed again", at="2026-11-26T10:00:00+00:00")
    monkeypatch.setattr("qc.jobs.sweep.judging.superseded_input", lambda *_, path: mark if path == table else None)
    _, (_, text) = judged(table)
    assert "weighed again" in text
    _, (_, text) = judged(Path(table.name), beside=True, reports=True, out=str(table.parent))
    assert "weighed again" not in text


def test_a_history_that_cannot_be_written_stands_beside_the_verdict(table: Path) -> None:
    (bad, _), (row, _) = judged(table, history=str(table.parent))
    assert (row.verdict, len(bad.problems)) == ("complies", 1)
    assert "the history cannot stand here" in row.problem


@pytest.mark.usefixtures("reports")
def test_a_history_names_the_report_of_a_batch_where_it_has_one(table: Path) -> None:
    from qc.history.register import open_register

    store = str(table.parent / "history.db")
    _, (row, _) = judged(table, history=store, reports=True)
    table.write_text(table.read_text().replace("2.020", "2.021"))
    judged(table, history=store)
    with open_register(store) as register:
        kept = [one.report for _, one in register.records()]  # type: ignore[union-attr]
    assert kept == [str(table.parent / row.report), ""]


def test_a_list_of_units_to_assay_goes_on_from_the_report_in_whose_folder_it_lies(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, reports: list[tuple[Path, bool]]
) -> None:
    asked = list[Path]()
    monkeypatch.setattr(under_test, "standing", asked.append)
    (tmp_path / "reports" / "B-7").mkdir(parents=True)
    (tmp_path / "reports" / "B-7" / "result.json").touch()
    row, here = SweptBatch(file="", batch="B-7"), {"out": tmp_path, "earlier": None}
    for folder, name in (("reports/B-7", TO_ASSAY), ("", TO_ASSAY), ("reports/B-7", "batch.xlsx")):
        under_test.filed_beside(row, LATER, tmp_path / folder / name, **here)
    assert [place.relative_to(tmp_path).as_posix() for place, _ in reports] == [
        *("reports/B-7-2", "reports/B-7-2", "reports/B-7/reports/B-7")
    ]
    assert [place.relative_to(tmp_path).as_posix() for place in asked] == [
        *("reports/B-7", "reports/B-7", "reports/B-7/reports/B-7")
    ]


@pytest.mark.parametrize("differences", [[], ["mass of unit 3"]])
def test_the_earlier_report_is_marked_in_its_folder_by_the_one_that_supersedes_it(
    differences: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    earlier: Any = SimpleNamespace(document={"batch": {"number": "B-7", "note": "", "product": ""}, "units": []})
    checked: Any = SimpleNamespace(document={**earlier.document, "supersedes": {"differences": differences}})
    made = list[tuple[Path, Any]]()

    def file_report(_: object, place: Path, marks: object, **how: object) -> None:
        made.append((place, marks))

    monkeypatch.setattr(under_test, "file_report", file_report)
    monkeypatch.setattr(under_test, "whole_report", lambda folder: earlier)
    monkeypatch.setattr(under_test, "standing", lambda folder: folder)
    monkeypatch.setattr(under_test, "superseding", lambda *_, **how: checked)
    monkeypatch.setattr(under_test, "superseded_mark", lambda _, folder: folder.name.encode())
    before = SweptBatch(file="", batch="B-7", report="reports/older", reason_at="B9")
    row, same = under_test.filed_beside(
        replace(before, report=""), checked, tmp_path / "b.csv", out=tmp_path, earlier=before
    )
    if not differences:
        # A file that was only saved again keeps its report.
        assert (made, row.report, same) == ([], "reports/older", None)
        return
    ((place, (mark,)),) = made
    assert (place, row.report, row.reason_at) == (tmp_path / "reports" / "B-7", "reports/B-7", "B9")
    assert (mark.folder, mark.files, mark.replace) == (tmp_path / "reports/older", {"superseded.json": b"B-7"}, True)


def test_what_could_not_be_made_of_a_report_stands_in_its_row(
    table: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    row = SweptBatch(file=str(table), verdict="complies")
    place, out = table.parent / "reports" / "B", table.parent
    failures = [OSError(errno.ENOSPC, os.strerror(errno.ENOSPC)), OSError("odd")]

    def full(*_: object, **__: object) -> None:
        raise failures.pop(0)

    monkeypatch.setattr(under_test, "file_report", full)
    (lost, same), (odd, _) = (filed(row, LATER, out=out, place=place) for _ in range(2))
    assert (lost.verdict, lost.report, same) == ("complies", "", LATER)
    assert lost.problem == (
        "two.csv: the report (No space left on device) could not be made. See whether the folder can be written to and "
        "its files are closed, and save the batch again."
    )
    assert "the report (odd) could not be made" in odd.problem

    def partly(*_: object, part: Callable[[str], AbstractContextManager[None]], **__: object) -> None:
        with part("the picture"):
            raise ZeroDivisionError
        with part("the list"):
            raise KeyError

    monkeypatch.setattr(under_test, "file_report", partly)
    made, _ = filed(row, LATER, out=out, place=place)
    assert (made.report, len(made.problems)) == ("reports/B", 2)
    assert "the picture could not be made" in made.problem
    assert "the list could not be made" in made.problem
    assert "ZeroDivisionError" in capsys.readouterr().err


class TestWhyOneSupersedesAnother:
    @staticmethod
    def of(mass: float | None, *, note: str = "", units: int = 1, weighed: int = 1, out: str = "") -> dict[str, Any]:
        one = {"unit": "1", "mass_g": mass, "left_out_because": out, "in_mass_sample": weighed > 1}
        batch = {"number": "B", "note": note, "units_weighed": weighed}
        return {"batch": batch, "units": [{**one, "unit": f"{n}"} for n in range(units)]}

    @pytest.mark.parametrize(
        ("before", "after", "because", "asked"),
        [
            # A note that was typed since is the reason, whatever was changed.
            ({}, {"mass": 2.2, "note": "typed wrongly"}, "typed wrongly", ""),
            ({"note": "old"}, {"mass": 2.2, "note": "new"}, "new", ""),
            ({"note": "old"}, {"mass": 2.2, "note": "old"}, UNSAID, "B9"),
            ({"note": "old"}, {"mass": 2.2}, UNSAID, "B9"),
            ({}, {"mass": 2.2}, UNSAID, "B9"),
            ({}, {"mass": None}, UNSAID, "B9"),
            ({}, {"mass": 2.2, "units": 2}, UNSAID, "B9"),
            # What was empty is filled in, and what follows from it moves.
            ({"mass": None}, {}, ADDED, ""),
            ({}, {"units": 2, "weighed": 2}, ADDED, ""),
            ({}, {"out": "chipped"}, ADDED, ""),
        ],
    )
    def test_is_the_new_note_or_that_something_was_added_or_is_asked_for(
        self,
        before: dict[str, Any],
        after: dict[str, Any],
        because: str,
        asked: str,
        tmp_path: Path,
        monkeypatch: pytest.MonkeyPatch,
    ) -> None:
        monkeypatch.setattr(under_test, "place_of_reason", lambda path: "B9" if path == tmp_path else "")
        documents = [self.of(**{"mass": 2.1, **one}) for one in (before, after)]
        assert _because(*documents, missing="", path=tmp_path) == (because, asked)
        # Where a reason was missing before it goes on being asked for, until a note is typed.
        assert _because(*documents, missing="A1", path=tmp_path) == (
            because,
            "" if because in ("typed wrongly", "new") else "A1",
        )


class TestWhereTheReasonIsTyped:
    @pytest.mark.parametrize(
        ("cells", "place"),
        [
            ({"A1": "Product", "B1": "Zinc", "A3": " note:", "B3": ""}, "Batch!B3"),
            ({"C2": "NOTE"}, "Batch!D2"),
            ({"A1": "Product", "B1": "Zinc", "A6": "Made by"}, "Batch!B7, with Note beside it in A7,"),
            ({}, "Batch!B2, with Note beside it in A2,"),
        ],
    )
    def test_is_beside_the_note_or_below_the_last_field(
        self, cells: dict[str, str], place: str, tmp_path: Path
    ) -> None:
        book = openpyxl.Workbook()
        units, sheet = book.worksheets[0], book.create_sheet("Batch")
        units.title = "Units"
        for row in (["Unit", "Mass (g)"], [1, 2.0], [2, 2.1]):
            units.append(row)
        for cell, text in cells.items():
            sheet[cell] = text
        book.save(tmp_path / "a.xlsx")
        assert place_of_reason(tmp_path / "a.xlsx") == place

    def test_is_no_cell_of_a_table_by_itself(self, tmp_path: Path) -> None:
        (tmp_path / "a.csv").write_text("Unit,Mass (g)\n1,2.0\n2,2.1\n")
        assert place_of_reason(tmp_path / "a.csv") == "a sheet Batch, beside the field Note,"


def test_a_report_that_was_damaged_is_told_and_superseded_by_none(
    table: Path, reports: list[tuple[Path, bool]], monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(folder: Path) -> dict[str, Any]:
        raise InputProblems.of_file(folder, "it was changed", "See qc verify")

    monkeypatch.setattr(under_test, "whole_report", broken)
    monkeypatch.setattr(under_test, "standing", lambda folder: folder)
    (bad, _), (row, _) = judged(Path(table.name), beside=True, reports=True, out=str(table.parent))
    assert (bad.report, row.report, row.reason_at) == ("", f"reports/{reports[0][0].name}", "")
    assert row.verdict == "complies"
    assert "it was changed" in row.problem
    assert reports[0][1] is False


def test_a_product_that_was_corrected_under_the_same_number_supersedes_the_report(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def of(product: str) -> Checked:
        rows = "".join(f"{unit},2.0{unit:02d}\n" for unit in range(1, 21))
        (tmp_path / "units.csv").write_text(f"Unit,Mass (g)\n{rows}")
        (tmp_path / "batch.csv").write_text(f"Field,Value\nBatch number,B-7\nProduct,{product}\n")
        return check_batch(tmp_path, options=ReadOptions(form="suppositories"))

    filed_before: Any = SimpleNamespace(
        document=of("zinc").sealed(), folder=SimpleNamespace(path=tmp_path), seal=SimpleNamespace(result_sha256="0")
    )
    monkeypatch.setattr(supersede, "whole_report", lambda report: filed_before)
    later = of("zink")
    with pytest.raises(InputProblems, match="the report is of another batch: its product is zinc, and here zink"):
        supersede.superseding(later, report=tmp_path, because=UNSAID)
    record: Any = supersede.superseding(later, report=tmp_path, because=UNSAID, known_by=("number",)).document
    assert record["supersedes"]["because"] == UNSAID
