"""A workbook whose container has lost or doubled something is refused: what is missing was never "nothing entered"."""

from __future__ import annotations

import re
import shutil
import warnings
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
import xlsxwriter

from qc.problems import InputProblems
from qc.readers.parts import shared_texts
from qc.readers.read import read_batch

SAMPLES = Path(__file__).parents[2] / "sample_data"
Parts = dict[str, bytes]


def rewritten(path: Path, change: Callable[[Parts], Parts | None], *, twice: str = "") -> Path:
    """A workbook with its parts changed; one part may be written twice."""
    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    parts = change(parts) or parts
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for name, content in parts.items():
            archive.writestr(name, content)
            if name == twice:
                archive.writestr(name, content)
    return path


def replaced(old: str, new: str, *, part: str = "xl/worksheets/sheet1.xml") -> Callable[[Parts], None]:
    def change(parts: Parts) -> None:
        text = parts[part].decode()
        assert old in text
        parts[part] = text.replace(old, new, 1).encode()

    return change


@pytest.fixture
def book(tmp_path: Path) -> Path:
    """Units on the first sheet, assays on the second."""
    rows = {
        "Units": [("Unit", "Mass (g)"), *((number, round(2.0 + number / 1000, 3)) for number in range(1, 21))],
        "Assay": [("Unit", "Content (% of label)"), *((number, 99.5) for number in range(1, 11))],
    }
    with xlsxwriter.Workbook(tmp_path / "batch.xlsx") as made:
        for name, lines in rows.items():
            sheet = made.add_worksheet(name)
            for number, line in enumerate(lines):
                sheet.write_row(number, 0, line)
    return tmp_path / "batch.xlsx"


def why(path: Path) -> str:
    with pytest.raises(InputProblems) as caught:
        read_batch(path)
    (problem,) = caught.value.problems
    assert problem.mend.startswith("Open it in the spreadsheet program")
    return problem.found


def without(part: str) -> Callable[[Parts], None]:

    def change(parts: Parts) -> None:
        del parts[part]

    return change


def test_the_book_is_read_as_it_is(book: Path) -> None:
    assert len(read_batch(book).assays) == 10


SHEET_LOST = 'the sheet "Assay" is listed, but its part is missing in the file'


@pytest.mark.parametrize(
    ("change", "found"),
    [
        (without("xl/worksheets/sheet2.xml"), SHEET_LOST),
        (replaced("worksheets/sheet2.xml", "worksheets/sheet9.xml", part="xl/_rels/workbook.xml.rels"), SHEET_LOST),
        (
            replaced(
                'relationships/worksheet" Target="worksheets/sheet2.xml"',
                'relationships/theme" Target="worksheets/sheet2.xml"',
                part="xl/_rels/workbook.xml.rels",
            ),
            SHEET_LOST,
        ),
        (without("xl/_rels/workbook.xml.rels"), "the part xl/_rels/workbook.xml.rels is missing in the file"),
        (without("xl/sharedStrings.xml"), "the part xl/sharedStrings.xml is missing in the file"),
        (replaced('<c r="B5">', '<c r="B4">'), "Units!B4 stands in row 5 twice, or is not of that row"),
        (replaced('<c r="B5">', '<c r="A5">'), "Units!A5 stands in row 5 twice, or is not of that row"),
        (replaced('<row r="5"', '<row r="4"'), 'row 4 of the sheet "Units" stands again, or out of its order'),
        (replaced("<v>2.004</v>", "<v>2.0_04</v>"), 'Units!B5 stores "2.0_04" as a number'),
        (
            replaced("<v>2.004</v>", "<v>\uff12.004</v>"),
            'Units!B5 stores "\uff12.004" as a number',
        ),
        (replaced("<v>0</v>", "<v>77</v>"), 'Units!A1 names the text "77", which the file does not hold'),
        (
            replaced("</sheetData>", "</sheetData><sheetData></sheetData>"),
            'the sheet "Units" holds 2 tables of cells in place of one',
        ),
        (
            replaced("</sheetData>", '</sheetData><mergeCells><mergeCell ref="B4:B6"/></mergeCells>'),
            "Units!B5 holds a value and is hidden by the merged cells B4:B6",
        ),
        (
            replaced("</sheetData>", '</sheetData><mergeCells><mergeCell ref="D1:D1048576"/></mergeCells>'),
            "the cells D1:D1048576 are merged, more than 100,000 of them",
        ),
    ],
)
def test_what_is_lost_or_stands_twice_is_refused(book: Path, change: Callable[[Parts], None], found: str) -> None:
    assert why(rewritten(book, change)) == found


UNLISTED = "the part xl/worksheets/sheet2.xml is a worksheet, but no sheet of the workbook lists it"


@pytest.mark.parametrize("related", [True, False], ids=["with its relation", "by its content type alone"])
@pytest.mark.parametrize("doubled", [True, False], ids=["another part listed twice", "not listed"])
def test_a_worksheet_that_no_sheet_lists_is_refused(book: Path, related: bool, doubled: bool) -> None:
    def unlist(parts: Parts) -> None:
        for part, pattern, with_ in (
            ("xl/workbook.xml", r'(<sheet name="Assay".*?r:id=)"rId2"/>', r'\1"rId1"/>' if doubled else ""),
            ("xl/_rels/workbook.xml.rels", r'<Relationship Id="rId2"[^>]*/>', None if related else ""),
        ):
            if with_ is not None:
                parts[part], count = re.subn(pattern.encode(), with_.encode(), parts[part])
                assert count == 1

    assert why(rewritten(book, unlist)) == UNLISTED


def test_rows_cut_off_at_the_end_are_missed(book: Path) -> None:
    def cut(parts: Parts) -> None:
        text = parts["xl/worksheets/sheet2.xml"].decode()
        start = text.index('<row r="8"')
        parts["xl/worksheets/sheet2.xml"] = (text[:start] + text[text.index("</sheetData>") :]).encode()

    assert why(rewritten(book, cut)) == 'the sheet "Assay" says that it reaches to row 11 and ends in row 7'


def test_a_column_cut_off_is_missed(book: Path) -> None:
    def cut(parts: Parts) -> None:
        text = parts["xl/worksheets/sheet2.xml"].decode()
        parts["xl/worksheets/sheet2.xml"] = re.sub(r'<c r="B\d+".*?</c>', "", text).encode()

    assert why(rewritten(book, cut)) == 'the sheet "Assay" says that it reaches to column B and ends in column A'


def test_a_merged_area_reaches_beyond_the_last_cell(tmp_path: Path) -> None:
    with xlsxwriter.Workbook(tmp_path / "batch.xlsx") as made:
        sheet = made.add_worksheet("Units")
        for number in range(21):
            sheet.write_row(number, 0, (number, 2.0 + number / 1000) if number else ("Unit", "Mass (g)"))
        sheet.merge_range("A23:C24", "")
    assert len(read_batch(tmp_path / "batch.xlsx").units) == 20


def test_shared_texts_cut_off_are_missed(book: Path) -> None:
    def cut(parts: Parts) -> None:
        text = parts["xl/sharedStrings.xml"].decode()
        parts["xl/sharedStrings.xml"] = (text[: text.rindex("<si>")] + "</sst>").encode()

    told = why(rewritten(book, cut))
    assert "texts and holds" in told or "which the file does not hold" in told


def test_a_phonetic_guide_is_no_part_of_a_text(tmp_path: Path) -> None:
    guided = "<si><t>Uni</t><phoneticPr fontId='1'/><rPh sb='0' eb='2'><t>GUIDE</t></rPh><r><t>t</t></r></si>"
    with zipfile.ZipFile(tmp_path / "parts.zip", "w") as made:
        made.writestr("texts", f"<sst uniqueCount='2'> {guided} <si> <t>Mass (g)</t> </si></sst>")
    with zipfile.ZipFile(tmp_path / "parts.zip") as archive:
        assert shared_texts(archive, "texts") == (("Unit", "Mass (g)"), {})


def test_a_part_that_stands_twice_is_refused(book: Path) -> None:
    told = why(rewritten(book, lambda parts: None, twice="xl/worksheets/sheet2.xml"))
    assert told == "the part xl/worksheets/sheet2.xml stands twice in the file"


@pytest.mark.parametrize("sample", sorted(path.name for path in SAMPLES.glob("*.xlsx")))
def test_no_sheet_of_a_sample_can_be_lost_without_a_word(tmp_path: Path, sample: str) -> None:
    with zipfile.ZipFile(SAMPLES / sample) as archive:
        sheets = [name for name in archive.namelist() if name.startswith("xl/worksheets/sheet")]
    assert sheets
    for sheet in sheets:
        path = shutil.copy(SAMPLES / sample, tmp_path / sample)
        assert "is missing in the file" in why(rewritten(Path(path), without(sheet)))


@pytest.mark.parametrize("code", ["12345678901234500000", "1.23456789012345E+19", "9" * 400])
def test_a_long_code_beside_the_units_is_no_damage(book: Path, code: str) -> None:
    path = rewritten(book, replaced("</row>", f'<c r="D1"><v>{code}</v></c></row>'))
    assert len(read_batch(path).assays) == 10
