"""`qc compare` as a person calls it: what is printed, what is written, which exit code."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

from typer.testing import Result

Table = Callable[..., str]
Call = Callable[..., Result]
MASSES = ["2.013", "1.998", "2.021"]
SLIPPED = ["2.013", "1.989", "2.0210"]


def test_the_same_entries_end_with_0(table: Table, qc: Call) -> None:
    result = qc("compare", table(MASSES, name="a.csv"), table([*MASSES[:2], "2.0210"], name="b.csv"))
    assert result.exit_code == 0
    assert result.stdout == "THE SAME   3 cells compared\nA: a.csv\nB: b.csv\n"


def test_differences_are_named_cell_by_cell_and_end_with_1(table: Table, qc: Call) -> None:
    result = qc("compare", table(MASSES, name="a.csv"), table(SLIPPED, name="b.csv"))
    assert result.exit_code == 1
    assert result.stdout == (
        "1 DIFFERENCE   3 cells compared\nA: a.csv\nB: b.csv\n\nUnits, 2, Mass (g)\n    A B3: 1.998\n    B B3: 1.989\n"
    )
    assert result.stderr == ""


def test_other_programs_get_the_differences_and_nothing_else(table: Table, qc: Call) -> None:
    result = qc("compare", table(MASSES, name="a.csv"), table(SLIPPED[:2], name="b.csv"), "--json", "-")
    assert result.exit_code == 1
    document = json.loads(result.stdout)
    assert [source["name"] for source in (document["a"], document["b"])] == ["a.csv", "b.csv"]
    assert document["differences"] == [
        {
            "sheet": "Units",
            "key": "2",
            "column": "Mass (g)",
            "a": {"cell": "B3", "found": "1.998"},
            "b": {"cell": "B3", "found": "1.989"},
        },
        {
            "sheet": "Units",
            "key": "3",
            "column": "",
            "a": {"cell": "row 4", "found": "Mass (g) 2.021"},
            "b": {"cell": "", "found": "no such row"},
        },
    ]


def test_the_differences_go_to_a_file_beside_the_words(table: Table, qc: Call) -> None:
    result = qc("compare", table(MASSES, name="a.csv"), table(MASSES, name="b.csv"), "--json", "found.json")
    assert result.stdout.startswith("THE SAME")
    assert json.loads(Path("found.json").read_text(encoding="utf-8"))["differences"] == []


def test_an_entry_is_never_written_over(table: Table, qc: Call) -> None:
    result = qc("compare", table(MASSES, name="a.csv"), table(MASSES, name="b.csv"), "--json", "b.csv")
    assert result.exit_code == 2
    assert result.stderr == "--json b.csv is the input itself. Give another file, or - for standard output.\n"
    assert Path("b.csv").read_text(encoding="utf-8").startswith("Unit,Mass (g)")


def test_an_input_that_is_not_there_ends_with_2(table: Table, qc: Call) -> None:
    result = qc("compare", table(MASSES, name="a.csv"), "b.csv")
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == (
        "1 problem; nothing was written.\n"
        "  b.csv: there is no such file. See whether the name and the folder are right.\n"
    )


def test_an_unknown_decimal_mark_ends_with_2(table: Table, qc: Call) -> None:
    result = qc("compare", table(MASSES, name="a.csv"), "a.csv", "--decimal", "dot")
    assert (result.exit_code, result.stderr) == (2, '--decimal "dot" is not known. Give comma or point.\n')


def test_an_unreadable_number_is_named_under_the_differences(table: Table, qc: Call) -> None:
    result = qc("compare", table(["2.1O", "2.0"], name="a.csv"), table(["2.10", "2.0"], name="b.csv"))
    assert result.stdout.endswith(
        "Units, 1, Mass (g)\n"
        "    A B2: 2.1O\n"
        "    B B2: 2.10\n"
        "\n"
        "No number could be read here; these cells were compared as text:\n"
        '  - a.csv, B2: mass "2.1O" is not a number (it ends in the letter O). Type it in\n'
        "    digits, for example 2.10.\n"
    )


def test_a_cell_cannot_steer_the_terminal(table: Table, qc: Call) -> None:
    result = qc("compare", table(["2.0\x1b[2J"], name="a.csv"), table(["2.0"], name="b.csv"))
    assert "\x1b" not in result.stdout
