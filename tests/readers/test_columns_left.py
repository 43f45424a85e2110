"""What stands beside the units, on other sheets, on the margin and on ranges of cells: told, or refused."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from openpyxl import load_workbook
from openpyxl.workbook.defined_name import DefinedName
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.hyperlink import Hyperlink

from qc.problems import InputProblems
from qc.readers.options import ReadOptions
from qc.readers.read import read_batch
from qc.say.read_back import never_cut, what_was_left

BookOf = Callable[..., Path]
MASSES = [round(2.1 + (number * 7 % 24 - 12) / 500, 3) for number in range(1, 21)]
OPTIONS = ReadOptions(form="suppositories", label_mg=Decimal(100))


def told(path: Path) -> str:
    """What refuses a file, or what its shortest answer says of what was left."""
    try:
        batch = read_batch(path, options=OPTIONS)
    except InputProblems as refused:
        return f"refused: {refused}"
    return " | ".join(what_was_left(batch)[: never_cut(batch)])


def columns(*heads: str, beside: Callable[[int, float], list[Any]]) -> list[list[Any]]:
    """A list of twenty units with further columns."""
    rows = [[number, mass, *beside(number, mass)] for number, mass in enumerate(MASSES, start=1)]
    return [["No", "Mass (g)", *heads], *rows]


@pytest.mark.parametrize(
    ("head", "beside", "said"),
    [
        ("Score", lambda number, _: 60 + number, '"Score" 61 to 80'),
        ("Absorbance", lambda number, _: 0.4 + number / 100, '"Absorbance" 0.41 to 0.6'),
        ("Balance", lambda number, _: 60.5 + number, '"Balance" 61.5 to 80.5'),
        ("Made on", lambda number, _: "Monday" if number < 11 else "Tuesday", '"Made on" "Monday" "Tuesday"'),
        ("Operator", lambda number, _: "AB" if number % 3 else "CD", '"Operator" "AB" "CD"'),
        ("Colour", lambda _, __: "white", '"Colour" "white"'),
        ("Share", lambda _, __: 12.5, '"Share" 12.5'),
        # What follows from the masses, counts or is a day, and who weighed all of them, says nothing new.
        ("% of target", lambda _, mass: round(100 * mass / 2.1, 2), ""),
        ("Row", lambda number, _: number, ""),
        ("Weighed by", lambda _, __: "AB", ""),
        ("Time", lambda number, _: f"09:{number:02}", ""),
    ],
)
def test_a_column_is_told_with_what_it_holds(
    book_of: BookOf, head: str, beside: Callable[[int, float], Any], said: str
) -> None:
    path = book_of(Sheet1=columns(head, beside=lambda number, mass: [beside(number, mass)]))
    assert said in told(path) if said else told(path) == ""


def test_columns_under_the_words_of_a_record_stand_last(book_of: BookOf) -> None:
    path = book_of(
        Sheet1=columns("Operator", "Score", beside=lambda number, _: ["AB" if number % 2 else "CD", 60 + number])
    )
    assert told(path).startswith('columns "Score" 61 to 80, ')
    assert told(path).endswith('"Operator" "AB" "CD" ignored')


def test_a_sheet_of_numbers_is_told_with_its_columns(book_of: BookOf) -> None:
    vials = [[number, 60 + number % 7] for number in range(1, 11)]
    path = book_of(Sheet1=columns(beside=lambda *_: []), HPLC=[["Row", "Result"], *vials])
    assert told(path) == 'columns of sheet "HPLC": "Result" 60 to 66 ignored'


@pytest.mark.parametrize(
    ("title", "said"),
    [
        (["Content", 60, "%"], 'titles "Content" 60, "%" ignored'),
        (["Foil", 0.312, "g"], 'titles "Foil" 0.312, "g" ignored'),
    ],
)
def test_a_title_is_told_with_the_number_beside_it(book_of: BookOf, title: list[Any], said: str) -> None:
    assert told(book_of(Sheet1=[title, [], *columns(beside=lambda *_: [])])) == said


@pytest.mark.parametrize(
    ("name", "said"),
    [
        (lambda number: f"L1-{number}" if number < 11 else f"L2-{number - 10}", '"L1-1" to "L1-10", "L2-1" to "L2-10"'),
        (lambda number: str(261100 + number + 100 * (number > 10)), '"261101" to "261110", "261211" to "261220"'),
        (lambda number: f"A{number}" if number < 11 else f"B{number - 10}", ""),
        (lambda number: f"S-{number:02}", ""),
    ],
)
def test_units_counted_in_runs_are_told(book_of: BookOf, name: Callable[[int], str], said: str) -> None:
    rows = [[name(number), mass] for number, mass in enumerate(MASSES, start=1)]
    answer = told(book_of(Sheet1=[["No", "Mass (g)"], *rows]))
    brief = said if len(said) <= 36 else f"{said[:35].rstrip()}\u2026"
    assert answer == (f"A2:A21 units named {brief}" if said else "")


@pytest.mark.parametrize(("mould", "said"), [("unstripped", 'C21 moulds named "unstripped"'), ("B", ""), ("M 2", "")])
def test_a_mould_named_by_a_word_is_told(book_of: BookOf, mould: str, said: str) -> None:
    assert told(book_of(Sheet1=columns("Mould", beside=lambda *_: [mould]))) == said


@pytest.fixture
def changed(book_of: BookOf, tmp_path: Path) -> Callable[[Callable[[Any, Any], None]], Path]:
    """A workbook of twenty masses with something that stands in no cell."""

    def change(how: Callable[[Any, Any], None]) -> Path:
        path = book_of(Sheet1=columns(beside=lambda *_: []))
        book = load_workbook(path)
        how(book, book.active)
        book.save(tmp_path / "changed.xlsx")
        return tmp_path / "changed.xlsx"

    return change


def _name(book: Any, area: str) -> None:
    book.defined_names["Gross_with_foil"] = DefinedName("Gross_with_foil", attr_text=f"Sheet1!{area}")


def _prompt(sheet: Any, area: str) -> None:
    asked = DataValidation(
        type="decimal", allow_blank=True, prompt="Type the gross mass with foil", showInputMessage=True
    )
    asked.add(area)
    sheet.add_data_validation(asked)


def _tooltip(sheet: Any, text: str) -> None:
    sheet["B5"].hyperlink = Hyperlink(ref="B5", location="A1", tooltip=text)


@pytest.mark.parametrize(
    ("how", "answer"),
    [
        (
            lambda book, _: _name(book, "$B$2:$B$21"),
            'refused: changed.xlsx, Sheet1: the name or prompt of B2:B21 says "Gross',
        ),
        (lambda book, _: _name(book, "$D$2:$D$21"), ""),
        (
            lambda _, sheet: _prompt(sheet, "B2:B21"),
            "refused: changed.xlsx, Sheet1: the name or prompt of B2:B21 says ",
        ),
        (lambda _, sheet: _prompt(sheet, "D2:D21"), ""),
        (lambda _, sheet: _tooltip(sheet, "really 1.404"), "refused: changed.xlsx, Sheet1!B5: the comment on "),
        (lambda _, sheet: setattr(sheet.oddHeader.center, "text", "without tare"), 'titles "without tare" ignored'),
        (lambda _, sheet: setattr(sheet.oddHeader.center, "text", "&P of &N &D"), ""),
        (lambda _, sheet: setattr(sheet.oddFooter.left, "text", "Seen by ______"), ""),
    ],
)
def test_what_stands_in_no_cell_is_asked_or_told(
    changed: Callable[..., Path], how: Callable[[Any, Any], None], answer: str
) -> None:
    assert told(changed(how)).startswith(answer) if answer else told(changed(how)) == ""
