"""`qc check --workbook`: where the results workbook goes, and when it is refused."""

from __future__ import annotations

import os
import stat
from collections.abc import Callable
from pathlib import Path

import pytest
from typer.testing import Result

Table = Callable[..., str]
Call = Callable[..., Result]
JUDGE_ONLY = ("--form", "suppositories", "--no-report")


def test_the_workbook_is_written_and_named_on_the_last_line(table: Table, qc: Call) -> None:
    result = qc("check", table(), *JUDGE_ONLY, "--workbook", "out/results.xlsx")
    assert result.exit_code == 0
    assert result.stdout.splitlines()[-1] == "Workbook: out/results.xlsx"
    assert Path("out/results.xlsx").read_bytes().startswith(b"PK")
    assert os.listdir("out") == ["results.xlsx"]


def test_the_exit_code_is_that_of_the_verdict(table: Table, qc: Call) -> None:
    failing = table(["2.000"] * 19 + ["2.300"])
    assert qc("check", failing, *JUDGE_ONLY, "--workbook", "results.xlsx").exit_code == 1
    assert Path("results.xlsx").exists()


def test_beside_the_document_on_standard_output_nothing_else_is_printed(table: Table, qc: Call) -> None:
    result = qc("check", table(), *JUDGE_ONLY, "--json", "-", "--workbook", "results.xlsx")
    assert result.stdout.startswith("{\n")
    assert result.stdout.endswith("}\n")
    assert Path("results.xlsx").exists()


@pytest.mark.parametrize(
    ("name", "message"),
    [
        ("results.xls", '--workbook "results.xls" does not end in .xlsx. Name it for example results.xlsx.\n'),
        ("there.xlsx", "--workbook there.xlsx exists already. Give another file, or --replace to write over it.\n"),
    ],
)
def test_a_name_that_cannot_be_used_is_refused_before_anything_is_judged(
    table: Table, qc: Call, name: str, message: str
) -> None:
    batch = table()
    Path("there.xlsx").write_bytes(b"kept")
    result = qc("check", batch, *JUDGE_ONLY, "--workbook", name)
    assert (result.exit_code, result.stdout, result.stderr) == (2, "", message)
    assert Path("there.xlsx").read_bytes() == b"kept"


def test_the_batch_itself_is_never_written_over(table: Table, qc: Call) -> None:
    table()
    Path("batch.xlsx").write_bytes(b"kept")
    result = qc("check", "batch.xlsx", *JUDGE_ONLY, "--replace", "--workbook", "./batch.xlsx")
    assert (result.exit_code, result.stderr) == (2, "--workbook batch.xlsx is the batch itself. Give another file.\n")
    assert Path("batch.xlsx").read_bytes() == b"kept"


def test_replace_writes_over_a_results_workbook_and_a_result_document(table: Table, qc: Call) -> None:
    batch = table()
    call = ("check", batch, *JUDGE_ONLY, "--workbook", "results.xlsx", "--json", "result.json")
    assert qc(*call).exit_code == 0
    first = [Path(name).read_bytes() for name in ("results.xlsx", "result.json")]
    Path(batch).write_text(Path(batch).read_text().replace("2.0", "2.1", 1))
    assert qc(*call, "--replace").exit_code == 0
    then = [Path(name).read_bytes() for name in ("results.xlsx", "result.json")]
    assert all(new != old for new, old in zip(then, first, strict=True))


@pytest.mark.parametrize("option", ["--json", "--workbook"])
@pytest.mark.parametrize("kind", ["entry workbook", "table", "other json", "broken", "the other result"])
def test_replace_takes_the_place_of_nothing_that_qc_did_not_write_there(
    table: Table, qc: Call, option: str, kind: str
) -> None:
    batch = table()
    other = {"--json": "--workbook", "--workbook": "--json"}[option]
    if kind == "entry workbook":
        assert qc("sheet", "kept.xlsx", "--units", "20").exit_code == 0
    elif kind == "the other result":
        there = "there.xlsx" if other == "--workbook" else "there.json"
        assert qc("check", batch, *JUDGE_ONLY, other, there).exit_code == 0
        Path(there).rename("kept.xlsx")
    else:
        held = {"table": Path(batch).read_bytes(), "other json": b'{"schema": "mine/1"}', "broken": b"\xff[" * 9}
        Path("kept.xlsx").write_bytes(held[kind])
    before = Path("kept.xlsx").read_bytes()
    result = qc("check", batch, *JUDGE_ONLY, "--replace", option, "kept.xlsx")
    assert result.exit_code == 2
    assert result.stderr.endswith("takes the place of nothing else. Give another file, or move that one away first.\n")
    assert Path("kept.xlsx").read_bytes() == before


@pytest.mark.skipif(os.geteuid() == 0, reason="the superuser may write anywhere")
def test_a_folder_that_cannot_be_written_to_is_named(table: Table, qc: Call) -> None:
    batch = table()
    Path("locked").mkdir()
    Path("locked").chmod(stat.S_IRUSR | stat.S_IXUSR)
    result = qc("check", batch, *JUDGE_ONLY, "--workbook", "locked/results.xlsx")
    assert result.exit_code == 2
    assert result.stderr == (
        "The workbook cannot be written to locked/results.xlsx (Permission denied). "
        "Give a file that can be written, with --workbook FILE.xlsx.\n"
    )


def test_a_folder_in_place_of_the_file_is_named_and_nothing_is_written(table: Table, qc: Call) -> None:
    batch = table()
    Path("results.xlsx").mkdir()
    result = qc("check", batch, *JUDGE_ONLY, "--replace", "--workbook", "results.xlsx", "--json", "result.json")
    assert result.exit_code == 2
    assert result.stderr == (
        "The workbook cannot be written to results.xlsx (Is a directory). "
        "Give a file that can be written, with --workbook FILE.xlsx.\n"
    )
    assert not Path("result.json").exists()


def test_unusable_input_writes_no_workbook(table: Table, qc: Call) -> None:
    assert qc("check", table(["2.0O0"]), *JUDGE_ONLY, "--workbook", "results.xlsx").exit_code == 2
    assert not Path("results.xlsx").exists()
