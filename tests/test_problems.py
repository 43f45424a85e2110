"""Problems say what stands where and how to mend it, and are gathered in one go."""

from __future__ import annotations

from collections.abc import Iterable

import pytest

from qc.problems import MOST_SHOWN, InputProblems, Problem, quoted, told

SLIP = Problem(
    file="batch.xlsx",
    sheet="Units",
    cell="E14",
    found='mass "2.1O" is not a number (it ends in the letter O)',
    mend="Type it in digits, for example 2.10",
)


def test_a_problem_names_file_sheet_cell_what_stands_there_and_the_mend() -> None:
    assert str(SLIP) == (
        'batch.xlsx, Units!E14: mass "2.1O" is not a number (it ends in the letter O). '
        "Type it in digits, for example 2.10."
    )


@pytest.mark.parametrize(
    ("sheet", "cell", "address"),
    [("", "", "a.csv"), ("Units", "", "a.csv, Units"), ("", "B2", "a.csv, B2"), ("Units", "B2", "a.csv, Units!B2")],
)
def test_an_address_leaves_out_what_is_not_known(sheet: str, cell: str, address: str) -> None:
    problem = Problem(file="a.csv", sheet=sheet, cell=cell, found="the mass is missing", mend="Enter it")
    assert str(problem) == f"{address}: the mass is missing. Enter it."


def test_a_question_keeps_its_mark() -> None:
    problem = Problem(file="a.csv", sheet="", cell="", found="nothing", mend='Did you mean "Mass (g)"?')
    assert str(problem) == 'a.csv: nothing. Did you mean "Mass (g)"?'


def test_a_problem_is_read_by_key_as_well_as_by_name() -> None:
    assert dict(SLIP) == {
        "file": "batch.xlsx",
        "sheet": "Units",
        "cell": "E14",
        "found": 'mass "2.1O" is not a number (it ends in the letter O)',
        "mend": "Type it in digits, for example 2.10",
    }
    with pytest.raises(KeyError, match="colour"):
        SLIP["colour"]
    with pytest.raises(KeyError, match="__class__"):
        SLIP["__class__"]


def test_all_problems_of_a_file_come_in_one_go_in_their_order() -> None:
    other = Problem(file="batch.xlsx", sheet="Units", cell="E15", found="no mass", mend="Weigh it")
    raised = InputProblems(iter([SLIP, other]))
    assert raised.problems == (SLIP, other)
    assert str(raised) == f"{SLIP}\n{other}"
    assert isinstance(raised, ValueError)


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("2.1O", '"2.1O"'),
        ("a" * 60, f'"{"a" * 60}"'),
        ("a" * 61, f'"{"a" * 59}\N{HORIZONTAL ELLIPSIS}"'),
        ("first line\r\nsecond line", '"first line second line"'),
        ("a" * 30 + "\n" + "b" * 300, f'"{"a" * 30} {"b" * 28}\N{HORIZONTAL ELLIPSIS}"'),
    ],
)
def test_a_typed_text_is_quoted_on_one_line_and_cut_where_it_is_long(text: str, shown: str) -> None:
    assert quoted(text) == shown


def slips(column: str, rows: Iterable[int], found: str = 'mass "2.{row}O" is not a number') -> list[Problem]:
    return [
        Problem(
            file="batch.xlsx",
            sheet="Units",
            cell=f"{column}{row}",
            found=found.format(row=row),
            mend=f"Type it in digits, for example 2.{row}0",
        )
        for row in rows
    ]


def test_one_fault_in_24_rows_is_one_message_with_its_cells_in_runs() -> None:
    assert told(slips("C", range(4, 28))) == [
        'batch.xlsx, Units!C4:C27: mass "2.4O" is not a number. The same in 24 cells, of which the first is quoted. '
        "Type it in digits, for example 2.40."
    ]
    (line,) = told(slips("C", [4, 5, 9, 12, 13]))
    assert line.startswith("batch.xlsx, Units!C4:C5, C9, C12:C13: ")
    (line,) = told(slips("C", range(4, 40, 2)))
    assert line.startswith("batch.xlsx, Units!C4, C6, C8, C10, C12, C14 and 12 more places: ")


def test_a_few_slips_are_told_one_by_one_each_with_what_was_typed() -> None:
    few = slips("C", [4, 5, 6])
    assert told(few) == [str(one) for one in few]


def test_faults_of_other_columns_and_other_kinds_are_not_put_together() -> None:
    several = [*slips("C", range(4, 8)), *slips("D", range(4, 8)), *slips("C", range(4, 8), "mass {row} is negative")]
    assert len(told(several)) == 3


def test_a_wholly_broken_file_fills_one_screen_and_the_rest_is_counted() -> None:
    words = [Problem(file="a.csv", sheet="", cell="", found=f"fault {chr(97 + n)}", mend="Mend it") for n in range(26)]
    lines = told(words)
    assert len(lines) == MOST_SHOWN + 1
    assert lines[-1] == "And 6 more problems: mend these first."
    assert len(InputProblems(words).problems) == 26


def test_a_refusal_of_the_call_has_no_address() -> None:
    problem = Problem(file="", sheet="", cell="", found='--mass-unit "lb" is not known', mend="Give g or mg")
    assert str(problem) == '--mass-unit "lb" is not known. Give g or mg.'
