"""What makes other figures of those that stand there: formulas, foils, second weighings, another batch, hidden rows."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
import xlsxwriter

from qc.fields.remarks import telling_part
from qc.problems import InputProblems
from qc.readers.options import ReadOptions
from qc.readers.read import read_batch
from qc.readers.repeated import _twins
from qc.say.read_back import never_cut, what_was_left

BookOf = Callable[..., Path]
MASSES = [round(2.1 + (number * 7 % 24 - 12) / 500, 3) for number in range(1, 21)]
LIST: list[list[Any]] = [[number, mass] for number, mass in enumerate(MASSES, start=1)]
CONTENTS: list[list[Any]] = [[number, 99 + number % 4 / 2] for number in range(1, 11)]
OPTIONS = ReadOptions(form="suppositories", label_mg=Decimal(100))
HEAD = ["No", "Mass (g)"]


def told(path: Path) -> str:
    """What refuses a file, or what its shortest answer says of what was left."""
    try:
        batch = read_batch(path, options=OPTIONS)
    except InputProblems as refused:
        return f"refused: {refused}"
    return " | ".join(what_was_left(batch)[: never_cut(batch)])


@pytest.mark.parametrize("head", ["Foil (g)", "Wrapper (g)", "Tare (g)"])
@pytest.mark.parametrize(("net", "right"), [(0.0, False), (-0.12, True), (-0.24, False)])
def test_net_masses_are_gross_ones_less_what_they_were_weighed_in(
    book_of: BookOf, head: str, net: float, right: bool
) -> None:
    rows = [[number, mass, 0.12, round(mass + net, 3)] for number, mass in LIST]
    answer = told(book_of(Sheet1=[["No", "Gross (g)", head, "Net (g)"], *rows]))
    assert answer.startswith("refused") is not right


@pytest.mark.parametrize(
    ("formula", "answer"),
    [
        ("=RAND()*10+95", "refused: batch.xlsx, Sheet1!C3: the content of unit 2 is another one at every calculation"),
        (
            "=AVERAGE(C4:C9)",
            "refused: batch.xlsx, Sheet1!C3: the content of unit 2 is calculated from what other units",
        ),
        ("=C5", "refused: batch.xlsx, Sheet1!C3: the content of unit 2 is calculated from what other units hold (=C5)"),
        ("=D3-E3", "refused: batch.xlsx, Sheet1!C3: the content of unit 2 is stored as 99.5, and its formula gives 0"),
        ("=MAX(70.1,95)", "C3 contents calculated, C3 by =MAX(70.1,95)"),
    ],
)
def test_contents_that_are_calculated_are_asked_or_told(tmp_path: Path, formula: str, answer: str) -> None:
    with xlsxwriter.Workbook(tmp_path / "batch.xlsx") as book:
        sheet = book.add_worksheet("Sheet1")
        sheet.write_row(0, 0, ["No", "Mass (g)", "Content (mg)"])
        for row, (number, mass) in enumerate(LIST, start=1):
            sheet.write_row(row, 0, [number, mass, *([99.5 + number % 3] if number < 11 else [])])
        sheet.write_formula(2, 2, formula, None, 99.5)
    assert told(tmp_path / "batch.xlsx").startswith(answer)


def test_two_weighings_of_each_unit_are_told(book_of: BookOf) -> None:
    again = [round(mass + 0.001 * (spot % 3 - 1), 3) for spot, mass in enumerate(MASSES)]
    beside = [
        [f"{number}{sign}", one]
        for number, pair in enumerate(zip(MASSES, again, strict=True), 1)
        for sign, one in zip("ab", pair, strict=True)
    ]
    below = [[number, mass] for number, mass in enumerate([*MASSES, *again], start=1)]
    assert "neighbours that differ as little" in told(book_of(Sheet1=[HEAD, *beside]))
    assert 'units named "1a" and "1b"' in told(book_of(Sheet1=[HEAD, *beside]))
    assert "the second half and the first that" in told(book_of(Sheet1=[HEAD, *below]))
    assert told(book_of(Sheet1=[HEAD, *LIST])) == ""


@pytest.mark.parametrize(
    ("values", "expected"),
    [
        ("2.10 2.11 2.01 2.01 2.20 2.19 1.95 1.95 2.30 2.30", True),
        # As near each other across the pairs as within; too few; all alike; neighbours far apart.
        ("2.10 2.11 2.12 2.11 2.10 2.11 2.12 2.13 2.12 2.11", False),
        ("2.10 2.11 2.01 2.01 2.20 2.19 1.95 1.95", False),
        ("2.10 2.10 2.10 2.10 2.10 2.10 2.10 2.10 2.10 2.10", False),
        ("2.10 2.15 2.01 2.05 2.20 2.25 1.95 1.90 2.30 2.25", False),
    ],
)
def test_what_two_weighings_look_like(values: str, expected: bool) -> None:
    assert bool(_twins([Decimal(one) for one in values.split()])) is expected


@pytest.mark.parametrize(
    ("own", "there", "right"),
    [
        (["Batch: 77"], ["Assay of batch 76"], False),
        (["Batch", 77], ["Batch", 76], False),
        (["Batch: 77"], ["Assay of batch 77"], True),
        (["Batch: 77"], ["Assay"], True),
    ],
)
def test_contents_of_another_batch_are_refused(book_of: BookOf, own: list[Any], there: list[Any], right: bool) -> None:
    path = book_of(Sheet1=[own, [], HEAD, *LIST], Assay=[there, [], ["Unit", "Content (mg)"], *CONTENTS])
    answer = told(path)
    assert answer.startswith("refused") is not right
    assert right or 'the contents here are of batch "76", and the masses of batch "77"' in answer


def test_a_title_over_the_contents_is_told(book_of: BookOf) -> None:
    path = book_of(
        Units=[["Unit", "Mass (g)"], *LIST], Assay=[["theoretical"], [], ["Unit", "Content (mg)"], *CONTENTS]
    )
    assert told(path) == 'titles "theoretical" ignored'


def test_a_unit_left_out_of_the_contents_is_told(book_of: BookOf) -> None:
    contents = [[number + (number > 3), content] for number, content in CONTENTS]
    path = book_of(Units=[["Unit", "Mass (g)"], *LIST], Assay=[["Unit", "Content (mg)"], *contents])
    assert "no unit 4 between 1 and 11" in told(path)


def test_a_comma_among_points_is_told_by_its_cell(book_of: BookOf) -> None:
    units = [[number, "2,106" if number == 7 else mass] for number, mass in LIST]
    assert told(book_of(Units=[HEAD, *units])) == 'B8 "2,106" as 2.106 g'


def test_what_is_noticed_of_the_units_is_said_beside_what_is_wrong_with_them(book_of: BookOf) -> None:
    units = [[number, "2.1O6" if number == 7 else mass] for number, mass in LIST if number != 12]
    with pytest.raises(InputProblems) as refused:
        read_batch(book_of(Units=[HEAD, *units]), options=OPTIONS)
    assert len(refused.value.problems) == 1
    assert refused.value.noticed == ("Units!A2:A20 no unit 12 between 1 and 20",)


def test_hidden_rows_are_told(tmp_path: Path) -> None:
    with xlsxwriter.Workbook(tmp_path / "batch.xlsx") as book:
        sheet = book.add_worksheet("Sheet1")
        for row, cells in enumerate([HEAD, *LIST]):
            sheet.write_row(row, 0, cells)
        sheet.set_row(5, None, None, {"hidden": True})
    assert told(tmp_path / "batch.xlsx") == "B6 hidden rows 6"


@pytest.mark.parametrize("behind", [" x2", " (2)", " /2"])
def test_a_value_of_several_units_is_no_line_of_one(tmp_path: Path, behind: str) -> None:
    path = tmp_path / "batch.txt"
    path.write_text("\n".join(f"{number}  {mass:.3f} g{behind}" for number, mass in LIST))
    assert told(path).startswith("refused")


@pytest.mark.parametrize(
    ("text", "told_of_it"),
    [
        ("Room temperature 21 C, humidity 45 %; units 11-20 are from batch 12", "\u2026units 11-20 are from batch 12"),
        ("Surface slightly dull after cooling, weighed in foil", "\u2026weighed in foil"),
        ("unit 16, all as usual", "unit 16, all as usual"),
    ],
)
def test_of_a_long_text_the_part_that_tells_is_shown(text: str, told_of_it: str) -> None:
    assert telling_part(text, most=20) == told_of_it
    assert telling_part(text, most=100) == text
