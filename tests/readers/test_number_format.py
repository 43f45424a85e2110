"""A unit that the number format writes behind a number: it is read as the person who looks at the sheet reads it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
import xlsxwriter
from attacks import OLD_HEAD, OLD_ROWS, old_book

from qc.problems import InputProblems
from qc.readers.number_format import shown_behind
from qc.readers.options import ReadOptions
from qc.readers.read import read_batch


@pytest.mark.parametrize(
    ("number_format", "unit", "percent"),
    [
        ("General", "", False),
        ("0.000", "", False),
        ('0.000" mg"', "mg", False),
        ('0.0" g"', "g", False),
        ("0.000\\ \\m\\g", "mg", False),
        ('#,##0.00 "mg"', "mg", False),
        ('0.0" Gramm"', "g", False),
        ("0.0 [$mg]", "mg", False),
        ('0.000" (mg)"', "mg", False),
        ('[Red]0.000" mg";[Blue]-0.000" mg"', "mg", False),
        ('0.0" kg"', "kg", False),
        ('0.0" %"', "%", False),
        ("0.0%", "", True),
        ('0.000," g"', "g, thousands", False),
        ("0.000,", "thousands", False),
        ("#,##0.000", "", False),
        ('0.000" tablets"', "", False),
        ("0.000_)", "", False),
        ("[$-409]0.000", "", False),
    ],
)
def test_what_a_format_shows(number_format: str, unit: str, percent: bool) -> None:
    shown = shown_behind(number_format)
    assert (shown.unit, shown.percent) == (unit, percent)


@pytest.fixture
def book(tmp_path: Path) -> Callable[..., Path]:
    def write(heading: str, masses: list[float], number_format: str, *, only: int | None = None) -> Path:
        path = tmp_path / "batch.xlsx"
        with xlsxwriter.Workbook(path) as made:
            sheet = made.add_worksheet("Units")
            look = made.add_format({"num_format": number_format})
            sheet.write_row(0, 0, ("Unit", heading))
            for at, mass in enumerate(masses, 1):
                sheet.write_number(at, 0, at)
                sheet.write_number(at, 1, mass, look if only in (None, at) else None)
        return path

    return write


GRAMS = [2.013, 2.021, 2.007, 2.031, 1.998]
TYPE_AGAIN = "Format the cell as a plain number and type the mass as the heading says"


@pytest.mark.parametrize(
    ("heading", "masses", "number_format", "unit"),
    [
        ("Mass (g)", GRAMS, '0.000" mg"', "mg"),
        ("Mass (mg)", [mass * 1000 for mass in GRAMS], '0.0" g"', "g"),
        ("Mass (g)", GRAMS, '0.000" %"', "%"),
        ("Mass (mg)", [mass * 1000 for mass in GRAMS], '0.000," g"', "g, thousands"),
    ],
)
def test_a_format_that_states_another_unit_is_refused_by_cell(
    book: Callable[..., Path], heading: str, masses: list[float], number_format: str, unit: str
) -> None:
    with pytest.raises(InputProblems) as caught:
        read_batch(book(heading, masses, number_format, only=3))
    (problem,) = caught.value.problems
    assert (problem.cell, problem.mend) == ("B4", TYPE_AGAIN)
    assert problem.found.endswith(f', shown in {unit} by its number format, but the column "{heading}" is not')


@pytest.mark.parametrize("number_format", ['0.000" g"', "0.000", "General"])
def test_a_format_that_states_the_unit_of_the_heading_is_read(book: Callable[..., Path], number_format: str) -> None:
    assert [float(unit.mass_g or 0) for unit in read_batch(book("Mass (g)", GRAMS, number_format)).units] == GRAMS


@pytest.mark.parametrize(("unit", "power"), [("g", 0), ("mg", -3)])
def test_the_unit_of_a_found_table_is_taken_from_its_format(book: Callable[..., Path], unit: str, power: int) -> None:
    masses = [round(mass * 10**-power, 3) for mass in GRAMS]
    batch = read_batch(book("Weight", masses, f'0.000" {unit}"'), options=ReadOptions(form="suppositories"))
    assert [float(one.mass_g or 0) for one in batch.units] == GRAMS
    assert batch.read is not None
    assert (batch.read.mass_unit, batch.read.mass_unit_known_by) == (unit, "cells")


def test_a_found_table_shown_in_two_units_is_refused(book: Callable[..., Path]) -> None:
    path = book("Weight", GRAMS, '0.000" mg"', only=2)
    with pytest.raises(InputProblems) as caught:
        read_batch(path, options=ReadOptions(form="suppositories"))
    assert caught.value.problems


def test_a_text_is_shown_as_it_stands_whatever_its_format(tmp_path: Path) -> None:
    path = tmp_path / "batch.xlsx"
    with xlsxwriter.Workbook(path) as made:
        sheet = made.add_worksheet("Units")
        look = made.add_format({"num_format": '0.000" mg"'})
        sheet.write_row(0, 0, ("Unit", "Mass (g)"))
        for at, mass in enumerate(GRAMS, 1):
            sheet.write_number(at, 0, at)
            sheet.write_string(at, 1, f"{mass}", look)
    assert [float(unit.mass_g or 0) for unit in read_batch(path).units] == GRAMS


@pytest.mark.parametrize("number_format", ['0.000" mg"', "0.00%", '0.000" g"', "0.000"])
def test_the_number_formats_of_an_old_workbook_count_as_well(tmp_path: Path, number_format: str) -> None:
    path = tmp_path / "old.xls"
    path.write_bytes(old_book(OLD_HEAD + OLD_ROWS, dimensions=(0, 21, 0, 2), number_format=number_format))
    if number_format in ('0.000" g"', "0.000"):
        # The numbers of the units stand in the same format, in a column of names.
        assert [float(unit.mass_g or 0) for unit in read_batch(path).units][:2] == [2.001, 2.002]
        return
    with pytest.raises(InputProblems) as caught:
        read_batch(path)
    cells = {problem.cell for problem in caught.value.problems}
    assert cells == {""} if number_format == "0.00%" else cells >= {"B2", "B21"}


@pytest.mark.parametrize(
    ("number_format", "read"), [("0.000", "2.050"), ("0.0", "2.05"), ("0.000###", "2.05"), ('0.000" g"', "2.050")]
)
def test_zeros_that_are_shown_at_the_end_belong_to_the_number(
    book: Callable[..., Path], number_format: str, read: str
) -> None:
    path = book("Mass (g)", [2.05, 2.031], number_format)
    assert [str(unit.mass_g) for unit in read_batch(path).units] == [read, "2.031"]


@pytest.mark.parametrize(
    ("number_format", "words"),
    [
        ('"<"0.000', "<"),
        ("\\>0.000", ">"),
        ('0.000"*"', "*"),
        ('"("0.000")"', "()"),
        ("-0.000", "-"),
        ('"\u2014"', "\u2014"),
        (";;;", "(not shown)"),
        ("0.000_);(0.000)", ""),
        ('_(* #,##0.00_);_(* \\(#,##0.00\\);_(* "-"??_);_(@_)', ""),
        ("+0.000;-0.000", ""),
        ("0.00E+00", ""),
    ],
)
def test_a_sign_that_a_format_shows_is_told(number_format: str, words: str) -> None:
    assert shown_behind(number_format).words == words
