"""`qc sheet` never wipes what somebody typed."""

from __future__ import annotations

import threading
import time
from io import BytesIO
from pathlib import Path

import pytest
from typer.testing import CliRunner

from qc.cli.main import application
from qc.jobs.sheet import write_sheet
from qc.show.filing import alone, one_file
from qc.workbook.entry import sheet_bytes
from qc.workbook.entry.kept import EntriesKeptError, what_was_typed

ACTIVE = ("--active", "zinc oxide=100", "--displacement", "zinc oxide=1.39")
SAMPLES = Path(__file__).parents[2] / "sample_data"


def call(*words: str) -> tuple[int, str]:
    done = CliRunner().invoke(application("sheet"), ["sheet", *words])
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
    assert "too few for a second stage. Pour at least 30" in said


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


@pytest.fixture(scope="module")
def written() -> bytes:
    """An empty entry workbook."""
    return sheet_bytes()


CHANGED = "it is not as it was written: something was changed in it"


@pytest.mark.parametrize(
    ("sheet", "cell", "value"),
    [
        ("Batch", "B5", "7"),
        ("Batch", "B7", "suppositories"),
        ("Batch", "A60", "a remark"),
        ("Actives", "C5", 250),
        ("Units", "A8", "first"),
        ("Units", "A40", "31"),
        ("Units", "B8", 3),
        ("Units", "F8", 2.013),
        ("Units", "P9", 2.013),
        ("Cavities", "A5", "A"),
        ("Checks", "A5", "odour"),
        ("How to fill in", "C60", "mine"),
        ("Mine", "A1", "of my own"),
    ],
)
def test_whatever_was_typed_anywhere_is_kept(
    sheet: str, cell: str, value: str | float, written: bytes, tmp_path: Path
) -> None:
    from openpyxl import load_workbook

    path = tmp_path / "batch.xlsx"
    book = load_workbook(BytesIO(written))
    (book[sheet] if sheet in book.sheetnames else book.create_sheet(sheet))[cell] = value
    book.save(path)
    assert what_was_typed(path) in (CHANGED, "it holds 1 entry")


def test_a_planned_entry_that_somebody_changed_is_kept(tmp_path: Path) -> None:
    from openpyxl import load_workbook

    path = tmp_path / "batch.xlsx"
    plan = ("--mould", "A", "--cavities", "30", "--number", "8", "--nominal-mass", "2.00", *ACTIVE)
    assert call(str(path), *plan)[0] == 0
    assert what_was_typed(path) == ""
    book = load_workbook(path)
    book["Units"]["B8"] = 3
    book.save(path)
    assert what_was_typed(path) == CHANGED
    assert call(str(path), "--replace")[0] == 2


def test_a_note_on_a_cell_is_kept_and_saving_alone_changes_nothing(written: bytes, tmp_path: Path) -> None:
    from openpyxl import load_workbook
    from openpyxl.comments import Comment

    path = tmp_path / "batch.xlsx"
    book = load_workbook(BytesIO(written))
    book.save(path)
    assert what_was_typed(path) == ""
    book["Units"]["E8"].comment = Comment("weighed twice", "A")
    book.save(path)
    assert what_was_typed(path) == CHANGED


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (
            ("--active", "a=100", "--active", "a=200"),
            "1 problem; nothing was written.\n"
            '  the plan, name of active 2: active "a" stands again, after name of active 1.',
        ),
        (("--form", "cream"), '--form "cream" is no dosage form that a rule here names. Give for example '),
    ],
)
def test_a_plan_that_its_own_workbook_would_refuse_is_refused(
    words: tuple[str, ...], said: str, tmp_path: Path
) -> None:
    code, told = call(str(tmp_path / "plan.xlsx"), "--mould", "A", "--cavities", "30", *words)
    assert (code, told.startswith(said), (tmp_path / "plan.xlsx").exists()) == (2, True, False)


def test_what_is_typed_while_the_place_is_held_is_kept(tmp_path: Path, weighed: Path) -> None:
    """The sheet waits for whoever files there, and only then asks whether somebody typed into what stands there."""
    path, refused = tmp_path / "waiting.xlsx", list[BaseException]()
    write_sheet(path)

    def replace_it() -> None:
        try:
            write_sheet(path, replace=True)
        except EntriesKeptError as error:
            refused.append(error)

    waiting = threading.Thread(target=replace_it)
    with alone(one_file(path, b"")) as held:
        assert held
        waiting.start()
        time.sleep(0.2)
        path.write_bytes(weighed.read_bytes())
    waiting.join(timeout=30)
    assert len(refused) == 1
    assert path.read_bytes() == weighed.read_bytes()
    assert [one.name for one in tmp_path.iterdir() if one.name.startswith(".")] == []
