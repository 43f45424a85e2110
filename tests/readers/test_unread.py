"""Numbers under a heading that says mass or content are read, or the file is refused: none is left out by a notice."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from qc.jobs.check import with_rule_words
from qc.problems import InputProblems
from qc.readers.options import ReadOptions
from qc.readers.read import read_batch

pytestmark = pytest.mark.usefixtures("past_the_file")
BookOf = Callable[..., Path]
Rows = list[list[Any]]
MASSES = [2.013, 2.021, 1.998, 2.004, 2.010, 1.987, 2.030, 2.001, 2.017, 1.993]
HEADED: Rows = [["Unit", "Mass (g)"], *([number, mass] for number, mass in enumerate(MASSES, start=1))]
LIGHT = [0.81, 0.82, 0.80, 0.83, 0.79]
CONTENTS = [88.1, 92.4, 90.3, 121.7, 84.0]


def told(path: Path, **options: Any) -> str:
    try:
        batch = read_batch(path, options=with_rule_words(ReadOptions(form="suppositories", **options)))
    except InputProblems as refused:
        return " ".join(map(str, refused.problems))
    assert len(batch.units) in (5, 10)
    return ""


def table(heading: str, numbers: list[float], *, names: str = "No") -> Rows:
    return [[names, heading], *([at, number] for at, number in enumerate(numbers, start=1))]


WEIGHTS = ("Weight", "Masse (g)", "Gewicht", "Mass with foil (g)", "Weight of the second mould (g)", "Poids, g")
HOLDS = ("Content (mg)", "Gehalt", "Assay result", "Content found (%)", "Paracetamol (mg)", "Teneur (mg)")


@pytest.mark.parametrize("units", ["Units", "Week 3"])
@pytest.mark.parametrize("sheet", ["Sheet2", "HPLC", "Mould B"])
@pytest.mark.parametrize(
    ("heading", "numbers"), [*((one, LIGHT) for one in WEIGHTS), *((one, CONTENTS) for one in HOLDS)]
)
def test_weights_and_contents_on_another_sheet_are_refused_with_the_call_that_settles_it(
    book_of: BookOf, units: str, sheet: str, heading: str, numbers: list[float]
) -> None:
    path = book_of(**{units: HEADED, sheet: table(heading, numbers)})
    said = told(path, command="qc check batch.xlsx")
    if not said:
        # A sheet of contents is read with the sheet of the masses.
        assert len(read_batch(path, options=with_rule_words(ReadOptions(form="suppositories"))).assays) == len(numbers)
        return
    assert f'qc check batch.xlsx --sheet "{units}"' in said or f"--sheet {units}" in said
    assert told(path, sheet=units) == ""


@pytest.mark.parametrize("heading", HOLDS)
@pytest.mark.parametrize("units", ["Units", "Week 3"])
@pytest.mark.parametrize("gap", [1, 3])
def test_contents_apart_from_the_masses_on_their_sheet_are_read_in_mg_or_refused(
    book_of: BookOf, units: str, heading: str, gap: int
) -> None:
    beside = table(heading, CONTENTS, names="Unit")
    rows = [row + [None] * gap + (beside[at] if at < len(beside) else []) for at, row in enumerate(HEADED)]
    path = book_of(**{units: rows})
    if heading in ("Content (mg)", "Teneur (mg)", "Content found (%)"):
        batch = read_batch(path, options=ReadOptions(form="suppositories", label_mg=Decimal(100)))
        assert [float(one.content_mg or one.content_percent or 0) for one in batch.assays] == CONTENTS
    else:
        said = told(path)
        assert "says content" in said or 'the column "Unit" stands again' in said


def test_a_column_of_contents_on_a_known_sheet_under_other_words_is_refused(book_of: BookOf) -> None:
    assays = [["Unit", "Content (mg)", "Content 2 (mg)"], [1, 120.0, 121.0], [2, 119.0, 99.0]]
    assert '"Content 2 (mg)" says content, with 2 numbers that were not read' in told(
        book_of(Units=HEADED, Assay=assays)
    )
    actives = [["Active", "Label claim (mg)", None, "Weight (g)"], ["A", 120, None, 1.5], [None, None, None, 1.4]]
    assert '"Weight (g)" says mass, with 2 numbers that were not read' in told(book_of(Units=HEADED, Actives=actives))


ACROSS: dict[str, Rows] = {
    "units across": [["Unit", *range(1, 6)], ["Mass (g)", *LIGHT]],
    "names across": [["Nr.", *(f"B{at}" for at in range(1, 6))], ["Gewicht", *LIGHT]],
    "one row": [["Weights (g)", *LIGHT]],
    "in mg": [["Unit", *range(1, 6)], ["Mass (mg)", *(round(1000 * one) for one in LIGHT)]],
    "one unit": [["Unit", 21], ["Mass (g)", 1.519]],
    "places by words": [["Place", "Weight (g)"], ["upper left", 1.51], ["upper right", 1.49]],
}


@pytest.mark.parametrize("units", ["Units", "Week 3"])
@pytest.mark.parametrize("rows", ACROSS.values(), ids=ACROSS.keys())
def test_units_across_on_another_sheet_are_refused(book_of: BookOf, units: str, rows: Rows) -> None:
    assert "--sheet" in told(book_of(**{units: HEADED, "B": rows}))


ELSE: dict[str, Rows] = {
    "Balance log": [
        ["Balance calibration"],
        ["Date", "Weight (g)", "Reading (g)"],
        ["2026-03-01", 2.0, 2.0001],
        ["2026-03-02", 5.0, 5.0],
    ],
    "Calibration": [["Nominal", "Weight (g)"], [1, 1.0], [2, 2.0001], [5, 5.0]],
    "Prices": [["Article", "Weight (g)", "Price"], ["A1", 2.0, 3.5], ["A2", 5.0, 6.5]],
    "Formula": [["Ingredient", "Amount (g)"], ["Paracetamol", 3.75], ["Hard fat", 20.25]],
    "Melt": [["What", "Weight (g)"], ["Paracetamol", 3.75], ["Hard fat", 20.25], ["Silica", 0.25]],
    "Adressen": [["Name", "Street", "No"], ["A. Huber", "Hauptstr.", 2], ["B. Maier", "Ring", 3]],
    "Fridge": [["Time", "Temp (°C)"], ["10:01", 4.1], ["10:02", 4.3]],
    "Summary": [["Mean (g)", 2.003], ["SD (g)", 0.011], ["n", 20]],
    "Notes": [["Assay limits 90 to 110 %"], ["Paracetamol 250 mg"], ["Content", "99.7"]],
}


@pytest.mark.parametrize("units", ["Units", "Week 3"])
@pytest.mark.parametrize(("sheet", "rows"), ELSE.items(), ids=ELSE.keys())
def test_a_sheet_that_is_plainly_something_else_passes(book_of: BookOf, units: str, sheet: str, rows: Rows) -> None:
    assert told(book_of(**{units: HEADED, sheet: rows})) == ""


@pytest.mark.parametrize("units", ["Units", "Week 3"])
def test_a_second_column_of_masses_is_told_what_it_may_be(book_of: BookOf, units: str) -> None:
    again = [*[[*HEADED[0], "Mass 2 (g)"]], *([*row, row[1] + 0.001] for row in HEADED[1:])]
    assert "Head them Weighed again (g)" in told(book_of(**{units: again}))
    active = [*[[*HEADED[0], "Weight of paracetamol (g)"]], *([*row, row[1] / 16] for row in HEADED[1:])]
    assert "Content (mg) or Content (% of label) if" in told(book_of(**{units: active}))


@pytest.mark.parametrize("heading", ["Content (%)", "Gehalt (%)", "Titolo (%)", "Assay (%)"])
def test_a_percentage_of_nothing_is_no_content(book_of: BookOf, heading: str) -> None:
    rows = [[*HEADED[0], heading], *([*row, 5 + row[0] / 100] for row in HEADED[1:])]
    assert "says content" in told(book_of(Sheet1=rows))
    assert told(book_of(Sheet1=HEADED, Gehalt=[["Nr", heading], *([row[0], 5 + row[0] / 100] for row in HEADED[1:])]))


@pytest.mark.parametrize("heading", ["Content (% of label)", "Gehalt (% der Deklaration)", "Assay (% label claim)"])
def test_a_percentage_of_the_label_is_read_or_refused_and_never_left(book_of: BookOf, heading: str) -> None:
    rows = [[*HEADED[0], heading], *([*row, 95 + row[0]] for row in HEADED[1:])]
    path = book_of(Sheet1=rows)
    if not told(path):
        assert len(read_batch(path, options=with_rule_words(ReadOptions(form="suppositories"))).assays) == 10
