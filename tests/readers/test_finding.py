"""Tables of weights as people make them: what is read equals what was put down, or is refused."""

from __future__ import annotations

import csv
import io
import random
import statistics
from collections.abc import Callable, Sequence
from decimal import Decimal
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from examples import examples
from hypothesis import given
from hypothesis import strategies as st
from office import needs_office, saved_again

from qc.jobs.check import with_rule_words
from qc.problems import InputProblems
from qc.readers.options import ReadOptions
from qc.readers.read import read_batch

Row = Sequence[Any]
pytestmark = pytest.mark.usefixtures("past_the_file")
Rows = list[Row]
BookOf = Callable[..., Path]
TableOf = Callable[..., Path]

MASSES = [2.013, 2.021, 1.998, 2.004, 2.010, 1.987, 2.030, 2.001, 2.017, 1.993]
LIST: Rows = [[number, mass] for number, mass in enumerate(MASSES, start=1)]
IN_MG: Rows = [[number, round(1000 * mass)] for number, mass in LIST]
MEAN = statistics.fmean(MASSES)
PAIRS = list(zip(MASSES[::2], MASSES[1::2], strict=True))


def read(path: Path, **options: Any) -> list[Decimal]:
    """The masses of a file [g], read as suppositories."""
    batch = read_batch(path, options=with_rule_words(ReadOptions(form="suppositories", **options)))
    return [unit.mass_g for unit in batch.units if unit.mass_g is not None]


def said(path: Path, **options: Any) -> list[str]:
    """Everything that is wrong with a file, as printed."""
    with pytest.raises(InputProblems, match=r".+") as caught:
        read(path, **options)
    return [str(problem) for problem in caught.value.problems]


def grid(*more: Row, head: Row = ("", "A", "B"), beside: bool = True) -> Rows:
    """A grid of five rows and two columns, with a heading and labels."""
    rows = [[number, *pair] if beside else list(pair) for number, pair in enumerate(PAIRS, start=1)]
    return [*([head] if head else []), *rows, *more]


RIGHT: dict[str, Rows] = {
    "a title, a mean, an SD": [["Week 12"], [], ["No", "Weight (g)"], *LIST, ["Mean", MEAN], ["SD", 0.013]],
    "german, mg": [["Nr.", "Masse [mg]"], *IN_MG, ["Mittelwert", 2007]],
    "french": [["N°", "Poids (g)"], *LIST, ["Moyenne", MEAN], ["Écart-type", 0.013]],
    "spanish": [["Supositorio", "Peso, g"], *LIST, ["Promedio", MEAN], ["Desv. est.", 0.013]],
    "italian": [["Supposta", "Peso netto g"], *LIST, ["Media", MEAN]],
    "portuguese": [["Amostra", "Massa (g)"], *LIST, ["Média", MEAN], ["Desvio padrão", 0.013]],
    "dutch": [["Volgnr.", "Gewicht (g)"], *LIST, ["Gemiddelde", MEAN]],
    "polish": [["Lp.", "Masa [g]"], *LIST, ["Średnia", MEAN], ["Odchylenie standardowe", 0.013]],
    "two languages, on its side": [
        ["Zäpfchen", *range(1, 11), "Mean"],
        ["Gewicht in mg", *(row[1] for row in IN_MG), 2007],
    ],
    "the unit of mass in the row below": [["Unit", "Weight"], ["", "(g)"], *LIST],
    "several rows of headings": [
        ["", "Weighing", "", ""],
        ["Unit", "Weight", "Remark", "Content (mg)"],
        ["", "g", "", ""],
    ]
    + [[*row, "", 125.0] for row in LIST],
    "the unit of mass in a title": [["Weights in mg"], ["Unit", "Mass"], *IN_MG],
    "the unit of mass in the cells": [["Unit", "Weight"], *[[number, f"{mass:.3f} g"] for number, mass in LIST]],
    "decimal commas": [["Unit", "Weight"], *[[number, f"{mass:.3f}".replace(".", ",")] for number, mass in LIST]],
    "no headings": LIST,
    "no headings, mg": [[100 + row[0], row[1]] for row in IN_MG],
    "masses alone": [[mass] for mass in MASSES],
    "masses alone, in a row": [MASSES],
    "masses alone, with a labelled mean": [*[["", mass] for mass in MASSES], ["Mean", MEAN], ["n", 10]],
    "gross, tare and net": [["Unit", "Gross", "Tare", "Net"], *[[n, m + 5, 5.0, m] for n, m in LIST]],
    "figures beside": [
        ["Unit", "Mass (g)", "Mean (g)", "Deviation %"],
        *[[n, m, MEAN, 100 * m / MEAN - 100] for n, m in LIST],
    ],
    "moulds below each other": [["Mould A"], ["Unit", "Mass (g)"], *LIST[:5], [], ["Mould B"], ["Unit", "Mass (g)"]]
    + [[row[0] - 5, row[1]] for row in LIST[5:]],
    "moulds side by side": [["Mould A", "", "", "Mould B"], ["Unit", "Mass (g)", "", "Unit", "Mass (g)"]]
    + [[n, MASSES[n - 1], "", n, MASSES[n + 4]] for n in range(1, 6)],
    "a list that goes on beside": [["Unit", "Mass (g)", "", "Unit", "Mass (g)"]]
    + [[n, MASSES[n - 1], "", n + 5, MASSES[n + 4]] for n in range(1, 6)],
    "the headings again after a page": [["Unit", "Weight (g)"], *LIST[:5], ["Unit", "Weight (g)"], *LIST[5:]],
    "a grid": grid(),
    "a grid of moulds": grid(head=("", "Mould 1", "Mould 2")),
    "a grid of moulds by number": grid(head=("Mould", 1, 2)),
    "a grid without labels": grid(head=(), beside=False),
    "a grid with means below": grid(["Mean", statistics.fmean(MASSES[::2]), statistics.fmean(MASSES[1::2])]),
    "a grid in mg": [
        ["mg", "A", "B"],
        *[[n, round(1000 * a), round(1000 * b)] for n, (a, b) in enumerate(PAIRS, start=1)],
    ],
    "units across": [["Unit", *range(1, 11), "Mean", "SD"], ["Weight (g)", *MASSES, MEAN, 0.013]],
    "lines of a balance": [[f"{number:4d}  {mass:.3f} g  S  12:0{number % 10}"] for number, mass in LIST],
    "pasted lines": [[f"{number}  {mass:.3f}"] for number, mass in LIST],
    "pasted into one cell": [["\n".join(f"{mass:.3f}" for mass in MASSES)]],
    "pasted into one cell, by semicolons": [["Weights: " + "; ".join(f"{mass:.3f} g" for mass in MASSES)]],
    "names of letters and digits": [
        ["Sample ID", "Net weight/g", "Operator"],
        *[[f"S-{n:03d}", m, "AB"] for n, m in LIST],
    ],
    "remarks below": [["Unit", "Weight (g)"], *LIST, [], ["Weighed by AB"], ["Checked", "CD"]],
    "a planned mass above": [["Planned mass", 2.05], [], ["Unit", "Mass (g)"], *LIST],
    "a check weight below": [["Unit", "Weight (g)"], *LIST, ["Check weight", 2.0]],
    "a mean on the sheet Units": [["Unit", "Mass (g)"], *LIST, ["Mean", MEAN]],
}

RIGHT |= {
    "in foil, foil and net": [
        ["No", "With foil (g)", "Foil (g)", "Suppository (g)"],
        *[[n, m + 0.15, 0.15, m] for n, m in LIST],
    ],
    "mit Folie": [
        ["Nr", "Mit Folie (g)", "Folie leer (g)", "Zäpfchen netto (g)"],
        *[[n, m + 0.1, 0.1, m] for n, m in LIST],
    ],
    "bruto, tara, líquido": [
        ["Nº", "Bruto (g)", "Tara (g)", "Líquido (g)"],
        *[[n, m + 0.15, 0.15, m] for n, m in LIST],
    ],
    "a list that goes on beside, under a batch": [["Charge 11/2026"], ["Nr", "Gewicht", "", "Nr", "Gewicht"]]
    + [[n, MASSES[n - 1], "", n + 5, MASSES[n + 4]] for n in range(1, 6)],
    "a mould above rows of masses": [["Form 1"], MASSES[:5], ["Form 2"], MASSES[5:]],
    "figures by short names": [
        ["N°", "Poids (g)"],
        *LIST,
        ["Mini", min(MASSES)],
        ["Maxi", max(MASSES)],
        ["Limite sup.", 2.1],
    ],
    "the last of ten is their least": [["Weight (g)"], *[[m] for m in [*MASSES[:-1], min(MASSES)]][:9], [1.993]],
}

DOUBTFUL: dict[str, tuple[Rows, str]] = {
    "two weighings": ([["Unit", "Weight 1", "Weight 2"], *[[n, m, m + 0.001] for n, m in LIST]], "Weight 1"),
    "before and after": ([["Unit", "Before (g)", "After (g)"], *[[n, m + 0.1, m] for n, m in LIST]], "Before (g)"),
    "gross alone": ([["Unit", "Gross weight (g)"], *LIST], "Gross weight (g)"),
    "a result": ([["Unit", "Result"], *[[n, 250.0 + n / 10] for n, _ in LIST]], "Result"),
    "a diameter": ([["Unit", "Diameter (mm)"], *[[n, 3.9 + n / 100] for n, _ in LIST]], "Diameter (mm)"),
    "contents in no unit": ([["Nr", "Masse (g)", "Gehalt"], *[[*row, 125.1] for row in LIST]], "Gehalt"),
    "a mean without a name": ([["Unit", "Weight (g)"], *LIST, [None, MEAN]], "is the mean of those above"),
    "a mean below masses": ([[mass] for mass in MASSES] + [[round(MEAN, 3)]], "is the mean of those above"),
    "a mean with fewer decimals": ([["Weight (g)"], *[[m] for m in MASSES], [2]], "is the mean of those above"),
    "a limit below masses": ([["Weight (g)"], *[[m] for m in MASSES], [2.1]], "is the mean +5 % of those above"),
    "the median below masses": ([*[[m] for m in MASSES], [2.007]], "of those above"),
    "places that look like masses": ([[1 + n / 100, m] for n, m in LIST], "rise from one to the next"),
    "a mass in a text beside": (
        [["Unit", "Weight (g)"], [*LIST[0], None, "extra: 1.500 g"], *LIST[1:]],
        "extra: 1.500 g",
    ),
    "masses in one cell beside": (
        [["Unit", "Weight (g)"], [*LIST[0], None, "1.500 1.512 1.508"], *LIST[1:]],
        "1.500 1.512",
    ),
    "a unit in a text below": ([["Unit", "Weight (g)"], *LIST, [], [None, None, "21) 1.500"]], "21) 1.500"),
    "a mean below a gap": ([*[[mass] for mass in MASSES], [], [MEAN]], "could be masses"),
    "a number above": ([[2.0], [], ["Unit", "Mass (g)"], *LIST], "could be masses"),
    "an unknown label": ([["Unit", "Weight (g)"], *LIST, ["Reference X", 2.0]], "Reference X"),
    "a label with a number": ([["Unit", "Weight (g)"], *LIST, ["QC 2 g", 2.0]], "QC 2 g"),
    "means below a grid": (
        grid([None, *(round(statistics.fmean(one), 4) for one in (MASSES[::2], MASSES[1::2]))]),
        "B7",
    ),
    "a letter O": ([[mass] for mass in MASSES[:4]] + [["2.O1"]] + [[mass] for mass in MASSES[4:]], "tables"),
    "a letter O first": ([["2.O1"], *[[mass] for mass in MASSES]], "2.O1"),
    "a letter O in a list": ([["Unit", "Weight (g)"], *LIST, [11, "2.O1"]], "2.O1"),
    "a letter O without a name": ([["Unit", "Weight (g)"], *LIST, [None, "2.O1"]], "2.O1"),
    "a formula that was not saved": ([["Unit", "Weight (g)"], *LIST, [11, "=B2"]], "stored result"),
    "a second block": ([["Unit", "Mass (g)", "", "Mould B"], *[[n, m, None, m - 0.4] for n, m in LIST]], "Mould B"),
    "grams under mg": ([["Unit", "Mass (mg)"], *LIST], "not plausible"),
    "kilograms": ([["Unit", "Mass (kg)"], *[[n, m / 1000] for n, m in LIST]], "not plausible"),
    "the same units twice": (
        [
            ["Before", "", "", "After"],
            ["Unit", "Mass (g)", "", "Unit", "Mass (g)"],
            *[[n, m, "", n, m - 0.01] for n, m in LIST],
        ],
        "2 tables",
    ),
}


@pytest.mark.parametrize("rows", RIGHT.values(), ids=RIGHT.keys())
def test_the_masses_are_read_as_they_were_put_down(book_of: BookOf, rows: Rows) -> None:
    for name in ("Sheet1", "Units"):
        assert sorted(map(float, read(book_of(**{name: rows})))) == sorted(MASSES)


@pytest.mark.parametrize(("rows", "named"), DOUBTFUL.values(), ids=DOUBTFUL.keys())
def test_what_is_in_doubt_is_refused_and_named(book_of: BookOf, rows: Rows, named: str) -> None:
    assert any(named in message for message in said(book_of(Sheet1=rows)))


@pytest.mark.parametrize(
    ("delimiter", "decimal", "head", "quoting"),
    [
        (",", ".", ("Unit", "Mass (g)"), csv.QUOTE_MINIMAL),
        (";", ",", ("Nr.", "Masse (g)"), csv.QUOTE_MINIMAL),
        (";", ",", ("N°", "Poids g"), csv.QUOTE_ALL),
        ("\t", ",", ("Lp.", "Masa [g]"), csv.QUOTE_MINIMAL),
        (",", ",", ("Nº", "Peso (g)"), csv.QUOTE_ALL),
        (";", ",", (), csv.QUOTE_MINIMAL),
        (",", ".", (), csv.QUOTE_MINIMAL),
        ("\t", ".", (), csv.QUOTE_MINIMAL),
    ],
)
@pytest.mark.parametrize("name", ["w.csv", "w.txt"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_delimited_text_of_five_locales(
    table_of: TableOf, delimiter: str, decimal: str, head: Row, quoting: Any, name: str, encoding: str
) -> None:
    name = "w.tsv" if delimiter == "\t" and name == "w.csv" else name
    text = io.StringIO()
    rows = [[number, f"{mass:.3f}".replace(".", decimal)] for number, mass in LIST]
    csv.writer(text, delimiter=delimiter, quoting=quoting).writerows([*([head] if head else []), *rows])
    assert [float(mass) for mass in read(table_of(text.getvalue().encode(encoding), name))] == MASSES


@pytest.mark.parametrize(
    "lines",
    [
        [
            "A BALANCE",
            "26.11.2026 12:01",
            *[f"{n:4d}   {m:.3f} g  S" for n, m in LIST],
            "n 10",
            "Mean 2.0074 g",
            "SD 0.013 g",
        ],
        [line for n, m in LIST for line in (f"ID {n}", f"N   {m:.3f} g")],
        [line for n, m in LIST for line in (f"No. {n}", f"G  {m + 5:.3f} g", "T   5.000 g", f"N   {m:.3f} g")],
        ["Unit   Weight (g)", *[f"{n:4d}   {m:.3f}" for n, m in LIST]],
        ["Unit   Mould   Weight (g)", *[f"{n:4d}   A   {m:.3f}" for n, m in LIST]],
        [f"{m:.3f}" for m in MASSES],
        [f"{m:.3f} g".replace(".", ",") for m in MASSES],
    ],
)
def test_print_outs_in_a_text_file(table_of: TableOf, lines: list[str]) -> None:
    assert [float(mass) for mass in read(table_of("\n".join(lines) + "\n", "w.txt"))] == MASSES


@pytest.mark.parametrize("lines", [["2.013 g", "2.021 g ?", "1.998 g"], ["2.013 g D", "2.021 g S", "1.998 g S"]])
def test_a_value_that_was_not_at_rest_is_refused(table_of: TableOf, lines: list[str]) -> None:
    assert any("before the balance came to rest" in one for one in said(table_of("\n".join(lines), "w.txt")))


@pytest.mark.parametrize("text", ["Nr,Masse (g)\n", ""])
def test_decimal_commas_taken_for_separators_are_refused(table_of: TableOf, text: str) -> None:
    text += "".join(f"{n},{m:.3f}\n".replace(".", ",") for n, m in LIST)
    assert said(table_of(text))


def test_points_that_part_the_thousands_are_read_by_the_call(table_of: TableOf) -> None:
    path = table_of("Nr;Gewicht (mg)\n" + "".join(f"{n};{m:.3f}\n" for n, m in LIST))
    assert "--decimal comma if its points part the thousands" in said(path)[0]
    assert [float(mass) for mass in read(path, decimal="comma")] == MASSES


TWO = {"Week 12": [["Unit", "Weight (g)"], *LIST], "Week 13": [["Unit", "Weight (g)"], [1, 2.5], [2, 2.6]]}
BATCHES: Rows = [["Batch", "Unit", "Weight (g)"], *[["B1" if n < 6 else "B2", n, m] for n, m in LIST]]


class TestSeveral:
    """Several tables or batches in a file: the call says which, and the refusal gives the call for each."""

    def test_sheets_are_listed_with_the_call_for_each(self, book_of: BookOf) -> None:
        assert said(book_of(**TWO), command="qc check batch.xlsx") == [
            'batch.xlsx: 2 tables of weights were found (sheet "Week 12", B2:B11: 10 masses, first 2.013, last 1.993, '
            'sheet "Week 13", B2:B3: 2 masses, first 2.5, last 2.6). Say which is the batch: qc check batch.xlsx '
            '--sheet "Week 12" or qc check batch.xlsx --sheet "Week 13".'
        ]

    def test_a_sheet_is_picked(self, book_of: BookOf) -> None:
        assert [str(mass) for mass in read(book_of(**TWO), sheet="week 13")] == ["2.5", "2.6"]
        (message,) = said(book_of(**TWO), sheet="Week 14")
        assert message == (
            'batch.xlsx: there is no sheet "Week 14". Give a sheet that is there: --sheet "Week 12" or --sheet '
            '"Week 13".'
        )

    @pytest.mark.parametrize("sheet", ["Sheet1", "Units"])
    def test_batches_are_listed_and_picked(self, book_of: BookOf, sheet: str) -> None:
        (message,) = said(book_of(**{sheet: BATCHES}))
        assert message == (
            f'batch.xlsx, {sheet}!C2:C11: the table holds 2 batches: "B1" (5 rows), "B2" (5 rows). Say which is to be '
            'judged: --batch "B1" or --batch "B2".'
        )
        path = book_of(**{sheet: BATCHES})
        batch = read_batch(path, options=ReadOptions(batch="b2"))
        assert (batch.number, [float(unit.mass_g or 0) for unit in batch.units]) == ("B2", MASSES[5:])

    def test_batches_as_titles_of_tables(self, book_of: BookOf) -> None:
        rows = [["Batch 7"], ["Unit", "Weight (g)"], *LIST, [], ["Batch 8"], ["Unit", "Weight (g)"], [1, 2.5], [2, 2.6]]
        assert "2 tables of weights" in said(book_of(Sheet1=rows))[0]
        assert [str(mass) for mass in read(book_of(Sheet1=rows), batch="8")] == ["2.5", "2.6"]


BLOCKS: Rows = [
    ["No", "Weight (g)", "", "No", "Weight (g)"],
    *[[n, MASSES[n - 1], "", n, MASSES[n + 4]] for n in range(1, 6)],
]


class TestBlocksWithoutTitles:
    """Blocks side by side that bear no name of a mould: one call makes a batch of them, another picks one."""

    def test_the_refusal_gives_the_calls(self, book_of: BookOf) -> None:
        (told,) = said(book_of(Sheet1=BLOCKS), command="qc check batch.xlsx")
        assert told.endswith(
            "If they are one batch, a block a mould: qc check batch.xlsx --sheet 'Sheet1!B2:E6'; if one of them is the "
            "batch: qc check batch.xlsx --sheet 'Sheet1!B2:B6', qc check batch.xlsx --sheet 'Sheet1!E2:E6'."
        )

    def test_all_of_them_are_one_batch_by_the_call(self, book_of: BookOf) -> None:
        batch = read_batch(book_of(Sheet1=BLOCKS), options=ReadOptions(form="suppositories", sheet="Sheet1!B2:E6"))
        assert [float(unit.mass_g or 0) for unit in batch.units] == MASSES
        assert [(unit.name, unit.mould) for unit in batch.units][::5] == [("1 1", "1"), ("2 1", "2")]

    @pytest.mark.parametrize(("cells", "masses"), [("B2:B6", MASSES[:5]), ("D1:F20", MASSES[5:])])
    def test_one_of_them_is_picked(self, book_of: BookOf, table_of: TableOf, cells: str, masses: list[float]) -> None:
        assert list(map(float, read(book_of(Sheet1=BLOCKS), sheet=f"Sheet1!{cells}"))) == masses
        text = "\n".join(",".join(map(str, row)) for row in BLOCKS)
        assert list(map(float, read(table_of(text), sheet=cells))) == masses

    def test_a_range_without_a_table_is_refused(self, book_of: BookOf) -> None:
        (told,) = said(book_of(Sheet1=BLOCKS), sheet="Sheet1!G1:H9")
        assert "no table of weights lies in G1:H9; 2 tables" in told

    def test_two_weighings_of_the_same_units_are_no_batch(self, book_of: BookOf) -> None:
        rows = [BLOCKS[0], *([n, m, "", n, m + 0.001] for n, m in LIST)]
        assert "two weighings of the same units" in said(book_of(Sheet1=rows), sheet="Sheet1!B2:E11")[0]


OTHER_MASSES = (
    "Mass with foil (g)|Cumulative weight (g)|Mass of 10 units (g)|Mass lost (g)|"
    "Weight last batch (g)|Mass of mould (g)|Mass of batch (g)|Weight in beaker (g)|"
    "Mass incl. wrapper (g)|Weight + foil (g)|Weight before drying (g)|Wt with packaging g|"
    "Gewicht mit Folie (g)|Masse avec blister (g)|Peso con envase (g)|Peso con involucro (g)|"
    "Peso com invólucro (g)|Gewicht met folie (g)|Masa z folią (g)|With foil (mass in g)|"
    "10 units (weight in g)"
)
ONE_UNIT = (
    "Individual weight per suppository (g)|Net mass of each unit, g|Einzelgewicht je Zäpfchen [g]|"
    "Poids de chaque ovule (g)|Peso de cada supositorio (g)|Peso netto di ogni supposta (g)|"
    "Peso individual por supositório (g)|"
    "Massa per stuk (g)|Masa pojedynczego czopka [g]|Weight of suppositories lot 12 (g)|Weight g of each unit"
)


@pytest.mark.parametrize("heading", OTHER_MASSES.split("|"))
def test_a_mass_that_is_not_understood_is_no_mass_of_a_unit(book_of: BookOf, heading: str) -> None:
    (told,) = said(book_of(Sheet1=[["No", heading], *LIST]))
    assert f'"{heading}" stands over numbers' in told
    assert "if these are the masses of single units, net" in told


@pytest.mark.parametrize("heading", ONE_UNIT.split("|"))
def test_a_heading_of_which_every_word_is_known_is_read(book_of: BookOf, heading: str) -> None:
    assert sorted(map(float, read(book_of(Sheet1=[["No", heading], *LIST])))) == sorted(MASSES)


@pytest.mark.parametrize("below", [["", "with foil"], ["", "incl. foil (g)"]])
@pytest.mark.parametrize("heading", ["Mass", "Weight (g)"])
def test_a_second_line_of_a_heading_counts(book_of: BookOf, heading: str, below: list[str]) -> None:
    assert "foil" in said(book_of(Sheet1=[["No", heading], below, *LIST]))[0]


@pytest.mark.parametrize("heading", ["Gross", "With foil"])
def test_what_stands_over_a_unit_of_measure_counts(book_of: BookOf, heading: str) -> None:
    assert heading in said(book_of(Sheet1=[["No", heading], ["", "g"], *LIST]))[0]


def test_the_corner_of_a_grid_counts(book_of: BookOf) -> None:
    rows = [["Mass with foil (g)", 1, 2, 3], ["A", 2.013, 1.987, 2.034], ["B", 1.992, 2.008, 2.021]]
    assert "with foil" in said(book_of(Sheet1=rows))[0]


@needs_office
def test_old_workbooks_say_the_same(tmp_path: Path, book_of: BookOf) -> None:
    rows = [["Note"], ["Nr.", "Masse (g)"], *LIST, ["Mittelwert", MEAN]]
    # Written out, for the office opens the file.
    path = book_of(lambda _: None, **{"Week 12": rows})
    (old,) = saved_again([path], "xls", tmp_path)
    assert [float(mass) for mass in read(old)] == MASSES


@pytest.mark.parametrize("cut", [600, 2000])
def test_a_damaged_old_workbook_is_refused(tmp_path: Path, cut: int) -> None:
    (tmp_path / "old.xls").write_bytes(bytes.fromhex("d0cf11e0a1b11ae1") + bytes(cut))
    (message,) = said(tmp_path / "old.xls")
    assert message.startswith("old.xls: the workbook is damaged (")


# A generated truth, put down in a random layout with random decoration: what is read equals it, or is refused.
HEADS = [("Unit", "Weight (g)"), ("Nr.", "Masse [g]"), ("N°", "Poids (g)"), ("No", "Net weight, g"), ("Lp.", "Masa g")]
BELOW = [
    "Mean",
    "Mittelwert",
    "SD",
    "Target",
    "Tare",
    "Min",
    "Max",
    "Check weight",
    "n",
    "Moyenne",
    "",
    "Blank",
    "Ref",
    "Soll",
]


@st.composite
def layouts(draw: st.DrawFn) -> tuple[list[float], Rows]:
    rng = random.Random(draw(st.integers(0, 2**32)))
    decimals = rng.choice([2, 3, 4])
    masses = [round(rng.gauss(2.0, 0.03), decimals) for _ in range(rng.choice([6, 10, 20]))]
    name, mass = rng.choice(HEADS)
    shape = rng.choice(["list", "bare", "beside", "grid", "across", "stacked", "two"])
    half = len(masses) // 2
    rows: Rows
    if shape == "list":
        rows = [[name, mass], *([n, m] for n, m in enumerate(masses, start=1))]
    elif shape == "bare":
        rows = [[n, m] for n, m in enumerate(masses, start=1)]
    elif shape == "beside":
        rows = [["Mould A", "", "", "Mould B"], [name, mass, "", name, mass]]
        rows += [[n + 1, masses[n], "", n + 1, masses[half + n]] for n in range(half)]
    elif shape == "grid":
        rows = [["", "A", "B"], *([n + 1, masses[n], masses[half + n]] for n in range(half))]
    elif shape == "across":
        rows = [[name, *range(1, len(masses) + 1)], [mass, *masses]]
    elif shape == "two":
        rows = [[name, mass, "Weight (g)"], *([n, m, round(m * 0.9, decimals)] for n, m in enumerate(masses, start=1))]
    else:
        rows = [[name, mass], *([n + 1, masses[n]] for n in range(half)), [], [name, mass]]
        rows += [[half + n + 1, masses[half + n]] for n in range(half)]
    figure = rng.choice(
        [statistics.fmean(masses), round(statistics.fmean(masses), decimals), 2.0, 2.05, 0.03, len(masses)]
    )
    for label in rng.sample(BELOW, rng.choice([0, 0, 1, 2])):
        rows = (
            [[*row, label] for row in rows[:1]] + rows[1:] if rng.random() < 0.1 else [*rows, [label or None, figure]]
        )
    if rng.random() < 0.3:
        rows = [*rows, [], [rng.choice(["Weighed by AB", "ok", "2.05", 2.01])]]
    if rng.random() < 0.4:
        rows = [
            [rng.choice(["Week 12", "Batch 4711", 2026, "Zäpfchen 2 g"])],
            *([[]] if rng.random() < 0.5 else []),
            *rows,
        ]
    left, up = rng.choice([0, 0, 2]), rng.choice([0, 0, 3])
    rows = [[]] * up + [[None] * left + list(row) for row in rows]
    return masses, rows


@examples(75)
@given(layouts())
def test_whatever_the_layout_the_truth_is_read_or_refused(tmp_path_factory: pytest.TempPathFactory, made: Any) -> None:
    masses, rows = made
    path = tmp_path_factory.mktemp("layout") / "made.xlsx"
    book = openpyxl.Workbook()
    assert book.active is not None
    for row in rows:
        book.active.append([value if value != "" else None for value in row])
    book.save(path)
    try:
        found = read(path)
    except InputProblems:
        return
    assert sorted(map(float, found)) == sorted(masses), rows


def test_blocks_side_by_side_whose_rows_name_their_mould_are_one_batch(table_of: TableOf) -> None:
    rows = [f"{at},A,{one},,{at},B,{other}" for at, (one, other) in enumerate(PAIRS, start=1)]
    head = "Unit,Mould,Mass (g),,Unit,Mould,Mass (g)"
    batch = read_batch(table_of("\n".join([head, *rows])), options=ReadOptions(form="suppositories"))
    assert [(unit.name, unit.mould) for unit in batch.units] == [
        (f"{mould} {at}", mould) for mould in "AB" for at in range(1, 6)
    ]
    assert [float(unit.mass_g or 0) for unit in batch.units] == [*MASSES[::2], *MASSES[1::2]]


@pytest.mark.parametrize(("first", "last", "is_refused"), [(0, 9, False), (1, 10, False), (1, 0, True)])
def test_a_nought_behind_numbered_units_is_no_unit(table_of: TableOf, first: int, last: int, is_refused: bool) -> None:
    names = [*range(first, first + 9), last]
    path = table_of("\n".join(["No,Weight (g)", *(f"{name},{mass}" for name, mass in zip(names, MASSES, strict=True))]))
    if not is_refused:
        assert len(read(path)) == 10
        return
    with pytest.raises(InputProblems) as caught:
        read(path)
    assert [str(one) for one in caught.value.problems] == [
        'units.csv, A11: "0" with the number "1.993" stands among units that are named otherwise. Name it as '
        "the others if "
        "it is a unit, or take the row out."
    ]


def test_masses_that_are_formulas_without_a_result_are_named_as_what_is_missing(book_of: BookOf) -> None:
    rows = [["Unit", "Weight (g)"], *([number, f"=D{number + 1}-E{number + 1}"] for number in range(1, 11))]
    (told,) = said(book_of(Sheet1=rows))
    assert told.endswith(
        "B2 is a formula without a stored result (=D2-E2), one of 10. Open the file in the spreadsheet program and "
        "save it, so that it stores the results."
    )


GRID = [
    ["", 1, 2, 3, 4, 5, 6],
    ["A", 2.001, 2.019, 1.986, 2.015, 1.996, 1.992],
    ["B", 2.028, 2.002, 2.013, 2.011, 2.017, 2.005],
    ["C", 2.009, 1.985, 1.994, 1.993, 1.983, 1.977],
]


@pytest.mark.parametrize(("top", "left"), [(True, True), (True, False), (False, True)])
def test_each_place_of_a_grid_is_a_unit_of_its_own_and_an_empty_one_is_told(
    book_of: BookOf, top: bool, left: bool
) -> None:
    rows = [row[0 if left else 1 :] for row in GRID[0 if top else 1 :]]
    rows[-2][-4] = None
    batch = read_batch(book_of(Sheet1=rows), options=ReadOptions(form="suppositories"))
    true = [mass for row in GRID[1:] for mass in row[1:] if mass != 2.013]
    assert [float(unit.mass_g) for unit in batch.weighed if unit.mass_g] == true
    assert len({unit.name for unit in batch.units}) == 18
    (told,) = [one.text for one in batch.notices if "Neither" in one.text]
    assert told.endswith(f"unit {'B 3' if left else '3 2'}.")
