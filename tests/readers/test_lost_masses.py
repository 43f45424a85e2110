"""A mass that came to stand in another place than its own is refused: no unit vanishes without a word."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from qc.batch import Batch
from qc.jobs.check import with_rule_words
from qc.problems import InputProblems
from qc.readers.options import ReadOptions
from qc.readers.read import read_batch

pytestmark = pytest.mark.usefixtures("past_the_file")
BookOf = Callable[..., Path]
TableOf = Callable[..., Path]
Rows = list[list[Any]]
MASSES = [2.013, 2.021, 1.998, 2.004, 2.01, 1.987, 2.03, 2.001, 2.017, 1.993]
LIST: Rows = [[at, mass] for at, mass in enumerate(MASSES, start=1)]
HEADED: Rows = [["Nr", "Gewicht (g)", "Note"], *LIST]
OPTIONS = with_rule_words(ReadOptions(form="suppositories"))


def told(path: Path) -> list[str]:
    try:
        read_batch(path, options=OPTIONS)
    except InputProblems as refused:
        return [str(problem) for problem in refused.problems]
    return []


def seventh(*row: object) -> Rows:
    return [*HEADED[:7], list(row), *HEADED[8:]]


IN_PLACE_OF: dict[str, Rows] = {
    "name and mass in one cell": seventh("7 1.997"),
    "name, colon and mass": seventh("7: 1.997 g"),
    "the mass for the name": seventh(1.997),
    "the mass in the note": seventh(7, None, 1.997),
    "the mass in the note, with a word": seventh(7, None, "1,5 g leicht"),
    "in brackets in the note": seventh(7, None, "(1.600)"),
    "below the names": [*HEADED, [1.504], [1.512]],
    "below a mould": [*HEADED, [], ["Mould B"], ["1,541"], ["1,526"]],
    "lines below": [*HEADED, [], ["Unit 11: 1.541 g"], ["Unit 12: 1.526 g"]],
    "a sentence below": [*HEADED, [], ["The last three: 1.500, 1.512 and 1.498 g"]],
    "with a letter for a digit": [*HEADED, ["11 l.5OO g"]],
    "two units in one": [*HEADED, ["11 to 12", "1.500 each"]],
    "a second table beside": [
        [*HEADED[0], None, "Unit", "Mass (g)"],
        [*LIST[0], None, None, 1, "1.541 g (light)"],
        *LIST[1:],
    ],
    "beside, with fewer decimals": [*HEADED[:3], [*LIST[2], None, None, "1.5 light"], *LIST[3:]],
    "a second weighing by another word": [
        [*HEADED[0], None, "Nr", "Weighing"],
        *([*row, None, None, at, 1.5 + at / 1000] for at, row in enumerate(LIST)),
    ],
    "without names": [
        ["Gewicht (g)"],
        *([mass] for mass in MASSES[:6]),
        ["1.997 light"],
        *([mass] for mass in MASSES[7:]),
    ],
    "two at the end of masses alone": [*([mass] for mass in MASSES), ["1,500 / 1,512"]],
    "in mg behind a list without headings": [*([f"S{at}", mass] for at, mass in LIST), ["S11", 1405], ["S12", 1399]],
    "how often each mass was seen": [["Weight (g)", "Frequency"], *([mass, at % 3 + 1] for at, mass in LIST)],
    "two in each row": [["Nr", "Anzahl", "Gewicht (g)"], *([at, 2, mass] for at, mass in LIST)],
    "a mean above masses": [["Weight (g)"], [2.0074], *([mass] for mass in MASSES)],
    "a mean and limits above masses": [["Weight (g)"], [2.007], [2.107], [1.907], *([mass] for mass in MASSES)],
    "limits below masses": [["Weight (g)"], *([mass] for mass in MASSES), [2.158], [1.857]],
    "figures with more decimals": [["Weight (g)"], *([mass] for mass in MASSES), [2.04651], [1.96812]],
    "means of two halves": [["Weight (g)"], *([m] for m in MASSES * 2), [2.0074], *([m] for m in MASSES * 2), [2.0074]],
    "rounded means of two halves": [
        ["Weight (g)"],
        *([m] for m in [*MASSES, 2.007, *MASSES[::-1], 2.007]),
    ],
    "years over a grid": [["Cavity", 2025, 2026], *([at, MASSES[at - 1], MASSES[at + 4]] for at in range(1, 6))],
    "the greatest of each row": [
        [*MASSES[:4], max(MASSES[:4])],
        [*MASSES[5:9], max(MASSES[5:9])],
        [*MASSES[1:5], 2.021],
    ],
    "a mass that lost its decimals": [["Nr", "Gewicht (g)"], *LIST[:6], [7, 1], *LIST[7:]],
    "a row shifted over its label": [[None, 1, 2, 3], ["A", *MASSES[:3]], ["B", *MASSES[3:6]], [2, *MASSES[6:8]]],
    "a blank behind the decimal mark": [
        ["Weight (g)"],
        *([m] for m in MASSES[:6]),
        ["2. 013"],
        *([m] for m in MASSES[7:]),
    ],
    "strips": [["Strip", "Weight (g)"], *LIST],
    "not valid": [["Nr", "Gewicht (g)", "Valid"], *([*row, "no" if row[0] == 7 else "yes"] for row in LIST)],
    "an outlier": [["Nr", "Gewicht (g)", "Outlier"], *([*row, "x" if row[0] == 7 else None] for row in LIST)],
    "a content without a name": [["Nr", "Gewicht (g)", "Gehalt (mg)"], *([*row, 80] for row in LIST), [None, None, 60]],
    "a zero behind a list without headings": [*LIST, [11, 0]],
}


@pytest.mark.parametrize("sheet", ["Week 3", "Units"])
@pytest.mark.parametrize("rows", IN_PLACE_OF.values(), ids=IN_PLACE_OF.keys())
def test_a_mass_in_another_place_is_refused(book_of: BookOf, sheet: str, rows: Rows) -> None:
    assert told(book_of(**{sheet: rows}))


def test_the_place_is_named(book_of: BookOf) -> None:
    assert told(book_of(Sheet1=seventh(7, None, "1.997"))) == [
        "batch.xlsx, Sheet1!C8: numbers under no heading could be masses (1.997). Write over them what they are "
        "(Gross, Target ...), or name the true masses Net mass; or leave them out of account: --ignore 'Sheet1!C8'."
    ]


PASSING: dict[str, Rows] = {
    "a unit lost": seventh(7, None, "fell on the floor"),
    "a mould below": [*HEADED, [], ["Mould B is empty"]],
    "a strength over it": [["Zäpfchen 2,0 g"], *HEADED],
    "a limit below": [*HEADED, [], ["Limit 2.0 g ± 5 %"]],
}


@pytest.mark.parametrize("rows", PASSING.values(), ids=PASSING.keys())
def test_what_holds_no_mass_passes(book_of: BookOf, rows: Rows) -> None:
    assert told(book_of(Sheet1=rows)) == []


@pytest.mark.parametrize(
    ("text", "part"),
    [
        ("Nr;Gewicht (g)\n1;2,013\n2;2,021\n3,1.998\n4;2,004\n", "3,1.998"),
        ("Nr;Gewicht (g)\n1;2,013\n2;2,021\n3\t1,998\n4;2,004\n", "1,998"),
    ],
)
def test_a_row_with_another_separator_is_refused(table_of: TableOf, text: str, part: str) -> None:
    assert part in told(table_of(text))[0]


def test_columns_set_apart_by_blanks_have_no_empty_place(table_of: TableOf) -> None:
    lines = ["No   Net (g)   Gross (g)", *(f"{at}   {mass}   {mass + 0.15:.3f}" for at, mass in LIST)]
    assert told(table_of("\n".join(lines), "w.txt")) == []
    lines[7] = "7             2.151"
    assert told(table_of("\n".join(lines), "w.txt")) == [
        "w.txt: line 8 has 2 fields under 3 headings, set apart by blanks alone. Separate the fields by tabs or "
        "semicolons, so that an empty place is seen."
    ]


FOLDER = "Unit,Mass (g)\n" + "".join(f"{at},{mass}\n" for at, mass in LIST)


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("mould b.csv", "Unit,Mass (g)\n11,1.5\n12,1.51\n"),
        ("units (2).csv", FOLDER),
        ("results.csv", "Nr,Assay result\n1,61\n2,62\n3,66\n"),
        ("assay.xlsx", ""),
    ],
)
def test_weights_and_contents_in_other_files_of_a_folder_are_refused(tmp_path: Path, name: str, text: str) -> None:
    (tmp_path / "b").mkdir()
    (tmp_path / "b" / "units.csv").write_text(FOLDER)
    assert told(tmp_path / "b") == []
    (tmp_path / "b" / "prices.csv").write_text("Article,Price\nA1,2.5\nA2,3.5\n")
    assert told(tmp_path / "b") == []
    (tmp_path / "b" / name).write_text(text)
    assert name in told(tmp_path / "b")[0]


@pytest.mark.parametrize("note", ["with foil", "two together", "rejected"])
def test_a_note_that_speaks_against_a_mass_is_told(book_of: BookOf, note: str) -> None:
    found = read_batch(
        book_of(Units=[["Unit", "Mass (g)", "Note"], *LIST[:6], [7, 2.03, note], *LIST[7:]]), options=OPTIONS
    )
    assert [one.text for one in found.notices] == [
        f'Read the notes on units that count: unit 7, "{note}". They change no verdict: what does not count stands '
        "under Left out because, what was put right under Weighed again (g)."
    ]


def batch(path: Path) -> Batch:
    return read_batch(path, options=OPTIONS)


def test_an_everyday_summary_is_set_aside(book_of: BookOf) -> None:
    below = [
        ["Durchschnittsgewicht:", 2.007],
        ["max. Abweichung:", 0.023],
        ["Peso min", 1.987],
        ["Masa min.", 1.987],
        ["5% lower", 1.907],
        ["Units out", 0],
        ["Desvio padrão relativo (%)", 0.67],
        ["Heaviest", 2.03],
        ["Gemiddeld gewicht", 2.007],
        ["Średnia masa czopka", 2.007],
    ]
    found = batch(book_of(Sheet1=[*HEADED, [], *below]))
    assert (len(found.weighed), [one.text for one in found.notices if "The figure" in one.text]) == (10, [])


def test_a_least_or_greatest_that_is_not_ours_is_told(book_of: BookOf) -> None:
    found = batch(book_of(Sheet1=[*HEADED, ["Min", 1.5], ["Max", 2.03]]))
    assert [one.text for one in found.notices if "The figure" in one.text] == [
        'The figure beside "Min" is 1.5 g, and the least of the 10 masses read is 1.98700 g: see whether a mass was '
        "changed or missed."
    ]


def test_a_mean_of_contents_is_held_against_no_mass(book_of: BookOf) -> None:
    rows = [["Nr", "Gewicht (g)", "Gehalt (mg)"], *([*row, 80 + row[0]] for row in LIST), ["Mittelwert", None, 85.5]]
    assert [one.text for one in batch(book_of(Sheet1=rows)).notices if "The figure" in one.text] == []


@pytest.mark.parametrize("heading", ["Assay (mg/supp)", "Content (mg per unit)", "Gehalt (mg/Zäpfchen)"])
def test_contents_in_mg_a_unit_are_read(book_of: BookOf, heading: str) -> None:
    rows = [["Nr", "Gewicht (g)", heading], *([*row, 80 + row[0]] for row in LIST)]
    assert [str(one.content_mg) for one in batch(book_of(Sheet1=rows)).assays][:2] == ["81", "82"]


PARTING = "Ibuprofen|Dezember|verworfen:|not used / old weights|mit Folie:|Nach 3 Monaten Lagerung|Batch 102|Kontrolle"
JOINING = "Mould B|Form 2|Page 2|Seite 2 von 3|-----|Row 2|Fortsetzung"


@pytest.mark.parametrize("sheet", ["Week 3", "Units"])
@pytest.mark.parametrize("text", PARTING.split("|"))
def test_a_text_that_may_part_two_groups_of_masses_is_refused(
    book_of: BookOf, table_of: TableOf, text: str, sheet: str
) -> None:
    rows = [["Nr", "Gewicht (g)"], *LIST[:5], [text], *LIST[5:]]
    assert told(book_of(**{sheet: rows}))
    blocks = [[None, None, None, text], ["Nr", "Gewicht (g)", None] * 2]
    blocks += [[*one, None, *other] for one, other in zip(LIST[:5], LIST[5:], strict=True)]
    assert told(book_of(**{sheet: blocks}))
    lines = [f"{mass:.3f} g" for mass in MASSES]
    assert told(table_of("\n".join([*lines[:5], text, *lines[5:]]), "w.txt"))


@pytest.mark.parametrize("text", JOINING.split("|"))
def test_a_mould_or_a_page_parts_nothing(book_of: BookOf, text: str) -> None:
    rows = [["Nr", "Gewicht (g)"], *LIST[:5], [text], *LIST[5:]]
    assert told(book_of(Sheet1=rows)) == []
