"""What a sheet shows of a cell beside its value: a line through it, a comment; and blanks that are no common ones."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import openpyxl
import pytest
import xlsxwriter
from office import HERE, saved_again
from openpyxl.cell.rich_text import CellRichText, TextBlock
from openpyxl.cell.text import InlineFont
from openpyxl.comments import Comment
from openpyxl.styles import Font, PatternFill
from openpyxl.workbook import Workbook

from qc.problems import InputProblems
from qc.readers.cells import FILLED
from qc.readers.options import ReadOptions
from qc.readers.read import read_batch

BookOf = Callable[..., Path]
TableOf = Callable[..., Path]
MASSES = [2.013, 2.021, 1.998, 2.004, 2.010, 1.987, 2.030, 2.001, 2.017, 1.993]
FORM = ReadOptions(form="suppositories")


def struck(book: Workbook) -> None:
    book.worksheets[0]["B4"].font = Font(strike=True)


def struck_in_part(book: Workbook) -> None:
    out = TextBlock(InlineFont(strike=True), "2.30")
    book.worksheets[0]["B4"] = CellRichText(out, "1")


def raised(book: Workbook) -> None:
    book.worksheets[0]["B4"] = CellRichText("2.00", TextBlock(InlineFont(vertAlign="superscript"), "1"))


def said_to_be_plain(book: Workbook) -> None:
    plain = InlineFont(strike=False, vertAlign="baseline")
    book.worksheets[0]["B4"] = CellRichText(TextBlock(plain, "1.9"), TextBlock(plain, "98"))


def white_in_part(book: Workbook) -> None:
    book.worksheets[0]["B4"] = CellRichText(TextBlock(InlineFont(color="FFFFFFFF"), "1"), "1.977")


def raised_in_a_remark(book: Workbook) -> None:
    book.worksheets[0]["C4"] = CellRichText("crack of 10 mm", TextBlock(InlineFont(vertAlign="superscript"), "2"))


def struck_as_a_column(book: Workbook) -> None:
    for row in range(1, 200):
        book.worksheets[0].cell(row=row, column=2).font = Font(strike=True)


def answered(book: Workbook) -> None:
    told = "[Threaded comment]\n\nYour version allows you to read this; however, any edits to it will get "
    told += "removed if the file is opened in a newer version.\n\nComment:\n    chipped"
    book.worksheets[0]["B4"].comment = Comment(told, "AB")


def commented(book: Workbook) -> None:
    book.worksheets[0]["B4"].comment = Comment("chipped", "AB")


def commented_otherwise(book: Workbook) -> None:
    book.worksheets[0]["B4"].comment = Comment("weighed with foil", "AB")


def commented_where_nothing_stands(book: Workbook) -> None:
    book.worksheets[0]["D4"].comment = Comment("11: 1.500", "AB")


CHANGES = (
    struck,
    struck_in_part,
    raised,
    white_in_part,
    struck_as_a_column,
    commented,
    commented_otherwise,
    commented_where_nothing_stands,
)


@pytest.fixture(scope="module", params=["xlsx", "ods", "xls"])
def looks(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """A book for each change, by its name, in one format."""
    folder = tmp_path_factory.mktemp("looks")
    for change in CHANGES:
        book = openpyxl.Workbook()
        (sheet,) = book.worksheets
        sheet.title = "Week 3" if change in (commented, commented_otherwise) else "Units"
        for row in (["Unit", "Mass (g)"], *enumerate(MASSES, start=1)):
            sheet.append(row)
        change(book)
        book.save(folder / f"{change.__name__}.xlsx")
    made = [folder / f"{change.__name__}.xlsx" for change in CHANGES]
    if request.param != "xlsx":
        if not HERE:
            pytest.skip("LibreOffice is not installed")
        made = saved_again(made, request.param, folder)
    return {path.stem: path for path in made}


LOOKS = [(struck, '"1.998"'), (struck_in_part, '"2.301"'), (raised, '"2.001"'), (white_in_part, '"11.977"')]


@pytest.mark.parametrize(("change", "told"), LOOKS)
def test_a_mass_that_is_struck_through_is_refused(
    looks: dict[str, Path], change: Callable[[Workbook], None], told: str
) -> None:
    with pytest.raises(InputProblems) as refused:
        read_batch(looks[change.__name__], options=FORM)
    (problem,) = refused.value.problems
    look = {raised: "raised or lowered", white_in_part: "in white type"}.get(change, "struck through")
    assert (problem.cell, problem.found) == ("B4", f"{told} is {look}, the whole of it or a part")
    assert "Left out because" in problem.mend


@pytest.mark.parametrize("look", [{"font_strikeout": True}, {"bold": True}])
def test_a_text_that_cells_share_is_struck_through_in_a_part(tmp_path: Path, look: dict[str, bool]) -> None:
    with xlsxwriter.Workbook(tmp_path / "shared.xlsx") as book:
        page = book.add_worksheet("Units")
        for row, line in enumerate((["Unit", "Mass (g)"], *enumerate(MASSES, start=1))):
            page.write_row(row, 0, line)
        page.write_rich_string("B4", book.add_format(look), "2.0", "01 ")
    if "bold" in look:
        assert str(read_batch(tmp_path / "shared.xlsx", options=FORM).units[2].mass_g) == "2.001"
        return
    with pytest.raises(InputProblems, match=r'B4: "2\.001" is struck through, the whole of it or a part'):
        read_batch(tmp_path / "shared.xlsx", options=FORM)


def test_a_whole_column_that_is_struck_through_is_refused(looks: dict[str, Path]) -> None:
    with pytest.raises(InputProblems, match="is struck through"):
        read_batch(looks["struck_as_a_column"], options=FORM)


def test_what_is_raised_in_a_remark_passes(book_of: BookOf) -> None:
    rows = [["Unit", "Mass (g)", "Note"], *([at, mass, None] for at, mass in enumerate(MASSES, start=1))]
    batch = read_batch(book_of(raised_in_a_remark, Units=rows), options=FORM)
    assert batch.units[2].note == "crack of 10 mm2"


def test_a_text_that_is_said_to_be_plain_is_a_mass(book_of: BookOf) -> None:
    rows = [["Unit", "Mass (g)"], *([at, mass] for at, mass in enumerate(MASSES, start=1))]
    assert str(read_batch(book_of(said_to_be_plain, Units=rows), options=FORM).units[2].mass_g) == "1.998"


def test_a_comment_with_answers_is_told_without_what_a_program_says_of_it(book_of: BookOf) -> None:
    rows = [["Unit", "Mass (g)"], *([at, mass] for at, mass in enumerate(MASSES, start=1))]
    batch = read_batch(book_of(answered, Units=rows), options=FORM)
    assert 'The comment on "1.998" was not read: "chipped".' in [one.text for one in batch.notices]


def test_a_comment_is_told_and_one_that_makes_another_mass_refused(looks: dict[str, Path]) -> None:
    batch = read_batch(looks["commented"], options=FORM)
    assert [one.text for one in batch.notices if "comment" in one.text] == [
        'The comment on "1.998" was not read: "chipped".'
    ]
    with pytest.raises(InputProblems, match=r'B4: the comment on "1\.998" says "weighed with foil"'):
        read_batch(looks["commented_otherwise"], options=FORM)


@pytest.mark.parametrize("blank", ["\u00a0", "\u2009", "\u202f", " "])
@pytest.mark.parametrize("every", [True, False])
def test_any_blank_before_a_unit_is_a_blank(table_of: TableOf, blank: str, every: bool) -> None:
    rows = [f"{at};{mass}{f'{blank}g' if every or at == 4 else ''}" for at, mass in enumerate(MASSES, start=1)]
    batch = read_batch(table_of("\n".join(["Nr;Gewicht (g)", *rows])), options=FORM)
    assert [float(unit.mass_g or 0) for unit in batch.units] == MASSES


def test_a_mass_in_a_comment_on_an_empty_cell_is_refused(looks: dict[str, Path]) -> None:
    with pytest.raises(InputProblems) as refused:
        read_batch(looks["commented_where_nothing_stands"], options=FORM)
    (problem,) = refused.value.problems
    assert problem.found == 'the comment on the empty cell D4 says "11: 1.500", which may be about the masses'


@pytest.mark.parametrize("sheet", ["Units", "Week 3"])
def test_what_a_text_box_or_the_margin_says_of_masses_is_refused(tmp_path: Path, sheet: str) -> None:
    with xlsxwriter.Workbook(tmp_path / "boxes.xlsx") as book:
        page = book.add_worksheet(sheet)
        for row, line in enumerate((["Unit", "Mass (g)"], *enumerate(MASSES, start=1))):
            page.write_row(row, 0, line)
        page.insert_textbox(3, 4, "unit 5 was 1.50 g")
        page.insert_textbox(12, 4, "weighed in a draught")
        page.set_header("&L&BUnit 11: 1.500 g&RPage &P")
    with pytest.raises(InputProblems) as refused:
        read_batch(tmp_path / "boxes.xlsx", options=FORM)
    assert [problem.found for problem in refused.value.problems] == [
        'the text box says "unit 5 was 1.50 g", which may be about the masses',
        'the head or foot of the page says "Unit 11: 1.500 g", which may be about the masses',
    ]


def test_a_text_box_that_says_nothing_of_masses_is_told(tmp_path: Path) -> None:
    with xlsxwriter.Workbook(tmp_path / "boxes.xlsx") as book:
        page = book.add_worksheet("Units")
        for row, line in enumerate((["Unit", "Mass (g)"], *enumerate(MASSES, start=1))):
            page.write_row(row, 0, line)
        chart = book.add_chart({"type": "line"})
        chart.add_series({"values": "=Units!$B$2:$B$11"})
        chart.set_title({"none": True})
        # The look of its axis holds a paragraph without a text.
        chart.set_x_axis({"num_font": {"bold": True}})
        page.insert_chart(0, 4, chart)
        page.insert_textbox(12, 4, "weighed in a draught")
    found = read_batch(tmp_path / "boxes.xlsx", options=FORM)
    assert [one.text for one in found.notices] == ['The text box was not read: "weighed in a draught".']


@pytest.mark.parametrize(("rows", "is_told"), [([4], True), ([4, 6, 8], True), ([3, 5, 7, 9], False)])
def test_a_few_units_filled_in_a_colour_are_told(tmp_path: Path, rows: list[int], is_told: bool) -> None:
    book = Workbook()
    sheet = book.worksheets[0]
    for row in [["Unit", "Mass (g)"], *([at, mass] for at, mass in enumerate(MASSES, start=1))]:
        sheet.append(row)
    for row in rows:
        sheet.cell(row=row, column=2).fill = PatternFill("solid", fgColor="FFFF0000")
    book.save(tmp_path / "book.xlsx")
    batch = read_batch(tmp_path / "book.xlsx", options=FORM)
    told = [one.cells for one in batch.read.ignored if one.said == FILLED] if batch.read else []
    assert told == ([", ".join(f"B{row}" for row in rows)] if is_told else [])
