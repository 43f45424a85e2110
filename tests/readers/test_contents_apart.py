"""Contents on a sheet of people's own beside the sheet of the masses: read by the names of the units, or refused."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from pathlib import Path

import pytest

from qc.problems import InputProblems
from qc.readers.cells import CellKind, SheetCell
from qc.readers.contents_apart import names_an_active
from qc.readers.options import ReadOptions
from qc.readers.read import read_batch
from qc.say.read_back import never_cut, what_was_left

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


PLAIN = [[str(at), mass] for at, mass in enumerate(MASSES, start=1)]
LIST = [[str(at), content] for at, content in enumerate(CONTENTS, start=2)]


def side_by_side(masses: list[list[object]], contents: list[list[object]]) -> list[list[object]]:
    """Two lists with an empty column between them."""
    return [
        [*(masses[at] if at < len(masses) else [None, None]), None, *(contents[at] if at < len(contents) else [])]
        for at in range(max(len(masses), len(contents)))
    ]


@pytest.mark.parametrize(
    "sheet",
    [
        side_by_side(
            [["Czopek", "Masa (g)"], *PLAIN], [["Czopek", "Zawarto\u015b\u0107 (mg)"], *LIST, ["\u015brednia", 99.98]]
        ),
        side_by_side([["N\u00b0", "Poids (g)"], *PLAIN], [["N\u00b0", "Dosage (% de la teneur annonc\u00e9e)"], *LIST]),
        [["Weights"], ["#", "g"], *PLAIN, [], ["Contents"], ["#", "mg"], *LIST],
        [["Unit", "Content (mg)", "Recovery %"], *([*one, one[1]] for one in LIST), [], ["Unit", "Weight (g)"], *PLAIN],
    ],
)
def test_a_list_of_contents_beside_or_below_the_masses_is_read_by_the_names(
    book_of: BookOf, sheet: list[list[object]]
) -> None:
    batch = read_batch(book_of(Week=sheet), options=FORM)
    held = [(one.unit, one.content_mg or one.content_percent) for one in batch.assays]
    assert held == [(str(at), Decimal(str(content))) for at, content in rows()]
    assert [unit.mass_g for unit in batch.units] == [Decimal(str(mass)) for mass in MASSES]
    assert "as those of the units beside them, by their names" in str(batch.notices)


@pytest.mark.parametrize(
    "contents",
    [
        [["After 6 months"], ["Unit", "Content (mg)"], *LIST],
        [["Placebo"], ["Unit", "Content (mg)"], *LIST],
        [["", ""], ["Unit", "Content (mg)"], *([f"K{at}", content] for at, content in LIST)],
        [["", ""], ["Unit", "Content (mg)"], *LIST, ["11", 98.7]],
        [["", ""], ["Unit", "Content (mg)"], *LIST, ["", 98.7]],
        [["", ""], ["Unit", "Content (mg)", "Checked"], *([*one, "no"] for one in LIST)],
        [["", ""], ["Unit", "Content (mg)", "Recovery %"], *([*one, one[1] + 0.3] for one in LIST)],
    ],
)
@pytest.mark.parametrize("below", [True, False])
def test_a_list_of_contents_that_may_be_of_others_is_refused(
    book_of: BookOf, contents: list[list[object]], below: bool
) -> None:
    masses = [["Lot", "26-114"], ["Unit", "Weight (g)"], *PLAIN]
    sheet = [*masses, [], *contents] if below else side_by_side(masses, contents)
    for asked in (FORM, ReadOptions(form="suppositories", label_mg=Decimal(100), sheet="Week")):
        with pytest.raises(InputProblems):
            read_batch(book_of(Week=sheet), options=asked)


def test_a_list_of_contents_of_another_batch_is_refused(book_of: BookOf) -> None:
    masses = [["Lot 26-114", ""], ["Unit", "Weight (g)"], *PLAIN]
    with pytest.raises(InputProblems, match="of other units"):
        read_batch(book_of(Week=side_by_side(masses, [["Lot 26-115"], ["Unit", "Content (mg)"], *LIST])), options=FORM)


@pytest.mark.parametrize("heads", [("Found mg", "Recovery %"), ("Teneur trouv\u00e9e (mg)", "Teneur (%)")])
def test_contents_in_mg_and_in_per_cent_are_one_where_the_claim_says_so(
    book_of: BookOf, heads: tuple[str, str]
) -> None:
    both = [["Nr", "Masse (g)", *heads], *([*one, 50.1, 100.2] for one in PLAIN)]
    half = ReadOptions(form="suppositories", label_mg=Decimal(50))
    assert [one.content_mg for one in read_batch(book_of(Week=both), options=half).assays] == [Decimal("50.1")] * 10
    both[-1][-1] = 100.4
    with pytest.raises(InputProblems, match=r'stands twice, "50\.1" here and "100\.4" in D11'):
        read_batch(book_of(Week=both), options=half)


@pytest.mark.parametrize(
    ("name", "heads"),
    [("Assay", ["Suppository", "Paracetamol found (mg)"]), ("Gehalt HPLC", ["Zäpfchen Nr.", "Paracetamol mg"])],
)
def test_contents_under_the_name_of_the_active_are_read_and_told(
    book_of: BookOf, name: str, heads: list[object]
) -> None:
    batch = read_batch(book_of(**{"Gewichte": WEIGHED, name: [heads, *rows()]}), options=FORM)
    assert [one.content_mg for one in batch.assays] == [Decimal(str(content)) for content in CONTENTS]
    assert never_cut(batch)
    assert what_was_left(batch)[0] == f'{name}!B1 contents under "{heads[1]}"'


@pytest.mark.parametrize(
    ("name", "heads"),
    [
        ("Assay", ["Suppository", "Water content left (mg)"]),
        ("Gehalt HPLC", ["Zäpfchen Nr.", "Paracetamol mg", "Coffein mg"]),
        ("Woche 3", ["Zäpfchen Nr.", "Paracetamol mg"]),
    ],
)
def test_what_is_in_mg_of_something_else_is_refused(book_of: BookOf, name: str, heads: list[object]) -> None:
    sheet = [heads, *([*row, row[1] + 1][: len(heads)] for row in rows())]
    with pytest.raises(InputProblems):
        read_batch(book_of(**{"Gewichte": WEIGHED, name: sheet}), options=FORM)


@pytest.mark.parametrize(
    ("heading", "is_one"),
    [
        ("Paracetamol found (mg)", True),
        ("Paracetamol (mg)", True),
        ("Lidocaine in mg", True),
        ("Lidocaine in Milligramm", True),
        # In another measure or in none, a mass, a word too many, or none that is not known.
        ("Paracetamol found", False),
        ("Paracetamol content [%]", False),
        ("Gehalt Lidocain g", False),
        ("Paracetamol mass (mg)", False),
        ("Zinc oxide found (mg)", False),
        ("found (mg)", False),
        ("Label mg", False),
    ],
)
def test_a_word_that_is_not_known_names_an_active_where_it_is_in_mg(heading: str, is_one: bool) -> None:
    assert names_an_active(SheetCell(1, "A1", CellKind.TEXT, heading)) is is_one
