"""A folder watched: what is saved is judged once, reported beside its file, and superseded when it is corrected."""

from __future__ import annotations

import gc
import json
import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from types import SimpleNamespace

import pytest
from msgspec.structs import replace
from openpyxl import load_workbook

from qc.jobs import watch as under_test
from qc.jobs.seal import call_of
from qc.jobs.sweep.inputs import JOURNAL
from qc.jobs.sweep.judging import Judges, Limits, Task
from qc.jobs.sweep.reports import ADDED, UNSAID
from qc.jobs.sweep.rows import TAKEN_AWAY, SweptBatch
from qc.jobs.watch import watch
from qc.problems import InputProblems, Problem
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
    facts = {row[0].value: f"B{row[0].row}" for row in load_workbook(SAMPLES / "sound.xlsx")["Batch"].iter_rows()}
    cell = facts["Note"]

    def explain() -> None:
        # Under the same number another name of the product is a correction as well.
        edit(path, "Batch", facts["Product"], "Another product")
        edit(path, "Batch", cell, "typed wrongly")

    steps = (
        lambda: shutil.copy(SAMPLES / "sound.xlsx", path),
        lambda: edit(path, "Units", "E9", 2.123),
    )
    first, changed, explained = watched(folder, *steps, explain, rows=3)
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
    listed = folder / "reports" / "S-2611-14" / "to-assay.xlsx"

    def save() -> None:
        shutil.copy(SAMPLES / "pour-step.xlsx", folder / "pour-step.xlsx")

    def type_in() -> None:
        rows = load_workbook(listed)["Assay"].iter_rows()
        empty = next(row for row in rows if row[0].value and row[0].row > 4 and row[4].value is None)
        edit(listed, "Assay", empty[4].coordinate, 250)

    first, second = watched(folder, save, type_in, rows=2)
    assert (first.report, second.report) == ("reports/S-2611-14", "reports/S-2611-14-2")
    assert second.file == "reports/S-2611-14/to-assay.xlsx"
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
def test_a_file_is_marked_as_soon_as_it_is_taken_away(folder: Path, clock: Clock) -> None:
    table, index = folder / "a.csv", folder / "index.html"

    def ticks() -> Iterator[set[Path]]:
        _write(table, TABLE)
        yield {table}
        clock.now += 60
        yield set()
        assert TAKEN_AWAY not in index.read_text(encoding="utf-8")
        table.unlink()
        yield {table}
        assert TAKEN_AWAY in index.read_text(encoding="utf-8")

    watch(folder, call=CALL, told=lambda _: None, ticks=ticks())


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
    assert said[0].endswith(
        "  a.csv: COMPLIES ON MASS OF THE UNITS JUDGED; CONTENT NOT ASSESSED; 4 THINGS TO DO BEFORE RELEASE\n"
    )
    assert said[3] == "  Report: reports/a\n"
    assert (folder / "reports" / "a" / "report.html").exists()
    assert f'"{sys.executable}" -m qc.cli.start watch "%~dp0."' in (folder / "qc-watch.bat").read_text()


class TestWhenSomethingIsJudged:
    """By the clock: no judge is asked here, and what it would say is made up."""

    @pytest.fixture
    def judged(self, monkeypatch: pytest.MonkeyPatch) -> list[str]:
        """The names of what was judged; a file that holds "half" is refused as a whole, one with "slip" by a cell."""
        asked: list[str] = []

        def judge(_: Judges, task: Task) -> list[tuple[SweptBatch, str]]:
            asked.append(task.path)
            row, path = SweptBatch(file=task.path), Path(task.out, task.path)
            text = path.read_text() if os.access(path, os.R_OK) and path.is_file() else ""
            if "half" in text:
                return [(row.with_problem("it is none", "Save it"), "")]
            if "slip" in text:
                return [(replace(row, problems=(Problem(file="", sheet="", cell="B2", found="", mend=""),)), "")]
            return [(replace(row, verdict="complies", report=f"reports/{path.stem}", document="d.json"), "")]

        monkeypatch.setattr(Judges, "_taken", lambda _: None)
        monkeypatch.setattr(Judges, "judged", judge)
        return asked

    def looks(self, folder: Path, *steps: tuple[float, Callable[[], set[Path]]]) -> list[SweptBatch]:
        """At each time a step is taken, which names what the system tells of."""
        told: list[SweptBatch] = []

        def ticks() -> Iterator[set[Path]]:
            start = under_test.time.monotonic()
            for at, step in steps:
                under_test.time.now = start + at  # type: ignore[attr-defined]
                yield step()

        watch(folder, call=CALL, told=told.append, ticks=ticks())
        return told

    def test_a_file_counts_as_saved_once_it_stayed_the_same_for_a_while(self, folder: Path, judged: list[str]) -> None:
        path, seen = folder / "a.csv", list[tuple[float, int]]()

        def save(text: str) -> Callable[[], set[Path]]:
            def step() -> set[Path]:
                path.write_text(text)
                return {path}

            return step

        def note(at: float) -> tuple[float, Callable[[], set[Path]]]:
            def step() -> set[Path]:
                seen.append((at, len(judged)))
                return set()

            return at, step

        # What a step sees is what the look before it led to.
        self.looks(
            folder, (1, save("one")), note(1.39), (1.39, save("longer")), note(1.5), note(1.78), note(1.8), note(1.81)
        )
        assert seen == [(1.39, 0), (1.5, 0), (1.78, 0), (1.8, 0), (1.81, 1)]

    def test_what_the_system_does_not_tell_of_is_found_by_a_look_at_the_whole_folder(
        self, folder: Path, judged: list[str]
    ) -> None:
        def appears() -> set[Path]:
            (folder / "a.csv").write_text("one")
            return set()

        def nothing() -> set[Path]:
            seen.append(len(judged))
            return set()

        seen: list[int] = []
        self.looks(folder, (0, nothing), (1, appears), *((at, nothing) for at in (29.9, 30.0, 30.4, 31)))
        assert seen == [0, 0, 0, 0, 1]
        # No result document lies beside the index of a watch.
        page = (folder / "index.html").read_text()
        assert ("d.json" in page, 'href="reports/a/report.html"' in page) == (False, True)
        # Not judged again by the next whole look, nor by one of a watch that begins anew.
        self.looks(folder, (0, nothing), (40, nothing), (80, nothing))
        assert judged == ["a.csv"]

    def test_what_cannot_be_read_as_a_whole_is_tried_so_often_and_a_slip_is_told_at_once(
        self, folder: Path, judged: list[str]
    ) -> None:
        for name, text in (("whole.csv", "half"), ("cell.csv", "slip")):
            (folder / name).write_text(text)
        os.utime(folder / "whole.csv", (1, 1))
        seen: list[int] = []

        def nothing() -> set[Path]:
            seen.append(judged.count("whole.csv"))
            return set()

        # One is judged at a look, the last one saved first.
        times = (0, 0.4, 0.41, 1.40, 1.42, 2.41, 2.43, 9, 60, 90)
        told = self.looks(folder, *((at, nothing) for at in times))
        assert seen == [0, 0, 0, 1, 1, 2, 2, 3, 3, 3]
        assert judged.count("cell.csv") == 1
        assert sorted(row.file for row in told) == ["cell.csv", "whole.csv"]

    def test_a_file_that_somebody_holds_open_is_looked_at_again_without_another_change(
        self, folder: Path, judged: list[str], monkeypatch: pytest.MonkeyPatch
    ) -> None:
        (folder / "a.csv").write_text("one")
        digests = iter(["", "now"])
        monkeypatch.setattr(under_test, "digest_of", lambda _: next(digests))
        told = self.looks(folder, *((at, set) for at in (0, 0.5, 20, 30, 30.5, 61, 62)))
        assert [row.file for row in told] == ["a.csv", "a.csv"] == judged

    def test_the_rows_of_a_refused_file_keep_the_reports_that_it_had(self, folder: Path, judged: list[str]) -> None:
        path = folder / "a.csv"

        def save(text: str) -> Callable[[], set[Path]]:
            return lambda: {path} if path.write_text(text) else set()

        told = self.looks(folder, (0, save("one")), (1, set), (2, save("slip")), (3, set), (4, save("two")), (5, set))
        assert [(row.verdict, row.report) for row in told] == [
            *(("complies", "reports/a"), ("", "reports/a"), ("complies", "reports/a")),
        ]
        assert len(judged) == 3

    def test_of_a_folder_of_tables_any_file_tells(self, folder: Path, judged: list[str]) -> None:
        tables = folder / "batch"
        tables.mkdir()

        def save(name: str, text: str) -> Callable[[], set[Path]]:
            return lambda: {tables / name} if (tables / name).write_text(text) else set()

        self.looks(
            folder,
            (0, save("units.csv", "Unit,Mass (g)\n1,2.0\n")), (1, set), (2, save("checks.csv", "Check\n")), (3, set),
        )  # fmt: skip
        assert judged == ["batch", "batch"]
        shutil.rmtree(tables)
        self.looks(folder, (0, lambda: {tables / "units.csv"}))
        assert TAKEN_AWAY in (folder / "index.html").read_text()


def test_the_system_is_asked_for_every_change_a_few_times_a_second(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: dict[str, object] = {}

    def changes(place: Path, **how: object) -> Iterator[set[tuple[int, str]]]:
        asked.update(how, place=place)
        yield from ({(1, "a"), (2, "b")}, set())

    monkeypatch.setitem(sys.modules, "watchfiles", SimpleNamespace(watch=changes))
    assert list(under_test.ticks_of(folder)) == [{Path("a"), Path("b")}, set()]
    assert asked == {
        "place": folder,
        "watch_filter": None,
        "debounce": 100,
        "rust_timeout": 200,
        "yield_on_timeout": True,
        "raise_interrupt": True,
    }


def test_a_folder_that_is_not_there_is_refused(folder: Path) -> None:
    with pytest.raises(InputProblems, match=r"^There is no folder .*gone\. Give a folder that is there\.$"):
        watch(folder / "gone", call=CALL, told=print, ticks=())


def test_memory_held_in_a_circle_is_looked_for_while_it_runs(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    usual, begun = gc.get_threshold(), list[object]()
    monkeypatch.setattr(Judges, "_taken", lambda one: begun.append((one.limits, one.ready)))
    try:
        watch(folder, call=CALL, told=print, ticks=())
        assert gc.get_threshold() == (2000, 10, 10)
    finally:
        gc.set_threshold(*usual)
    assert begun == [(Limits(), under_test.READY)]


def _write(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8")
