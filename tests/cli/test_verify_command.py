"""`qc verify` and `qc check --supersedes` as a person calls them: words, exit codes, what is written."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from typer.testing import Result

from qc import judge, read

pytestmark = pytest.mark.usefixtures("plain_pictures", "drawn_once")

Table = Callable[..., str]
Call = Callable[..., Result]
FORM = ("--form", "suppositories")
CANNOT = (
    "\n"
    "A digest shows that something was changed; it cannot show that nothing was:\n"
    "whoever rewrites every file and every digest leaves no trace. Keep SHA256SUMS or\n"
    "the signed paper elsewhere.\n"
)


@pytest.fixture(scope="module")
def drawn(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The report of a sound table, drawn once."""
    from typer.testing import CliRunner

    from qc.cli.main import application

    place = tmp_path_factory.mktemp("drawn")
    masses = "\n".join(f"{number},2.000" for number in range(1, 21))
    (place / "batch.csv").write_text(f"Unit,Mass (g)\n{masses}\n")
    call = ["check", str(place / "batch.csv"), *FORM, "--report", str(place / "report")]
    assert CliRunner().invoke(application(call[0]), call).exit_code == 0
    return place


@pytest.fixture
def report(drawn: Path, table: Table) -> str:
    """The working folder holds the table and its report."""
    shutil.copytree(drawn / "report", "report")
    shutil.copy(drawn / "batch.csv", "batch.csv")
    return "report"


class TestExitCodes:
    def test_everything_belongs_together(self, report: str, qc: Call) -> None:
        result = qc("verify", report)
        assert result.exit_code == 0
        assert result.stdout.startswith("EVERYTHING BELONGS TOGETHER\nReport: report\n\n  ok     report.html is the")
        assert result.stdout.endswith(CANNOT)
        assert result.stderr == ""
        assert max(map(len, result.stdout.splitlines())) <= 80

    def test_a_file_of_the_report_stands_for_its_folder(self, report: str, qc: Call) -> None:
        assert qc("verify", "report/report.pdf").exit_code == 0

    def test_something_does_not(self, report: str, qc: Call) -> None:
        with Path("batch.csv").open("a") as file:
            file.write("21,2.000\n")
        result = qc("verify", report)
        assert result.exit_code == 1
        assert result.stdout.startswith("SOMETHING DOES NOT BELONG TOGETHER\n")
        assert "  BROKEN input batch.csv is not the file that was judged: it was changed, or is\n" in result.stdout

    def test_no_report_is_there(self, table: Table, qc: Call) -> None:
        result = qc("verify", "nowhere")
        assert (result.exit_code, result.stdout) == (2, "")
        assert result.stderr == (
            "1 problem; nothing was written.\n"
            "  nowhere: there is no such folder. Give the folder of a report, or a file in it.\n"
        )

    def test_the_input_is_not_at_hand(self, report: str, qc: Call) -> None:
        Path("batch.csv").unlink()
        result = qc("verify", report)
        assert result.exit_code == 3
        assert result.stdout.startswith("CHECKED IN PART\n")
        assert "  open   input batch.csv is not at hand; give it with --input\n" in result.stdout

    def test_the_lines_are_written_to_a_file_beside_the_words(self, report: str, qc: Call) -> None:
        result = qc("verify", report, "--json", "lines.json")
        assert (result.exit_code, result.stdout.splitlines()[0]) == (0, "EVERYTHING BELONGS TOGETHER")
        assert json.loads(Path("lines.json").read_text(encoding="utf-8"))["outcome"] == "together"

    def test_the_help_says_what_a_digest_cannot_do(self, qc: Call) -> None:
        words = " ".join(qc("verify", "--help").stdout.split())
        assert "whoever rewrites every file and every digest in the folder leaves no trace" in words


def test_other_programs_get_the_lines_and_nothing_else(report: str, qc: Call) -> None:
    Path("batch.csv").unlink()
    document = json.loads(qc("verify", report, "--json", "-").stdout)
    assert (document["report"], document["outcome"]) == ("report", "partly")
    assert {"state": "not checked", "what": "input", "told": "batch.csv is not at hand; give it with --input"} in (
        document["lines"]
    )


def test_the_sealed_digest_is_that_of_the_document_which_json_writes(report: str, qc: Call) -> None:
    qc("check", "batch.csv", *FORM, "--no-report", "--json", "again.json")
    digest = hashlib.sha256(Path("again.json").read_bytes()).hexdigest()
    assert json.loads(Path("report/result.json").read_text())["seal"]["result_sha256"] == digest


class TestSupersedes:
    def test_a_correction_names_what_it_supersedes_and_goes_beside_it(
        self, report: str, table: Table, qc: Call
    ) -> None:
        os.renames("report", "reports/batch")
        name = table(["2.000"] * 19 + ["2.300"])
        call = ("check", name, *FORM, "--supersedes", "reports/batch", "--because", "unit 20 was typed wrongly")
        result = qc(*call, "--full")
        assert result.exit_code == 1
        _, _, told = result.stdout.partition("\nWhat the correction changed\n")
        digest = json.loads(Path("reports/batch/result.json").read_text())["seal"]["result_sha256"]
        assert told.startswith(
            f"  - Report {digest[:12]}, whose verdict was: complies.\n"
            "  - Why: unit 20 was typed wrongly.\n"
            "  - batch, verdict: complies -> does not comply\n"
        )
        assert "  - unit 20, mass [g]: 2 -> 2.3\n" in told
        assert told.endswith("Report: reports/batch-2/report.pdf and reports/batch-2/report.html\n")
        document = json.loads(Path("reports/batch-2/result.json").read_text())
        assert document["supersedes"]["because"] == "unit 20 was typed wrongly"
        assert qc("verify", "reports/batch-2").exit_code == 0
        again = qc(*call)
        assert again.exit_code == 2
        assert again.stderr.endswith("place: --supersedes reports/batch-2.\n")
        over = qc(*call, "--report", "reports/batch-2", "--replace")
        assert over.stdout.splitlines()[:2] == [
            f"Supersedes report {digest[:12]}: batch, verdict: complies -> does not comply;",
            "  unit 20, mass [g]: 2 -> 2.3; and 9 more: --full",
        ]

    def test_the_document_on_standard_output_carries_it_too(self, report: str, qc: Call) -> None:
        result = qc("check", "batch.csv", *FORM, "--supersedes", report, "--because", "x", "--json", "-")
        document = json.loads(result.stdout)
        assert document["supersedes"]["differences"] == []
        assert "seal" not in document

    @pytest.mark.parametrize("because", [(), ("--because", "  ")])
    def test_without_a_reason_it_is_refused(self, because: tuple[str, ...], report: str, qc: Call) -> None:
        result = qc("check", "batch.csv", *FORM, "--supersedes", report, *because)
        assert (result.exit_code, result.stdout) == (2, "")
        assert result.stderr == (
            "A report is superseded for a reason, and none is given. Give it in a sentence, for example --because "
            '"mass of unit 7 was typed wrongly".\n'
        )

    def test_a_reason_alone_is_refused(self, report: str, qc: Call) -> None:
        result = qc("check", "batch.csv", *FORM, "--because", "x")
        assert (result.exit_code, result.stderr) == (
            2,
            "--because goes with --supersedes. Give the folder of the earlier report with --supersedes DIR.\n",
        )

    def test_a_superseded_report_is_marked_and_kept(self, report: str, qc: Call) -> None:
        call = ("check", "batch.csv", *FORM, "--report", "second", "--supersedes", report, "--because", "typed wrongly")
        assert qc(*call).exit_code == 0
        assert "in second (" in " ".join(qc("verify", report).stdout.split())
        result = qc("check", "batch.csv", *FORM, "--report", report, "--replace")
        assert (result.exit_code, result.stderr) == (
            2,
            "report holds a report that was superseded, which is kept. Give another folder with --report.\n",
        )

    def test_an_input_whose_report_was_superseded_is_undecided_until_it_supersedes_in_its_turn(
        self, report: str, table: Table, qc: Call
    ) -> None:
        def judged(*more: str) -> tuple[int, dict[str, Any] | None]:
            result = qc("check", "old.csv", *FORM, "--json", "-", *more)
            tests = {test["id"]: test for test in json.loads(result.stdout)["tests"]}
            return result.exit_code, tests.get("superseded-input")

        os.rename("batch.csv", "old.csv")
        assert judged() == (0, None)
        corrected = (table(["2.000"] * 19 + ["2.001"]), *FORM, "--because", "typed wrongly")
        assert qc("check", *corrected, "--supersedes", report, "--report", "second").exit_code == 0
        assert qc("check", corrected[0], *FORM, "--no-report").exit_code == 0
        code, test = judged()
        assert code == 3
        assert test is not None
        assert (test["verdict"], test["required"], test["rule"]) == ("not-assessed", True, "superseded-input")
        by, at = (json.loads(Path(report, "superseded.json").read_text())[key] for key in ("by", "at"))
        assert test["reasons"] == [
            f"The report of this very file was superseded by report {by[:12]} in second ({at}): typed wrongly"
        ]
        # The report of a superseded input belongs together, and comes out the same after the marks are gone.
        assert qc("check", "old.csv", *FORM, "--report", "third").exit_code == 3
        assert "A later report supersedes the one made from this very file." in Path("third/report.html").read_text()
        # The later report says the same where the mark was taken away, and the earlier report with it.
        os.rename(Path(report, "superseded.json"), "kept.json")
        assert judged() == (code, test)
        os.rename(report, "../elsewhere")
        assert judged() == (code, test)
        os.rename("second", "../second")
        assert judged() == (0, None)
        assert qc("verify", "third").exit_code == 0
        os.rename("../second", "second")
        os.rename("../elsewhere", report)
        os.rename("kept.json", Path(report, "superseded.json"))
        # Back to the first file, with a reason: it stands again, and the corrected one does not.
        assert judged("--supersedes", "second", "--because", "right after all") == (0, None)
        again = ("--supersedes", "second", "--because", "right after all", "--report", "fourth")
        assert qc("check", "old.csv", *FORM, *again).exit_code == 0
        assert judged() == (0, None)
        result = qc("check", corrected[0], *FORM, "--no-report")
        assert result.exit_code == 3
        assert "OPEN  Input: not assessed, missing: the corrected file (report in fourth)" in result.stdout
        told = " ".join(result.stdout.split())
        assert "To do: Judge the corrected file, whose report is in fourth; where this file is right after" in told

    def test_a_sweep_and_a_call_from_python_know_of_it_too(self, report: str, table: Table, qc: Call) -> None:
        os.rename("batch.csv", "old.csv")
        corrected = (table(["2.000"] * 19 + ["2.001"]), *FORM, "--because", "typed wrongly")
        assert qc("check", *corrected, "--supersedes", report, "--report", "second").exit_code == 0
        assert judge(read("old.csv", form="suppositories")).verdict == "undecided"
        assert qc("sweep", "old.csv", *FORM, "--out", "swept").exit_code == 3
        (swept,) = Path("swept/results").iterdir()
        result = qc("check", "old.csv", *FORM, "--json", "-")
        assert swept.read_text() == result.stdout

    def test_another_batch_of_the_same_file_is_not_superseded(self, table: Table, qc: Call) -> None:
        rows = [f"{number},{batch},{mass}" for batch, mass in (("A", 2.0), ("B", 2.1)) for number in range(1, 21)]
        Path("two.csv").write_text("\n".join(["Unit,Batch number,Mass (g)", *rows]) + "\n")
        assert qc("check", "two.csv", *FORM, "--batch", "A").exit_code == 0
        Path("new.csv").write_text(Path("two.csv").read_text().replace("1,A,2.0\n", "1,A,2.01\n", 1))
        call = ("check", "new.csv", *FORM, "--batch", "A", "--supersedes", "reports/A", "--because", "typed wrongly")
        assert qc(*call).exit_code == 0
        assert [qc("check", "two.csv", *FORM, "--no-report", "--batch", one).exit_code for one in "AB"] == [3, 0]

    def test_the_superseded_report_is_never_written_over(self, report: str, qc: Call) -> None:
        call = ("check", "batch.csv", *FORM, "--supersedes", report, "--because", "x", "--report", report, "--replace")
        result = qc(*call)
        assert (result.exit_code, result.stderr) == (
            2,
            "report holds the report that is superseded, which is kept. Give another folder with --report.\n",
        )

    def test_a_folder_without_a_report_is_refused_and_nothing_is_written(self, table: Table, qc: Call) -> None:
        result = qc("check", table(), *FORM, "--supersedes", "nowhere", "--because", "x")
        assert (result.exit_code, result.stdout, os.listdir()) == (2, "", ["batch.csv"])
