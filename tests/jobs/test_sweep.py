"""Many batches: what is found, each judged as by itself, whatever is in the way, and gone on with after a stop."""

from __future__ import annotations

import csv
import json
import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest
from openpyxl import Workbook
from typer.testing import CliRunner

import qc
from qc.cli.main import application
from qc.document import as_text
from qc.history.entries import Confirmed, to_append
from qc.history.register import open_register
from qc.jobs.check import check_batch
from qc.jobs.seal import SealedCall, call_of
from qc.jobs.sweep.inputs import JOURNAL, find_inputs
from qc.jobs.sweep.judging import Answer, Judges, Limits, Task
from qc.jobs.sweep.rows import SweptBatch
from qc.jobs.sweep.run import Swept, sweep
from qc.problems import InputProblems
from qc.readers.options import ReadOptions

SAMPLES = Path(__file__).parents[2] / "sample_data"
SUPPOSITORIES = ReadOptions(form="suppositories")
CALL = call_of(SUPPOSITORIES, rules=None)
Write = Callable[..., Path]


@pytest.fixture
def write(tmp_path: Path) -> Write:
    """Write a table of twenty masses; `first` makes it one of its own."""

    def table(name: str, *, first: str = "2.000") -> Path:
        path = tmp_path / "in" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        masses = [first, *(f"2.0{unit:02d}" for unit in range(2, 21))]
        path.write_text("Unit,Mass (g)\n" + "".join(f"{n},{mass}\n" for n, mass in enumerate(masses, start=1)))
        return path

    return table


def names(paths: list[Path]) -> list[str]:
    return [path.name for path in paths]


def run(*paths: Path, out: Path, **more: object) -> Swept:
    return sweep(paths, out=out, **{"call": CALL, "jobs": 2, **more})  # type: ignore[arg-type]


def rows_of(out: Path) -> list[dict[str, str]]:
    return list(csv.DictReader((out / "batches.csv").read_text(encoding="utf-8").splitlines()))


class TestWhatIsFound:
    def test_folders_files_and_patterns_give_each_input_once(self, write: Write, tmp_path: Path) -> None:
        first, _ = write("a.csv"), write("below/b.csv")
        (tmp_path / "in" / "below" / "again").symlink_to(tmp_path / "in")
        found = find_inputs([tmp_path / "in", first, f"{tmp_path}/in/*/*.csv"])
        assert names(found.inputs) == ["a.csv", "b.csv"]

    def test_a_folder_of_tables_is_one_input_and_what_lies_below_it_others(self, write: Write, tmp_path: Path) -> None:
        write("batch/units.csv")
        write("batch/checks.csv")
        write("batch/more/c.csv")
        assert names(find_inputs([tmp_path / "in"]).inputs) == ["batch", "c.csv"]

    def test_hidden_and_passing_files_and_those_of_other_kinds_are_no_inputs(
        self, write: Write, tmp_path: Path
    ) -> None:
        for name in (".hidden.csv", "~$open.xlsx", ".~lock.open.xlsx#", "notes.pdf", ".git/a.csv"):
            write(name)
        os.mkfifo(tmp_path / "in" / "pipe.csv")
        write("Shouted.CSV")
        assert names(find_inputs([tmp_path / "in"]).inputs) == ["Shouted.CSV"]

    @pytest.mark.usefixtures("judged_here")
    def test_a_name_that_does_not_exist_is_an_input_whose_row_says_so(self, tmp_path: Path) -> None:
        swept = run(tmp_path / "gone.xlsx", out=tmp_path / "out")
        assert swept.rows[0].problem == (
            "gone.xlsx: there is no such file. See whether the name and the folder are right."
        )

    @pytest.mark.usefixtures("plain_pictures", "plain_print")
    def test_what_qc_made_is_passed_over_and_counted(self, write: Write, tmp_path: Path) -> None:
        path = write("a.csv").with_name("a.xlsx")
        path.with_suffix(".csv").unlink()
        shutil.copy(SAMPLES / "second-stage.xlsx", path)
        words = ["check", str(path), "--report", str(path.parent / "r"), "--workbook", str(path.parent / "again.xlsx")]
        CliRunner().invoke(application("check"), words)
        listed = path.parent / "r" / "to-assay.xlsx"
        assert listed.exists()
        assert (path.parent / "again.xlsx").exists()
        found = find_inputs([tmp_path / "in"])
        assert (names(found.inputs), found.own) == (["a.xlsx"], 2)
        # Once somebody typed into the list of units to assay it is a batch.
        from openpyxl import load_workbook

        book = load_workbook(listed)
        book["Assay"]["E5"] = 249
        book.save(listed)
        assert names(find_inputs([tmp_path / "in"]).inputs) == ["a.xlsx", "to-assay.xlsx"]

    @pytest.mark.usefixtures("judged_here")
    def test_a_name_that_is_no_text_is_judged_like_any_other(self, write: Write, tmp_path: Path) -> None:
        write("a.csv").rename(os.fsdecode(os.fsencode(tmp_path / "in") + b"/\xff 5 g#?.csv"))
        write("b.csv", first="abc").rename(os.fsdecode(os.fsencode(tmp_path / "in") + b"/\xfe.csv"))
        slip, sound = run(tmp_path / "in", out=tmp_path / "out").rows
        assert (sound.verdict, Path(sound.file).name) == ("complies", "\udcff 5 g#?.csv")
        assert "\udcfe.csv, B2" in slip.problem
        assert "? 5 g#?.csv" in (tmp_path / "out" / "batches.csv").read_text(encoding="utf-8")
        assert run(tmp_path / "in", out=tmp_path / "out", resume=True).kept == 1

    def test_nothing_found_is_refused(self, tmp_path: Path) -> None:
        (tmp_path / "empty").mkdir()
        with pytest.raises(InputProblems, match=r"^There is no workbook and no table in .*empty\. Give a folder"):
            run(tmp_path / "empty", out=tmp_path / "out")
        assert not (tmp_path / "out").exists()


class TestTheSameVerdict:
    def test_each_document_is_that_of_a_check_whatever_the_number_of_processes(
        self, write: Write, tmp_path: Path
    ) -> None:
        book = Workbook()
        for name in ("week 1", "week 2"):
            sheet = book.create_sheet(name)
            sheet.append(["Batch", "Unit", "Mass (g)"])
            for batch in ("B-1", "=1+1"):
                for unit in range(1, 21):
                    sheet.append([batch, unit, 2 + unit / 1000])
                    sheet.cell(sheet.max_row, 1).data_type = "s"
        book.remove(book.worksheets[0])
        (tmp_path / "in").mkdir()
        book.save(tmp_path / "in" / "year.xlsx")
        write("one.csv")
        write("two.csv")
        (tmp_path / "in" / "broken.xlsx").write_bytes(b"PK\x03\x04 no")
        one, many = (run(tmp_path / "in", out=tmp_path / f"out-{jobs}", jobs=jobs) for jobs in (1, 3))
        assert one == many
        assert len(one.rows) == 7
        for row in one.rows:
            if not row.document:
                continue
            picked = {"sheet": row.sheet, "batch": row.batch} if row.file.endswith("year.xlsx") else {}
            alone = check_batch(Path(row.file), options=ReadOptions(form="suppositories", **picked))
            text = (tmp_path / "out-3" / "results" / row.document).read_bytes()
            assert text == as_text(alone.document).encode()
        for name in ("batches.csv", "refused.csv", "index.html"):
            assert (tmp_path / "out-1" / name).read_bytes() == (tmp_path / "out-3" / name).read_bytes()
        # A text that would be a formula is none in the table; a file that cannot be read is a row.
        assert [row["batch"] for row in rows_of(tmp_path / "out-1")][3:5] == ["B-1", "'=1+1"]
        assert [row.file for row in one.rows if not row.verdict] == [str(tmp_path / "in" / "broken.xlsx")]
        assert "broken.xlsx" in (tmp_path / "out-1" / "refused.csv").read_text()

    @pytest.mark.usefixtures("judged_here")
    def test_files_of_one_digest_have_a_document_each(self, write: Write, tmp_path: Path) -> None:
        write("a.csv")
        write("b.csv")
        swept = run(tmp_path / "in", out=tmp_path / "out")
        documents = [json.loads((tmp_path / "out" / "results" / row.document).read_text()) for row in swept.rows]
        assert [one["input"]["name"] for one in documents] == ["a.csv", "b.csv"]

    @pytest.mark.usefixtures("judged_here")
    def test_the_call_of_the_package_gives_the_table_as_a_frame(self, write: Write, tmp_path: Path) -> None:
        write("a.csv")
        frame = qc.sweep(tmp_path / "in", form="suppositories", jobs=1)
        assert frame.loc[0, ["verdict", "mass-uniformity", "mass-uniformity figure"]].tolist() == [
            *("complies", "complies", 0.0)
        ]
        batches = (qc.read(path, form="suppositories") for path in [tmp_path / "in" / "a.csv"])
        assert [one.verdict.value for one in qc.judge_many(batches)] == ["complies"]

    @pytest.mark.usefixtures("judged_here")
    def test_frame_by_frame_come_the_same_rows_in_the_order_of_the_inputs(self, write: Write, tmp_path: Path) -> None:
        for name in "abcde":
            write(f"{name}.csv")
        (tmp_path / "in" / "c.csv").write_text("no table\n")
        whole = qc.sweep(tmp_path / "in", form="suppositories", jobs=2)
        frames = list(qc.sweep_frames(tmp_path / "in", rows=2, form="suppositories", jobs=2))
        assert [len(frame) for frame in frames] == [2, 2, 1]
        joined = pd.concat(frames, ignore_index=True)
        assert joined.problem.astype(bool).tolist() == [False, False, True, False, False]
        pd.testing.assert_frame_equal(joined[whole.columns.drop("document")], whole.drop(columns="document"))

    def test_whoever_asks_for_no_further_frame_ends_the_processes(
        self, write: Write, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        asked: list[str] = []

        def judged(_: Judges, task: Task) -> list[Answer]:
            asked.append(task.path)
            return [(SweptBatch(file=task.path), "")]

        monkeypatch.setattr(Judges, "judged", judged)
        for number in range(60):
            write(f"{number:02d}.csv")
        frames = qc.sweep_frames(tmp_path / "in", rows=3, jobs=1)
        assert next(frames).file.map(os.path.basename).tolist() == ["00.csv", "01.csv", "02.csv"]
        frames.close()
        assert len(asked) < 60
        assert len(next(qc.sweep_frames(tmp_path / "in", rows=1, jobs=1))) == 1

    def test_frames_of_nothing_are_refused_at_the_first(self, tmp_path: Path) -> None:
        (tmp_path / "in").mkdir()
        with pytest.raises(qc.InputProblems, match="no workbook and no table"):
            next(qc.sweep_frames(tmp_path / "in"))
        with pytest.raises(ValueError, match="rows = 0, and a frame holds at least one row"):
            next(qc.sweep_frames(tmp_path / "in", rows=0))


class TestWhateverIsInTheWay:
    @pytest.mark.usefixtures("judged_here")
    def test_a_pipe_that_is_named_is_a_row(self, tmp_path: Path) -> None:
        os.mkfifo(tmp_path / "pipe.csv")
        swept = run(tmp_path / "pipe.csv", out=tmp_path / "out")
        assert swept.rows[0].problem == "pipe.csv: it is a pipe or a device. Save what comes from it to a file."

    def test_a_batch_that_takes_too_long_is_a_row(self, write: Write, tmp_path: Path) -> None:
        write("a.csv")
        swept = run(tmp_path / "in", out=tmp_path / "out", limits=Limits(seconds=0.01))
        assert swept.rows[0].problem.startswith("a.csv: it was not judged within 0.01 s. Look into it by itself")

    def test_a_batch_that_takes_too_much_memory_is_a_row(self, write: Write, tmp_path: Path) -> None:
        write("a.csv")
        swept = run(tmp_path / "in", out=tmp_path / "out", limits=Limits(megabytes=30))
        assert not swept.rows[0].verdict
        assert "memory" in swept.rows[0].problem or "ended" in swept.rows[0].problem

    @pytest.mark.usefixtures("judged_here")
    def test_a_second_sweep_into_a_folder_is_refused_unless_it_is_told_what_to_do(
        self, write: Write, tmp_path: Path
    ) -> None:
        write("a.csv")
        out = tmp_path / "in" / "out"
        run(tmp_path / "in", out=out)
        with pytest.raises(InputProblems, match=r"holds an earlier sweep\. Give --resume to judge what is new"):
            run(tmp_path / "in", out=out)
        assert run(tmp_path / "in", out=out, replace=True).kept == 0
        # The tables of the sweep lie in the folder that is searched, and are no inputs.
        assert run(tmp_path / "in", out=out, resume=True).own == 2

    @pytest.mark.usefixtures("judged_here")
    def test_files_that_no_sweep_wrote_are_not_written_over(self, write: Write, tmp_path: Path) -> None:
        write("a.csv")
        (tmp_path / "in" / "batches.csv").write_text("mine")
        with pytest.raises(InputProblems, match=r"holds batches\.csv, which no sweep"):
            run(tmp_path / "in" / "a.csv", out=tmp_path / "in")
        assert (tmp_path / "in" / "batches.csv").read_text() == "mine"

    @pytest.mark.usefixtures("judged_here")
    def test_each_batch_stands_in_the_history_once(self, write: Write, tmp_path: Path) -> None:
        write("a.csv")
        write("b.csv", first="2.100")
        store = str(tmp_path / "history.db")
        for _ in range(2):
            run(tmp_path / "in", out=tmp_path / "out", history=store, replace=True)
        with open_register(store) as register:
            assert len(list(register.entries())) == 2

    @pytest.mark.usefixtures("judged_here")
    def test_a_batch_is_weighed_with_the_causes_that_its_history_confirmed(self, write: Write, tmp_path: Path) -> None:
        path = write("a.csv")
        store = str(tmp_path / "history.db")
        with open_register(store) as register:
            register.append(to_append(Confirmed(result_sha256="0", number="1", cause="poor-mixing")))
        swept = run(tmp_path / "in", out=tmp_path / "out", history=store)
        alone = check_batch(path, options=SUPPOSITORIES, confirmed={"poor-mixing": 1})
        text = (tmp_path / "out" / "results" / swept.rows[0].document).read_text()
        assert text == as_text(alone.document)
        assert "1 confirmed cause" in text


class TestGoneOnWith:
    @pytest.mark.usefixtures("judged_here")
    @pytest.mark.parametrize("over", ["resume", "replace"])
    def test_a_name_that_is_not_there_leaves_an_earlier_sweep_as_it_is(
        self, write: Write, tmp_path: Path, over: str
    ) -> None:
        out = tmp_path / "out"
        write("a.csv")
        run(tmp_path / "in", out=out)
        before = {path: path.read_bytes() for path in out.rglob("*") if path.is_file()}
        with pytest.raises(InputProblems, match=r"There is no .*/inn, and .*/out holds an earlier sweep"):
            run(tmp_path / "inn", out=out, **{over: True})
        assert {path: path.read_bytes() for path in out.rglob("*") if path.is_file()} == before

    @pytest.mark.usefixtures("judged_here")
    def test_only_what_changed_is_judged_again(self, write: Write, tmp_path: Path) -> None:
        out = tmp_path / "out"
        write("a.csv")
        write("b.csv", first="2.100")
        write("c.csv", first="2.200")
        before = run(tmp_path / "in", out=out)
        write("b.csv", first="2.150")
        (out / "results" / before.rows[2].document).write_text("tampered with")
        (tmp_path / "in" / "a.csv").rename(tmp_path / "in" / "d.csv")
        after = run(tmp_path / "in", out=out, resume=True)
        assert (after.inputs, after.kept) == (3, 0)
        assert run(tmp_path / "in", out=out, resume=True).kept == 3
        # What no row names any more is gone.
        assert {path.name for path in (out / "results").iterdir()} == {row.document for row in after.rows}
        other = run(tmp_path / "in", out=out, resume=True, call=call_of(ReadOptions(form="pessaries"), rules=None))
        assert other.kept == 0

    @pytest.mark.usefixtures("judged_here")
    @pytest.mark.parametrize(
        ("path", "told"),
        [("nowhere", "nowhere"), ("in/a.csv", r"holds a sweep of 1 input more, such as in/b\.csv")],
    )
    def test_a_call_that_names_less_takes_nothing_away(
        self, path: str, told: str, write: Write, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.chdir(tmp_path)
        for name in ("a.csv", "b.csv"):
            write(name, first=f"2.1{ord(name[0])}")
        run(Path("in"), out=Path("out"))
        files = {file: file.read_bytes() for file in Path("out").rglob("*") if file.is_file()}
        with pytest.raises(InputProblems, match=told):
            run(Path(path), out=Path("out"), resume=True)
        assert {file: file.read_bytes() for file in Path("out").rglob("*") if file.is_file()} == files
        assert run(Path("in"), out=Path("out"), resume=True).kept == 2

    @pytest.mark.usefixtures("judged_here")
    def test_house_rules_that_changed_judge_again(self, write: Write, tmp_path: Path) -> None:
        write("a.csv")
        house = tmp_path / "house.toml"
        text = (
            '[set]\nbuilds_on = "ph-eur"\n[[rule]]\nid = "ward-mass"\nbuilds_on = "ph-eur-2.9.5"\n'
            'source = "Manual"\nlimit_percent = {}\n'
        )
        call = call_of(SUPPOSITORIES, rules=str(house))
        kept = []
        for limit in (4, 4, 3):
            house.write_text(text.format(limit))
            kept.append(run(tmp_path / "in", out=tmp_path / "out", resume=True, call=call).kept)
        assert kept == [0, 1, 0]

    @pytest.mark.parametrize("stop", [signal.SIGKILL, signal.SIGINT])
    def test_a_sweep_that_was_stopped_goes_on(self, write: Write, tmp_path: Path, stop: signal.Signals) -> None:
        for place in range(8):
            write(f"{place}.csv", first=f"2.1{place}0")
        out = tmp_path / "out"
        words = ["sweep", str(tmp_path / "in"), "--out", str(out), "--form", "suppositories", "--jobs", "1"]
        code = "import sys; sys.argv = ['qc', *sys.argv[1:]]; from qc.cli.start import run; run()"
        with subprocess.Popen([sys.executable, "-c", code, *words], stderr=subprocess.PIPE, text=True) as going:
            until = time.monotonic() + 60
            while not (out / JOURNAL).exists() and time.monotonic() < until:
                time.sleep(0.01)
            going.send_signal(stop)
            _, said = going.communicate(timeout=30)
        assert going.returncode == (130 if stop is signal.SIGINT else -9)
        if stop is signal.SIGINT:
            assert said.startswith("Stopped.\nWhat was judged is kept. To go on: qc sweep ")
            assert said.endswith("--jobs 1 --resume\n") or "--resume" in said
        assert not (out / "batches.csv").exists()
        with (out / JOURNAL).open("ab") as torn:
            torn.write(b'{"key": "torn')
        swept = run(tmp_path / "in", out=out, resume=True)
        assert len(swept.rows) == 8
        assert 1 <= swept.kept < 8
        assert all(row.verdict for row in swept.rows)


def test_a_cluster_judges_the_same_when_one_of_its_machines_goes_away(write: Write, tmp_path: Path) -> None:
    distributed = pytest.importorskip("distributed", reason="Dask is not installed: pip install '.[cluster]'")
    for place in range(12):
        write(f"{place:02d}.csv", first=f"2.1{place:02d}")
    settings = {"n_workers": 2, "threads_per_worker": 1, "dashboard_address": None}
    with distributed.LocalCluster(**settings) as cluster:
        first = next(iter(cluster.workers.values()))
        killed: list[int] = []

        def kill(done: int, of: int) -> None:
            if done == 3:
                killed.append(first.pid)
                os.kill(first.pid, signal.SIGKILL)

        over = run(tmp_path / "in", out=tmp_path / "out", scheduler=cluster.scheduler_address, progress=kill)
    assert killed
    assert over.rows == run(tmp_path / "in", out=tmp_path / "here").rows


def test_the_table_as_parquet_holds_what_the_csv_holds(write: Write, tmp_path: Path) -> None:
    parquet = pytest.importorskip("pyarrow.parquet", reason="pyarrow is not installed: pip install '.[parquet]'")
    write("a.csv")
    write("b.csv", first="abc")
    assert run(tmp_path / "in", out=tmp_path / "out").parquet
    table = parquet.read_table(tmp_path / "out" / "batches.parquet").to_pydict()
    assert {name: [str(cell or "") for cell in cells] for name, cells in table.items() if "figure" not in name} == {
        name: [row[name] for row in rows_of(tmp_path / "out")] for name in table if "figure" not in name
    }
    assert table["mass-uniformity figure"] == [0.0, None]


def test_no_scheduler_at_an_address_is_refused(write: Write, tmp_path: Path) -> None:
    write("a.csv")
    with pytest.raises(InputProblems, match=r"--scheduler needs Dask|No Dask scheduler answers at"):
        run(tmp_path / "in", out=tmp_path / "out", scheduler="nowhere:99999")
    shutil.rmtree(tmp_path / "out", ignore_errors=True)


def test_the_facts_of_a_call_go_to_each_process_as_they_are() -> None:
    assert SealedCall(**dict.fromkeys(("form", "label_mg", "displacement", "decimal", "separator", "rules")))
