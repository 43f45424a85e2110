"""`qc check` as a table of input, options and exit code; what is printed where; what is written when."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from typer.testing import Result

Table = Callable[..., str]
Call = Callable[..., Result]
SUPPOSITORIES = ("--form", "suppositories", "--no-report")
HUNDRED = ["100"] * 10


def test_a_folder_for_the_report_and_no_report_are_refused_together(table: Table, qc: Call) -> None:
    result = qc("check", table(), *SUPPOSITORIES, "--report", "out")
    said = "--report and --no-report are given together. Give one of them.\n"
    assert (result.exit_code, result.stdout, result.stderr) == (2, "", said)
    assert not Path("out").exists()


class TestExitCodes:
    """0 every test that applies complies, 1 at least one does not, 2 unusable, 3 undecided."""

    @pytest.mark.parametrize(
        ("masses", "contents", "options", "code"),
        [
            (None, None, SUPPOSITORIES, 0),
            (None, HUNDRED, SUPPOSITORIES, 0),
            (["2.000"] * 19 + ["2.300"], None, SUPPOSITORIES, 1),
            (["2.000"] * 19 + ["2.210526"], None, SUPPOSITORIES, 0),
            (["2.000"] * 19, None, SUPPOSITORIES, 3),
            (None, ["84", "116", *["100"] * 8], SUPPOSITORIES, 3),
            (None, ["70", *["100"] * 9], SUPPOSITORIES, 1),
            (None, ["100"] * 9, SUPPOSITORIES, 3),
            (None, ["80"] * 30, SUPPOSITORIES, 1),
            (None, None, ("--no-report",), 3),
            (None, None, ("--form", "supositories", "--no-report"), 2),
            (None, None, ("--form", "troches", "--no-report"), 3),
            (None, None, (*SUPPOSITORIES, "--rules", "br"), 0),
            (None, None, (*SUPPOSITORIES, "--rules", "ph-eur-2.9.5"), 0),
            (None, None, (*SUPPOSITORIES, "--rules", "harmonised"), 3),
            (None, ["100"] * 10, (*SUPPOSITORIES, "--rules", "harmonised", "--label-mg", "250"), 0),
            (None, None, (*SUPPOSITORIES, "--rules", "no-such-set"), 2),
            (["2.0O0"], None, SUPPOSITORIES, 2),
            ([], None, SUPPOSITORIES, 2),
            (None, None, (*SUPPOSITORIES, "--label-mg", "abc"), 2),
            (None, None, (*SUPPOSITORIES, "--label-mg", "0"), 2),
            (None, None, (*SUPPOSITORIES, "--label-mg", "-5"), 2),
            (None, None, (*SUPPOSITORIES, "--label-mg", "nan"), 2),
            (None, None, (*SUPPOSITORIES, "--label-mg", "1_000"), 2),
            (None, None, (*SUPPOSITORIES, "--displacement", "1,5"), 2),
            (None, None, (*SUPPOSITORIES, "--decimal", "dot"), 2),
            (None, None, (*SUPPOSITORIES, "--paper", "a3"), 2),
            (None, None, (*SUPPOSITORIES, "--seed", "x"), 2),
            (None, None, (*SUPPOSITORIES, "--no-such-option"), 2),
        ],
    )
    def test_each_input_with_its_options(
        self,
        masses: list[str] | None,
        contents: list[str] | None,
        options: tuple[str, ...],
        code: int,
        table: Table,
        qc: Call,
    ) -> None:
        result = qc("check", table(masses, contents), *options)
        assert result.exit_code == code, result.output
        if code == 2:
            assert result.stdout == ""
            assert result.stderr != ""
            assert "Traceback" not in result.stderr
            assert os.listdir() == ["batch.csv"]

    @pytest.mark.parametrize("name", ["missing.xlsx", "missing.csv", ""])
    def test_a_file_that_is_not_there(self, name: str, table: Table, qc: Call) -> None:
        table()
        result = qc("check", name, "--no-report")
        assert (result.exit_code, result.stdout) == (2, "")
        assert "nothing was written" in result.stderr

    def test_no_batch_at_all(self, qc: Call) -> None:
        assert qc("check").exit_code == 2


def test_a_displacement_value_given_with_the_call_is_that_of_the_active(table: Table, qc: Call) -> None:
    batch = table()
    facts = ("--form", "suppositories", "--label-mg", "250", "--json", "-")
    shown = [
        json.loads(qc("check", batch, *facts, *more).stdout)["dose_from_mass"][0]["displacement"]
        for more in ((), ("--displacement", "0.3"))
    ]
    assert shown == [
        None,
        "displacement value 0.3, uncertain by 12 %",
    ]


class TestMessages:
    @pytest.mark.parametrize(
        ("options", "message"),
        [
            (
                ("--label-mg", "abc"),
                '--label-mg "abc" is not a number. Give a number above 0 with a decimal point, for example 250.\n',
            ),
            (
                ("--label-mg", "0"),
                '--label-mg "0" is not above 0. Give a number above 0 with a decimal point, for example 250.\n',
            ),
            (
                ("--displacement", "1,5"),
                '--displacement "1,5" is not a number. Give a number above 0 with a decimal point, for example 1.5.\n',
            ),
            (("--decimal", "dot"), '--decimal "dot" is not known. Give comma or point.\n'),
            (("--paper", "a3"), '--paper "a3" is not known. Give a4 or letter.\n'),
            (
                ("--json", "batch.csv"),
                "--json batch.csv is the input itself. Give another file, or - for standard output.\n",
            ),
        ],
    )
    def test_a_call_that_cannot_be_used_says_how_to_mend_it(
        self, options: tuple[str, ...], message: str, table: Table, qc: Call
    ) -> None:
        before = Path(table()).read_bytes()
        assert qc("check", "batch.csv", *SUPPOSITORIES, *options).stderr == message
        assert Path("batch.csv").read_bytes() == before

    def test_a_negative_seed_is_refused(self, table: Table, qc: Call) -> None:
        table()
        refused = qc("check", "batch.csv", *SUPPOSITORIES, "--seed", "-1")
        assert (refused.exit_code, "-1 is not in the range" in refused.stderr) == (2, True)

    def test_an_unknown_rule_set_names_the_known_ones(self, table: Table, qc: Call) -> None:
        stderr = qc("check", table(), *SUPPOSITORIES, "--rules", "harmonized").stderr
        assert stderr.startswith("1 problem; nothing was written.\n")
        assert "harmonised" in stderr

    def test_all_problems_of_a_file_come_in_one_go_with_their_cells(self, table: Table, qc: Call) -> None:
        stderr = qc("check", table(["2.0O0", "2.000", "abc"]), *SUPPOSITORIES).stderr
        lines = stderr.splitlines()
        assert lines[0] == "2 problems; nothing was written."
        assert [line.split(":")[0].strip() for line in lines[1:]] == ["batch.csv, B2", "batch.csv, B4"]

    def test_what_was_noticed_stands_below_the_problems(self, table: Table, qc: Call) -> None:
        path = Path(table(["2.0O0", *(f"2.{number:03}" for number in range(12))]))
        lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
        path.write_text("".join([*lines[:6], *lines[7:]]), encoding="utf-8")
        stderr = qc("check", str(path), *SUPPOSITORIES).stderr
        assert stderr.splitlines()[-1] == "  Noticed beside: batch.csv!A2:A13 no unit 6 between 1 and 13."

    def test_a_cell_cannot_steer_the_terminal(self, table: Table, qc: Call) -> None:
        stderr = qc("check", table(["2.0\x1b[2J00"]), *SUPPOSITORIES).stderr
        assert "\x1b" not in stderr


class TestOutput:
    def test_a_sound_table_as_a_whole_block(self, table: Table, qc: Call) -> None:
        assert qc("check", table(), *SUPPOSITORIES).stdout == (
            "Read batch.csv, B2:B21: 20 units, first 2.000 g, last 2.000 g, mean 2.0000 g (by\n"
            "  the heading, decimal point). B2:B21 the same figure throughout\n"
            "COMPLIES on mass of the units judged; content not assessed; 4 things to do\n"
            "  before release\n"
            "Mean: mass 2.0000 g, RSD 0.00 % (n = 20)\n"
            "Met: Mass\n"
            "Left open: Content; Dosage units\n"
            "In the pour: inconclusive: mass\n"
            "Likeliest: ordinary variation without a fault, 55 %; an unlisted cause, 7 %;\n"
            "  active settled in the melt during the pour, 4 %\n"
            "To do: The content was not assessed. Assay 10 whole units (Ph. Eur. 2.9.6, test\n"
            "  B and Ph. Eur. 2.9.40 / USP <905> / JP 6.02). and 3 more: --full\n"
        )

    def test_in_full_each_test_has_its_source_and_every_limit(self, table: Table, qc: Call) -> None:
        said = qc("check", table(), *SUPPOSITORIES, "--full").stdout
        head, _, rest = said.partition("\nWhat to do now\n")
        assert head.endswith(
            "COMPLIES on mass of the units judged; content not assessed; 4 things to do\n"
            "    before release\n"
            "20 units entered, 20 weighed, 0 assayed; rule set: default\n"
            "\n"
            "Uniformity of mass                                                      complies\n"
            "  European Pharmacopoeia 2.9.5 (01/2008:20905, unchanged in the 11th edition)\n"
            "  [ph-eur-2.9.5]\n"
            "  units weighed                          20                at least 20   met\n"
            "  units beyond 5 % of the mean           0 of 20           at most 2     met\n"
            "  units beyond 10 % of the mean          0 of 20           none allowed  met\n"
            "  farthest in the sample                 0.00 % (unit 1)   5 % / 10 %\n"
            "\n"
            "Uniformity of content                                               not assessed\n"
            "  European Pharmacopoeia 2.9.6, test B (01/2017:20906) [ph-eur-2.9.6-b]\n"
            "  No whole unit was assayed.\n"
            "\n"
            "Uniformity of dosage units                                          not assessed\n"
            "  European Pharmacopoeia; United States Pharmacopeia; Japanese Pharmacopoeia\n"
            "  2.9.40; <905>; 6.02 (harmonised text, ICH Q4B Annex 6 (step 4, 2013))\n"
            "  [harmonised-udu]\n"
            "  No whole unit was assayed.\n"
        )
        assert rest.startswith("  - The content was not assessed. Assay 10 whole units (Ph. Eur. 2.9.6, test B\n")
        assert rest.endswith("\nThe tool judges a sample; a person releases a batch.\n")

    def test_the_verdict_is_the_first_word_after_what_was_read(self, table: Table, qc: Call) -> None:
        for masses, verdict in ((None, "COMPLIES"), (["2"] * 19 + ["3"], "DOES NOT COMPLY"), (["2"] * 5, "UNDECIDED")):
            lines = qc("check", table(masses), *SUPPOSITORIES).stdout.splitlines()
            assert lines[0].startswith("Read batch.csv, B2:B")
            told = next(line for line in lines[1:3] if not line.startswith(" "))
            assert told.startswith(verdict)

    def test_no_line_is_wider_than_eighty_columns(self, table: Table, qc: Call) -> None:
        contents = ["84.123456789", "116", *["100"] * 8]
        for rules in ("default", "ph-eur", "harmonised", "int-ph", "chp", "br", "mean-mass-3"):
            output = qc("check", table(None, contents), *SUPPOSITORIES, "--rules", rules).stdout
            assert max(map(len, output.splitlines())) <= 80

    def test_standard_output_holds_the_document_and_nothing_else(self, table: Table, qc: Call) -> None:
        result = qc("check", table(), *SUPPOSITORIES[:2], "--json", "-")
        document = json.loads(result.stdout)
        assert list(document)[:6] == ["schema", "qc_version", "input", "batch", "read", "rule_set"]
        assert document["verdict"] == "complies"
        assert result.stderr == ""
        assert os.listdir() == ["batch.csv"]

    def test_the_document_is_written_to_a_file_beside_the_summary(self, table: Table, qc: Call) -> None:
        result = qc("check", table(), *SUPPOSITORIES, "--json", "out/result.json")
        assert "\nCOMPLIES" in result.stdout
        assert json.loads(Path("out/result.json").read_text(encoding="utf-8"))["verdict"] == "complies"
        assert os.listdir("out") == ["result.json"]

    def test_the_same_call_gives_the_same_document_byte_for_byte(self, table: Table, qc: Call) -> None:
        name = table(None, ["84", "116", *["100"] * 8])
        call = ("check", name, "--form", "suppositories", "--json", "-")
        assert qc(*call).stdout == qc(*call).stdout

    def test_a_folder_in_the_place_of_the_document_is_refused_before_anything_is_written(
        self, table: Table, qc: Call
    ) -> None:
        name = table()
        Path("there").mkdir()
        result = qc("check", name, "--form", "suppositories", "--report", "report", "--json", "there")
        assert result.exit_code == 2
        assert result.stderr == (
            "The result document cannot be written to there (Is a directory). Give a file that can be written, or - "
            "for standard output.\n"
        )
        assert sorted(os.listdir()) == ["batch.csv", "there"]


class TestReport:
    def test_a_report_is_written_once_and_never_overwritten_silently(self, table: Table, qc: Call) -> None:
        at = ("--at", "2026-11-26T14:03")
        call = ("check", table(), "--form", "suppositories", "--report", "report", "--json", "result.json")
        first = qc(*call, *at)
        assert first.exit_code == 0
        assert first.stdout.endswith("\nReport: report/report.pdf and report/report.html\n")
        assert {"report.html", "report.pdf", "result.json"} <= set(os.listdir("report"))
        stamp = Path("report/report.html").read_bytes()
        Path("result.json").unlink()
        second = qc(*call)
        assert (second.exit_code, second.stdout) == (2, "")
        assert second.stderr.endswith(
            "After a correction, to keep both: qc check batch.csv --report report-2 --json result.json "
            '--supersedes report --because "what was corrected" --form suppositories\n'
            "Give --replace to write over it, or another folder with --report DIR.\n"
        )
        assert Path("report/report.html").read_bytes() == stamp
        # The document that belongs to the refused report is not written either, and no draft is left.
        assert sorted(os.listdir()) == ["batch.csv", "report"]
        assert qc(*call, *at, "--replace").exit_code == 0
        assert Path("report/report.html").read_bytes() == stamp
        assert qc(*call, "--at", "2026-11-26T12:01+01:00", "--replace").exit_code == 0
        assert Path("report/report.html").read_bytes() != stamp
        refused = qc(*call, "--at", "yesterday", "--replace")
        assert (refused.exit_code, refused.stderr) == (
            2,
            '--at "yesterday" is no point in time. Give day and time, for example 2026-11-26T14:03.\n',
        )

    def test_the_default_folder_is_named_after_the_batch_and_stays_below_reports(self, table: Table, qc: Call) -> None:
        assert qc("check", table(name="b 7..csv"), "--form", "suppositories").exit_code == 0
        assert os.listdir("reports") == ["b-7-" + hashlib.sha256(b"b 7.").hexdigest()[:8]]


class TestPipe:
    """The command as another program starts it."""

    @staticmethod
    def run(*words: str, **environment: str) -> subprocess.CompletedProcess[bytes]:
        return subprocess.run(
            [sys.executable, "-c", "from qc.cli.main import run; run()", *words],
            capture_output=True,
            env={**os.environ, **environment},
            check=False,
            stdin=subprocess.DEVNULL,
        )

    def test_it_works_in_a_pipe_and_in_an_old_code_page(self, table: Table) -> None:
        name = table(["2.000"] * 19 + ["2.300"])
        done = self.run("check", name, *SUPPOSITORIES, PYTHONIOENCODING="ascii", PYTHONUTF8="0")
        assert done.returncode == 1
        assert b"\nDOES NOT COMPLY" in done.stdout.replace(b"\r", b"")
        assert b"\x1b" not in done.stdout
        assert done.stderr == b""

    def test_the_document_is_utf8_whatever_the_code_page(self, table: Table) -> None:
        name = table(["1.700", *["2.000"] * 19])
        call = ("check", name, "--form", "suppositories", "--json", "-")
        done = self.run(*call, PYTHONIOENCODING="ascii", PYTHONUTF8="0")
        assert done.stdout == self.run(*call).stdout
        assert json.loads(done.stdout.decode("utf-8"))["verdict"] == "does-not-comply"


def test_a_result_document_is_written_over_nothing_that_was_weighed(table: Table, qc: Call) -> None:
    form, mend = SUPPOSITORIES[:2], "Give another file, or - for standard output.\n"
    table(None, name="s.csv")
    Path("f").mkdir()
    for copy in ("f/units.csv", "other.xlsx"):
        shutil.copy("s.csv", copy)
    for batch, target, said in (
        ("f", "f/units.csv", "lies in the folder that is read"),
        ("s.csv", "s.csv", "is the input itself"),
    ):
        result = qc("check", batch, *SUPPOSITORIES, "--json", target)
        assert (result.exit_code, result.stderr) == (2, f"--json {target} {said}. {mend}")
    assert Path("other.xlsx").read_bytes() == Path("f/units.csv").read_bytes() == Path("s.csv").read_bytes()
    assert qc("check", "s.csv", *SUPPOSITORIES, "--json", "other.xlsx").stderr.startswith(
        "--json other.xlsx exists already"
    )
    assert qc("check", "s.csv", *form, "--report", "r").exit_code == 0
    result = qc("verify", "r", "--json", "r/report.pdf")
    assert (result.exit_code, result.stderr) == (2, f"--json r/report.pdf lies in the folder that is read. {mend}")
    assert qc("verify", "r", "--input", "s.csv", "--json", "s.csv").exit_code == 2
    assert Path("s.csv").read_bytes() == Path("f/units.csv").read_bytes()
