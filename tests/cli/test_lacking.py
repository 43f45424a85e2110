"""One round: all that is missing or refused is told in one message, with the call that would settle it."""

from __future__ import annotations

import os
import shlex
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import pytest
from typer.testing import Result

pytestmark = pytest.mark.usefixtures("plain_pictures", "plain_print")
Call = Callable[..., Result]
Table = Callable[..., str]
RUN = "import sys; sys.argv[0] = 'qc'; from qc.cli.main import run; run()"
ASSAYED = "".join(f"{unit};2.0{unit % 10}0;{248 + unit % 5}.0\n" for unit in range(1, 11))
MG = "Unit;Mass (g);Content (mg)\n" + ASSAYED + "".join(f"{unit};2.0{unit % 10}0;\n" for unit in range(11, 21))
HINT = "To judge "


def copied(stdout: str) -> list[str]:
    """The words of the call that an answer gives to copy."""
    (line,) = [line for line in stdout.splitlines() if line.startswith("  qc check")]
    return shlex.split(line)[1:]


class TestWhatIsMissing:
    def test_form_and_label_claim_are_asked_for_at_once_by_a_call_that_settles_both(
        self, tmp_path: Path, qc: Call, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.chdir(tmp_path)
        Path("week 4.csv").write_text(MG)
        asked = qc("check", "week 4.csv", "--no-report", "--decimal", "point")
        assert asked.exit_code == 3
        assert asked.stdout.endswith(
            "To judge masses and contents, add dosage form and label claim, here by example:\n"
            '  qc check "week 4.csv" --no-report --form suppositories --label-mg 250 --decimal point\n'
        )
        settled = qc(*copied(asked.stdout))
        assert settled.exit_code == 0
        assert HINT not in settled.stdout

    def test_the_call_to_copy_settles_it_although_a_report_was_filed_meanwhile(
        self, tmp_path: Path, qc: Call, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.chdir(tmp_path)
        Path("week.csv").write_text(MG)
        asked = qc("check", "week.csv", "--decimal", "point")
        assert asked.exit_code == 3
        assert qc(*copied(asked.stdout)).exit_code == 0

    def test_nothing_is_asked_for_where_all_is_there(self, table: Table, qc: Call) -> None:
        assert HINT not in qc("check", table(), "--form", "suppositories", "--no-report").stdout

    def test_masses_alone_want_the_form_alone(self, table: Table, qc: Call) -> None:
        asked = qc("check", table(), "--no-report")
        assert copied(asked.stdout)[1:] == ["batch.csv", "--no-report", "--form", "suppositories"]

    def test_a_form_without_a_mass_limit_and_no_label_claim(self, table: Table, qc: Call) -> None:
        asked = qc("check", table(), "--form", "troches", "--no-report")
        assert asked.exit_code == 3
        assert copied(asked.stdout)[1:] == ["batch.csv", "--no-report", "--form", "troches", "--label-mg", "250"]

    def test_json_holds_nothing_else(self, table: Table, qc: Call) -> None:
        assert HINT not in qc("check", table(), "--json", "-").stdout

    def test_a_workbook_with_a_units_sheet_alone_takes_the_label_claim_from_the_call(
        self, tmp_path: Path, qc: Call, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        import openpyxl

        monkeypatch.chdir(tmp_path)
        book = openpyxl.Workbook()
        book.active.title = "Units"
        for row in [line.split(";") for line in MG.splitlines()]:
            book.active.append([float(one) if one.replace(".", "").isdecimal() else one or None for one in row])
        book.save("week.xlsx")
        assert qc(*copied(qc("check", "week.xlsx", "--no-report").stdout)).exit_code == 0


class TestWhatIsRefused:
    def test_options_and_cells_come_together(self, table: Table, qc: Call) -> None:
        batch = table(["2.0O0", *["2.000"] * 19])
        refused = qc(
            *("check", batch, "--form", "supositories", "--rules", "ph-eurr", "--mass-unit", "lb"),
            *("--decimal", "dot", "--label-mg", "0", "--paper", "a5"),
        )
        assert refused.exit_code == 2
        assert refused.stdout == ""
        lines = refused.stderr.splitlines()
        assert lines[0] == "7 problems; nothing was written."
        assert lines[1:6] == [
            '  --paper "a5" is not known. Give a4 or letter.',
            '  --label-mg "0" is not above 0. Give a number above 0 with a decimal point, for example 250.',
            '  --decimal "dot" is not known. Give comma or point.',
            '  --mass-unit "lb" is not known. Give g or mg.',
            '  batch.csv: --form "supositories" is no dosage form that a rule here names. '
            "Give suppositories if that is meant.",
        ]
        assert 'B2: mass "2.0O0" is not a number' in lines[6]
        assert "ph-eurr" in lines[7]

    def test_a_file_that_is_not_there_hides_no_option(self, qc: Call, tmp_path: Path) -> None:
        refused = qc("check", str(tmp_path / "none.csv"), "--form", "supositories", "--rules", "ph-eurr")
        assert refused.stderr.startswith("3 problems; nothing was written.\n")

    def test_one_refused_option_of_a_sound_table(self, table: Table, qc: Call) -> None:
        refused = qc("check", table(), "--mass-unit", "lb")
        said = '--mass-unit "lb" is not known. Give g or mg.\n'
        assert (refused.exit_code, refused.stderr) == (2, said)


@pytest.mark.skipif(sys.platform == "win32", reason="a terminal is simulated by a pty, which Windows has not")
class TestAtAKeyboard:
    def call(self, folder: Path, typed: list[str], *words: str, stdin: str = "pty") -> tuple[int, str, str]:
        """Exit code, standard output and what was said on the terminal, with answers typed one after another."""
        import pty

        (folder / "week.csv").write_text(MG)
        master, slave = pty.openpty()
        with subprocess.Popen(
            [sys.executable, "-c", RUN, "check", "week.csv", "--decimal", "point", *words],
            stdin=slave if stdin == "pty" else subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=slave,
            cwd=folder,
        ) as process:
            os.close(slave)
            for answer in typed:
                os.write(master, answer.encode())
                time.sleep(0.1)
            assert process.stdout is not None
            said = process.stdout.read().decode()
        shown = b""
        # The far end is closed: what is left is read, and then the terminal is gone.
        with suppress(OSError):
            while part := os.read(master, 65536):
                shown += part
        os.close(master)
        return process.returncode, said, shown.decode()

    def test_it_asks_for_form_and_label_claim_with_choices(self, tmp_path: Path) -> None:
        code, said, shown = self.call(tmp_path, ["nonsense\n", "1\n", "lots\n", "250 mg\n"], "--no-report")
        assert code == 0
        assert HINT not in said
        assert "Which dosage form? 1 suppositories, 2 pessaries, 3 moulded lozenges," in shown
        assert 'No rule here names the form "nonsense".' in shown
        assert "That is no number above 0 with a decimal point." in shown
        assert (
            "The same without questions: qc check week.csv --no-report --form suppositories --label-mg 250"
            " --decimal point" in shown
        )

    def test_who_only_presses_enter_gets_the_answer_as_it_is(self, tmp_path: Path) -> None:
        code, said, _ = self.call(tmp_path, ["\n", "\n"], "--no-report")
        assert code == 3
        assert HINT in said

    def test_the_end_of_input_is_no_verdict(self, tmp_path: Path) -> None:
        code, said, _ = self.call(tmp_path, ["\x04"], "--no-report")
        assert code == 3
        assert HINT in said

    @pytest.mark.parametrize(("words", "stdin"), [(("--json", "-"), "pty"), (("--no-report",), "null")])
    def test_it_never_asks_a_program(self, tmp_path: Path, words: tuple[str, ...], stdin: str) -> None:
        code, _, shown = self.call(tmp_path, [], *words, stdin=stdin)
        assert code == 3
        assert "Which dosage form" not in shown
