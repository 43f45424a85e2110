"""What is read back: cells, units, masses, what was set aside or ignored, and figures of the file that are not ours."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from decimal import Decimal
from pathlib import Path
from statistics import mean, pstdev, stdev

import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from qc.batch import Batch, ReadBack, SetAside
from qc.cli.terminal import short_summary
from qc.judging.judge import judge_batch
from qc.judging.own_order import in_own_order
from qc.problems import IgnoredCells
from qc.readers.options import ReadOptions
from qc.readers.read import read_batch
from qc.rules.rule_books import rule_book
from qc.say.read_back import masses_read, what_was_left

FORM = ReadOptions(form="suppositories")
MASSES = ("2.013", "1.987", "2.004", "2.021", "1.995", "2.008")


def in_book(path: Path, *rows: tuple[object, ...], sheet: str = "Week 3") -> Path:
    book = openpyxl.Workbook()
    assert book.active is not None
    book.active.title = sheet
    for row in rows:
        book.active.append(row)
    book.save(path)
    return path


def told(batch: Batch) -> list[str]:
    return [notice.text for notice in batch.notices if "The figure beside" in notice.text]


def back(batch: Batch) -> ReadBack:
    assert batch.read is not None
    return batch.read


def test_a_list_of_somebody_is_read_back_with_its_cells(tmp_path: Path) -> None:
    rows = [(spot, float(mass) * 1000, 12.5) for spot, mass in enumerate(MASSES, start=1)]
    path = in_book(
        tmp_path / "own.xlsx",
        ("Batch of Monday",),
        ("Nr", "Gewicht (mg)", "Height"),
        *rows,
        ("Mittelwert", 2004.7),
    )
    assert back(read_batch(path, options=FORM)) == ReadBack(
        sheet="Week 3",
        cells="B3:B8",
        units=6,
        mass_unit="mg",
        mass_unit_known_by="heading",
        ends=("1", "6"),
        set_aside=(SetAside(cells="A9:B9", what="Mittelwert", value=Decimal("2004.7")),),
        ignored=(
            IgnoredCells(cells="A1", what="titles", said='"Batch of Monday"'),
            IgnoredCells(cells="C3:C8", what="columns", said='"Height" 12.5'),
        ),
    )


def test_our_own_sheet_is_read_back_with_the_columns_that_were_ignored(tmp_path: Path) -> None:
    rows = [(f"U{spot}", float(mass), "white") for spot, mass in enumerate(MASSES, start=1)]
    path = in_book(tmp_path / "own.xlsx", ("Unit", "Mass (g)", "Colour"), *rows, sheet="Units")
    read = back(read_batch(path, options=FORM))
    assert (read.sheet, read.cells, read.units, read.mass_unit_known_by) == ("Units", "B2:B7", 6, "heading")
    assert read.ignored == (IgnoredCells(cells="C2:C7", what="columns", said='"Colour" "white"'),)


def test_a_sheet_that_was_ignored_is_named_with_its_cells(tmp_path: Path) -> None:
    path = in_book(tmp_path / "own.xlsx", ("Unit", "Mass (g)"), *((n, 2.0) for n in range(1, 7)), sheet="Units")
    book = openpyxl.load_workbook(path)
    book.create_sheet("Diary").append(("rain", 3))
    book.save(path)
    assert back(read_batch(path, options=FORM)).ignored == (
        IgnoredCells(cells="Diary!A1:B1", what='sheet "Diary"', said="rain 3"),
    )


def test_units_that_were_numbered_here_are_told(tmp_path: Path) -> None:
    path = tmp_path / "list.txt"
    path.write_text("\n".join(MASSES) + "\n")
    read = back(read_batch(path, options=FORM))
    assert (read.sheet, read.cells, read.numbered, read.mass_unit_known_by) == ("", "A1:A6", True, "size")


def test_blocks_beside_each_other_are_read_back_each_by_its_cells(tmp_path: Path) -> None:
    others = (2.113, 2.101, 2.122, 2.098, 2.117, 2.109)
    rows = [(n, float(mass), None, n, other) for n, mass, other in zip(range(1, 7), MASSES, others, strict=True)]
    path = in_book(
        tmp_path / "own.xlsx",
        ("Mould A", None, None, "Mould B"),
        ("Unit", "Mass (g)", None, "Unit", "Mass (g)"),
        *rows,
        ("Mean", 2.0047, None, "Mean", 2.11),
    )
    batch = read_batch(path, options=FORM)
    assert back(batch).cells == "B3:B8, E3:E8"
    # Each mould has a mean of its own.
    assert told(batch) == []


@pytest.mark.parametrize("comma", [False, True])
def test_a_mean_that_is_not_ours_is_named_with_ours(tmp_path: Path, comma: bool) -> None:
    rows = [["Unit", "Mass (g)"], *([str(n), mass] for n, mass in enumerate(MASSES, start=1)), ["Mean", "2.114"]]
    lines = [";".join(row) for row in rows]
    path = tmp_path / "own.csv"
    path.write_text("\n".join(line.replace(".", ",") if comma else line for line in lines) + "\n")
    batch = read_batch(path, options=FORM)
    assert told(batch) == [
        'The figure beside "Mean" is 2.114 g, and the mean of the 6 masses read is 2.00467 g: see whether a mass was '
        "changed or missed."
    ]
    assert (back(batch).decimal, back(batch).set_aside[0].value) == ("comma" if comma else "point", Decimal("2.114"))


def test_a_count_that_is_not_ours_is_named_with_ours(tmp_path: Path) -> None:
    rows = [(n, float(mass), None) for n, mass in enumerate(MASSES[1:], start=1)]
    path = in_book(tmp_path / "own.xlsx", ("Unit", "Mass (g)"), (1, float(MASSES[0]), None, "n", 7), *rows[1:])
    assert told(read_batch(path, options=FORM)) == [
        'The figure beside "n" says that there are 7 masses, and 5 were read: see whether a mass was changed or missed.'
    ]


def test_a_figure_that_is_not_ours_comes_first_in_what_was_read(tmp_path: Path) -> None:
    rows = [["Unit", "Mass (g)"], *([str(n), mass] for n, mass in enumerate(MASSES, start=1)), ["Max", "2.021"]]
    path = tmp_path / "own.csv"
    path.write_text("\n".join(",".join(row) for row in [*rows, ["Mean", "2.114"], ["n", "6"]]) + "\n")
    batch = read_batch(path, options=FORM)
    first = "A9:B9 Mean 2.114, but the masses read have 2.00467"
    assert what_was_left(batch) == (first, "A8:B8 Max set aside", "A10:B10 n set aside")
    judged = judge_batch(batch, book=rule_book("ph-eur-2.9.5"))
    # However little room there is: no test hangs on it, and it is never cut.
    assert first in " ".join(short_summary(judged, beside=12).split())
    assert judged.verdict == judge_batch(replace(batch, read=None), book=rule_book("ph-eur-2.9.5")).verdict


@pytest.mark.parametrize("sign", [" ", ": ", " = "])
@pytest.mark.parametrize("line", ["  {n}   {mass} g", "{mass} g", "N  +  {mass} g"])
def test_the_summary_of_a_print_out_is_held_against_ours(tmp_path: Path, line: str, sign: str) -> None:
    path = tmp_path / "balance.txt"
    lines = [line.format(n=n, mass=mass) for n, mass in enumerate(MASSES, start=1)]
    own = f"{mean(map(float, MASSES)):.4f}", f"{stdev(map(float, MASSES)):.4f}"
    for (n, x, s), differ in ((("6", *own), 0), (("24", "2.1035", "0.1153"), 3)):
        path.write_text("\n".join([*lines, f"n{sign}{n}", f"x{sign}{x} g", f"s dev{sign}{s} g"]) + "\n")
        batch = read_batch(path, options=FORM)
        assert len(batch.weighed) == len(MASSES)
        assert sorted(one.what for one in back(batch).set_aside) == ["n", "s dev", "x"]
        assert len(told(batch)) == differ, told(batch)


@given(
    masses=st.lists(st.integers(1900, 2100), min_size=5, max_size=12).filter(lambda found: len(set(found)) > 1),
    label=st.sampled_from(["Mean", "SD", "Mittelwert", "Stabw."]),
    digits=st.integers(3, 6),
    off=st.sampled_from([0, 0, 3]),
    comma=st.booleans(),
)
def test_a_figure_is_named_where_it_is_off_by_more_than_its_last_digit(
    tmp_path_factory: pytest.TempPathFactory, masses: list[int], label: str, digits: int, off: int, comma: bool
) -> None:
    grams = [Decimal(mass).scaleb(-3) for mass in masses]
    figure = mean(grams) if label.startswith("M") else Decimal(repr(stdev(map(float, grams))))
    written = round(figure, digits) + Decimal(off).scaleb(-digits)
    lines = ["Unit;Mass (g)", *(f"{n};{mass}" for n, mass in enumerate(grams, start=1)), f"{label};{written}"]
    path = tmp_path_factory.mktemp("figures") / "own.csv"
    path.write_text("\n".join(line.replace(".", ",") if comma else line for line in lines) + "\n")
    assert len(told(read_batch(path, options=FORM))) == (1 if off else 0)


def test_first_and_last_are_those_of_the_cells_whatever_their_masses(table_of: Callable[..., Path]) -> None:
    path = table_of("Unit,Mass (g)\n1,2.3\n2,1.6\n3,2.0\n")
    assert masses_read(in_own_order(read_batch(path))) == "first 2.3 g, last 2.0 g, mean 1.97 g"


@pytest.mark.parametrize(
    ("spread", "why"),
    [
        (pstdev, "; it is divided by n, not by n - 1"),
        (lambda values: pstdev(values) + 0.0002, ": see whether a mass was changed or missed"),
    ],
)
def test_an_sd_divided_by_n_is_told_as_such(
    tmp_path: Path, spread: Callable[[Sequence[float]], float], why: str
) -> None:
    theirs = f"{spread([float(mass) for mass in MASSES]):.4f}"
    rows = [["Unit", "Mass (g)"], *([str(n), mass] for n, mass in enumerate(MASSES, start=1)), ["SD", theirs]]
    path = tmp_path / "list.csv"
    path.write_text("\n".join(",".join(row) for row in rows) + "\n")
    ours = stdev(float(mass) for mass in MASSES)
    (said,) = told(read_batch(path, options=FORM))
    assert said == f'The figure beside "SD" is {theirs} g, and the SD of the 6 masses read is {ours:.5f} g{why}.'


@pytest.mark.parametrize(("slip", "checked"), [(20.31, "B"), ("2.O31", "B"), (20.31, None)])
def test_the_masses_that_count_are_read_back(tmp_path: Path, slip: object, checked: str | None) -> None:
    path = tmp_path / "batch.xlsx"
    book = openpyxl.Workbook()
    assert book.active is not None
    book.active.title = "Units"
    for row in [
        ("Unit", "Mass (g)", "Weighed again (g)", "Weighed again because"),
        (1, slip, 2.031, "typed wrongly"),
        *((at, 2.0 + at / 1000) for at in range(2, 21)),
    ]:
        book.active.append(row)
    facts = book.create_sheet("Batch")
    for row in [("Field", "Value"), ("Weighed by", "A"), ("Checked by", checked)]:
        facts.append(row)
    book.save(path)
    batch = read_batch(path, options=FORM)
    first = "first 2.031 g, last 2.020 g, mean 2.0120 g" if checked else "first 20.310 g, last 2.020 g, mean 2.9260 g"
    assert masses_read(batch) == first
    assert (str(judge_batch(batch, book=rule_book("ph-eur-2.9.5")).verdict) == "undecided") == (checked is None)


def test_numbers_set_aside_among_the_contents_are_held_against_them(book_of: Callable[..., Path]) -> None:
    contents = (99.2, 101.1, 98.7, 100.4, 99.9, 100.8, 98.3, 101.6, 99.5, 100.0)
    rows = [[at, round(2 + (at * 3 % 11) / 100, 2), content] for at, content in enumerate(contents, start=1)]
    more = [["Limit", None, 60], ["Mean", 2.055, 99.95], ["Min", 2.01, 68.3], ["n", 10, 11], ["Target", 2.02, 100]]
    path = book_of(Weights=[["Unit", "Mass (g)", "Content (mg)"], *rows, *more])
    found = read_batch(path, options=ReadOptions(form="suppositories", label_mg=Decimal(100)))
    assert what_was_left(found) == (
        "A14, C14 Min 68.3, but the contents read have 98.300",
        "A15, C15 n 11, but the contents read have 10",
        "A12, C12 Limit 60 set aside",
        "A16:B16 Target 2.02 set aside",
        "A16, C16 Target 100 set aside",
        "A13:C13 Mean set aside",
    )
    assert len(found.notices) == 2
