"""A folder watched: what is saved is judged once, reported beside its file, and superseded when it is corrected."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from openpyxl import load_workbook

from qc.jobs import watch as under_test
from qc.jobs.seal import call_of
from qc.jobs.sweep.inputs import JOURNAL
from qc.jobs.sweep.reports import ADDED, UNSAID
from qc.jobs.sweep.rows import TAKEN_AWAY, SweptBatch
from qc.jobs.watch import watch
from qc.problems import InputProblems
from qc.readers.options import ReadOptions

pytestmark = pytest.mark.usefixtures("plain_pictures", "plain_print")

SAMPLES = Path(__file__).parents[2] / "sample_data"
CALL = call_of(ReadOptions(form="suppositories"), rules=None)
TABLE = "Unit,Mass (g)\n" + "".join(f"{n},2.0{n:02d}\n" for n in range(1, 21))
Step = Callable[[], None]


class Clock:
    """A clock that a test sets forward."""

    now = 1000.0

    def monotonic(self) -> float:
        return self.now


@pytest.fixture(autouse=True)
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    """What a watch reads the time from: no test waits for a file to have come to rest."""
    monkeypatch.setattr("qc.jobs.watch.time", one := Clock())
    return one


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "saved").mkdir()
    return tmp_path / "saved"


def watched(folder: Path, *steps: Step, rows: int) -> list[SweptBatch]:
    """Watch a folder until so many rows were told; each step is taken when one more was."""
    told: list[SweptBatch] = []

    def ticks() -> Iterator[set[Path]]:
        left, looks = list(steps), 0
        while (len(told) < rows or left) and looks < 1000:
            if left and len(told) >= len(steps) - len(left):
                before = {path for path in folder.rglob("*") if path.is_file()}
                left.pop(0)()
                yield before | {path for path in folder.rglob("*") if path.is_file()}
            yield set()
            looks += 1
            under_test.time.now += 0.1  # type: ignore[attr-defined]

    watch(folder, call=CALL, told=told.append, ticks=ticks())
    return told


def edit(path: Path, sheet: str, cell: str, value: object) -> None:
    book = load_workbook(path)
    book[sheet][cell] = value
    book.save(path)


def superseded(folder: Path, report: str) -> dict[str, str]:
    found: dict[str, str] = json.loads((folder / report / "superseded.json").read_text())
    return found


@pytest.mark.usefixtures("judged_here")
def test_a_correction_supersedes_and_its_reason_is_asked_for_until_it_is_typed(folder: Path) -> None:
    path = folder / "B 1.xlsx"
    steps = (
        lambda: shutil.copy(SAMPLES / "sound.xlsx", path),
        lambda: edit(path, "Units", "E9", 2.123),
    )
    cell = next(
        f"B{row[0].row}" for row in load_workbook(SAMPLES / "sound.xlsx")["Batch"].iter_rows() if row[0].value == "Note"
    )
    first, changed, explained = watched(folder, *steps, lambda: edit(path, "Batch", cell, "typed wrongly"), rows=3)
    assert [one.report for one in (first, changed, explained)] == [f"reports/S-2611-01{n}" for n in ("", "-2", "-3")]
    assert (first.reason_at, changed.reason_at, explained.reason_at) == ("", f"Batch!{cell}", "")
    assert superseded(folder, first.report)["because"] == UNSAID
    assert superseded(folder, changed.report)["because"] == "typed wrongly"
    page = (folder / "index.html").read_text(encoding="utf-8")
    assert 'href="reports/S-2611-01-3/report.html"' in page
    assert '<meta http-equiv="refresh" content="5">' in page
    assert "Type the reason" not in page


@pytest.mark.usefixtures("judged_here")
def test_contents_typed_into_the_list_of_units_to_assay_go_on_from_its_report(folder: Path) -> None:
    listed = folder / "reports" / "S-2611-01" / "to-assay.xlsx"

    def save() -> None:
        shutil.copy(SAMPLES / "sound.xlsx", folder / "sound.xlsx")

    def type_in() -> None:
        rows = load_workbook(listed)["Assay"].iter_rows()
        empty = next(row for row in rows if row[0].value and row[0].row > 4 and row[4].value is None)
        edit(listed, "Assay", empty[4].coordinate, 250)

    first, second = watched(folder, save, type_in, rows=2)
    assert (first.report, second.report) == ("reports/S-2611-01", "reports/S-2611-01-2")
    assert second.file == "reports/S-2611-01/to-assay.xlsx"
    assert superseded(folder, first.report)["because"] == ADDED
    assert second.reason_at == ""


@pytest.mark.usefixtures("judged_here")
def test_a_file_that_was_taken_away_is_marked_until_it_comes_back_and_one_renamed_stands_once(folder: Path) -> None:
    table, numbered, kept = folder / "a.csv", folder / "B 1.xlsx", folder.parent / "a.csv"

    def page() -> str:
        return (folder / "index.html").read_text(encoding="utf-8")

    def put_back() -> None:
        assert page().count(TAKEN_AWAY) == 1
        assert 'href="reports/a/report.html"' in page()
        kept.rename(table)
        _write(folder / "c.csv", TABLE + "21,2.021\n")

    def take_away() -> None:
        assert TAKEN_AWAY not in page()
        table.rename(kept)
        shutil.copy(SAMPLES / "sound.xlsx", numbered)

    def rename() -> None:
        assert TAKEN_AWAY not in page()
        numbered.rename(folder / "B 2.xlsx")

    rows = watched(folder, lambda: _write(table, TABLE), take_away, put_back, rename, rows=4)
    assert [row.file for row in rows] == ["a.csv", "B 1.xlsx", "c.csv", "B 2.xlsx"]
    assert rows[3].report == rows[1].report
    assert "B 1.xlsx" not in page()
    assert TAKEN_AWAY not in page()


@pytest.mark.usefixtures("judged_here")
def test_what_was_refused_and_taken_away_leaves_no_row(folder: Path) -> None:
    bad = folder / "bad.csv"
    (refused,) = watched(folder, lambda: _write(bad, TABLE.replace("2.005", "2.OO5")), rows=1)
    assert not refused.verdict
    bad.unlink()
    watched(folder, lambda: _write(folder / "a.csv", TABLE), rows=1)
    assert "bad.csv" not in (folder / "index.html").read_text(encoding="utf-8")


@pytest.mark.usefixtures("judged_here")
def test_another_batch_in_the_same_file_has_a_report_of_its_own(folder: Path) -> None:
    path = folder / "weights.xlsx"
    first, second = watched(
        folder,
        lambda: shutil.copy(SAMPLES / "sound.xlsx", path),
        lambda: shutil.copy(SAMPLES / "pour-step.xlsx", path),
        rows=2,
    )
    assert first.report != second.report
    assert not (folder / first.report / "superseded.json").exists()
    assert second.reason_at == ""


@pytest.mark.usefixtures("judged_here")
def test_what_came_in_between_is_judged_once_and_a_file_saved_again_unchanged_is_not(folder: Path) -> None:
    table = folder / "a.csv"
    (first,) = watched(folder, lambda: _write(table, TABLE), rows=1)
    assert first.verdict == "complies"
    _write(folder / "b.csv", TABLE)
    _write(table, TABLE)
    assert [row.file for row in watched(folder, rows=1)] == ["b.csv"]
    # Its text differs, and nothing that was entered does: the report stands.
    (again,) = watched(folder, lambda: _write(table, TABLE.replace(",", ";")), rows=1)
    assert again.report == first.report
    assert [path.name for path in (folder / "reports").iterdir() if path.name.startswith("a")] == ["a"]


@pytest.mark.usefixtures("judged_here")
def test_a_report_whose_line_was_never_written_is_found_again_and_so_is_that_of_a_copy(folder: Path) -> None:
    path, copy = folder / "B 1.xlsx", folder / "B 1 corrected.xlsx"
    (first,) = watched(folder, lambda: shutil.copy(SAMPLES / "sound.xlsx", path), rows=1)
    # As a process leaves it that was ended between the report and the journal.
    (folder / JOURNAL).write_bytes(b"")
    (again,) = watched(folder, rows=1)
    assert again.report == first.report

    def save_as() -> None:
        shutil.copy(path, copy)
        edit(copy, "Units", "E9", 2.123)

    (corrected,) = watched(folder, save_as, rows=1)
    assert (corrected.file, corrected.report) == ("B 1 corrected.xlsx", "reports/S-2611-01-2")
    assert superseded(folder, first.report)["because"] == UNSAID
    assert corrected.reason_at.startswith("Batch!B")


@pytest.mark.usefixtures("judged_here")
def test_what_was_saved_last_does_not_wait_for_a_heap_of_older_files(folder: Path) -> None:
    for place in range(4):
        _write(folder / f"old {place}.csv", TABLE)
        os.utime(folder / f"old {place}.csv", (place, place))

    told = watched(folder, lambda: _write(folder / "new.csv", TABLE), rows=2)
    assert [row.file for row in told] == ["new.csv", "old 3.csv"]


@pytest.mark.usefixtures("judged_here")
def test_a_file_that_is_still_being_written_is_waited_for(folder: Path, clock: Clock) -> None:
    content = (SAMPLES / "sound.xlsx").read_bytes()

    def in_two_halves() -> None:
        (folder / "a.xlsx").write_bytes(content[: len(content) // 2])
        (folder / "~$a.xlsx").write_bytes(b"lock")
        (folder / ".a.xlsx.tmp").write_bytes(content)

    rest = iter([lambda: (folder / "a.xlsx").write_bytes(content)])
    told: list[SweptBatch] = []

    def ticks() -> Iterator[set[Path]]:
        in_two_halves()
        yield set(folder.iterdir())
        for _ in range(100):
            if told:
                break
            # Longer than a file must stay the same: the half of it was looked at and found to be none.
            clock.now += 0.9
            if more := next(rest, None):
                more()
            yield set(folder.iterdir())

    watch(folder, call=CALL, told=told.append, ticks=ticks())
    assert [(row.file, row.verdict) for row in told] == [("a.xlsx", "complies")]


@pytest.mark.usefixtures("judged_here")
def test_what_cannot_be_read_is_a_row_and_keeps_the_report_for_the_next_one(folder: Path) -> None:
    table = folder / "a.csv"
    first, slip, mended = watched(
        folder,
        lambda: _write(table, TABLE),
        lambda: _write(table, TABLE.replace("2.005", "2.OO5")),
        lambda: _write(table, TABLE.replace("2.005", "2.055")),
        rows=3,
    )
    assert (slip.verdict, slip.report) == ("", first.report)
    assert slip.problems[0].cell == "B6"
    assert superseded(folder, first.report)["folder"] == mended.report.rpartition("/")[2]
    assert mended.reason_at == "a sheet Batch, beside the field Note,"


@pytest.mark.usefixtures("judged_here")
def test_a_folder_with_an_index_of_its_own_is_refused_and_a_second_watch_too(folder: Path) -> None:
    (folder / "index.html").write_text("mine")
    with pytest.raises(InputProblems, match=r"holds an index\.html of its own\. Give another folder"):
        watch(folder, call=CALL, told=print, ticks=())
    (folder / "index.html").unlink()

    def second() -> Iterator[set[Path]]:
        with pytest.raises(InputProblems, match=r"^Another watch is writing into .*saved\. Wait for its end\.$"):
            watch(folder, call=CALL, told=print, ticks=())
        yield set()

    watch(folder, call=CALL, told=print, ticks=second())


def test_the_command_judges_what_is_saved_while_it_runs_and_ends_with_130(folder: Path) -> None:
    code = "import sys; sys.argv = ['qc', *sys.argv[1:]]; from qc.cli.start import run; run()"
    words = ["watch", str(folder), "--form", "suppositories", "--starters"]
    with subprocess.Popen([sys.executable, "-c", code, *words], stdout=subprocess.PIPE, text=True) as going:
        assert going.stdout is not None
        assert going.stdout.readline() == f"Watching {folder}; the index is {folder}/index.html. Ctrl-C ends it.\n"
        _write(folder / "a.csv", TABLE)
        said = [going.stdout.readline() for _ in range(4)]
        going.send_signal(signal.SIGINT)
        going.communicate(timeout=30)
    assert going.returncode == 130
    assert said[0].endswith("  a.csv: COMPLIES ON MASS OF THE UNITS TESTED; CONTENT NOT ASSESSED\n")
    assert said[3] == "  Report: reports/a\n"
    assert (folder / "reports" / "a" / "report.html").exists()
    assert f'"{sys.executable}" -m qc.cli.start watch "%~dp0."' in (folder / "qc-watch.bat").read_text()


def _write(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8")
