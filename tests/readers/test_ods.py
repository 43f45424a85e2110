from __future__ import annotations

import zipfile
from collections.abc import Callable
from pathlib import Path
from xml.etree.ElementTree import fromstring

import pytest

from qc.problems import InputProblems
from qc.readers.ods import _columns, _is_hidden
from qc.readers.read import read_batch

Refused = Callable[..., list[str]]
SPACES = "urn:oasis:names:tc:opendocument:xmlns"


def text(value: str) -> str:
    return f'<table:table-cell office:value-type="string"><text:p>{value}</text:p></table:table-cell>'


def number(value: str, kind: str = "float", shown: str = "...") -> str:
    told = f"<text:p>{shown}</text:p>"
    return f'<table:table-cell office:value-type="{kind}" office:value="{value}">{told}</table:table-cell>'


def row(*cells: str, look: str = "") -> str:
    return f"<table:table-row {look}>{''.join(cells)}</table:table-row>"


@pytest.fixture
def document_of(tmp_path: Path) -> Callable[..., Path]:
    def write(*rows: str, manifest: str = "") -> Path:
        content = (
            f'<office:document-content xmlns:office="{SPACES}:office:1.0" xmlns:table="{SPACES}:table:1.0" '
            f'xmlns:text="{SPACES}:text:1.0" '
            'xmlns:calcext="urn:org:documentfoundation:names:experimental:calc:xmlns:calcext:1.0">'
            '<office:body><office:spreadsheet><table:table table:name="Units">'
            f"{''.join(rows)}</table:table></office:spreadsheet></office:body></office:document-content>"
        )
        path = tmp_path / "batch.ods"
        with zipfile.ZipFile(path, "w") as archive:
            archive.writestr(
                "META-INF/manifest.xml",
                f'<manifest:manifest xmlns:manifest="{SPACES}:manifest:1.0">{manifest}</manifest:manifest>',
            )
            archive.writestr("content.xml", content)
        return path

    return write


HEAD = row(text("Unit"), text("Mass (g)"))


def test_repeats_are_written_out_and_empty_ones_cost_nothing(document_of: Callable[..., Path]) -> None:
    path = document_of(
        HEAD,
        row("<table:table-cell/>", look='table:number-rows-repeated="3"'),
        row(number("1"), number("2.0129999999999999"), '<table:table-cell table:number-columns-repeated="16000"/>'),
        row(text("u<text:s/>2"), text("2.100"), look='table:visibility="collapse"'),
        row("<table:table-cell/>", look='table:number-rows-repeated="1048000"'),
    )
    batch = read_batch(path)
    assert [(unit.name, str(unit.mass_g)) for unit in batch.units] == [("1", "2.013"), ("u 2", "2.100")]
    assert [notice.text for notice in batch.notices] == ["Read hidden rows 6."]


def test_a_repeat_without_end_is_refused(document_of: Callable[..., Path], refused: Refused) -> None:
    path = document_of(HEAD, row(number("1"), number("2"), look='table:number-rows-repeated="9000000"'))
    assert refused(path) == [
        "batch.ods: the file holds more than 155,000 filled cells. Keep one batch in a file, without other data."
    ]


def test_kinds_of_cells_are_told_apart(document_of: Callable[..., Path], refused: Refused) -> None:
    error = (
        '<table:table-cell table:formula="of:=1/0" office:value-type="string" office:string-value="" '
        'calcext:value-type="error"><text:p>#DIV/0!</text:p></table:table-cell>'
    )
    path = document_of(
        HEAD,
        row(number("1"), error),
        row(number("2"), '<table:table-cell table:formula="of:=[.B9]*2"/>'),
        row(number("3"), '<table:table-cell office:value-type="date" office:date-value="2026-05-02"/>'),
        row(number("4"), '<table:table-cell office:value-type="boolean" office:boolean-value="true"/>'),
        row(number("5"), number("2.013", "percentage")),
    )
    again = "Format the cell as a number and type the mass again, for example 2.013."
    assert refused(path) == [
        "batch.ods, Units!B2: mass is the error #DIV/0! Mend the formula, or type the mass in digits, for "
        "example 2.013.",
        "batch.ods, Units!B3: mass is a formula without a stored result (=[.B9]*2). Open the file in the "
        "spreadsheet program "
        "and save it, so that it stores the result.",
        "batch.ods, Units!B4: mass is the date 2026-05-02 (the number 46144 in a date format): the spreadsheet "
        "program turned "
        f"what was typed into a date. {again}",
        f"batch.ods, Units!B5: mass is TRUE, not a number. {again}",
        f"batch.ods, Units!B6: mass is 2.013, shown as 201.3 %: the cell is formatted in percent. {again}",
    ]


def test_a_merged_mass_is_refused(document_of: Callable[..., Path], refused: Refused) -> None:
    merged = number("2").replace("<table:table-cell ", '<table:table-cell table:number-rows-spanned="2" ', 1)
    path = document_of(HEAD, row(number("1"), merged), row(number("2"), "<table:covered-table-cell/>"))
    assert refused(path) == [
        'batch.ods, Units!B2:B3: mass "2" is merged over the rows 2 to 3: which row it belongs to cannot be '
        "told. Unmerge the "
        "cells and type each value into its own row."
    ]


def test_a_locked_document_is_refused(document_of: Callable[..., Path], refused: Refused) -> None:
    path = document_of(HEAD, manifest="<manifest:file-entry><manifest:encryption-data/></manifest:file-entry>")
    assert refused(path) == ["batch.ods: the file is protected by a password. Take the password off and try again."]


KINDS = 'xmlns:meta="urn:oasis:names:tc:opendocument:xmlns:meta:1.0"'
ONE = row(number("1"), number("2.013"))


def entry(name: str) -> str:
    return f'<manifest:file-entry manifest:full-path="{name}"/>'


def with_part(path: Path, name: str, content: str) -> Path:
    with zipfile.ZipFile(path, "a") as archive:
        archive.writestr(name, content)
    return path


def statistic(tables: int, cells: int) -> str:
    said = f'<meta:document-statistic meta:table-count="{tables}" meta:cell-count="{cells}"/>'
    return f'<office:document-meta {KINDS} xmlns:office="{SPACES}:office:1.0">{said}</office:document-meta>'


@pytest.mark.parametrize(
    ("rows", "found"),
    [
        ([row(number("1"), number("2.0_13"))], 'Units!B2 stores "2.0_13" as a number'),
        ([row(number("1"), number("\uff12.013"))], 'Units!B2 stores "\uff12.013" as a number'),
        ([row(number("1"), number(" 2.013"))], 'Units!B2 stores " 2.013" as a number'),
        ([row(number("1"), number("nan"))], 'Units!B2 stores "nan" as a number'),
        ([row(number("1"), number("2.013").replace("...", "2.913"))], 'Units!B2 stores "2.013" and shows "2.913"'),
        ([row(number("1"), number("2013").replace("...", "2 g"))], 'Units!B2 stores "2013" and shows "2 g"'),
        ([row(number("1"), number("2.013", "string"))], 'Units!B2 stores "2.013" as string, and as string'),
        (
            [
                row(
                    number("1"),
                    number("2.013").replace("office:value-type", 'calcext:value-type="string" office:value-type'),
                )
            ],
            'Units!B2 stores "2.013" as float, and as string',
        ),
        (
            [
                row(
                    number("1"),
                    text("2.013").replace("office:value-type", 'office:string-value="2.1" office:value-type'),
                )
            ],
            'Units!B2 stores "2.1" and shows "2.013"',
        ),
        (
            [row(number("1"), number("2.013").replace("table:table-cell", "table:covered-table-cell"))],
            "Units!B2 holds a value and is hidden by merged cells",
        ),
        (
            [ONE.replace("table:table-row", "table:row")],
            'the sheet "Units" holds a value outside of its rows and cells',
        ),
        (
            [row(number("1"), number("2.013").replace("table:table-cell", "table:cell"))],
            'the sheet "Units" holds a value outside of its rows and cells',
        ),
        *(
            ([ONE.replace("<table:table-row ", f'<table:table-row table:number-rows-repeated="{times}"')], told)
            for times, told in (
                ("0", 'table:number-rows-repeated is "0"'),
                ("-5", 'table:number-rows-repeated is "-5"'),
                ("1_0", 'table:number-rows-repeated is "1_0"'),
                ("\uff13", 'table:number-rows-repeated is "\uff13"'),
            )
        ),
    ],
)
def test_what_contradicts_itself_is_refused(
    document_of: Callable[..., Path], refused: Refused, rows: list[str], found: str
) -> None:
    again = "Open it in the spreadsheet program and save it again as .xlsx."
    assert refused(document_of(HEAD, *rows)) == [f"batch.ods: the spreadsheet is damaged: {found}. {again}"]


def test_what_is_shown_is_the_number_rounded_with_either_decimal_mark(document_of: Callable[..., Path]) -> None:
    shown = ["2.01", "2,0", "2", "2.013 g", "2.01E+00", "about two"]
    masses = [number("2.013").replace("...", one) for one in shown]
    path = document_of(HEAD, *(row(number(str(at)), mass) for at, mass in enumerate(masses, 1)))
    assert {str(unit.mass_g) for unit in read_batch(path).units} == {"2.013"}
    assert len(read_batch(path).units) == len(shown)


def test_zeros_that_are_shown_at_the_end_belong_to_the_number(document_of: Callable[..., Path]) -> None:
    shown = [number("2.05").replace("...", text) for text in ("2.050", "2,0500", "2.05", "2.1")]
    path = document_of(row(text("Unit"), text("Mass (g)")), *(row(text(f"U{at}"), one) for at, one in enumerate(shown)))
    assert [str(unit.mass_g) for unit in read_batch(path).units] == ["2.050", "2.0500", "2.05", "2.05"]


def test_a_number_shown_in_another_unit_than_its_heading_is_refused(
    document_of: Callable[..., Path], refused: Refused
) -> None:
    path = document_of(HEAD, row(number("1"), number("2.013").replace("...", "2.013 mg")))
    assert refused(path) == [
        'batch.ods, Units!B2: mass is 2.013, shown in mg by its number format, but the column "Mass (g)" is not. '
        "Format the cell as a plain number and type the mass as the heading says."
    ]


@pytest.mark.parametrize("lost", [entry("content.xml") + entry("styles.xml"), entry("settings.xml")])
def test_a_part_that_the_manifest_lists_and_that_is_lost_is_missed(
    document_of: Callable[..., Path], refused: Refused, lost: str
) -> None:
    (told,) = refused(document_of(HEAD, ONE, manifest=lost))
    name = "styles.xml" if "styles" in lost else "settings.xml"
    assert told.startswith(f"batch.ods: the spreadsheet is damaged: the part {name} is missing in the file")


def test_content_that_the_manifest_does_not_list_is_refused(document_of: Callable[..., Path], refused: Refused) -> None:
    path = with_part(document_of(HEAD, ONE, manifest=entry("styles.xml")), "styles.xml", "<x/>")
    (told,) = refused(path)
    assert "the part content.xml is missing in the file, or is not listed" in told


@pytest.mark.parametrize(
    ("tables", "cells", "told"), [(1, 4, ""), (1, 3, ""), (1, 5, "5 cells and holds 4"), (2, 4, "2 tables and holds 1")]
)
def test_rows_and_tables_cut_off_are_missed(
    document_of: Callable[..., Path], refused: Refused, tables: int, cells: int, told: str
) -> None:
    path = with_part(document_of(HEAD, ONE), "meta.xml", statistic(tables, cells))
    if told:
        (message,) = refused(path)
        assert f"it says that it holds {told}" in message
    else:
        assert len(read_batch(path).units) == 1


def test_cells_of_blanks_and_repeated_ones_count_as_the_document_counts_them(document_of: Callable[..., Path]) -> None:
    blank = '<table:table-cell office:value-type="string"><text:p> </text:p></table:table-cell>'
    twice = blank.replace("<table:table-cell", '<table:table-cell table:number-columns-repeated="2"')
    unsaved = '<table:table-cell table:formula="of:=[.B9]*2"/>'
    path = document_of(
        row(text("Unit"), text("Mass (g)"), text("Seen")), row(number("1"), number("2.013"), blank, twice, unsaved)
    )
    assert len(read_batch(with_part(path, "meta.xml", statistic(1, 9))).units) == 1


def test_the_properties_of_a_control_are_no_cells(document_of: Callable[..., Path]) -> None:
    forms = (
        f'<office:forms><form:property xmlns:form="{SPACES}:form:1.0" office:value-type="string" '
        'office:string-value="x"/></office:forms>'
    )
    assert len(read_batch(document_of(forms, HEAD, ONE)).units) == 1


def test_a_text_document_is_no_spreadsheet(tmp_path: Path, refused: Refused) -> None:
    names = f'xmlns:office="{SPACES}:office:1.0"'
    with zipfile.ZipFile(tmp_path / "batch.ods", "w") as archive:
        archive.writestr("META-INF/manifest.xml", "<m/>")
        archive.writestr("content.xml", f"<office:document-content {names}><office:body/></office:document-content>")
    (told,) = refused(tmp_path / "batch.ods")
    assert "it is no spreadsheet inside" in told


@pytest.mark.parametrize(
    ("part", "around"),
    [("styles.xml", "style:header"), ("styles.xml", "style:footer-left"), ("Object 1/content.xml", "chart:title")],
)
def test_a_mass_told_at_the_margin_of_the_page_or_over_a_chart_is_asked(
    document_of: Callable[..., Path], refused: Refused, part: str, around: str
) -> None:
    spaces = " ".join(f'xmlns:{name}="{SPACES}:{name}:1.0"' for name in ("style", "text", "chart"))
    said = f"<x {spaces}><{around}><text:p>Unit 21: 1.504 g rejected</text:p></{around}></x>"
    (told,) = refused(with_part(document_of(HEAD, ONE), part, said))
    assert 'says "Unit 21: 1.504 g rejected", which may be about the masses' in told


@pytest.mark.parametrize(
    ("of_mass", "after", "told"),
    [
        (number("2.013", shown="2.013 g gross"), "", 'comment on "2.013" says "gross"'),
        (number("2.013", shown="excl."), "", 'comment on "2.013" says "excl."'),
        (number("2.013", shown="2.013 g"), "", ""),
        (number("2.013", shown="2.01E+0 g"), "", ""),
        (
            number("2.013").replace("cell ", 'cell table:content-validation-name="foil" ', 1),
            '<table:content-validations><table:content-validation table:name="foil"><table:help-message '
            'table:title="In foil"><text:p>Weigh in foil</text:p></table:help-message></table:content-validation>'
            "</table:content-validations>",
            "name or prompt of B2 says",
        ),
        (
            number("2.013"),
            '<table:named-expressions><table:named-range table:name="gross_mass" '
            'table:cell-range-address="$Units.$B$2:.$B$3"/></table:named-expressions>',
            'name or prompt of B2:B3 says "gross mass"',
        ),
        (
            number("2.013").replace("cell ", "cell table:formula=\"of:=['file:///x/old.ods'#$Sheet1.B2]\" ", 1),
            "",
            "mass is the error #REF! (old.ods)",
        ),
    ],
)
def test_formats_prompts_names_and_other_files_are_asked(
    document_of: Callable[..., Path], of_mass: str, after: str, told: str
) -> None:
    path = document_of(HEAD, row(number("1"), of_mass), row(number("2"), number("2.021")))
    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    parts["content.xml"] = parts["content.xml"].replace(b"</table:table><", f"</table:table>{after}<".encode(), 1)
    with zipfile.ZipFile(path, "w") as archive:
        for name, data in parts.items():
            archive.writestr(name, data)
    try:
        read_batch(path)
        said = ""
    except InputProblems as refused:
        said = str(refused.problems[0])
    assert told in said if told else not said


def test_a_column_is_chosen_as_often_as_it_repeats_on_the_sheet() -> None:
    many = '<table:table-column table:number-columns-repeated="{}"{}/>'
    hidden = ' table:visibility="collapse"'
    columns = many.format(2, hidden) + many.format(16381, "") + many.format(9000000, hidden)
    sheet = fromstring(f'<table:table xmlns:table="{SPACES}:table:1.0">{columns}</table:table>')
    assert list(_columns(sheet, _is_hidden)) == [1, 2, 16384]


@pytest.mark.parametrize(("shown", "told"), [("false", ["Read the hidden sheet Units."]), ("true", []), ("", [])])
def test_a_sheet_is_hidden_where_its_look_says_so(
    document_of: Callable[..., Path], shown: str, told: list[str]
) -> None:
    path = document_of(HEAD, ONE)
    look = f'<style:table-properties table:display="{shown}"/>' if shown else "<style:table-properties/>"
    styles = f'<office:automatic-styles xmlns:style="{SPACES}:style:1.0">'
    styles += f'<style:style style:name="ta1">{look}</style:style></office:automatic-styles>'
    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name).decode() for name in archive.namelist()}
    said = parts["content.xml"].replace("<office:body>", f"{styles}<office:body>")
    parts["content.xml"] = said.replace('table:name="Units"', 'table:name="Units" table:style-name="ta1"')
    with zipfile.ZipFile(path, "w") as archive:
        for name, data in parts.items():
            archive.writestr(name, data)
    assert [notice.text for notice in read_batch(path).notices] == told


@pytest.mark.parametrize("shown", ["+2.01", "2.0129", "(2.013)", "2.013E+00"])
def test_a_sign_or_brackets_that_a_format_sets_are_no_words(document_of: Callable[..., Path], shown: str) -> None:
    batch = read_batch(
        document_of(HEAD, row(number("1"), number("2.0129", shown=shown)), row(number("2"), number("2")))
    )
    assert ([str(unit.mass_g) for unit in batch.units], batch.notices) == (["2.0129", "2"], ())


@pytest.mark.parametrize(
    ("shown", "told"),
    [
        (
            "2.013 oz",
            'batch.ods, Units!B2: mass is 2.013, shown in oz by its number format, but the column "Mass (g)" ',
        ),
        ("2.013 (2)", 'The comment on "2.013" was not read: "(2)".'),
        ("", 'batch.ods, Units!B2: the comment on "2.013" says "(not shown)", which may be about the masses. '),
        ("-2.013", 'batch.ods: the spreadsheet is damaged: Units!B2 stores "2.013" and shows "-2.013". '),
    ],
)
def test_what_a_format_says_of_a_number_is_not_passed_over(
    document_of: Callable[..., Path], shown: str, told: str
) -> None:
    path = document_of(HEAD, row(number("1"), number("2.013", shown=shown)), row(number("2"), number("2")))
    try:
        said = [notice.text for notice in read_batch(path).notices]
    except InputProblems as refusal:
        said = [str(problem) for problem in refusal.problems]
    assert [str(one)[: len(told)] for one in said] == [told]
