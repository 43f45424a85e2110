"""What differs on Windows: names, files held open, code pages, quotation marks, line ends. Simulated; see README."""

from __future__ import annotations

import errno
import hashlib
import io
import json
import os
import shlex
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from typer.testing import Result

from qc.cli import code_page
from qc.jobs.folder_name import plain_name, unfit_part
from qc.readers.command import as_word
from qc.readers.guards import held_open
from qc.show.filing import file_whole

Call = Callable[..., Result]
Table = Callable[..., str]
SAMPLES = Path(__file__).parents[2] / "sample_data"
ANSWERS = Path(__file__).parents[1] / "goldens" / "kept"
RUN = "import sys; sys.argv[0] = 'qc'; from qc.cli.main import run; run()"


def sharing_violation(name: str) -> PermissionError:
    """As os.replace raises it there for a file that a viewer holds open."""
    failure = PermissionError(errno.EACCES, "The process cannot access the file", name)
    failure.winerror = 32  # type: ignore[attr-defined, unused-ignore]
    return failure


class TestNames:
    @pytest.mark.parametrize(
        ("number", "folder"),
        [
            ("B-7", "B-7"),
            ("\u00e9t\u00e9-7", "\u00e9t\u00e9-7"),
            ("console", "console"),
            ("CON", "batch-CON-#"),
            ("nul", "batch-nul-#"),
            ("NUL.txt", "batch-NUL.txt-#"),
            ("aux.2026", "batch-aux.2026-#"),
            ("LPT1", "batch-LPT1-#"),
            ("COM\u00b2", "batch-COM\u00b2-#"),
            ("B-7. . ", "B-7-#"),
            ("C:\\B-7", "C-B-7-#"),
            ("2026/07:4*?", "2026-07-4-#"),
            ("..", "batch-#"),
            ("\u200fB-7", "B-7-#"),
            ("B-7-0123abcd", "B-7-0123abcd-#"),
            ("\u00e9t\u00e9 7", "\u00e9t\u00e9-7-#"),
            ("\ud800", "batch-#"),
        ],
    )
    def test_a_batch_number_is_a_folder_that_windows_can_hold(self, number: str, folder: str) -> None:
        mark = hashlib.sha256(number.encode(errors="surrogatepass")).hexdigest()[:8]
        assert plain_name(number) == folder.replace("#", mark)
        assert unfit_part(plain_name(number)) == ""

    def test_numbers_that_are_written_alike_have_folders_of_their_own(self) -> None:
        alike = ["x", "../../x", "x...", "x.", " x", "x ", "/x", "\u200fx", "x\u0301", "x\u200d", "x" * 61, "x" * 62]
        assert len({plain_name(number) for number in alike}) == len(alike)

    def test_capitals_alone_make_no_other_folder_on_many_disks(self) -> None:
        assert plain_name("b-7", beside=["B-7", "B-8"]) == f"b-7-{hashlib.sha256(b'b-7').hexdigest()[:8]}"
        # Its own folder, and those of others that are not like it.
        assert plain_name("b-7", beside=["b-7", "B-7"]) == plain_name("b-7", beside=["B-71"]) == "b-7"

    def test_a_long_batch_number_is_cut(self) -> None:
        assert len(plain_name("\u00e9" * 400).encode()) < 255

    @pytest.mark.parametrize("path", ["aux.txt", "C:\\x\\NUL", "a/b./c", "a \\b", "what?.html", "x/B:7", "con .json"])
    def test_a_path_that_windows_cannot_hold_is_known(self, path: str) -> None:
        assert unfit_part(path)

    @pytest.mark.parametrize("path", ["C:\\reports\\B-7", "\\\\server\\share\\B 7", "../reports", "reports/B-7/", "."])
    def test_a_path_that_it_can_hold_is_left_alone(self, path: str) -> None:
        assert unfit_part(path) == ""

    def test_such_a_path_is_refused_there(self, table: Table, qc: Call, monkeypatch: pytest.MonkeyPatch) -> None:
        batch = table()
        monkeypatch.setattr("qc.cli.words.os_is_windows", lambda: True)
        result = qc("check", batch, "--form", "suppositories", "--report", "reports/aux.1")
        assert result.exit_code == 2
        assert 'Windows has no file or folder named "aux.1". Give a folder' in result.stderr
        assert not Path("reports").exists()


class TestHeldOpen:
    def test_what_the_system_tells(self) -> None:
        assert held_open(sharing_violation("report.pdf"))
        assert not held_open(FileNotFoundError(errno.ENOENT, "No such file"))
        assert held_open(PermissionError(errno.EACCES, "denied")) == (os.name == "nt")

    def test_reading(self, table: Table, qc: Call, monkeypatch: pytest.MonkeyPatch) -> None:
        batch, before = table(), Path.open

        def refused(path: Path, *words: Any, **more: Any) -> Any:
            if path.name == batch:
                raise sharing_violation(batch)
            return before(path, *words, **more)

        monkeypatch.setattr(Path, "open", refused)
        result = qc("check", batch, "--no-report")
        assert result.exit_code == 2
        assert result.stderr == (
            "1 problem; nothing was written.\n"
            "  batch.csv: the file cannot be opened: another program holds it open, or you may not read it. "
            "Close it in the spreadsheet program, or save a copy under another name and give that.\n"
        )

    def test_a_report_in_a_viewer_stays_whole(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        folder, before = tmp_path / "B-7", Path.rename
        old, new = (dict.fromkeys(("report.html", "report.pdf", "SHA256SUMS"), word) for word in (b"old", b"new"))
        file_whole(folder, old, replace=True)

        def refused(path: Path, target: Path) -> Path:
            if path == folder / "report.pdf":
                raise sharing_violation(str(path))
            return before(path, target)

        monkeypatch.setattr(Path, "rename", refused)
        with pytest.raises(PermissionError):
            file_whole(folder, new, replace=True)
        assert {path.name: path.read_bytes() for path in folder.iterdir()} == old
        assert list(tmp_path.iterdir()) == [folder]

    def test_replacing_says_so(self, table: Table, qc: Call, monkeypatch: pytest.MonkeyPatch) -> None:
        batch = table()

        def refused(path: Path, target: Path) -> Path:
            raise sharing_violation("report.pdf")

        monkeypatch.setattr(Path, "rename", refused)
        result = qc("check", batch, "--form", "suppositories", "--report", "B-7", "--replace")
        assert os.listdir() == ["batch.csv"]
        assert result.exit_code == 2
        assert result.stderr == (
            "The report cannot be written to B-7: a file there is open in another program, or may not be changed. "
            "Close it in the spreadsheet program or PDF viewer and give the call again. "
            "Give a folder that can be written to, with --report DIR.\n"
        )


class TestCodePages:
    @pytest.mark.parametrize("page", ["ascii", "cp437", "cp850", "cp1252"])
    def test_every_answer_can_be_printed_without_a_question_mark_for_a_letter(self, page: str) -> None:
        code_page.register()
        answers = list(ANSWERS.glob("*/terminal.txt"))
        assert len(answers) > 5
        for answer in answers:
            text = answer.read_text(encoding="utf-8")
            printed = io.TextIOWrapper(io.BytesIO(), encoding=page, errors=code_page.HANDLER, newline="\r\n")
            printed.write(text)
            printed.flush()
            assert isinstance(printed.buffer, io.BytesIO)
            assert printed.buffer.getvalue().decode(page).count("?") == text.count("?"), answer

    @pytest.mark.parametrize(
        ("sample", "code", "page"),
        [
            ("pour-step.xlsx", 0, "ascii"),
            ("pour-step.xlsx", 0, "cp1252"),
            ("typing-slips.xlsx", 2, "cp437"),
            ("typing-slips.xlsx", 2, "cp850"),
        ],
    )
    def test_the_verdict_does_not_go_by_the_code_page(self, sample: str, code: int, page: str) -> None:
        words = ["check", str(SAMPLES / sample), "--no-report"]
        environment = {**os.environ, "PYTHONIOENCODING": page, "PYTHONUTF8": "0"}
        done = subprocess.run([sys.executable, "-c", RUN, *words], capture_output=True, env=environment, check=False)
        assert done.returncode == code
        assert b"Traceback" not in done.stderr

    def test_json_is_utf_8_whatever_the_code_page(self, tmp_path: Path) -> None:
        (tmp_path / "batch.csv").write_text("Unit,Mass (g)\n\u00e9 1,2.0\n\u03a9 2,2.1\n", encoding="utf-8")
        done = subprocess.run(
            [sys.executable, "-c", RUN, "check", "batch.csv", "--json", "-"],
            capture_output=True,
            env={**os.environ, "PYTHONIOENCODING": "cp437"},
            check=False,
            cwd=tmp_path,
        )
        assert "\u03a9 2" in str(json.loads(done.stdout.decode("utf-8")))


class TestQuotationMarks:
    WORDS = (
        "week.xlsx",
        "week 4.xlsx",
        "a$b.csv",
        "it's $5.csv",
        "B;7",
        "x`y",
        "back\\slash.csv",
        "",
        "a!b",
        "50%",
        "(1)",
    )

    @pytest.mark.parametrize("word", WORDS)
    def test_a_unix_shell_reads_the_word_back(self, word: str) -> None:
        assert shlex.split(as_word(word, windows=False)) == [word]

    @pytest.mark.parametrize("word", WORDS)
    def test_powershell_reads_the_word_back(self, word: str) -> None:
        assert by_powershell(as_word(word, windows=True)) == word

    def test_double_quotation_marks_where_both_shells_take_them(self) -> None:
        for system in (True, False):
            assert as_word("week 4.xlsx", windows=system) == '"week 4.xlsx"'
        assert as_word("C:\\data\\week.xlsx", windows=True) == "C:\\data\\week.xlsx"


def by_powershell(word: str) -> str:
    """A word as PowerShell takes it: about_Quoting_Rules, Microsoft Learn."""
    if word.startswith("'"):
        return word[1:-1].replace("''", "'")
    if word.startswith('"'):
        assert not set(word[1:-1]) & set('$`"')
        return word[1:-1]
    assert not set(word) & set(" $`'\"();,|&<>@#{}")
    return word


@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_line_ends_of_a_table_change_nothing(
    end: str, tmp_path: Path, qc: Call, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    rows = ["sep=;", "Unit;Mass (g);Note", *(f'{unit};2,0{unit:02};"two{end}lines"' for unit in range(1, 21)), ""]
    Path("week.csv").write_bytes(end.join(rows).encode())
    done = qc("check", "week.csv", "--form", "suppositories", "--report", "r")
    assert done.exit_code in (0, 3)
    for name in ("result.json", "SHA256SUMS", "report.html"):
        assert b"\r" not in Path("r", name).read_bytes()
