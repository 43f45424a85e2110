"""What stands beside contents on a sheet of their own: another batch is refused, other columns are told."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from qc.problems import InputProblems
from qc.readers.options import ReadOptions
from qc.readers.read import read_batch
from qc.say.read_back import never_cut, what_was_left

BookOf = Callable[..., Path]
OPTIONS = ReadOptions(form="suppositories", label_mg=Decimal(250))
UNITS: list[list[Any]] = [
    ["Unit", "Mass (g)"],
    *([number, round(2.1 + (number * 7 % 24 - 12) / 500, 3)] for number in range(1, 21)),
]


def answer(path: Path) -> str:
    try:
        batch = read_batch(path, options=OPTIONS)
    except InputProblems as refused:
        return f"refused: {refused}"
    return " | ".join(what_was_left(batch)[: never_cut(batch)])


def contents(heading: str, *values: object) -> list[list[Any]]:
    """Ten contents with a further column, whose values are dealt out in runs."""
    rows = [[number, 249.5 + number % 4, values[(number - 1) * len(values) // 10]] for number in range(1, 11)]
    return [["Unit", "Content (mg)", heading], *rows]


@pytest.mark.parametrize(("own", "there"), [("12", ("11",)), ("12", ("12", "11")), (None, ("12", "11"))])
def test_contents_beside_another_batch_are_refused(book_of: BookOf, own: str | None, there: tuple[str, ...]) -> None:
    facts = {"Batch": [["Field", "Value"], ["Batch number", own]]} if own else {}
    said = answer(book_of(**facts, Units=UNITS, Assay=contents("Batch", *there)))
    assert said.startswith("refused: ")
    assert 'the contents here are of batch "11", and the masses of batch "12"' in said


def test_contents_beside_their_own_batch_are_read(book_of: BookOf) -> None:
    facts = [["Field", "Value"], ["Batch number", "12"]]
    assert not answer(book_of(Batch=facts, Units=UNITS, Assay=contents("Batch", "12"))).startswith("refused")


@pytest.mark.parametrize(
    ("heading", "values", "said"),
    [
        ("Product", ["Diclofenac 100 mg"], '"Product" "Diclofenac 100 mg"'),
        ("Storage", ["40 C, 6 months"], '"Storage" "40 C, 6 months"'),
        ("Time point", ["T0", "T6"], '"Time point" "T0" "T6"'),
        ("Valid", ["no"], '"Valid" "no"'),
        ("Units pooled", [3], '"Units pooled" 3'),
    ],
)
def test_columns_beside_contents_are_told(book_of: BookOf, heading: str, values: list[object], said: str) -> None:
    assert f"columns of Assay {said} ignored" in answer(book_of(Units=UNITS, Assay=contents(heading, *values)))


@pytest.mark.parametrize(
    ("field", "text"),
    [("Deviation", "masses are gross"), ("Note", "weights of batch 11"), ("Remark", "masses are gross")],
)
def test_free_text_on_a_batch_is_told(book_of: BookOf, field: str, text: str) -> None:
    facts = [["Field", "Value"], ["Batch number", "12"], [field, text]]
    assert f'"{text}" ignored' in answer(book_of(Batch=facts, Units=UNITS))


def test_the_number_of_a_deviation_is_not_told(book_of: BookOf) -> None:
    facts = [["Field", "Value"], ["Batch number", "12"], ["Deviation", "DEV-26-014"]]
    assert answer(book_of(Batch=facts, Units=UNITS)) == ""


def test_contents_are_not_refused_for_units_that_could_not_be_read(book_of: BookOf) -> None:
    units = [["Nr.", "Masse (g)"], *UNITS[1:11], ["Zw.", 2.101], *UNITS[11:]]
    said = answer(book_of(Tabelle1=units, Assay=contents("Assayed by", "A")))
    assert '"Zw."' in said
    assert "does not stand in Units" not in said


def test_a_last_number_cut_short_is_told_behind_a_line_end_too(tmp_path: Path) -> None:
    lines = [f" {number}  {mass:.3f} g" for number, mass in UNITS[1:20]]
    path = tmp_path / "balance.txt"
    path.write_text("\n".join([*lines, " 20  2.0"]) + "\n", encoding="utf-8")
    assert "ends the file: cut off?" in answer(path)


def test_a_row_of_words_among_units_is_refused(book_of: BookOf) -> None:
    said = answer(book_of(Units=[*UNITS[:11], ["Batch B", None], *UNITS[11:]]))
    assert '"Batch B" stands among the masses, and may part those above it' in said
