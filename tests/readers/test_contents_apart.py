"""Contents on a sheet of people's own beside the sheet of the masses: read by the names of the units, or refused."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from pathlib import Path

import pytest

from qc.problems import InputProblems
from qc.readers.options import ReadOptions
from qc.readers.read import read_batch

BookOf = Callable[..., Path]
MASSES = [2.013, 2.021, 1.998, 2.004, 2.010, 1.987, 2.030, 2.001, 2.017, 1.993]
WEIGHED = [["Charge 26-114"], ["Nr", "Gewicht (g)"], *([at, mass] for at, mass in enumerate(MASSES, start=1))]
CONTENTS = [98.5, 101.2, 99.7, 100.4, 100.1]
FORM = ReadOptions(form="suppositories", label_mg=Decimal(100))


def rows(first: int = 2) -> list[list[float]]:
    return [[at, content] for at, content in enumerate(CONTENTS, start=first)]


@pytest.mark.parametrize(
    "sheet",
    [
        [["Nr", "Gehalt (mg)"], *rows()],
        [["Lot 26-114"], [], ["Unit", "Content (% of label)"], *rows(), ["Mean", 99.98], ["SD", 0.99]],
        [["Gehalt (mg)", "Zäpfchen"], *([content, at] for at, content in rows())],
    ],
)
def test_contents_are_those_of_the_units_of_the_same_names(book_of: BookOf, sheet: list[list[object]]) -> None:
    batch = read_batch(book_of(Gewichte=WEIGHED, Gehalte=sheet), options=FORM)
    held = [(one.unit, one.content_mg or one.content_percent) for one in batch.assays]
    assert held == [(str(at), Decimal(str(content))) for at, content in rows()]
    assert [unit.mass_g for unit in batch.units] == [Decimal(str(mass)) for mass in MASSES]
    assert 'as those of the units on the sheet "Gewichte", by their names' in str(batch.notices)


@pytest.mark.parametrize(
    ("name", "sheet"),
    [
        ("Gehalt nach 6 Monaten", [["Nr", "Gehalt (mg)"], *rows()]),
        ("Gehalte", [["Placebo"], ["Nr", "Gehalt (mg)"], *rows()]),
        ("Gehalte", [["Charge 26-115"], ["Nr", "Gehalt (mg)"], *rows()]),
        ("Gehalte", [["Nr", "Gehalt (mg)"], *([f"K{at}", content] for at, content in rows())]),
        ("Gehalte", [["Nr", "Gehalt (mg)"], *rows(first=8)]),
        ("Gehalte", [["Nr", "Gehalt (%)"], *([at, content / 20] for at, content in rows())]),
        ("Gehalte", [["Nr", "Gehalt (mg)"], *rows(), [None, 80]]),
        ("Gehalte", [["Nr", "Gehalt (g)"], *([at, content / 1000] for at, content in rows())]),
    ],
)
def test_contents_that_may_be_of_others_are_refused(book_of: BookOf, name: str, sheet: list[list[object]]) -> None:
    with pytest.raises(InputProblems):
        read_batch(book_of(**{"Gewichte": WEIGHED, name: sheet}), options=FORM)


def test_contents_of_units_that_bear_no_names_are_refused(book_of: BookOf) -> None:
    nameless = [["Gewicht (g)"], *([mass] for mass in MASSES)]
    with pytest.raises(InputProblems, match="it holds contents beside the sheet"):
        read_batch(book_of(Gewichte=nameless, Gehalte=[["Nr", "Gehalt (mg)"], *rows()]), options=FORM)
