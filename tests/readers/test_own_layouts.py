"""Layouts and headings as people make them, each read whole; the like of each that says other masses is refused."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from decimal import Decimal
from pathlib import Path
from typing import Any
from zipfile import ZipFile

import pytest
from openpyxl import Workbook

from qc.batch import Batch
from qc.problems import InputProblems
from qc.readers.options import ReadOptions
from qc.readers.read import read_batch
from qc.say.read_back import never_cut, what_was_left

BookOf = Callable[..., Path]
TableOf = Callable[..., Path]
MASSES = [round(2.1 + (number * 7 % 24 - 12) / 500, 3) for number in range(1, 21)]
LIST: list[list[Any]] = [[number, mass] for number, mass in enumerate(MASSES, start=1)]
PER_CENT = [99 + number / 10 for number in range(1, 11)]


def batch_of(path: Path, **more: Any) -> Batch:
    return read_batch(path, options=ReadOptions(form="suppositories", **more))


def masses_of(path: Path) -> list[float]:
    return sorted(float(unit.mass_g or 0) for unit in batch_of(path).weighed)


def always_told(path: Path) -> str:
    batch = batch_of(path)
    return " | ".join(what_was_left(batch)[: never_cut(batch)])


def refused(path: Path) -> str:
    with pytest.raises(InputProblems) as caught:
        batch_of(path)
    return " ".join(map(str, caught.value.problems))


def test_each_mould_has_a_mean_under_its_cavities(book_of: BookOf) -> None:
    moulds = [MASSES[at : at + 10] for at in (0, 10)]
    rows: list[Sequence[Any]] = [["Mould 1", None, None, "Mould 2"], ["Cavity", "Mass (g)", None, "Cavity", "Mass (g)"]]
    rows += [[at + 1, moulds[0][at], None, at + 1, moulds[1][at]] for at in range(10)]
    means = [round(sum(mould) / 10, 4) for mould in moulds]
    assert masses_of(book_of(Sheet1=[*rows, ["Mean", means[0], None, "Mean", means[1]]])) == sorted(MASSES)
    assert "Mean" in always_told(book_of(Sheet1=[*rows, ["Mean", 2.3, None, "Mean", means[1]]]))


def test_columns_are_headed_by_the_numbers_of_their_units(book_of: BookOf) -> None:
    rows = [["Weight (g)"], ["1-10", "11-20"], *([MASSES[at], MASSES[at + 10]] for at in range(10))]
    batch = batch_of(book_of(Sheet1=rows))
    assert [(unit.name, float(unit.mass_g or 0)) for unit in batch.units][::19] == [
        ("1", MASSES[0]),
        ("20", MASSES[-1]),
    ]


@pytest.mark.parametrize(("title", "columns"), [("Weight of 20 suppositories (g)", 1), ("Weights (g), 4 x 5 mould", 5)])
def test_a_title_says_how_many_masses_there_are(book_of: BookOf, title: str, columns: int) -> None:
    rows = [MASSES[at : at + columns] for at in range(0, 20, columns)]
    assert masses_of(book_of(Sheet1=[[title], *rows])) == sorted(MASSES)
    other = title.replace("20", "10").replace("5", "6")
    assert "is not understood" in refused(book_of(Sheet1=[[other], *rows]))


def test_a_word_before_the_first_of_several_rows_heads_them_all(book_of: BookOf) -> None:
    rows = [["Gewichte (g):", *MASSES[:10]], [None, *MASSES[10:]], ["\u00d8", round(sum(MASSES) / 20, 5)]]
    assert masses_of(book_of(Sheet1=rows)) == sorted(MASSES)
    assert "with foil" in refused(book_of(Sheet1=[["Weights with foil (g):", *MASSES[:10]], rows[1]]))


def test_a_title_merged_over_several_columns_heads_none_of_them(book_of: BookOf) -> None:
    def merged(book: Workbook) -> None:
        book["Sheet1"].merge_cells("A1:D1")

    rows = [["Weights"], *([*LIST[at], *LIST[at + 10]] for at in range(10))]
    assert masses_of(book_of(merged, Sheet1=rows)) == sorted(MASSES)


@pytest.mark.parametrize("parted", [", ", " ", "; "])
def test_a_line_of_masses_has_a_word_before_it(table_of: TableOf, parted: str) -> None:
    line = parted.join(f"{mass:.3f}" for mass in MASSES)
    assert masses_of(table_of(f"Weights (g): {line}\n", "line.txt")) == sorted(MASSES)
    assert "with foil" in refused(table_of(f"Weights with foil (g): {line}\n", "line.txt"))
    assert refused(table_of(f"Gross (g): {line}\n", "line.txt"))
    said = table_of(f"Weights of two units: {line}\n", "line.txt")
    assert "two" in (refused(said) if parted == "; " else always_told(said))


def test_a_mail_of_masses_is_read_with_its_sentences_told(table_of: TableOf) -> None:
    lines = [f"{number}) {mass:.3f}" for number, mass in LIST]
    mail = "Hi,\nhere are the weights of the paracetamol supps (g):\n"
    path = table_of(mail + "\n".join(lines) + "\nBest\n", "mail.txt")
    assert masses_of(path) == sorted(MASSES)
    assert "here are the weights of the paracetamol supps (g):" in always_told(path)
    assert "with foil" in refused(table_of("Weights with foil (g):\n" + "\n".join(lines), "mail.txt"))


def test_a_balance_prints_three_lines_a_unit(table_of: TableOf) -> None:
    records = [f"03/12/2026 09:{number:02}:05\nID: {number}\nNet:   {mass:.4f} g\n" for number, mass in LIST]
    assert masses_of(table_of("\n".join(records), "print.txt")) == sorted(MASSES)
    assert "gross" in refused(table_of("\n".join(records).replace("Net:  ", "Gross:"), "print.txt"))


@pytest.mark.parametrize("heading", ["Assay (%)", "Gehalte (%)", "Titolo (%)"])
def test_contents_like_the_label_are_per_cent_of_it_and_told(book_of: BookOf, heading: str) -> None:
    rows = [[*row, PER_CENT[at] if at < 10 else None] for at, row in enumerate(LIST)]
    path = book_of(Sheet1=[["No", "Mass (g)", heading], *rows])
    assert [float(one.content_percent or 0) for one in batch_of(path).assays] == PER_CENT
    assert f'"{heading}" as % of label' in always_told(path)
    of_mass = [[*row[:2], row[2] and row[2] / 8] for row in rows]
    assert "says content, but not of what" in refused(book_of(Sheet1=[["No", "Mass (g)", heading], *of_mass]))


def test_contents_below_are_named_by_their_title(book_of: BookOf) -> None:
    below = [
        ["Content uniformity"],
        ["No.", "Paracetamol (mg)"],
        *([at + 1, 2.5 * one] for at, one in enumerate(PER_CENT)),
    ]
    batch = batch_of(book_of(Sheet1=[["No.", "Weight (g)"], *LIST, [], *below]))
    assert [float(one.content_mg or 0) for one in batch.assays] == [2.5 * one for one in PER_CENT]
    below[0] = ["Impurities"]
    assert "Paracetamol (mg)" in refused(book_of(Sheet1=[["No.", "Weight (g)"], *LIST, [], *below]))


def test_a_german_sheet_of_contents_is_called_by_a_compound(book_of: BookOf) -> None:
    rows = [[at + 1, 2.5 * one, one] for at, one in enumerate(PER_CENT)]
    heads: list[list[Any]] = [["Gehaltsbestimmung HPLC"], ["Z\u00e4pfchen Nr.", "Gehalt (mg)", "% der Deklaration"]]
    batch = batch_of(book_of(Gewichte=[["Nr.", "Gewicht (g)"], *LIST], Gehalt=[*heads, *rows]), label_mg=Decimal(250))
    assert [float(one.content_mg or 0) for one in batch.assays] == [2.5 * one for one in PER_CENT]


def test_an_assay_run_of_a_day_is_no_batch(book_of: BookOf) -> None:
    rows = [[at + 1, 2.5 * one] for at, one in enumerate(PER_CENT)]
    heads = [["HPLC assay run 2026-11-20"], ["Supp no", "Found (mg)"]]
    assert len(batch_of(book_of(Weights=[["No", "Weight (g)"], *LIST], HPLC=[*heads, *rows])).assays) == 10


def test_a_gross_mass_with_a_comma_is_told_with_its_decimals(table_of: TableOf) -> None:
    lines = ["Gross;2,413", "No;Mass (g)", *(f"{number};{mass:.3f}" for number, mass in LIST)]
    assert "Gross 2.413" in always_told(table_of("\n".join(lines), "units.csv"))


def test_another_unit_of_mass_behind_all_masses_is_refused(book_of: BookOf) -> None:
    path = book_of(Sheet1=[["No", "Mass (g)", "of"], *([*row, "mg"] for row in LIST)])
    assert '"mg" stands beside the masses, and these are in g' in refused(path)
    rows = [[*row, None, "(mg)"] if row[0] == 3 else row for row in LIST]
    assert '"(mg)" stands beside the masses' in refused(book_of(Sheet1=[["No", "Mass (g)"], *rows]))
    contents = [[*row, 250 + row[0], "mg"] for row in LIST]
    assert len(batch_of(book_of(Sheet1=[["No", "Mass (g)", "Content (mg)", ""], *contents])).assays) == 20


def book_units(**more: Any) -> list[list[Any]]:
    return [["Unit", "Mass (g)", *more], *([*row, *more.values()] for row in LIST)]


@pytest.mark.parametrize("formula", ["plain base, no active", "base only", "hard fat without paracetamol", "Placebo"])
def test_a_formula_without_active_is_told(book_of: BookOf, formula: str) -> None:
    facts = [["Field", "Value"], ["Batch number", "12"], ["Formula", formula]]
    assert formula in always_told(book_of(Batch=facts, Units=book_units()))
    facts[2][1] = "Paracetamol 250 mg in hard fat"
    assert always_told(book_of(Batch=facts, Units=book_units())) == ""


def test_contents_of_another_batch_are_refused_beside_the_masses_and_apart(book_of: BookOf) -> None:
    contents = [["Unit", "Content (mg)", "Batch"], *([at + 1, 2.5 * one, "12"] for at, one in enumerate(PER_CENT))]
    assert 'of batch "12", and the masses of batch "11"' in refused(
        book_of(Units=book_units(Batch="11"), Assay=contents)
    )
    rows = [[*row, "11", 250 + row[0], "12"] if row[0] < 11 else [*row, "11"] for row in LIST]
    heads = ["No", "Mass (g)", "Batch", "Content (mg)", "Batch"]
    assert '"12" under "Batch" is another batch than "11"' in refused(book_of(Sheet1=[heads, *rows]))
    same = [[*row[:4], "11"] if len(row) > 4 else row for row in rows]
    assert len(batch_of(book_of(Sheet1=[heads, *same])).assays) == 10


@pytest.mark.parametrize(
    ("figure", "ours"),
    [("Mean 2.31 g", "Mean 2.31, but"), ("RSD 4.8 %", "RSD 4.8, but"), ("RSD: 4,8%", "RSD 4.8, but")],
)
def test_a_figure_in_one_cell_is_held_against_ours(book_of: BookOf, figure: str, ours: str) -> None:
    for rows in ([*book_units(), [], [figure]], [[*row, None, figure] if row[0] == 4 else row for row in book_units()]):
        assert ours in always_told(book_of(Sheet1=rows))


def test_what_is_hidden_and_was_read_is_told(book_of: BookOf) -> None:
    contents = [["Unit", "Content (mg)"], *([at + 1, 2.5 * one] for at, one in enumerate(PER_CENT))]

    def hide(book: Workbook) -> None:
        book["Assay"].sheet_state = "hidden"

    assert "the hidden sheet Assay" in always_told(book_of(hide, Units=book_units(), Assay=contents))

    def column(book: Workbook) -> None:
        book["Units"].column_dimensions["B"].hidden = True

    assert "hidden columns B" in always_told(book_of(column, Units=book_units()))


def test_a_row_of_no_height_is_hidden(book_of: BookOf, tmp_path: Path) -> None:
    whole, flat = book_of(Sheet1=book_units()), tmp_path / "flat.xlsx"
    with ZipFile(whole) as parts, ZipFile(flat, "w") as written:
        for name in parts.namelist():
            data = parts.read(name).replace(b'<row r="8"', b'<row r="8" ht="0" customHeight="1"')
            written.writestr(name, data)
    assert "hidden rows 8" in always_told(flat)


@pytest.mark.parametrize("heading", ["Ward", "Year", "Tray"])
def test_units_named_by_what_is_no_name_are_told(book_of: BookOf, heading: str) -> None:
    assert f'units named by "{heading}"' in always_told(book_of(Sheet1=[[heading, "Mass (g)"], *LIST]))
    assert always_told(book_of(Sheet1=[["Zetpil", "Mass (g)"], *LIST])) == ""


def test_one_gap_among_the_masses_is_told_and_one_after_each_ten_is_not(book_of: BookOf) -> None:
    head = ["No", "Mass (g)"]
    assert "an empty row above B18" in always_told(book_of(Sheet1=[head, *LIST[:12], [], [], [], [], *LIST[12:]]))
    parted = [*LIST[:5], [], *LIST[5:10], [], *LIST[10:]]
    assert always_told(book_of(Sheet1=[head, *parted])) == ""


def test_a_mass_under_the_names_of_units_is_none(book_of: BookOf) -> None:
    rows = [["2 g" if row[0] == 7 else row[0], row[1]] for row in LIST]
    assert '"2 g" with the number' in refused(book_of(Sheet1=[["No", "Mass (g)"], *rows]))


def test_moulds_named_as_forms_are_told(table_of: TableOf) -> None:
    lines = [f"{number:>3}  {mass:.3f} g" for number, mass in LIST]
    path = table_of("\n".join(["Form A", *lines[:10], "Form B", *lines[10:]]), "print.txt")
    assert 'moulds named "Form A", "Form B"' in always_told(path)
