"""Words, signs and numbers among the units or beside them: whatever could be a weighing is read or refused."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import xlsxwriter
from openpyxl import Workbook
from openpyxl.chart import LineChart
from openpyxl.comments import Comment

from qc.problems import InputProblems
from qc.readers.options import ReadOptions
from qc.readers.read import read_batch
from qc.say.read_back import never_cut, what_was_left

pytestmark = pytest.mark.usefixtures("past_the_file")
BookOf = Callable[..., Path]
TableOf = Callable[..., Path]
MASSES = [round(2.1 + (number * 7 % 24 - 12) / 500, 3) for number in range(1, 25)]
LIST: list[list[Any]] = [[number, mass] for number, mass in enumerate(MASSES, start=1)]
HEAD = ["No", "Mass (g)"]
OPTIONS = ReadOptions(form="suppositories")
LIGHT = 1.5


def told(path: Path, options: ReadOptions = OPTIONS) -> str:
    """What refuses the file; empty where it is read."""
    try:
        read_batch(path, options=options)
    except InputProblems as refused:
        return " ".join(map(str, refused.problems))
    return ""


@pytest.mark.parametrize("label", ["N", "x", "R", "T", "SD", "Max", "Mean", "Target", "Limit"])
@pytest.mark.parametrize("line", ["{n:>3}   {mass:.3f} g", "{n};{mass:.3f}"])
def test_what_weighs_like_a_unit_among_the_units_is_set_aside_by_no_word(
    table_of: TableOf, label: str, line: str
) -> None:
    rows = [line.format(n=number, mass=mass) for number, mass in LIST]
    rows[4] = line.format(n=label, mass=LIGHT)
    said = told(table_of("\n".join(rows), "print.txt" if " g" in line else "units.csv"))
    assert f"{LIGHT:.3f}" in said
    assert "is as much as a unit weighs, and no figure of the others" in said or "stands among" in said


def test_a_net_sign_without_a_unit_of_mass_is_no_count(table_of: TableOf) -> None:
    rows = [f"N     +   {mass:.3f} g" for mass in MASSES]
    rows[4] = f"N     +   {LIGHT:.3f}"
    assert '"N  +  1.500" stands among the masses' in told(table_of("\n".join(rows), "print.txt"))


def test_the_mean_of_each_mould_between_the_moulds_is_set_aside(book_of: BookOf) -> None:
    halves = (LIST[:12], LIST[12:])
    means = [["Mean", round(sum(mass for _, mass in half) / 12, 4)] for half in halves]
    path = book_of(Sheet1=[HEAD, *halves[0], means[0], *halves[1], means[1]])
    assert len(read_batch(path, options=OPTIONS).weighed) == 24


@pytest.mark.parametrize("sign", ["unstable", "S D", "D", "?", "instabil", "inestable", "ERR"])
@pytest.mark.parametrize("usual", ["stable", "S", ""])
def test_a_reading_that_the_balance_calls_unstable_is_refused(table_of: TableOf, sign: str, usual: str) -> None:
    rows = [f"{number};{mass:.3f};{sign if number == 5 else usual}" for number, mass in LIST]
    said = told(table_of("\n".join(["No;Mass (g);Status", *rows])))
    assert "C6" in said
    assert "says that the balance was not at rest" in said


@pytest.mark.parametrize(("usual", "other"), [("OK", "NOK"), ("*", ""), ("pass", "fail"), ("A", "B")])
def test_what_is_said_of_most_units_and_not_of_all_is_refused(table_of: TableOf, usual: str, other: str) -> None:
    rows = [f"{number};{mass:.3f};{other if number == 5 else usual}" for number, mass in LIST]
    assert "the same is not said of all" in told(table_of("\n".join(["No;Mass (g);Check", *rows])))
    assert told(table_of("\n".join(["No;Mass (g);Operator", *rows]))) == ""
    same = [f"{number};{mass:.3f};{usual}" for number, mass in LIST]
    assert told(table_of("\n".join(["No;Mass (g);Check", *same]))) == ""


@pytest.mark.parametrize("said", [False, "FAIL", "ausgeschieden", "\u00c9cart\u00e9", "scartato", "falsch"])
def test_an_answer_beside_one_unit_alone_is_refused(book_of: BookOf, said: object) -> None:
    rows = [[*row, said if row[0] == 5 else (True if said is False else None)] for row in LIST]
    assert "the same is not said of all" in told(book_of(Sheet1=[[*HEAD, "Taken"], *rows]))


def test_a_word_beside_one_unit_under_an_unknown_heading_is_told(book_of: BookOf) -> None:
    rows = [[*row, "drifting somewhat" if row[0] == 5 else None] for row in LIST]
    batch = read_batch(book_of(Sheet1=[[*HEAD, "Situation"], *rows]), options=OPTIONS)
    assert [one.text for one in batch.notices if "beside" in one.text] == [
        'Read what stands beside some of the units: "drifting somewhat".'
    ]


@pytest.mark.parametrize("word", ["Assay", "Gehalt", "Weighed again", "Mean", "Total", "n", "Titolo"])
def test_a_title_among_the_units_is_no_figure_without_its_number(book_of: BookOf, word: str) -> None:
    path = book_of(Sheet1=[HEAD, *LIST, [], [word], *([number, 1.98] for number in range(25, 31))])
    assert f'"{word}" stands among the masses' in told(path)


@pytest.mark.parametrize("word", ["Date", "Operator", "Weighed again", "Mean", "Tare", "Gross", "Target"])
@pytest.mark.parametrize("gap", [True, False])
def test_units_that_go_on_below_a_word_over_the_masses_are_not_dropped(book_of: BookOf, word: str, gap: bool) -> None:
    rows = [HEAD, *LIST, *([[]] if gap else []), [None, word], [25, LIGHT], [26, 2.1]]
    assert f'"{word}"' in told(book_of(Sheet1=rows))


@pytest.mark.parametrize("word", ["Mean", "SD", "n"])
def test_a_unit_with_its_number_below_such_a_word_is_no_figure(book_of: BookOf, word: str) -> None:
    assert "could be masses (1.5)" in told(book_of(Sheet1=[HEAD, *LIST, [None, word], [5, LIGHT]]))


def test_another_weighing_under_the_name_of_a_balance_is_not_left_out(book_of: BookOf) -> None:
    rows = [["Unit", "Mass (g)", "Balance 2"], *([*row, LIGHT if row[0] == 5 else None] for row in LIST)]
    for sheet in ("Units", "Week 3"):
        assert 'under "Balance 2" were not read' in told(book_of(**{sheet: rows}))


GROSS = [["No", "Gross (g)", "Tare (g)", "Net (g)"], *([number, mass + 1, 1, mass] for number, mass in LIST)]


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ([5, 2.5, 1, None], "has no net mass"),
        ([5, 2.5, None, None], "has no net mass"),
        ([5, 2.5, 1, 2.072], 'less the tare "1" is 1.5, and the net mass beside them is "2.072"'),
    ],
)
def test_gross_tare_and_net_that_contradict_each_other_are_refused(book_of: BookOf, row: list[Any], said: str) -> None:
    assert told(book_of(Sheet1=GROSS)) == ""
    assert said in told(book_of(Sheet1=[*GROSS[:5], row, *GROSS[6:]]))
    if row[3] is None:
        assert said in told(book_of(Sheet1=[*GROSS, [25, *row[1:]]]))


@pytest.mark.parametrize(
    "rows",
    [[[25, LIGHT]], [[25, LIGHT], [26, 2.1]], [[LIGHT]], [["continued"], [25, LIGHT]], [["Unit 25 was 1.500 g"]]],
)
def test_a_unit_or_two_on_another_sheet_are_not_left_out(book_of: BookOf, rows: list[list[Any]]) -> None:
    said = told(book_of(**{"Page 1": [HEAD, *LIST], "Page 2": rows}))
    assert 'weighs like the units on the sheet "Page 1", and was not read' in said


def test_figures_and_other_numbers_on_another_sheet_are_left_out(book_of: BookOf) -> None:
    for rows in ([["Mean", 2.1]], [["Temperature", 21.5]], [["Planned mass", 2.05]], [["Displacement", 1.6]]):
        assert told(book_of(**{"Page 1": [HEAD, *LIST], "Page 2": rows})) == "", rows


ASSAY: list[list[Any]] = [["Unit", "Content (mg)"], *([number, 99 + number / 10] for number in range(1, 11))]


@pytest.mark.parametrize("heading", ["Repeat", "Result", "Corrected", "OOS", "Wiederholung", "mg found", None])
def test_numbers_beside_the_contents_are_not_dropped(book_of: BookOf, heading: str | None) -> None:
    rows = [[*ASSAY[0], heading], *ASSAY[1:3], [*ASSAY[3], 60], *ASSAY[4:]]
    path = book_of(Units=[["Unit", "Mass (g)"], *LIST], Assay=rows)
    assert "the numbers beside the contents under" in told(path, ReadOptions(form="suppositories"))


@pytest.mark.parametrize("heads", [("A (mg)", "B (mg)"), ("B", "T"), ("S (mg)", "R (mg)")])
def test_contents_under_a_letter_are_not_left_out(book_of: BookOf, heads: tuple[str, str]) -> None:
    rows = [[*row, 60.5 + row[0] / 7, 50 - row[0] / 9] if row[0] < 11 else row for row in LIST]
    assert "were not read" in told(book_of(Sheet1=[[*HEAD, *heads], *rows]))


@pytest.mark.parametrize("name", ["x", "R"])
def test_a_content_beside_an_odd_name_is_not_set_aside(book_of: BookOf, name: str) -> None:
    rows = [[number, mass, 99 + number / 10 if number < 11 else None] for number, mass in LIST]
    path = book_of(Sheet1=[["Unit", "Mass (g)", "Content (mg)"], *rows, [name, None, 60]])
    assert "is as much as a unit holds" in told(path)


def test_two_columns_without_names_beside_numbered_units_are_refused(book_of: BookOf) -> None:
    rows = [[number, mass, round(mass - 0.1, 3)] for number, mass in LIST]
    assert "may be of the same units" in told(book_of(Sheet1=[["No", None, "Day 2"], *rows]))


def test_what_is_noted_of_a_unit_that_counts_is_told(book_of: BookOf) -> None:
    rows = [[*row, "discard, not weighed properly" if row[0] == 5 else None] for row in LIST]
    batch = read_batch(book_of(Sheet1=[[*HEAD, "Remarks"], *rows]), options=OPTIONS)
    assert any('unit 5, "discard, not weighed properly"' in one.text for one in batch.notices)


@pytest.mark.parametrize("separator", ["|", ","])
def test_whole_numbers_among_masses_of_two_decimals_are_masses(table_of: TableOf, separator: str) -> None:
    masses = ["1.98", "2", "2.01", "2", "2", "1.99", "2.02", "2", "2.01", "1.98"]
    alone = read_batch(table_of("\n".join(masses)), options=OPTIONS)
    rows = [f"{number}{separator}{mass}" for number, mass in enumerate(masses, start=1)]
    named = read_batch(table_of("\n".join(rows)), options=OPTIONS)
    assert [f"{unit.mass_g}" for unit in alone.weighed] == [f"{unit.mass_g}" for unit in named.weighed] == masses


@pytest.mark.parametrize(
    "heading",
    [
        *("Found (% of label claim)", "Assay (% LC)", "Gehalt (% der Deklaration)", "Gehalt % Dekl."),
        *(
            "Teneur (% de l'\u00e9tiquette)",
            "Teneur (% de la valeur d\u00e9clar\u00e9e)",
            "Contenuto (% del dichiarato)",
        ),
        *(
            "Contenido (% de lo declarado)",
            "Teor (% do rotulado)",
            "Gehalte (% van etiket)",
            "Zawarto\u015b\u0107 (% etykiety)",
        ),
        *("Wirkstoffgehalt (mg)", "Conte\u00fado (mg)", "Inhoud (mg)", "Zawarto\u015b\u0107 substancji czynnej (mg)"),
    ],
)
def test_contents_are_read_under_the_words_of_eight_languages(book_of: BookOf, heading: str) -> None:
    rows = [[*row, 99 + row[0] / 10 if row[0] < 11 else None] for row in LIST]
    batch = read_batch(book_of(Sheet1=[[*HEAD, heading], *rows]), options=ReadOptions(form="suppositories"))
    found = [one.content_percent if "%" in heading else one.content_mg for one in batch.assays]
    assert [float(one or 0) for one in found] == [99 + number / 10 for number in range(1, 11)]


def test_per_cent_of_what_is_not_said_is_no_content(book_of: BookOf) -> None:
    for heading in ("Assay (% of mean)", "Mean found (% of label)", "Corrected (% of label)"):
        rows = [[*row, 99 + row[0] / 10 if row[0] < 11 else None] for row in LIST]
        path = book_of(Sheet1=[[*HEAD, heading], *rows])
        assert told(path) or not read_batch(path, options=OPTIONS).assays, heading


@pytest.mark.parametrize(
    "heading", ["Operator", "Bediener", "Op\u00e9rateur", "Operador", "Operatore", "Analista", "Paraaf", "Podpis"]
)
def test_two_who_weighed_one_batch_part_it_in_no_language(book_of: BookOf, heading: str) -> None:
    rows = [[*row, "AB" if row[0] < 13 else "CD"] for row in LIST]
    assert told(book_of(Sheet1=[[*HEAD, heading], *rows])) == ""
    assert "parts the units into" in told(book_of(Sheet1=[[*HEAD, "Product"], *rows]))


# What a balance shows, or a hand types, in the place of a mass.
SLIPS = [
    "ERR",
    "OL g",
    "---",
    "?",
    "1..500",
    "1-500",
    "1.5.00",
    "1:500",
    "<1.0",
    "1.5OO",
    "0.000",
    "x",
    "lost",
    "1.5_0",
]


@pytest.mark.parametrize("at", [0, 11, 23])
@pytest.mark.parametrize("line", ["{n}  {mass} g", "{n}. {mass}", "{mass} g", "{mass}", "N  + {mass} g", "{n};{mass}"])
def test_no_line_of_a_print_out_is_left_out_for_what_stands_there(table_of: TableOf, line: str, at: int) -> None:
    for slip in SLIPS:
        shown = [f"{mass:.3f}" for mass in MASSES]
        shown[at] = slip
        rows = "\n".join(line.format(n=number, mass=mass) for number, mass in enumerate(shown, start=1))
        assert told(table_of(rows, "print.txt")), slip


@pytest.mark.parametrize("at", [0, 11, 23])
@pytest.mark.parametrize("layout", ["named", "bare", "across", "row", "headed"])
def test_no_unit_of_a_list_is_left_out_for_what_stands_there(book_of: BookOf, layout: str, at: int) -> None:
    for slip in [*SLIPS, "n/a", 0, -1.5]:
        shown: list[Any] = list(MASSES)
        shown[at] = slip
        named = [[number, mass] for number, mass in enumerate(shown, start=1)]
        rows = {
            "named": named,
            "bare": [[mass] for mass in shown],
            "across": [*zip(*named, strict=True)],
            "row": [shown],
        }
        assert told(book_of(Sheet1=rows.get(layout, [HEAD, *named]))), slip


def test_a_unit_at_the_end_of_a_list_without_headings_has_no_mass(book_of: BookOf) -> None:
    path = book_of(Sheet1=[[1, None], *LIST[1:23], [24, None]])
    assert [unit.name for unit in read_batch(path, options=OPTIONS).units if unit.mass_g is None] == ["1", "24"]


@pytest.mark.parametrize("title", ["Lot 1, Date 12.11.2026, Dubois", "Lot 1, 12.11.2026", "Lot 3", "A, B 1, C"])
@pytest.mark.parametrize("line", ["{n};{mass}", "{n}\t{mass}", "{n}|{mass}", "{mass};{n}", "{n};{mass};ok"])
def test_a_decimal_comma_parts_no_fields_whatever_the_title(table_of: TableOf, title: str, line: str) -> None:
    head = line.replace("{n}", "No").replace("{mass}", "Masse").replace("ok", "Note")
    for heads in ([title, "", head], [title, head], [title]):
        rows = [line.format(n=number, mass=f"{mass:.3f}".replace(".", ",")) for number, mass in LIST]
        path = table_of("\n".join([*heads, *rows]))
        if not told(path):
            assert [float(unit.mass_g or 0) for unit in read_batch(path, options=OPTIONS).weighed] == MASSES


@pytest.mark.parametrize(
    "over", ["Mit Folie", "With wrapper (g)", "avec emballage", "Running total", "Brutto (g)", "Q7"]
)
def test_a_number_beside_all_units_is_no_reason_to_drop_the_one_without_a_net_mass(book_of: BookOf, over: str) -> None:
    beside = [round(10 + number * 2.1 + mass, 3) for number, mass in LIST]
    rows = [[number, wrapped, mass] for (number, mass), wrapped in zip(LIST, beside, strict=True)]
    rows[4][2] = None
    said = told(book_of(Sheet1=[["No", over, "Mass (g)"], *rows]))
    assert "has no net mass" in said or "were not read" in said


@pytest.mark.parametrize(("word", "asked"), [("rejected", True), ("no", True), ("second vial", False)])
def test_what_is_said_of_one_content_is_asked_or_told(book_of: BookOf, word: str, asked: bool) -> None:
    contents = [[f"U{number}", 98 + number / 2, word if number == 3 else None] for number in range(1, 11)]
    path = book_of(
        Units=[["Unit", "Mass (g)"], *([f"U{number}", mass] for number, mass in LIST)],
        Assay=[["Unit", "Content (mg)", "Status"], *contents],
    )
    if asked:
        assert f'"{word}" stands beside a unit' in told(path)
    else:
        assert any(word in notice.text for notice in read_batch(path, options=OPTIONS).notices if notice.ignored)


@pytest.mark.parametrize("head", ["Result", "mg", "Second weighing", "HPLC"])
def test_what_another_sheet_says_of_a_unit_by_its_name_is_asked(book_of: BookOf, head: str) -> None:
    path = book_of(Weights=[HEAD, *LIST], OOS=[["Unit", head], [5, 61.5]])
    assert "beside the names of units" in told(path)


@pytest.mark.parametrize("text", ["Unit 5 weighs 1.50 g, not 2.07", "5 -> 1.500"])
def test_a_sentence_on_another_sheet_that_tells_a_mass_is_asked(book_of: BookOf, text: str) -> None:
    assert "weighs like the units" in told(book_of(Weights=[HEAD, *LIST], Notes=[[text]]))


def test_the_figures_of_another_sheet_are_compared_with_ours(book_of: BookOf) -> None:
    batch = read_batch(book_of(Weights=[HEAD, *LIST], Summary=[["Mean", 1.95], ["n", 26]]), options=OPTIONS)
    assert batch.read is not None
    assert {(one.what, one.cells) for one in batch.read.set_aside if one.ours is not None} == {
        ("Mean", "Summary!B1"),
        ("n", "Summary!B2"),
    }


@pytest.mark.parametrize("word", ["rejected", "Ausschuss", "outlier", "repeat", "light unit", "mass"])
def test_a_number_above_the_table_that_weighs_like_a_unit_is_asked(book_of: BookOf, word: str) -> None:
    assert str(LIGHT) in told(book_of(Sheet1=[["Weights"], [word, LIGHT], [], HEAD, *LIST]))
    assert not told(book_of(Sheet1=[["Weights"], ["Balance check", 2.0], [], HEAD, *LIST]))


@pytest.mark.parametrize("cell", ["A1", "B1", "B6", "D9"])
@pytest.mark.parametrize("text", ["unit 25: 1.500 g", "first weighing 1.5 g, reweighed", "left out: 1.500 g"])
def test_a_comment_that_tells_a_mass_is_asked_wherever_it_stands(book_of: BookOf, cell: str, text: str) -> None:
    def commented(book: Workbook) -> None:
        book.worksheets[0][cell].comment = Comment(text, "AB")

    assert "which may be about the masses" in told(book_of(commented, Sheet1=[HEAD, *LIST]))


def test_the_title_of_a_chart_that_tells_a_mass_is_asked(book_of: BookOf) -> None:
    def charted(book: Workbook) -> None:
        chart = LineChart()
        chart.title = "unit 25 1.500 g"
        book.worksheets[0].add_chart(chart, "E5")

    assert "which may be about the masses" in told(book_of(charted, Sheet1=[HEAD, *LIST]))


@pytest.mark.parametrize(
    ("formula", "asked"),
    [("=AVERAGE(1.5,2.676)", True), ("=MAX(1.5,2.088)", True), ("=1.5+0.588", True), ("=2.588-0.500", False)],
)
def test_a_mass_worked_out_from_several_typed_numbers_is_asked(tmp_path: Path, formula: str, asked: bool) -> None:
    with xlsxwriter.Workbook(path := tmp_path / "batch.xlsx") as book:
        sheet = book.add_worksheet()
        for row, cells in enumerate([HEAD, *LIST]):
            sheet.write_row(row, 0, cells)
        sheet.write_formula("B6", formula, None, 2.088)
    said = told(path)
    assert ("several numbers that stand in its formula" in said) is asked
    assert asked or not said


@pytest.mark.parametrize(
    "titles", [("24-117", "24-118"), ("Supp. 125", "Supp. 250"), ("125 mg", "60 mg"), ("125", "250")]
)
@pytest.mark.parametrize("beside", [True, False])
def test_blocks_under_titles_of_their_own_are_no_one_batch(
    book_of: BookOf, titles: tuple[str, str], beside: bool
) -> None:
    blocks = [[[title, None], HEAD, *rows] for title, rows in zip(titles, (LIST[:12], LIST[12:]), strict=True)]
    side = [[*one, None, *other] for one, other in zip(*blocks, strict=True)]
    assert "2 tables of weights were found" in told(book_of(Sheet1=side if beside else [*blocks[0], [], *blocks[1]]))


@pytest.mark.parametrize("word", ["rejected", "broken", "unit 25"])
def test_a_number_alone_on_another_sheet_that_weighs_like_a_unit_is_asked(book_of: BookOf, word: str) -> None:
    assert "weighs like the units" in told(book_of(Weights=[HEAD, *LIST], Sheet2=[[word, 1.504]]))


def test_figures_beside_the_masses_are_no_units_of_measure(book_of: BookOf) -> None:
    figures = [["Mean", 2.0965], ["SD", 0.0134], ["Min", 2.076], ["Max", 2.118]]
    beside = [[*row, None, *figure] for row, figure in zip([HEAD, *LIST], figures, strict=False)]
    assert not told(book_of(Sheet1=[*beside, *LIST[len(figures) - 1 :]]))


SECOND_COLUMNS = {
    "mean": [2.097] * 24,
    "running mean": [round(sum(MASSES[:at]) / at, 3) for at in range(1, 25)],
    "thickness": [round(1.9 + at % 3 / 10, 1) for at in range(24)],
    "places": [float(f"1.{at}") for at in range(1, 25)],
}


@pytest.mark.parametrize("second", SECOND_COLUMNS.values(), ids=SECOND_COLUMNS.keys())
@pytest.mark.parametrize("kind", ["xlsx", "csv"])
def test_a_second_column_without_a_heading_is_added_to_no_masses(
    book_of: BookOf, table_of: TableOf, second: list[float], kind: str
) -> None:
    rows = [[mass, other] for mass, other in zip(MASSES, second, strict=True)]
    text = "\n".join(f"{mass:.3f};{other}" for mass, other in rows)
    assert told(book_of(Sheet1=rows) if kind == "xlsx" else table_of(text))


@pytest.mark.parametrize("note", ["1,504 g verworfen", "first weighing 1.504 g", "was 1.504"])
def test_a_note_that_tells_another_mass_is_asked(book_of: BookOf, note: str) -> None:
    rows = [[*row, note if row[0] == 5 else None] for row in LIST]
    assert "tells a mass" in told(book_of(Sheet1=[[*HEAD, "Remarks"], *rows]))


def test_contents_told_above_the_table_and_on_another_sheet_are_asked(book_of: BookOf) -> None:
    sheets = {"Units": [["Unit", "Mass (g)"], *LIST], "Assay": ASSAY}
    assert "could be contents" in told(book_of(**{**sheets, "Assay": [["rejected", 68.3], [], *ASSAY]}))
    assert "is like what the units hold" in told(book_of(**sheets, OOS=[["Unit 6: 68.30 mg, invalidated"]]))


def test_what_may_be_about_a_unit_stands_first_in_what_was_read(book_of: BookOf) -> None:
    figures = [["Mean", 2.099], ["Min", 2.076], ["Max", 2.122], ["Control", LIGHT]]
    batch = read_batch(book_of(Sheet1=[HEAD, *LIST, [], *figures]), options=OPTIONS)
    assert what_was_left(batch)[0].endswith(f"Control {LIGHT} set aside")
    assert never_cut(batch) == 1


def test_titles_and_remarks_of_everyday_are_understood(book_of: BookOf) -> None:
    for title in ("Contr\u00f4le d'uniformit\u00e9 de masse", "Badanie jednolito\u015bci masy czopk\u00f3w"):
        assert not told(book_of(Sheet1=[[title], [], HEAD, *LIST])), title
    for head in ("Observa\u00e7\u00f5es", "Obs.", "Uwaga", "Comentarios"):
        assert not told(book_of(Sheet1=[[*HEAD, head], [*LIST[0], "ok"], *LIST[1:]])), head


def test_limits_beside_the_table_and_a_percentage_below_a_print_out_are_no_masses(
    book_of: BookOf, table_of: TableOf
) -> None:
    assert not told(book_of(Sheet1=[HEAD, [*LIST[0], None, "Limits \u00b1 5 %", "1.992 \u2013 2.202"], *LIST[1:]]))
    assert str(LIGHT) in told(book_of(Sheet1=[HEAD, [*LIST[0], None, "Limits", f"unit 25: {LIGHT} g"], *LIST[1:]]))
    lines = [f"{number:>3}  {mass:.3f} g" for number, mass in LIST]
    assert not told(table_of("\n".join([*lines, "", "srel  0.63 %"]), "print.txt"))


@pytest.mark.parametrize("head", ["Control (g)", "Check (g)", "Kontrolle", "Contr\u00f4le (g)", "Standard (g)"])
@pytest.mark.parametrize("few", [True, False])
def test_a_second_column_that_weighs_like_the_units_is_asked(book_of: BookOf, head: str, few: bool) -> None:
    rows = [
        [f"U{n}", mass, LIGHT if n == 5 else None if few else mass + (0.002 if n % 3 else -0.001)] for n, mass in LIST
    ]
    said = told(book_of(Sheet1=[[*HEAD, head], *rows]))
    assert str(LIGHT) in said or "were not read" in said


@pytest.mark.parametrize("text", ["unit 21: 1.404 g, 30 % too light", "Limits 1.906-2.106; 21: 1.404"])
def test_a_text_below_that_counts_a_unit_is_asked_whatever_else_it_says(book_of: BookOf, text: str) -> None:
    assert told(book_of(Sheet1=[HEAD, *LIST, [], [text]]))


def test_a_figure_in_percent_beside_the_masses_is_no_number_under_what_stands_above(book_of: BookOf) -> None:
    rows = [[*HEAD, None, None, None], *([*row, None, None, None] for row in LIST)]
    rows[4][3:] = ["VK (%)", 1.26]
    assert not told(book_of(Sheet1=[["Masse", None, None, None, "Bearbeiter: AB"], [], *rows]))


@pytest.mark.parametrize(
    ("formula", "value", "said"),
    [
        ("=AVERAGE(B2:B5)", 2.008, "ours None"),
        ("=AVERAGE(B2:B5)", 1.0, "ours 2.0"),
        ("=B2", 2.014, "without the name"),
    ],
)
def test_a_mean_by_its_formula_needs_no_name_below_named_units(
    tmp_path: Path, formula: str, value: float, said: str
) -> None:
    with xlsxwriter.Workbook(path := tmp_path / "week.xlsx") as book:
        sheet = book.add_worksheet("Week")
        for row, cells in enumerate([HEAD, [1, 2.014], [2, 2.001], [3, 2.009], [4, 2.008]]):
            sheet.write_row(row, 0, cells)
        sheet.write_formula("B7", formula, None, value)
    asked = told(path)
    if "ours" in said:
        read = read_batch(path, options=OPTIONS).read
        assert read is not None
        (aside,) = read.set_aside
        assert (aside.what, f"ours {aside.ours}"[: len(said)]) == ("mean", said)
    else:
        assert said in asked
