"""What stands outside the table and is no unit: each number with its label and value, or the file is refused."""

from __future__ import annotations

import statistics
import tomllib
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
import xlsxwriter
from msgspec.structs import replace
from openpyxl import load_workbook

from qc.fields.remarks import may_tell
from qc.jobs.sheet import write_sheet
from qc.problems import InputProblems
from qc.readers.finding.printed import numbers_labelled
from qc.readers.options import ReadOptions
from qc.readers.read import read_batch
from qc.say.read_back import never_cut, what_was_left

BookOf = Callable[..., Path]
MASSES = [round(2.1 + (number * 7 % 24 - 12) / 500, 3) for number in range(1, 21)]
LIST: list[list[Any]] = [[number, mass] for number, mass in enumerate(MASSES, start=1)]
HEAD = ["No", "Mass (g)"]
CONTENTS: list[list[Any]] = [[number, 99 + number % 4 / 2] for number in range(1, 11)]
OPTIONS = ReadOptions(form="suppositories", label_mg=Decimal(100))


def said(path: Path) -> str:
    """What refuses the file; else what its shortest answer says of what was left."""
    try:
        batch = read_batch(path, options=OPTIONS)
    except InputProblems as refused:
        return "refused: " + " ".join(map(str, refused.problems))
    return " | ".join(what_was_left(batch)[: never_cut(batch)])


@pytest.mark.parametrize(
    "text",
    [
        "unit 21: 1.404 g, 30 % too light",
        "Zäpfchen 21 1,404 g = 70 %",
        "1 St. unter 10 % (1,404 g), verworfen",
        "±5 %; unit 21: 1.404 g",
        "unit 13: 1.404 g, limit 1.995 g",
        "Limits 1.995-2.205; 21: 1.404",
        "target 2.1 g; got 1.404 g",
        "Balance ME204: 1.404 g",
        "13: 1404 mg instead of 2107 mg",
    ],
)
def test_a_mass_in_a_text_is_asked_whatever_figures_stand_beside_it(book_of: BookOf, text: str) -> None:
    assert said(book_of(Sheet1=[HEAD, *LIST, [], [text]])).startswith("refused")


@pytest.mark.parametrize(
    "text", ["Mean 2.1003 g, min 1.404 g", "n = 21, min 1.404 g, max 2.144 g", "RSD 6.8 %, min 1.404 g"]
)
@pytest.mark.parametrize("below", [True, False])
def test_figures_in_a_text_are_held_against_ours(book_of: BookOf, text: str, below: bool) -> None:
    path = book_of(Sheet1=[HEAD, *LIST, [], [text]] if below else [[text], [], HEAD, *LIST])
    assert "min 1.404, but the masses read have 2.07800" in said(path)


def test_what_parts_two_numbers_of_a_text_is_no_label() -> None:
    assert numbers_labelled("Limits ± 5 %: 1.905 – 2.105 g") == [("Limits ± 5 %", "1.905"), ("Limits ± 5 %", "2.105 g")]
    assert numbers_labelled("1.905 to 2.105", before="Grenzen") == [("Grenzen", "1.905"), ("Grenzen", "2.105")]
    assert numbers_labelled("7: 1,404 g am 12.11.2026, 50 %") == [("7", "1,404 g")]


@pytest.mark.parametrize("label", ["Control", "Standard", "Blank", "Tare", "Target", "Min (unit 21)", "Median"])
@pytest.mark.parametrize("place", ["above", "beside", "below", "sheet"])
def test_a_number_under_a_known_word_is_told_wherever_it_stands(book_of: BookOf, label: str, place: str) -> None:
    beside = [
        [*row, None, *more] for row, more in zip([HEAD, *LIST], [[], [], [label, 1.404], *[[]] * 18], strict=True)
    ]
    sheets = {
        "above": {"Sheet1": [[label, 1.404], [], HEAD, *LIST]},
        "beside": {"Sheet1": beside},
        "below": {"Sheet1": [HEAD, *LIST, [], [label, 1.404]]},
        "sheet": {"Sheet1": [HEAD, *LIST], "Summary": [["Mean", 2.1001], ["Upper limit", 2.205], [label, 1.404]]},
    }
    answer = said(book_of(**sheets[place]))
    assert f"{label} 1.404 set aside" in answer or answer.startswith("refused"), answer


@pytest.mark.parametrize("above", [True, False])
def test_figures_with_their_labels_in_one_row_are_held_against_ours(book_of: BookOf, above: bool) -> None:
    figures: list[list[Any]] = [["Mean", "SD", "Min", "Max", "n"], [2.1001, 0.0138, 1.404, 2.144, 21]]
    answer = said(book_of(Sheet1=[*figures, [], HEAD, *LIST] if above else [HEAD, *LIST, [], *figures]))
    assert "Min 1.404, but the masses read have 2.07800" in answer
    assert "n 21, but the masses read have 20" in answer


def test_of_several_contradictions_the_gravest_stands_first(book_of: BookOf) -> None:
    rows = [HEAD, *LIST, ["Mean", 2.0995], ["SD", 0.0138], ["Max", 2.145], ["Min", 1.404]]
    assert said(book_of(Sheet1=rows)).startswith("A25:B25 Min 1.404")


@pytest.mark.parametrize("number", [1404, 14.04, 140.4, -1.404, "1404", "0.001404 kg"])
def test_a_number_without_a_name_is_asked_in_any_unit_and_with_any_slip(book_of: BookOf, number: Any) -> None:
    assert "could be masses" in said(book_of(Sheet1=[[None, None, None, number], [], HEAD, *LIST]))


@pytest.mark.parametrize("line", ["    -1.404 g", "Standard 1.404 g", "Min 1.404 g", "Target 1.404 g"])
@pytest.mark.parametrize("at", [0, 6, 20])
def test_no_line_of_a_print_out_with_names_is_silent(tmp_path: Path, line: str, at: int) -> None:
    lines = [f"{number:>3}  {mass:.3f} g" for number, mass in LIST]
    lines.insert(at, line)
    path = tmp_path / "print.txt"
    path.write_text("\n".join(lines) + "\n")
    assert "1.404" in said(path)


def test_a_result_in_words_is_told(book_of: BookOf) -> None:
    assert 'Result "FAIL" set aside' in said(book_of(Sheet1=[HEAD, *LIST, ["Result", "FAIL"]]))


@pytest.mark.parametrize(
    "text", ["one unit far too light, not listed", "13 ersetzt durch neues", "only the best are listed"]
)
def test_a_text_below_the_masses_is_told_by_what_it_says(book_of: BookOf, text: str) -> None:
    assert text in said(book_of(Sheet1=[HEAD, *LIST, [], [text]]))


@pytest.mark.parametrize("head", ["Control (mg)", "Check (mg)", "Kontrolle (mg)", "Blank (mg)"])
def test_a_second_column_like_the_contents_is_asked(book_of: BookOf, head: str) -> None:
    rows = [[*row, 99 + row[0] % 3, 68.3 if row[0] == 7 else 99.5] for row in LIST]
    assert said(book_of(Sheet1=[[*HEAD, "Content (mg)", head], *rows])).startswith("refused")


@pytest.mark.parametrize("sheet", ["Assay", "Gehalt"])
@pytest.mark.parametrize("head", ["Unit", "No."])
def test_figures_of_contents_are_held_against_them_on_their_own_sheet(book_of: BookOf, sheet: str, head: str) -> None:
    rows = [[head, "Content (mg)"], *CONTENTS, ["Mean", 99.75], ["Min", 68.3]]
    answer = said(book_of(Masses=[["Zinc suppositories 100 mg"], HEAD, *LIST], **{sheet: rows}))
    assert f"{sheet}!A13:B13 Min 68.3, but the contents read have 99.000" in answer


@pytest.mark.parametrize("title", [["Control", 68.3], ["Recovery", 68.3], ["unit 3 first gave 68.3 mg"]])
def test_what_stands_over_the_contents_is_told_or_asked(book_of: BookOf, title: list[Any]) -> None:
    assert "68.3" in said(book_of(Masses=[HEAD, *LIST], Assay=[title, [], ["Unit", "Content (mg)"], *CONTENTS]))


def test_other_contents_on_a_sheet_without_headings_are_asked_and_the_same_are_not(book_of: BookOf) -> None:
    assay = [["Unit", "Content (mg)"], *CONTENTS]
    other = [*CONTENTS[:9], [10, 68.3]]
    assert "68.3" in said(book_of(Units=[["Unit", "Mass (g)"], *LIST], Assay=assay, X=other))
    assert not said(book_of(Units=[["Unit", "Mass (g)"], *LIST], Assay=assay, X=CONTENTS)).startswith("refused")
    assert "68.3" in said(book_of(Units=[["Unit", "Mass (g)"], *LIST], Assay=assay, OOS=[["rejected", 68.3]]))
    # What stands under a word for other things is of them.
    price = book_of(Units=[["Unit", "Mass (g)"], *LIST], Assay=assay, X=[["Prices"], *other])
    assert not said(price).startswith("refused")
    purity = book_of(Units=[["Unit", "Mass (g)"], *LIST], Assay=assay, HPLC=[["Purity (%)", 99.8]])
    assert not said(purity).startswith("refused")


@pytest.mark.parametrize("sheet", ["Gehalt", "Teneur", "Contenido"])
def test_contents_under_a_title_with_the_product_are_read(book_of: BookOf, sheet: str) -> None:
    title, head = ["Zinc suppositories 100 mg"], ["Nr.", "Gehalt (mg)"]
    batch = read_batch(book_of(Masses=[HEAD, *LIST], **{sheet: [title, head, *CONTENTS]}), options=OPTIONS)
    assert len(batch.assays) == 10
    of_another = [["Zinc suppositories 100 mg, batch 7"], head, *CONTENTS]
    assert said(book_of(Masses=[HEAD, *LIST], **{sheet: of_another})).startswith("refused")


def test_units_may_bear_roman_numbers(book_of: BookOf) -> None:
    tens = ("", "X")
    ones = ("I", "II", "III", "IV", "V", "VI", "VII", "VIII", "IX", "X")
    names = [ten + one for ten in tens for one in ones]
    rows = [[name, mass] for name, mass in zip(names, MASSES, strict=True)]
    batch = read_batch(book_of(Sheet1=[HEAD, *rows, ["Mean", 2.1001]]), options=OPTIONS)
    assert [unit.name for unit in batch.weighed] == names
    assert said(book_of(Sheet1=[HEAD, *rows, ["Test", 2.1001]])).startswith("refused")


@pytest.mark.parametrize("head", ["Seen", "Note"])
def test_a_mass_told_beside_its_unit_or_of_the_batch_is_asked_or_told(book_of: BookOf, head: str) -> None:
    rows = [[*row, "replaced, first was 1.404 g" if row[0] == 7 else None] for row in LIST]
    assert "tells a mass" in said(book_of(Sheet1=[[*HEAD, head], *rows]))
    deviation = [["Field", "Value"], ["Deviation", "unit 21 weighed 1.404 g, left out"]]
    assert "1.404 g" in said(book_of(Sheet1=[HEAD, *LIST], Batch=deviation))


def test_a_word_and_a_content_over_contents_on_the_sheet_of_the_units_are_asked(book_of: BookOf) -> None:
    assert said(book_of(Units=[["rejected", 68.3], [], ["Unit", "Content (mg)"], *CONTENTS])).startswith("refused")
    both = [[*row, 99 + row[0] % 3 / 2] for row in LIST]
    assert said(book_of(Sheet1=[["rejected", 68.3], [], [*HEAD, "Content (mg)"], *both])).startswith("refused")
    assert not said(book_of(Sheet1=[["Label claim (mg)", 100.0], [], [*HEAD, "Content (mg)"], *both])).startswith("r")


def test_a_count_like_a_mass_is_no_unit(book_of: BookOf) -> None:
    rows = [[1, 3.98], [2, 4.02], [3, 4.01], [4, 3.99]]
    assert not said(book_of(Sheet1=[HEAD, *rows, ["n", 4]])).startswith("refused")


def test_two_lots_beside_all_units_but_one_are_asked(book_of: BookOf) -> None:
    rows = [[*row, None if row[0] == 3 else "north" if row[0] < 11 else "south"] for row in LIST]
    assert "parts the units" in said(book_of(Sheet1=[[*HEAD, "Where"], *rows]))


@pytest.mark.parametrize("column", ["Gross (g)", "Deviation (%)", "% of mean", "Cumulative (g)"])
def test_a_number_that_does_not_follow_from_its_mass_is_asked(book_of: BookOf, column: str) -> None:
    mean, total, rows = sum(MASSES) / 20, 0.0, []
    for number, mass in LIST:
        weighed = 1.404 if number == 7 else mass
        total += weighed
        share = 100 * weighed / mean
        follows = {"Gross (g)": 10 + weighed, "Deviation (%)": share - 100, "% of mean": share}
        rows.append([number, mass, round(follows.get(column, total), 3 if "(g)" in column else 1)])
    assert "does not follow" in said(book_of(Sheet1=[[*HEAD, column], *rows]))
    if column != "Cumulative (g)":
        own = {"Gross (g)": 10 + MASSES[6], "Deviation (%)": 100 * MASSES[6] / mean - 100}
        rows[6][2] = round(own.get(column, 100 * MASSES[6] / mean), 3 if "(g)" in column else 1)
        assert not said(book_of(Sheet1=[[*HEAD, column], *rows])).startswith("refused")


def test_a_deviation_typed_beside_one_unit_is_held_against_its_mass(book_of: BookOf) -> None:
    for deviation, asked in ((-29.9, True), (round(100 * MASSES[6] / (sum(MASSES) / 20) - 100, 1), False)):
        rows = [[*row, deviation if row[0] == 7 else None] for row in LIST]
        assert said(book_of(Sheet1=[[*HEAD, "Deviation %"], *rows])).startswith("refused") is asked


def test_numbers_that_follow_from_nothing_are_held_against_nothing(book_of: BookOf) -> None:
    rows = [[*row, 0.5, 21 + row[0] * 7 % 5 / 10, row[0] * 3.1] for row in LIST]
    assert not said(book_of(Sheet1=[[*HEAD, "Tare (g)", "Temperature", "Time"], *rows])).startswith("refused")


def test_a_unit_is_assayed_whole_or_in_parts(book_of: BookOf) -> None:
    head = ["Unit", "Content (mg)", "Part"]
    units = [["Unit", "Mass (g)"], *LIST]
    parts = [[11, 33.3, "tip"], [11, 20.0, "middle"], [11, 15.0, "end"]]
    assert "unit 11 in parts, 68.3 mg" in said(book_of(Units=units, Assay=[head, *CONTENTS, *parts]))
    assert "assayed whole" in said(book_of(Units=units, Assay=[head, *CONTENTS, [7, 68.3, "middle"]]))


def test_a_whole_unit_weighs_one_mass(book_of: BookOf) -> None:
    for mass, asked in ((1.404, True), (MASSES[6], False), (MASSES[6] + 0.01, False)):
        rows = [[*row, mass if row[0] == 7 else None] for row in CONTENTS]
        path = book_of(Units=[["Unit", "Mass (g)"], *LIST], Assay=[["Unit", "Content (mg)", "Mass of part (g)"], *rows])
        assert ("weighs" in said(path)) is asked


@pytest.mark.parametrize("cells", [["Min", 1.404], ["Result", "FAIL"], ["S7: 68.3 %"], ["Unit 7 was 30 % light"]])
def test_a_small_sheet_is_told_whole(book_of: BookOf, cells: list[Any]) -> None:
    answer = said(book_of(Weights=[HEAD, *LIST], Notes=[cells]))
    assert " ".join(map(str, cells)) in answer


def test_what_stands_under_no_known_heading_of_other_sheets_is_told(book_of: BookOf) -> None:
    units = [["Unit", "Mass (g)"], *LIST]
    facts = [["Field", "Value"], ["Batch number", "7", 1.404], ["Rejected", "unit 9, 1.404 g"]]
    answer = said(book_of(Units=units, Batch=facts))
    assert "Batch!C2 1.404" in answer
    assert 'field "Rejected" "unit 9, 1.404 g"' in answer


@pytest.mark.parametrize(
    ("title", "answer"),
    [
        ("Unit 7: 30 % light", '"Unit 7: 30 % light" ignored'),
        ("# n=21", "n 21, but the masses read have 20"),
        ("Minimum: 1404 mg", "Minimum 1404, but the masses read have 2.07800"),
        ("Zinc suppositories 1000 mg", 'titles "Zinc suppositories 1000 mg" ignored'),
    ],
)
def test_a_title_that_is_about_a_unit_is_told(book_of: BookOf, title: str, answer: str) -> None:
    options = ReadOptions(form="suppositories")
    batch = read_batch(book_of(Sheet1=[[title], [], HEAD, *LIST]), options=options)
    assert answer in " | ".join(what_was_left(batch)[: never_cut(batch)])
    assert never_cut(batch) == 1


@pytest.mark.parametrize("word", ["Control", "Kontrolle", "Limit 5 %", "Target", "Mean"])
@pytest.mark.parametrize("light", [1, 5])
def test_masses_below_a_word_are_lost_in_no_order(book_of: BookOf, tmp_path: Path, word: str, light: int) -> None:
    masses = [[1.404 if number == light else mass] for number, mass in LIST]
    halves = [["Mass (g)"], *masses[:10], [word], *masses[10:]]
    assert said(book_of(Sheet1=halves)).startswith("refused")
    path = tmp_path / "list.txt"
    path.write_text("\n".join([word, "", *(f"{mass:.3f} g" for (mass,) in masses)]) + "\n")
    assert said(path).startswith("refused") or len(read_batch(path, options=OPTIONS).weighed) == 20


def test_a_remark_beside_a_grid_is_told(book_of: BookOf) -> None:
    grid = [[f"Mould {row + 1}", *MASSES[5 * row : 5 * row + 5], "OOS" if row == 1 else None] for row in range(4)]
    assert "OOS" in said(book_of(Sheet1=[["Mould / cavity", 1, 2, 3, 4, 5, "Remark"], *grid]))


@pytest.mark.parametrize(
    "text", ["Result: fails", "2 discarded", "Verworfen: 1 Stück", "Ne correspond pas: rejeté", "OOS"]
)
def test_a_title_that_something_was_wrong_is_told(book_of: BookOf, text: str) -> None:
    assert f'A1 "{text}" ignored' in said(book_of(Sheet1=[[text], [], HEAD, *LIST]))


@pytest.mark.parametrize(
    "rows", [[["Total", 41.35]], [["Summe 41,35 g"]], [["Total"], [41.35]]], ids=["beside", "in a text", "above"]
)
def test_a_sum_is_held_against_ours(book_of: BookOf, rows: list[list[Any]]) -> None:
    below = [[None, *row] for row in rows]
    assert "41.35, but the masses read have 42.01200" in said(book_of(Sheet1=[HEAD, *LIST, [], *below]))


@pytest.mark.parametrize("total", [round(sum(MASSES), 3), round(sum(MASSES), 1), len(MASSES)])
def test_a_sum_or_a_count_that_is_ours_is_not_told(book_of: BookOf, total: float) -> None:
    assert said(book_of(Sheet1=[HEAD, *LIST, [], ["Total", total]])) == ""


@pytest.mark.parametrize("line", ["Waage: 1,404", "Balance 1,404"])
def test_a_number_behind_a_label_over_the_lines_of_a_balance_is_asked(tmp_path: Path, line: str) -> None:
    path = tmp_path / "lines.txt"
    path.write_text("\n".join([line, "", *(f"{mass:.3f} g" for mass in MASSES)]))
    assert said(path).startswith("refused")


@pytest.mark.parametrize("head", [["Unit", "Gross (g)", "Tare (g)"], ["Zeit", "Brutto", "Tara"]])
@pytest.mark.parametrize(("light", "answer"), [(0.0, ""), (0.7, "refused")])
def test_gross_masses_on_another_sheet_are_held_against_the_net_ones(
    book_of: BookOf, head: list[str], light: float, answer: str
) -> None:
    names = list(range(1, 21)) if head[0] == "Unit" else [f"9:{number:02}" for number in range(20)]
    rows = [[name, round(mass + 10.5, 3), 10.5] for name, mass in zip(names, MASSES, strict=True)]
    rows[6][1] = round(rows[6][1] - light, 3)
    told = said(book_of(Units=[["Unit", "Mass (g)"], *LIST], Rohdaten=[head, *rows]))
    left = f'columns of sheet "Rohdaten": "{head[1]}" 12.578 to 12.622, "{head[2]}" 10.5 ignored'
    assert told.startswith(answer) if answer else told == left, told


def test_contents_that_may_be_those_of_two_lots_are_asked(book_of: BookOf) -> None:
    lots: dict[str, list[list[Any]]] = {"A": [["Unit", "Mass (g)"], *LIST], "B": [["Unit", "Mass (g)"], *LIST[::-1]]}
    path = book_of(**lots, Assay=[["Unit", "Content (mg)"], *CONTENTS])
    for name in lots:
        with pytest.raises(InputProblems, match="may be those of the units on"):
            read_batch(path, options=replace(OPTIONS, sheet=name))
    assert read_batch(book_of(**lots), options=replace(OPTIONS, sheet="B")).weighed[0].name == "20"


def test_other_files_in_a_folder_are_told(tmp_path: Path) -> None:
    (tmp_path / "units.csv").write_text("Unit,Mass (g)\n" + "\n".join(f"{name},{mass}" for name, mass in LIST))
    (tmp_path / "remarks.txt").write_text("unit 7: 1.404 g")
    assert said(tmp_path) == "remarks.txt file ignored"


def test_a_remark_under_an_unknown_heading_of_the_actives_is_told(book_of: BookOf) -> None:
    actives = [["Active", "Label claim (mg)", "Comment"], ["Zinc", 100, "first assay 68.3 %"]]
    path = book_of(Units=[["Unit", "Mass (g)"], *LIST], Actives=actives)
    batch = read_batch(path, options=replace(OPTIONS, label_mg=None))
    assert "first assay 68.3 %" in what_was_left(batch)[0]
    assert never_cut(batch) == 1


@pytest.mark.parametrize(
    "title",
    ["Serie 1", "Wägung 1", "28.11.2026", "20 Stück", "Giessform B", "Einwaage", "IPC", "Weighed 28/11/2026 09:30"],
)
def test_a_title_over_bare_masses_is_no_unit_gone_wrong(tmp_path: Path, title: str) -> None:
    path = tmp_path / "list.txt"
    path.write_text("\n".join([title, *(f"{mass:.3f}" for mass in MASSES)]))
    assert [float(unit.mass_g or 0) for unit in read_batch(path, options=OPTIONS).weighed] == MASSES


@pytest.mark.parametrize("title", ["21 Stück", "kaputt", "broken", "?", "Serie 1 verworfen 2"])
def test_what_may_be_a_unit_gone_wrong_over_bare_masses_is_asked_or_told(tmp_path: Path, title: str) -> None:
    path = tmp_path / "list.txt"
    path.write_text("\n".join([title, *(f"{mass:.3f}" for mass in MASSES)]))
    assert said(path)


@pytest.mark.parametrize(("title", "answer"), [("Zäpfchen 2 g", "Zäpfchen 2 set aside"), ("Zäpfchen 3 g", "refused")])
def test_a_title_with_the_mass_of_a_unit_is_told_or_asked(tmp_path: Path, title: str, answer: str) -> None:
    path = tmp_path / "list.txt"
    path.write_text("\n".join([title, *(f"{mass:.3f} g" for mass in MASSES)]))
    assert answer in said(path)


def test_a_strength_over_a_list_is_no_unit_of_mass(book_of: BookOf) -> None:
    book = book_of(Sheet1=[["Paracetamol 100 mg"], *LIST])
    assert [float(unit.mass_g or 0) for unit in read_batch(book, options=OPTIONS).weighed] == MASSES


@pytest.mark.parametrize("word", ["Median", "previous batch", "2nd weighing of row 4", "Vorgabe", "vorherige Charge"])
@pytest.mark.parametrize("beside", [True, False])
def test_a_word_that_makes_a_line_of_a_grid_no_units_is_asked(book_of: BookOf, word: str, beside: bool) -> None:
    grid: list[list[Any]] = [MASSES[at : at + 4] for at in range(0, 16, 4)]
    last = [2.091, 2.117, 2.085, 2.113]
    lines: list[list[Any]] = [*grid, [*last, word]] if beside else [*grid, last, [word]]
    assert said(book_of(Sheet1=[["Masses in g"], *lines])).startswith("refused")


@pytest.mark.parametrize("head", ["Seen", "Cavity", "Mould", "Operator"])
@pytest.mark.parametrize("word", ["Mean", "not counted", "placebo"])
def test_a_word_beside_a_mass_that_makes_it_no_unit_is_asked_in_any_column(
    book_of: BookOf, head: str, word: str
) -> None:
    rows = [[*row, None] for row in LIST]
    rows[12][2] = word
    assert said(book_of(Sheet1=[[*HEAD, head], *rows])).startswith("refused")


@pytest.mark.parametrize(("head", "full"), [("Cavity", True), ("Cavity", False), ("Mould", False)])
def test_a_place_that_weighs_like_a_unit_is_asked(book_of: BookOf, head: str, full: bool) -> None:
    rows = [[*row, row[1] if full else None] for row in LIST]
    rows[12][2] = 1.404
    assert "weighs like a unit" in said(book_of(Sheet1=[[*HEAD, head], *rows]))


def test_every_number_past_the_first_two_is_told_the_likest_first(book_of: BookOf) -> None:
    from qc.cli.terminal import _read

    rows = [["Mean", 9.9], ["SD", 0.3], ["Min", 1.402], ["Max", 5]]
    batch = read_batch(book_of(Sheet1=[HEAD, *LIST, [], *rows]), options=OPTIONS)
    lines = " ".join(" ".join(_read(batch)).split())
    assert lines.index("Min 1.402") < lines.index("9.9")
    assert all(number in lines for number in ("Min 1.402", "9.9", "0.3", "5 in")), lines


def test_a_few_numbers_under_any_heading_beside_the_units_are_told(book_of: BookOf) -> None:
    rows = [[*row, 3.1 if at in (2, 5, 7, 9) else None] for at, row in enumerate(LIST)]
    rows[12][2] = 1.404
    assert "C14 Tare (g) 1.404" in said(book_of(Sheet1=[[*HEAD, "Tare (g)"], *rows])).replace("Tare (g) 3.1", "")


def test_a_remark_of_weight_stands_before_the_others(book_of: BookOf) -> None:
    rows = [[*row, "cracked"] for row in LIST]
    rows[12][2] = "replaced by another"
    assert said(book_of(Sheet1=[[*HEAD, "Remark"], *rows])).startswith('C2:C21 unit 13, "replaced by a')


def test_a_sheet_of_remarks_is_told_by_what_was_wrong(book_of: BookOf) -> None:
    remarks = [[f"remark {at} of the day"] for at in range(12)]
    path = book_of(Units=[["Unit", "Mass (g)"], *LIST], Notes=[*remarks, ["the light one was exchanged"]])
    assert '"the light one was exchanged"' in said(path)


@pytest.mark.parametrize(
    ("field", "text", "answer"),
    [
        ("Deviation", "mould 2 was cold; 3 units thrown away", "3 units thrown away"),
        ("Storage", "one of them weighed 1.402", "weighed 1.402"),
        ("Weighed by", "MK (13 again)", "MK (13 again)"),
        ("Storage", "below 25 °C", ""),
        ("Product", "Paracetamol suppositories 100 mg", ""),
        ("Deviation", "DEV-22-014", ""),
    ],
)
def test_what_a_fact_of_the_batch_tells_of_units_is_told(book_of: BookOf, field: str, text: str, answer: str) -> None:
    told = said(book_of(Units=[["Unit", "Mass (g)"], *LIST], Batch=[["Field", "Value"], [field, text]]))
    assert answer in told
    assert answer or not told


@pytest.mark.parametrize("label", ["Min", "RSD %", "Sum"])
def test_a_grid_with_a_line_of_figures_is_read(book_of: BookOf, label: str) -> None:
    grid = [[name, *MASSES[at : at + 4]] for name, at in zip(range(1, 6), range(0, 20, 4), strict=True)]
    figures = {"Min": min, "RSD %": lambda cells: 1.0, "Sum": lambda cells: round(sum(cells))}
    last = [figures[label](MASSES[at::4]) for at in range(4)]
    batch = read_batch(book_of(Sheet1=[[None, *"ABCD"], *grid, [label, *last]]), options=OPTIONS)
    assert [float(unit.mass_g or 0) for unit in batch.weighed] == MASSES


def test_the_mean_of_all_blocks_below_the_last_one_is_a_figure(book_of: BookOf) -> None:
    rows = [[*left, None, *right] for left, right in zip(LIST[:10], LIST[10:], strict=True)]
    mean = round(sum(MASSES) / 20, 4)
    path = book_of(Sheet1=[[*HEAD, None, *HEAD], *rows, [], ["Average", None, None, None, mean]])
    assert len(read_batch(path, options=OPTIONS).weighed) == 20
    assert said(path) == ""


def test_what_a_text_says_is_told_wherever_it_stands_and_a_line_of_a_record_nowhere(book_of: BookOf) -> None:
    known = tomllib.loads((Path(__file__).parent / "remarks.toml").read_text(encoding="utf-8"))
    assert not [text for text in known["weighty"] if not may_tell(text)]
    assert sum(map(may_tell, known["harmless"])) <= 0.02 * len(known["harmless"])
    weighty, harmless = "13 replaced by a new one", "Storage below 25 °C"
    for text, answer in ((weighty, weighty[:20]), (harmless, f'titles "{harmless}" ignored')):
        for rows in ([[text], [], HEAD, *LIST], [HEAD, *LIST, [], [text]], [[None, None, None, text], HEAD, *LIST]):
            told = said(book_of(Sheet1=rows))
            assert answer in told
            assert text is weighty or told in (answer, "")


@pytest.mark.parametrize("remark", ["weighed with foil", "gross", "corrected for recovery", "estimated"])
def test_what_is_said_of_all_units_alike_is_asked_as_in_a_title(book_of: BookOf, remark: str) -> None:
    rows = [[*row, remark] for row in LIST]
    contents = [[*row, remark] for row in CONTENTS]
    units = [["Unit", "Mass (g)"], *LIST]
    assert said(book_of(Sheet1=[[*HEAD, "Remark"], *rows])).startswith("refused")
    assert said(book_of(Units=units, Assay=[["Unit", "Content (mg)", "Remark"], *contents])).startswith("refused")
    named = [[f"{remark} {number}", mass] for number, mass in LIST]
    assert said(book_of(Sheet1=[HEAD, *named])).startswith("refused")
    assert said(book_of(Sheet1=[[*HEAD, "Remark"], *([*row, "ok"] for row in LIST)])) == ""


@pytest.mark.parametrize("word", ["fail", "n.i.O.", "non conforme", "niet akkoord"])
def test_a_unit_that_was_found_wanting_by_eye_is_told(book_of: BookOf, word: str) -> None:
    rows = [[*row, word if row[0] == 13 else "ok"] for row in LIST]
    told = said(book_of(Sheet1=[[*HEAD, "Visual"], *rows]))
    assert "unit 13" in told or told.startswith("refused")


def test_what_the_call_leaves_is_told_with_its_numbers(book_of: BookOf) -> None:
    other = [[number, 1.404 if number == 7 else mass] for number, mass in LIST]
    book = book_of(W=[HEAD, *LIST], Second=[HEAD, *other])
    batch = read_batch(book, options=replace(OPTIONS, sheet="W", label_mg=None))
    assert "Second!A1:B21 20 numbers, 1.404 to 2.12" in what_was_left(batch, short=False)[0]
    blocks = [["Before"], HEAD, *other, [], [], ["After"], HEAD, *LIST]
    batch = read_batch(book_of(Sheet1=blocks), options=replace(OPTIONS, batch="After", label_mg=None))
    assert "of another batch 20 masses, 1.404 to 2.122" in what_was_left(batch, short=False)[0]


def test_names_that_weigh_like_units_or_say_more_than_the_others_are_asked_and_gaps_told(book_of: BookOf) -> None:
    assert "weighs like a unit" in said(book_of(Sheet1=[HEAD, *([round(mass - 0.003, 3), mass] for mass in MASSES)]))
    named = [[f"unit {number}", mass] for number, mass in LIST]
    assert said(book_of(Sheet1=[HEAD, *named])) == ""
    named[12][0] = "unit 13 new"
    assert said(book_of(Sheet1=[HEAD, *named])).startswith("refused")
    skipped = [[number + (number > 12), mass] for number, mass in LIST]
    assert "no unit 13 between 1 and 21" in said(book_of(Sheet1=[HEAD, *skipped]))


def test_what_was_told_is_told_of_the_workbook_written_from_it(book_of: BookOf, tmp_path: Path) -> None:
    from qc.jobs.sheet import write_sheet
    from qc.say.read_back import note_with_what_was_told

    book = book_of(Sheet1=[HEAD, *LIST, [], ["Min", 1.404], [], ["unit 13 replaced"]])
    batch = read_batch(book, options=replace(OPTIONS, label_mg=None))
    write_sheet(tmp_path / "entered.xlsx", batch=replace(batch, note=note_with_what_was_told(batch)))
    again = read_batch(tmp_path / "entered.xlsx", options=replace(OPTIONS, label_mg=None))
    told = " ".join(what_was_left(again, short=False)[: never_cut(again)])
    assert "Min 1.404" in told
    assert "unit 13 replaced" in told


def test_a_note_of_our_own_sheet_stands_in_the_workbook_written_from_it_as_it_was() -> None:
    from qc.say.read_back import note_with_what_was_told

    batch = read_batch(Path(__file__).parents[2] / "sample_data" / "folder-of-csv")
    assert batch.note == "Three units were cut in tip, middle and end."
    assert batch.read is not None
    assert any(batch.note in one.said for one in batch.read.ignored)
    assert note_with_what_was_told(batch) == batch.note


def test_the_units_of_each_batch_may_count_from_nought(tmp_path: Path) -> None:
    rows = [f"{batch},{number},{1.99 + number / 1000:.3f}" for batch in "AB" for number in range(20)]
    path = tmp_path / "two.csv"
    path.write_text("\n".join(["Batch,Unit,Mass (g)", *rows]), encoding="utf-8")
    for batch in "AB":
        assert len(read_batch(path, options=replace(OPTIONS, batch=batch)).units) == 20
    with pytest.raises(InputProblems, match=r"20 rows.*20 rows"):
        read_batch(path, options=OPTIONS)
    path.write_text("\n".join(["Batch,Unit,Mass (g)", *rows[1:20], "A,0,2.000"]), encoding="utf-8")
    with pytest.raises(InputProblems, match="named otherwise"):
        read_batch(path, options=OPTIONS)


def test_a_mass_of_four_decimals_is_no_month(tmp_path: Path) -> None:
    rows = [f"u{number},{1.99 + number / 1000:.4f}" for number in range(20)]
    (tmp_path / "units.csv").write_text("\n".join(["Unit,Mass (g)", *rows]), encoding="utf-8")
    batch = read_batch(tmp_path / "units.csv", options=OPTIONS)
    assert not [one for one in what_was_left(batch, short=False) if "day" in one]


@pytest.mark.parametrize(
    ("sheet", "row"),
    [
        ("Checks", {"Note": "unit 21 was 1.404 g, thrown away"}),
        ("Batch", {"Weighed on": "unit 21 was 1.404 g, thrown away"}),
        ("Batch", {"Remark": "one more was half filled and thrown away"}),
    ],
)
def test_known_and_unknown_facts_tell_what_they_say_of_units(book_of: BookOf, sheet: str, row: dict[str, str]) -> None:
    checks = [["Check", "Result", "Limit", *row], ["Friability", "1 %", "at most 2 %", *row.values()]]
    facts = [["Field", "Value"], *map(list, row.items())]
    units = [["Unit", "Mass (g)"], *LIST]
    assert "thrown away" in said(book_of(Units=units, **{sheet: checks if sheet == "Checks" else facts})).replace(
        "…", ""
    )


def test_a_second_column_that_counts_units_is_asked(book_of: BookOf) -> None:
    rows = [[*row, 1 + row[0] % 3] for row in LIST]
    assert "how many units each row is" in said(book_of(Sheet1=[["Unit", "Mass (g)", "No. of units"], *rows]))


@pytest.mark.parametrize("decimals", [0, 1, 2, 3])
@pytest.mark.parametrize("way", ["deviation", "without sign", "of the mean"])
def test_rounded_deviations_of_a_batch_with_a_poor_unit_are_read(book_of: BookOf, decimals: int, way: str) -> None:
    masses = [1.404 if at == 6 else mass for at, mass in enumerate(MASSES)]
    shares = [100 * mass * len(masses) / sum(masses) for mass in masses]
    told = {
        "deviation": lambda one: one - 100,
        "without sign": lambda one: abs(one - 100),
        "of the mean": lambda one: one,
    }
    column = [round(told[way](share), decimals) for share in shares]
    rows = [[number, mass, one] for number, (mass, one) in enumerate(zip(masses, column, strict=True), start=1)]
    head = "% of mean" if way == "of the mean" else "Deviation (%)"
    assert len(read_batch(book_of(Sheet1=[[*HEAD, head], *rows]), options=OPTIONS).weighed) == 20
    rows[6][1] = 2.011
    if decimals:
        assert "does not follow from the mass" in said(book_of(Sheet1=[[*HEAD, head], *rows]))


@pytest.mark.parametrize("sheet", ["Units", "Batch", "Actives", "Assay", "Checks"])
def test_a_line_over_a_known_table_is_told(book_of: BookOf, sheet: str) -> None:
    text = "unit 21 was 1.404 g, thrown away"
    sheets: dict[str, list[list[Any]]] = {
        "Units": [["Unit", "Mass (g)"], *LIST],
        "Batch": [["Field", "Value"], ["Made by", "A"]],
        "Actives": [["Active", "Label claim (mg)"], ["Zinc", 100]],
        "Assay": [["Unit", "Content (mg)"], *CONTENTS],
        "Checks": [["Check", "Result", "Limit"], ["Friability", "1 %", "at most 2 %"]],
    }
    sheets[sheet] = [[text], *sheets[sheet]]
    try:
        batch = read_batch(book_of(**sheets), options=replace(OPTIONS, label_mg=None))
    except InputProblems:
        return
    assert "thrown away" in " ".join(what_was_left(batch, short=False)[: never_cut(batch)])


@pytest.mark.parametrize("figure", [statistics.fmean, sum, min, max, statistics.stdev])
@pytest.mark.parametrize("apart", [True, False])
def test_a_figure_of_the_part_of_a_list_above_it_is_ours(
    book_of: BookOf, figure: Callable[[list[float]], float], *, apart: bool
) -> None:
    label = {"fmean": "Mean", "sum": "Sum", "min": "Min", "max": "Max", "stdev": "SD"}[figure.__name__]
    halves = [LIST[:10], LIST[10:]]
    rows = []
    for at, half in enumerate(halves):
        rows += [*map(list, half), [label, round(figure([mass for _, mass in half]), 3)]]
        rows += [[]] if apart and not at else []
    assert len(read_batch(book_of(Sheet1=[["Unit", "Mass (g)"], *rows]), options=OPTIONS).weighed) == 20
    assert "changed or missed" not in said(book_of(Sheet1=[["Unit", "Mass (g)"], *rows]))
    rows[10][1] = rows[10][1] + 0.05
    told = said(book_of(Sheet1=[["Unit", "Mass (g)"], *rows]))
    assert "but the masses read have" in told or "no figure of the others" in told


@pytest.mark.parametrize("text", ["21 = 1.4", "1.4?", "(1.4)", "21: 1,4", "no 21 1.4", "21 -> 1.4 g", "unit 21 1.4 g"])
@pytest.mark.parametrize("at", [(0, 0), (0, 3), (3, 3)])
def test_numbers_alone_are_asked_wherever_they_stand(book_of: BookOf, text: str, at: tuple[int, int]) -> None:
    rows: list[list[Any]] = [["Weights"], HEAD, *map(list, LIST)]
    row, column = at
    rows[row] += [None] * (column - len(rows[row])) + [text] if column else []
    rows = rows if column else [[text], *rows]
    assert said(book_of(Sheet1=rows)).startswith("refused")


@pytest.mark.parametrize("text", ["Supp. 2.0 g", "v1.4", "SOP 4.2", "Paracetamol 1.5 g supp", "Form 2.1"])
def test_a_title_with_a_size_or_a_version_is_none(book_of: BookOf, text: str) -> None:
    assert "refused" not in said(book_of(Sheet1=[[text], HEAD, *LIST]))


@pytest.mark.parametrize("gap", [0, 1])
def test_a_mass_in_mg_below_the_names_is_no_unit(book_of: BookOf, gap: int) -> None:
    assert "weighs like one in mg" in said(book_of(Sheet1=[HEAD, *LIST, *[[]] * gap, [1400]]))
    running = [[2000 + number, mass] for number, mass in LIST]
    assert "refused" not in said(book_of(Sheet1=[HEAD, *running, [2021]]))


@pytest.mark.parametrize(
    "head", ["Number of units", "No. of units", "Nombre d'unités", "Número de unidades", "Numero di unità", "Aantal"]
)
@pytest.mark.parametrize("first", [True, False])
def test_how_many_units_each_row_is_names_none(book_of: BookOf, head: str, first: bool) -> None:
    rows = [["Mass (g)", head], [2.104, 14], [2.118, 5], [2.092, 1]]
    assert "how many units each row is" in said(book_of(Sheet1=[row[::-1] for row in rows] if first else rows))


@pytest.mark.parametrize("head", ["Target", "Nominal mass (g)", "Soll", "Tare (g)", "Tara", "Objetivo"])
def test_masses_under_a_word_for_another_mass_are_asked(book_of: BookOf, head: str) -> None:
    rows = [[*row, round(row[1] * (0.7 if row[0] == 7 else 1.001) + row[0] % 5 / 1000, 3)] for row in LIST]
    assert "differ from row to row as masses do" in said(book_of(Sheet1=[[*HEAD, head], *rows]))
    assert "refused" not in said(book_of(Sheet1=[[*HEAD, head], *([*row, 2.1] for row in LIST)]))
    dishes = [[*row, round(row[1] + 2.2 + row[0] % 5 / 1000, 3), round(2.2 + row[0] % 5 / 1000, 3)] for row in LIST]
    assert "refused" not in said(book_of(Sheet1=[["No", "Net (g)", "Gross (g)", "Tare (g)"], *dishes]))


@pytest.mark.parametrize(
    "head",
    [
        ["No", "Content (mg)"],
        ["Nr", "Gehalt (mg)"],
        ["Zäpfchen", "Gehalt (% Deklaration)"],
        ["N°", "Teneur (mg)"],
        ["Muestra", "Contenido (mg)"],
        ["Campione", "Contenuto (mg)"],
        ["Amostra", "Teor (mg)"],
        ["Monster", "Gehalte (mg)"],
        ["Próbka", "Zawartość (mg)"],
    ],
)
def test_contents_without_masses_are_read_in_any_words(book_of: BookOf, head: list[str]) -> None:
    rows = [["Assay of the batch"], [], head, *CONTENTS, ["Mean", 99.7]]
    batch = read_batch(book_of(Sheet1=rows), options=OPTIONS)
    assert [float(one.content_mg or one.content_percent or 0) for one in batch.assays] == [
        content for _, content in CONTENTS
    ]
    # Per cent of nothing that is said is of the label where it lies near it, and that is told.
    assert "contents as % of label" in said(book_of(Sheet1=[[head[0], "Content (%)"], *CONTENTS]))
    of_mass = [[unit, content / 16] for unit, content in CONTENTS]
    assert "Content (% of label)" in said(book_of(Sheet1=[[head[0], "Content (%)"], *of_mass]))


def test_the_row_and_the_column_of_a_cavity_are_neither_masses_nor_batches(book_of: BookOf) -> None:
    for names in ("ABCD", "1234"):
        rows = [[names[at // 5], at % 5 + 1, mass] for at, mass in enumerate(MASSES)]
        assert "refused" not in said(book_of(Sheet1=[["Row", "Column", "Mass (g)"], *rows]))


@pytest.fixture(scope="module")
def own_workbook(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Our own workbook with masses typed into it, of which nothing is told."""
    path = tmp_path_factory.mktemp("own") / "own.xlsx"
    write_sheet(path)
    book = load_workbook(path)
    for row, mass in enumerate(MASSES, start=1):
        head = next(cell for line in book["Units"].iter_rows() for cell in line if cell.value == "Mass (g)")
        book["Units"].cell(head.row + row, head.column, mass)
    book.save(path)
    assert said(path) == ""
    return path


@pytest.mark.parametrize("sheet", ["Units", "Batch", "Actives", "Assay", "Checks"])
@pytest.mark.parametrize("below", [True, False])
def test_lines_in_our_own_workbook_are_told(own_workbook: Path, tmp_path: Path, sheet: str, below: bool) -> None:
    book, path = load_workbook(own_workbook), tmp_path / "own.xlsx"
    page = book[sheet]
    page.cell(page.max_row + 2 if below else 1, 1 if below else page.max_column + 1, "unit 25 was thrown away")
    book.save(path)
    # Below the actives it would be one more of them.
    assert any(one in said(path) for one in ("thrown away", "refused"))


@pytest.mark.parametrize(
    ("sheet", "rows"),
    [
        ("Actives", [["Active", "Label claim (mg)", "Lot"], ["Zinc", 100, "unit 21 thrown away, 1.404 g"]]),
        ("Cavities", [["Mould", "Cavity", "Base mass (g)"], ["A", "unit 21 thrown away", 2.0]]),
        ("Checks", [["Check", "Result", "Limit"], ["Friability", "1 %, unit 21 thrown away", "at most 2 %"]]),
        ("Batch", [["Field", "Value"], ["unit 21 thrown away", None]]),
    ],
)
def test_remarks_in_known_fields_are_told(book_of: BookOf, sheet: str, rows: list[list[Any]]) -> None:
    options = replace(OPTIONS, label_mg=None if sheet == "Actives" else Decimal(100))
    batch = read_batch(book_of(Units=[["Unit", "Mass (g)"], *LIST], **{sheet: rows}), options=options)
    assert "thrown away" in " ".join(what_was_left(batch, short=False)[: never_cut(batch)])


def grid_of(corner: str, masses: list[float]) -> list[list[Any]]:
    return [[corner, 1, 2, 3, 4, 5], *([row, *masses[5 * at : 5 * at + 5]] for at, row in enumerate("ABCD"))]


def test_the_corner_of_a_grid_names_its_mould_or_its_batch(book_of: BookOf) -> None:
    other = [round(mass + 0.004, 3) for mass in reversed(MASSES)]
    moulds = read_batch(book_of(Week=[*grid_of("Mould A", MASSES), [], *grid_of("Mould B", other)]), options=OPTIONS)
    assert {unit.mould for unit in moulds.units} == {"Mould A", "Mould B"}
    book = book_of(Week=[*grid_of("Lot A1", MASSES), [], *grid_of("Lot A2", other)])
    assert '--batch "Lot A1" or --batch "Lot A2"' in said(book)
    one = read_batch(book, options=replace(OPTIONS, batch="Lot A2"))
    assert [float(unit.mass_g or 0) for unit in one.units] == other
    with pytest.raises(InputProblems, match='tables of "Lot A1" and of "Lot A2" lie in B2:F11'):
        read_batch(book, options=replace(OPTIONS, sheet="Week!B2:F11"))


@pytest.mark.parametrize(
    "text",
    ["mean of three", "without tare", "Leercharge", "halb", "page 1 of 2", "Ausschuss", "mass of two each", "doppelt"],
)
@pytest.mark.parametrize("where", ["above", "below", "beside the title", "behind a label"])
def test_a_title_is_told_in_its_own_words(book_of: BookOf, text: str, where: str) -> None:
    rows: dict[str, list[list[Any]]] = {
        "above": [[text], [], HEAD, *LIST],
        "below": [HEAD, *LIST, [], [text]],
        "beside the title": [["Weights", None, text], [], HEAD, *LIST],
        "behind a label": [["Remark", text], [], HEAD, *LIST],
    }
    answer = said(book_of(Sheet1=rows[where]))
    assert text in answer or answer.startswith("refused")


def test_facts_of_a_record_with_their_values_are_not_told(book_of: BookOf) -> None:
    head = [["Weighed by:", "K. L."], ["Date", "12.11.2026"], ["Balance", "B1"], ["Uniformity of mass"]]
    assert said(book_of(Sheet1=[*head, HEAD, *LIST])) == 'titles "Uniformity of mass" ignored'


def test_a_unit_without_a_mass_among_the_others_is_told(book_of: BookOf) -> None:
    rows = [row if row[0] != 9 else [9, None] for row in LIST]
    assert "no mass of unit 9" in said(book_of(Sheet1=[HEAD, *rows]))


def test_names_that_say_which_batch_or_what_was_weighed_are_not_passed_over(book_of: BookOf) -> None:
    named = [[f"Batch {'AB'[at > 10]} {at}", mass] for at, mass in LIST]
    assert "name two batches" in said(book_of(Sheet1=[HEAD, *named]))
    assert "mean of three" in said(book_of(Sheet1=[HEAD, *([f"{at} mean of three", mass] for at, mass in LIST)]))
    assert said(book_of(Sheet1=[HEAD, *([f"Suppository {at}", mass] for at, mass in LIST)])) == ""


def test_what_the_name_of_a_sheet_says_is_told(book_of: BookOf) -> None:
    assert "balance was not tared" in said(book_of(**{"balance was not tared": [HEAD, *LIST]}))
    assert said(book_of(**{"Week 12": [HEAD, *LIST]})) == ""


@pytest.mark.parametrize("head", ["% of nominal", "% du nominal", "% of target", "% nominal"])
def test_the_mass_in_percent_of_a_nominal_one_is_no_content(book_of: BookOf, head: str) -> None:
    rows = [[*row, round(100 * row[1] / 2.1, 1)] for row in LIST]
    batch = read_batch(book_of(Sheet1=[[*HEAD, head], *rows]), options=OPTIONS)
    assert not batch.assays
    claimed = read_batch(book_of(Sheet1=[[*HEAD, "% of label claim"], *([*row, 99 + row[0] % 4] for row in LIST)]))
    assert len(claimed.assays) == 20


@pytest.mark.parametrize("head", ["Tare (g)", "Foil (g)", "Tara"])
def test_a_tare_beside_masses_that_may_be_gross_is_told(book_of: BookOf, head: str) -> None:
    rows = [[*row, 0.312] for row in LIST]
    assert "beside masses read as net" in read_in_full(book_of(Sheet1=[[*HEAD, head], *rows]))
    assert "read as net" not in read_in_full(book_of(Sheet1=[["No", "Net (g)", head], *rows]))


def read_in_full(path: Path) -> str:
    batch = read_batch(path, options=OPTIONS)
    return " | ".join(what_was_left(batch, short=False)[: never_cut(batch)])


def test_titles_of_one_batch_over_two_blocks_part_nothing(book_of: BookOf) -> None:
    rows = [[*left, None, *right] for left, right in zip(LIST[:10], LIST[10:], strict=True)]
    titles = ["Zinc suppositories", None, None, "LOT 77"]
    assert len(read_batch(book_of(Sheet1=[titles, [*HEAD, None, *HEAD], *rows]), options=OPTIONS).weighed) == 20
    stacked = [["Start of pour"], HEAD, *LIST[:10], [], ["End of pour"], HEAD, *LIST[10:]]
    assert len(read_batch(book_of(Sheet1=stacked), options=OPTIONS).weighed) == 20
    two = ["Lot 76", None, None, "Lot 77"]
    assert said(book_of(Sheet1=[two, [*HEAD, None, *HEAD], *rows])).startswith("refused")


@pytest.mark.parametrize("place", ["Mould", "Cavity"])
def test_a_place_that_names_two_batches_is_none(book_of: BookOf, place: str) -> None:
    rows = [[*row, f"batch {1 + row[0] // 11}"] for row in LIST]
    assert "name two batches" in said(book_of(Sheet1=[[*HEAD, place], *rows]))


@pytest.mark.parametrize("line", ["N 1.404 g ?", "N 1.404 g LOW", "N 1.404 g void"])
def test_a_net_mass_that_something_is_said_of_is_no_count(table_of: Callable[..., Path], line: str) -> None:
    lines = [f"N {mass} g" for mass in MASSES]
    path = table_of("\n".join([*lines[:9], line, *lines[9:]]), name="units.txt")
    assert said(path).startswith("refused")


@pytest.mark.parametrize("line", ["100 mg", "10 %", "ID 12", "#12", "12", "Plain base", "2 pcs each", "Unstable"])
def test_a_line_over_or_among_the_units_is_told(table_of: Callable[..., Path], book_of: BookOf, line: str) -> None:
    printed = [f"{number:3}  {mass:.3f} g" for number, mass in LIST]
    among = table_of("\n".join([line, *printed[:10], line.replace("1", "3"), *printed[10:]]), name="units.txt")
    below = book_of(Sheet1=[HEAD, *LIST, [], [line]])
    assert all(line in said(path) or said(path).startswith("refused") for path in (among, below))


@pytest.mark.parametrize("word", ["Lot", "Lot:", "Lote", "Sample", "Probe", "Nr serii"])
def test_letters_over_two_blocks_are_told(book_of: BookOf, word: str) -> None:
    rows = [[*left, None, *right] for left, right in zip(LIST[:10], LIST[10:], strict=True)]
    titles = [f"{word} A", None, None, f"{word} B"]
    assert f'"{word} A", "{word} B"' in said(book_of(Sheet1=[titles, [*HEAD, None, *HEAD], *rows]))


def test_facts_and_headings_are_no_lines_among_the_units(book_of: BookOf) -> None:
    rows = [["Batch", 77], HEAD, *LIST, ["Mean", statistics.mean(MASSES)]]
    assert said(book_of(Sheet1=rows)) == ""


def test_two_dosage_forms_are_no_moulds(book_of: BookOf) -> None:
    rows = [[*row, "suppository" if row[0] < 11 else "pessary"] for row in LIST]
    assert "dosage forms" in said(book_of(Sheet1=[[*HEAD, "Form"], *rows]))
    rows = [[*row, "Form 1" if row[0] < 11 else "Form 2"] for row in LIST]
    assert not said(book_of(Sheet1=[[*HEAD, "Form"], *rows])).startswith("refused")


@pytest.mark.parametrize(("first", "then", "refused"), [("T0", "T6", True), ("D1", "D30", True), ("A", "B", False)])
def test_masses_of_one_unit_are_not_those_of_two(book_of: BookOf, first: str, then: str, refused: bool) -> None:
    rows = [[number, MASSES[number - 1], MASSES[-number]] for number in range(1, 11)]
    told = said(book_of(Sheet1=[["Unit", f"{first} (g)", f"{then} (g)"], *rows]))
    assert ("several masses of it" in told) == refused


def test_a_text_box_on_another_sheet_is_asked(tmp_path: Path) -> None:
    book = xlsxwriter.Workbook(path := tmp_path / "units.xlsx")
    sheet, other = book.add_worksheet("Weights"), book.add_worksheet("Info")
    for at, row in enumerate([HEAD, *LIST]):
        sheet.write_row(at, 0, row)
    other.write(0, 0, "Info")
    other.insert_textbox(3, 3, "All weights invalid, see new file")
    book.close()
    assert "All weights invalid" in said(path)


LONG = "Suppositoires du 3 mai, pesés par K. Lang et notés par M. Morel, "


@pytest.mark.parametrize("said_of_it", ["lot refusé", "Charge gesperrt", "seria odrzucona", "lotto respinto"])
def test_a_long_text_is_told_by_what_it_says_was_wrong_and_kept_whole(book_of: BookOf, said_of_it: str) -> None:
    for rows in ([[LONG + said_of_it], [], HEAD, *LIST], [HEAD, *LIST, [], [LONG + said_of_it]]):
        path = book_of(Sheet1=rows)
        assert f'"\u2026{said_of_it}"' in said(path)
        batch = read_batch(path, options=OPTIONS)
        assert LONG + said_of_it in " ".join(what_was_left(batch, short=False))
        assert batch.read is not None
        assert LONG + said_of_it in " ".join(one.said for one in (*batch.read.ignored, *batch.read.set_aside))


def test_of_a_text_past_a_thousand_characters_the_rest_is_counted(book_of: BookOf) -> None:
    batch = read_batch(book_of(Sheet1=[["ab " * 400], [], HEAD, *LIST]), options=OPTIONS)
    assert '\u2026" (199 more characters) ignored' in " ".join(what_was_left(batch, short=False))


def test_words_of_a_record_stand_whole_in_the_full_answer(book_of: BookOf) -> None:
    batch = read_batch(book_of(Sheet1=[[*HEAD, "At"], *([*row, "10:15"] for row in LIST)]), options=OPTIONS)
    assert what_was_left(batch)[-1:] == ("C1:C21 text ignored",)
    assert what_was_left(batch, short=False)[-1:] == ('C1:C21 text "At", "10:15" ignored',)


def test_a_text_out_of_use_is_refused_however_long_it_is(book_of: BookOf) -> None:
    assert said(book_of(Sheet1=[[LONG + "ungültig"], [], HEAD, *LIST])).startswith("refused")


@pytest.mark.parametrize("title", ["all in dg", "Einheit: kg", "in carats", "unit: cg", "alles in Karat"])
def test_a_strange_unit_of_mass_in_a_title_is_refused(book_of: BookOf, title: str) -> None:
    assert said(book_of(Sheet1=[[title], [], HEAD, *LIST])).startswith("refused")


def test_the_initials_of_who_weighed_are_no_unit_of_mass(book_of: BookOf) -> None:
    assert not said(book_of(Sheet1=[["Weighed by: CG"], [], HEAD, *LIST])).startswith("refused")


@pytest.mark.parametrize(
    ("heading", "text", "told"),
    [
        ("Method", "2 per weighing", 'columns "Method" "2 per weighing" ignored'),
        ("Product", "Capsules", 'columns "Product" "Capsules" ignored'),
        ("Operator", "K. Lang", ""),
    ],
)
def test_what_a_column_says_of_every_unit_is_told(book_of: BookOf, heading: str, text: str, told: str) -> None:
    assert said(book_of(Sheet1=[[*HEAD, heading], *([*row, text] for row in LIST)])) == told
