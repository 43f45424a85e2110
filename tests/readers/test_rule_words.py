from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from qc.readers.options import ReadOptions
from qc.readers.read import read_batch

Refused = Callable[..., list[str]]
BookOf = Callable[..., Path]
TableOf = Callable[..., Path]


def form_meant(text: str) -> str | None:
    if text.casefold() == "suppositories":
        return None
    return "suppositories" if text.startswith("su") else ""


OPTIONS = ReadOptions(form_meant=form_meant, known_rules=frozenset({"default", "br", "harmonised"}))


def facts(*rows: list[Any]) -> dict[str, list[list[Any]]]:
    return {"Batch": [["Field", "Value"], *rows], "Units": [["Unit", "Mass (g)"], [1, 2.0]]}


@pytest.mark.parametrize(
    ("form", "mend"),
    [
        ("supositories", "Type suppositories if that is meant."),
        ("cream", "Type the form by its name, for example suppositories."),
    ],
)
def test_an_unknown_form_is_refused_in_its_cell(book_of: BookOf, refused: Refused, form: str, mend: str) -> None:
    assert refused(book_of(**facts(["Dosage form", form])), OPTIONS) == [
        f'batch.xlsx, Batch!B2: dosage form "{form}" is none that a rule here names. {mend}'
    ]


def test_an_unknown_form_of_the_call_is_refused_by_its_option(table_of: TableOf, refused: Refused) -> None:
    options = ReadOptions(form_meant=form_meant, form="supositories")
    assert refused(table_of("Unit,Mass (g)\n1,2.013\n"), options) == [
        'units.csv: --form "supositories" is no dosage form that a rule here names. '
        "Give suppositories if that is meant."
    ]


def test_a_known_form_and_a_missing_one_are_read(book_of: BookOf) -> None:
    assert read_batch(book_of(**facts(["Dosage form", "SUPPOSITORIES"])), options=OPTIONS).dosage_form
    assert read_batch(book_of(**facts(["Product", "x"])), options=OPTIONS).dosage_form is None
    assert read_batch(book_of(**facts(["Dosage form", "cream"]))).dosage_form == "cream"


@pytest.mark.parametrize(
    ("name", "mend"),
    [
        ("harmonized", "Type harmonised if that is meant; qc rules lists them all"),
        ("zzz", "Type a name that qc rules lists"),
    ],
)
def test_an_unknown_name_of_rules_is_refused_in_its_cell_beside_the_others(
    book_of: BookOf, refused: Refused, name: str, mend: str
) -> None:
    path = book_of(**facts(["Rules", name], ["Units poured", 0]))
    assert refused(path, OPTIONS) == [
        f'batch.xlsx, Batch!B2: no rule set or rule has the name "{name}". {mend}, or the path of a house rule file '
        "that ends in .toml.",
        "batch.xlsx, Batch!B3: units poured 0 is not a whole number from 1 up. Type a whole number, for example 30.",
    ]


@pytest.mark.parametrize("name", ["br", "rules/house.TOML"])
def test_a_known_name_of_rules_and_a_house_file_are_read(book_of: BookOf, name: str) -> None:
    assert read_batch(book_of(**facts(["Rules", name])), options=OPTIONS).rules == name
