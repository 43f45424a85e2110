"""`qc sheet` never wipes what somebody typed."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner

from qc.cli.main import application
from qc.workbook.entry import sheet_bytes, write_sheet
from qc.workbook.entry.kept import EntriesKeptError, what_was_typed

ACTIVE = ("--active", "zinc oxide=100", "--displacement", "zinc oxide=1.39")
SAMPLES = Path(__file__).parents[2] / "sample_data"


def call(*words: str) -> tuple[int, str]:
    done = CliRunner().invoke(application(), ["sheet", *words])
    return done.exit_code, done.output


@pytest.fixture
def weighed(tmp_path: Path) -> Path:
    from openpyxl import load_workbook

    path = tmp_path / "batch.xlsx"
    path.write_bytes(sheet_bytes())
    book = load_workbook(path)
    for place in range(1, 25):
        book["Units"].cell(7 + place, 5).value = 2.0 + place / 1000
    book["Cavities"]["C5"] = 1.98
    book.save(path)
    return path


FROM = ("--from", str(SAMPLES / "sound.xlsx"))


@pytest.mark.parametrize("options", [(), ("--replace",), FROM, (*FROM, "--replace")])
def test_typed_masses_are_not_written_over(options: tuple[str, ...], weighed: Path) -> None:
    before = weighed.read_bytes()
    code, said = call(str(weighed), *options)
    assert code == 2
    assert said == (
        f"{weighed} is there already, and it holds 24 typed masses and 1 other entry. Give another name, or "
        "--discard-entries to lose them.\n"
    )
    assert weighed.read_bytes() == before


def test_they_are_when_that_is_said(weighed: Path) -> None:
    assert call(str(weighed), "--discard-entries")[0] == 0
    assert what_was_typed(weighed) == ""


def test_from_python_they_are_not_written_over_either(weighed: Path) -> None:
    before = weighed.read_bytes()
    for replace in (False, True):
        with pytest.raises(EntriesKeptError) as refused:
            write_sheet(weighed, replace=replace)
        assert str(refused.value) == (
            "batch.xlsx exists already, and it holds 24 typed masses and 1 other entry: choose another name, or move "
            "it away first"
        )
    assert weighed.read_bytes() == before


def test_a_sheet_that_nobody_filled_in_is_replaced_when_that_is_said(tmp_path: Path) -> None:
    path = tmp_path / "batch.xlsx"
    assert call(str(path))[0] == 0
    code, said = call(str(path))
    assert (code, said) == (2, f"{path} is there already. Give another name, or --replace to write over it.\n")
    assert call(str(path), "--replace", "--units", "40")[0] == 0


def test_a_workbook_that_somebody_made_is_not_written_over(tmp_path: Path) -> None:
    from openpyxl import Workbook

    book = Workbook()
    for row in (("No", "Weight"), (1, 2.01), (2, 2.02)):
        book.active.append(row)
    book.save(tmp_path / "own.xlsx")
    assert what_was_typed(tmp_path / "own.xlsx") == "it holds 4 numbers"
    assert call(str(tmp_path / "own.xlsx"), "--replace")[0] == 2


def test_a_file_that_cannot_be_read_is_not_written_over(tmp_path: Path) -> None:
    path = tmp_path / "broken.xlsx"
    path.write_bytes(b"entries")
    assert call(str(path), "--replace")[0] == 2
    assert path.read_bytes() == b"entries"


def test_a_plan_says_when_it_pours_too_few(tmp_path: Path) -> None:
    plan = ("--form", "suppositories", "--active", "x=9", "--mould", "A", "--cavities", "24")
    code, said = call(str(tmp_path / "plan.xlsx"), *plan)
    assert code == 0
    assert "a second stage could not be completed. Pour at least 30" in said


def test_a_planned_sheet_holds_nothing_until_somebody_types(tmp_path: Path) -> None:
    from openpyxl import load_workbook

    path = tmp_path / "plan.xlsx"
    plan = ("--form", "suppositories", "--active", "x=9", "--mould", "A", "--cavities", "30", "--number", "7")
    assert call(str(path), *plan)[0] == 0
    assert what_was_typed(path) == ""
    book = load_workbook(path)
    row = next(row for row in range(5, 45) if book["Batch"].cell(row, 1).value == "Made by")
    book["Batch"].cell(row, 2).value = "technician A"
    book.save(path)
    assert what_was_typed(path) == "it holds 1 entry"


@pytest.mark.parametrize(
    ("sheet", "field", "value"),
    [("Batch", "Product", "zinc suppositories"), ("Batch", "Dosage form", "suppositories"), ("Units", "", 3)],
)
def test_what_a_plan_may_fill_in_counts_where_somebody_typed_it(
    sheet: str, field: str, value: str | int, tmp_path: Path
) -> None:
    from openpyxl import load_workbook

    path = tmp_path / "batch.xlsx"
    path.write_bytes(sheet_bytes())
    assert what_was_typed(path) == ""
    book = load_workbook(path)
    rows = range(5, 45)
    row = next((row for row in rows if book[sheet].cell(row, 1).value == field), 8)
    book[sheet].cell(row, 2).value = value
    book.save(path)
    assert what_was_typed(path) == "it holds 1 entry"
    assert call(str(path), "--replace")[0] == 2


def test_a_planned_entry_that_somebody_changed_counts(tmp_path: Path) -> None:
    from openpyxl import load_workbook

    path = tmp_path / "plan.xlsx"
    assert (
        call(str(path), "--mould", "A", "--cavities", "30", "--number", "7", "--nominal-mass", "2.00", *ACTIVE)[0] == 0
    )
    book = load_workbook(path)
    assert what_was_typed(path) == ""
    row = next(row for row in range(5, 45) if book["Batch"].cell(row, 1).value == "Nominal mass (g)")
    book["Batch"].cell(row, 2).value = 2.5
    book.save(path)
    assert what_was_typed(path) == "it holds 1 entry"
