"""What a call writes: never over a file unasked, all of it or nothing, and what it can after a fault of its own."""

from __future__ import annotations

import errno
import json
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from typer.testing import Result

from qc.jobs.verify.files import read_sums
from qc.show.filing import Filing, file_whole

pytestmark = pytest.mark.usefixtures("plain_pictures")

Table = Callable[..., str]
Call = Callable[..., Result]
FORM = ("--form", "suppositories")
EVERYTHING = ("--report", "B-7", "--json", "result.json", "--workbook", "results.xlsx")
CHANCE = ("chance", "--test", "dosage-unit-uniformity", "--sd", "6")


class TestNothingIsWrittenOverUnasked:
    @pytest.mark.parametrize("command", ["check", "chance", "compare", "verify"])
    def test_a_document_that_is_there(self, command: str, table: Table, qc: Call) -> None:
        name = table()
        if command == "verify":
            assert qc("check", name, *FORM, "--report", "B-7").exit_code == 0
        calls = {"check": ("check", name, *FORM), "chance": CHANCE, "compare": ("compare", name, name)}
        call = (*calls.get(command, ("verify", "B-7")), "--json", "result.json")
        Path("result.json").write_bytes(b"mine")
        result = qc(*call)
        assert (result.exit_code, result.stdout) == (2, "")
        instead = "--replace to write over it" if command == "check" else "take that one away first"
        assert result.stderr == f"--json result.json exists already. Give another file, or {instead}.\n"
        assert Path("result.json").read_bytes() == b"mine"
        if command == "check":
            refused = qc(*call, "--replace")
            assert (refused.exit_code, Path("result.json").read_bytes()) == (2, b"mine")
            Path("result.json").write_bytes(b'{"schema": "qc-result/0"}')
            assert qc(*call, "--replace").exit_code == 0
        else:
            Path("result.json").unlink()
            assert qc(*call).exit_code == 0
        assert json.loads(Path("result.json").read_bytes())
        assert not [one for one in os.listdir() if one.startswith(".")]

    def test_one_that_comes_between_the_question_and_the_writing(
        self, table: Table, qc: Call, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        name = table()
        monkeypatch.setattr("qc.cli.words.refuse_over_file", lambda *given, **named: None)
        Path("result.json").write_bytes(b"mine")
        result = qc("check", name, *FORM, "--report", "B-7", "--json", "result.json")
        assert result.exit_code == 2
        assert result.stderr.endswith("Give another file, or --replace to write over it.\n")
        assert sorted(os.listdir()) == ["batch.csv", "result.json"]

    @pytest.mark.parametrize(
        ("words", "what"),
        [
            (
                ("--json", "one.xlsx", "--workbook", "one.xlsx", "--no-report"),
                "The workbook cannot be written to one.xlsx",
            ),
            (
                ("--json", "B-7/result.json", "--report", "B-7"),
                "The result document cannot be written to B-7/result.json",
            ),
        ],
    )
    def test_two_files_of_one_name(self, words: tuple[str, ...], what: str, table: Table, qc: Call) -> None:
        result = qc("check", table(), *FORM, *words, "--replace")
        assert result.exit_code == 2
        assert result.stderr.startswith(f"{what} (two of the files would have this name). Give a f")
        assert os.listdir() == ["batch.csv"]


class TestAllOrNothing:
    @pytest.mark.parametrize("fails_at", [1, 9, 14])
    def test_a_full_disk(self, fails_at: int, table: Table, qc: Call, monkeypatch: pytest.MonkeyPatch) -> None:
        name, calls, force = table(), 0, os.fsync

        def full(handle: int) -> None:
            nonlocal calls
            calls += 1
            if calls == fails_at:
                raise OSError(errno.ENOSPC, "No space left on device")
            force(handle)

        monkeypatch.setattr(os, "fsync", full)
        result = qc("check", name, *FORM, *EVERYTHING)
        assert (result.exit_code, result.stdout) == (2, "")
        assert " cannot be written to " in result.stderr
        assert "(No space left on device)" in result.stderr
        assert os.listdir() == ["batch.csv"]

    def test_a_folder_that_may_not_be_written(self, table: Table, qc: Call, monkeypatch: pytest.MonkeyPatch) -> None:
        name, make = table(), Path.mkdir

        def refused(path: Path, *given: Any, **named: Any) -> None:
            if path.name == "B-7":
                raise PermissionError(errno.EACCES, "Permission denied", str(path))
            make(path, *given, **named)

        monkeypatch.setattr(Path, "mkdir", refused)
        result = qc("check", name, *FORM, "--report", "locked/B-7", "--json", "result.json")
        assert result.exit_code == 2
        assert result.stderr == (
            "The report cannot be written to locked/B-7 (Permission denied). "
            "Give a folder that can be written to, with --report DIR.\n"
        )
        assert os.listdir() == ["batch.csv"]

    def test_a_report_folder_that_is_a_file(self, table: Table, qc: Call) -> None:
        name = table()
        Path("B-7").write_bytes(b"mine")
        result = qc("check", name, *FORM, *EVERYTHING, "--replace")
        assert result.exit_code == 2
        assert result.stderr.startswith("The report cannot be written to B-7 (File exists). ")
        assert sorted(os.listdir()) == ["B-7", "batch.csv"]

    def test_everything_that_was_asked_for(self, table: Table, qc: Call) -> None:
        assert qc("check", table(), *FORM, *EVERYTHING).exit_code == 0
        assert sorted(os.listdir()) == ["B-7", "batch.csv", "result.json", "results.xlsx"]

    @pytest.mark.parametrize("folder", [".", "..", "B-7/"])
    def test_a_folder_without_a_name_of_its_own(self, folder: str, table: Table, qc: Call, tmp_path: Path) -> None:
        name = table()
        (tmp_path / "inside").mkdir()
        os.chdir(tmp_path / "inside")
        call = ("check", f"../{name}", *FORM, "--report", folder)
        assert qc(*call).exit_code == 0
        assert qc(*call, "--replace").exit_code == 0
        refused = qc(*call)
        assert refused.exit_code == 2
        assert "already holds" not in refused.stderr.split("--supersedes")[1]
        assert sorted(read_sums((Path(folder) / "SHA256SUMS").read_text())) == [
            "report.html",
            "report.pdf",
            "result.json",
        ]

    @pytest.mark.parametrize("option", ["--report", "--json"])
    def test_a_name_that_is_too_long(self, option: str, table: Table, qc: Call) -> None:
        result = qc("check", table(), *FORM, option, "x" * 300)
        assert result.exit_code == 2
        assert "(File name too long)" in result.stderr
        assert os.listdir() == ["batch.csv"]

    @pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
    def test_a_pipe_is_told_and_stays_a_pipe(self, table: Table, qc: Call) -> None:
        name, heard = table(), list[bytes]()
        os.mkfifo("pipe")
        reader = threading.Thread(target=lambda: heard.append(Path("pipe").read_bytes()))
        reader.start()
        assert qc("check", name, *FORM, "--no-report", "--json", "pipe").exit_code == 0
        reader.join(10)
        assert json.loads(heard[0])["verdict"] == "complies"
        assert Path("pipe").is_fifo()

    def test_a_report_whose_filing_was_broken_off_is_finished_before_it_is_verified(
        self, table: Table, qc: Call
    ) -> None:
        assert qc("check", table(), *FORM, "--report", "B-7").exit_code == 0
        broken = Filing(folder=Path("B-7"), files={}).at("ready", "new")
        broken.mkdir(parents=True)
        Path("B-7/report.pdf").rename(broken / "report.pdf")
        assert qc("verify", "B-7").exit_code == 0
        assert not [one for one in os.listdir("B-7") if one.startswith(".")]


class TestAfterAFault:
    """Judging had ended: the answer stands, what can be written is, and the code is that of a fault."""

    SAID = (
        "This is a fault of qc itself after the batch was judged (complies). Missing: {missing}. The rest stands. "
        "Please report it with the lines above.\n"
    )

    @pytest.mark.parametrize(
        ("broken", "missing", "written"),
        [
            ("qc.show.write.pdf_pages", "report.pdf", ["SHA256SUMS", "report.html", "result.json"]),
            ("qc.show.write.html_page", "report.html", ["SHA256SUMS", "report.pdf", "result.json"]),
            ("qc.show.write.compose", "report.html and report.pdf", ["SHA256SUMS", "result.json"]),
            (
                "qc.jobs.check.with_curves",
                "the curves of the report",
                ["SHA256SUMS", "report.html", "report.pdf", "result.json"],
            ),
            (
                "qc.jobs.check.sealed",
                "the seal of the report",
                ["SHA256SUMS", "report.html", "report.pdf", "result.json"],
            ),
            (
                "qc.cli.terminal.short_summary",
                "the answer",
                ["SHA256SUMS", "report.html", "report.pdf", "result.json"],
            ),
        ],
    )
    def test_of_the_report(
        self,
        broken: str,
        missing: str,
        written: list[str],
        table: Table,
        qc: Call,
        monkeypatch: pytest.MonkeyPatch,
    ) -> None:
        name = table()
        # A report that is replaced leaves no page beside those of another result.
        file_whole(Path("B-7"), dict.fromkeys(("SHA256SUMS", "report.html", "report.pdf", "result.json"), b"old"))
        monkeypatch.setattr(broken, planted)
        result = qc("check", name, *FORM, "--report", "B-7", "--replace", "--json", "result.json")
        assert result.exit_code == 70
        assert "complies" in result.stdout.lower()
        assert "RuntimeError: planted" in result.stderr
        assert result.stderr.endswith(self.SAID.format(missing=missing))
        assert sorted(os.listdir("B-7")) == written
        assert sorted(read_sums(Path("B-7/SHA256SUMS").read_text())) == written[1:]
        assert json.loads(Path("result.json").read_bytes())["verdict"] == "complies"

    def test_of_the_workbook(self, table: Table, qc: Call, monkeypatch: pytest.MonkeyPatch) -> None:
        name = table()
        monkeypatch.setattr("qc.workbook.recheck.write.results_workbook", planted)
        result = qc("check", name, *FORM, *EVERYTHING)
        assert result.exit_code == 70
        assert result.stderr.endswith(self.SAID.format(missing="results.xlsx"))
        assert sorted(os.listdir()) == ["B-7", "batch.csv", "result.json"]


def planted(*given: object, **named: object) -> Any:
    raise RuntimeError("planted")


@pytest.mark.skipif(sys.platform == "win32", reason="Ctrl-C reaches a child otherwise there")
class TestCtrlC:
    PROGRAM = (
        "import sys; sys.argv[0] = 'qc'\n"
        "from qc.cli import start, stopping\n"
        "stopping.listen(); print('on', flush=True); start.run()"
    )

    @pytest.mark.parametrize("after", [0.0, 0.3, 0.7])
    def test_at_any_moment_one_line_130_and_no_leftovers(self, after: float, table: Table) -> None:
        name = table()
        call = [sys.executable, "-c", self.PROGRAM, "check", name, *FORM, *EVERYTHING]
        with subprocess.Popen(call, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
            assert process.stdout is not None
            assert process.stdout.readline() == b"on\n"
            time.sleep(after)
            process.send_signal(signal.SIGINT)
            _, said = process.communicate(timeout=60)
        if process.returncode != 0:
            assert (process.returncode, said) == (130, b"Stopped.\n")
        assert sorted(os.listdir()) in (["batch.csv"], ["B-7", "batch.csv", "result.json", "results.xlsx"])

    @pytest.mark.parametrize(
        "lost", ["try:\n    stop()\nexcept BaseException:\n    pass", "import weakref\nweakref.finalize(Lost(), stop)"]
    )
    def test_a_stop_that_a_library_loses_is_kept(self, lost: str) -> None:
        program = (
            "import os, signal\nfrom qc.cli import main\nclass Lost: pass\n"
            "def stop(): os.kill(os.getpid(), signal.SIGINT)\n"
            f"def work():\n    {lost.replace(chr(10), chr(10) + '    ')}\n"
            "main.application = lambda *names: work\nmain.run()"
        )
        done = subprocess.run([sys.executable, "-c", program], capture_output=True, check=False)
        assert (done.returncode, done.stdout, done.stderr) == (130, b"", b"Stopped.\n")
