"""Problems say what stands where and how to mend it, and are gathered in one go."""

from __future__ import annotations

import pytest

from qc.problems import InputProblems, Problem, quoted

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
