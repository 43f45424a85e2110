from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from pathlib import Path

import pytest

from qc.batch import DisplacementConvention
from qc.problems import InputProblems
from qc.readers.delimited import _decoded
from qc.readers.guards import UnusableFileError
from qc.readers.options import ReadOptions
from qc.readers.read import read_batch

Refused = Callable[..., list[str]]
Remarks = Callable[[Path], list[str]]
TableOf = Callable[..., Path]

TEXT = "Weighing\n\nUnit,Mass (g),Mould\n1,2.100,Größe A\n2,2.013,B\n"


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"])
@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_separators_and_encodings_are_recognised(table_of: TableOf, encoding: str, separator: str) -> None:
    batch = read_batch(table_of(TEXT.replace(",", separator).encode(encoding)))
    assert [(unit.name, str(unit.mass_g), unit.mould) for unit in batch.units] == [
        ("1", "2.100", "Größe A"),
        ("2", "2.013", "B"),
    ]


def test_windows_text_gives_a_notice(table_of: TableOf, remarks: Remarks) -> None:
    assert remarks(table_of(TEXT.encode("cp1252"))) == [
        "units.csv: The text is not UTF-8 and was read as Windows-1252.",
        'units.csv!C4: Read moulds named "Größe A".',
    ]


def test_a_first_line_that_names_the_separator_is_obeyed(table_of: TableOf) -> None:
    assert str(read_batch(table_of("sep=;\r\nUnit;Mass (g)\r\n1;2,5\r\n")).units[0].mass_g) == "2.5"


def test_quoted_decimal_commas_are_read_in_a_comma_separated_file(table_of: TableOf) -> None:
    assert str(read_batch(table_of('Unit,Mass (g)\n1,"2,05"\n')).units[0].mass_g) == "2.05"


def test_a_row_with_more_fields_than_headings_is_refused(table_of: TableOf, refused: Refused) -> None:
    assert refused(table_of("Unit,Mass (g)\n1,2,013\n2,2.014\n")) == [
        "units.csv, C2: the row has 3 fields under 2 headings; a decimal comma without quotes is the likely "
        "cause. Type "
        "decimal points, or separate the fields by semicolons."
    ]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "the table is empty. Write one row a unit under the headings Unit and Mass (g)."),
        (" \n\n", "the table is empty. Write one row a unit under the headings Unit and Mass (g)."),
        (
            'Unit,Mass (g)\n1,"2.0\n',
            "the quotation marks of the file do not match (unexpected end of data). Close every quotation mark.",
        ),
        (b"\x81\xff", "the file is no text (byte 1 is 0x81). Save it from the spreadsheet program as CSV UTF-8."),
    ],
)
def test_a_file_that_is_no_table_is_refused(table_of: TableOf, refused: Refused, text: str, message: str) -> None:
    assert refused(table_of(text)) == [f"units.csv: {message}"]


def test_a_bare_table_carries_contents_of_whole_units(table_of: TableOf) -> None:
    options = ReadOptions(form="suppositories", label_mg=Decimal(125), displacement=Decimal("1.5"))
    batch = read_batch(table_of("Unit;Mass (g);Content (mg)\n1;2.0;124.5\n2;2.0;\n"), options=options)
    assert [(assay.unit, assay.active, assay.content_mg) for assay in batch.assays] == [
        ("1", "active", Decimal("124.5"))
    ]
    (active,) = batch.actives
    assert (active.name, active.label_claim_mg, batch.dosage_form) == ("active", Decimal(125), "suppositories")
    assert active.displacement is not None
    assert active.displacement.convention is DisplacementConvention.VALUE


def test_a_folder_is_a_workbook(tmp_path: Path, refused: Refused) -> None:
    folder = tmp_path / "batch 7"
    folder.mkdir()
    (folder / "UNITS.CSV").write_text("Unit,Mass (g)\n1,2.0\n")
    (folder / "assay.tsv").write_text("Unit\tContent (% of label)\n1\t99,7\n")
    (folder / "batch.csv").write_text("Field;Value\nBatch number;B 7\n")
    (folder / "notes.txt").write_text("warm day")
    batch = read_batch(folder)
    assert (batch.number, batch.assays[0].content_percent) == ("B 7", Decimal("99.7"))
    assert [f"{notice.where}: {notice.text}" for notice in batch.notices] == [
        "notes.txt: The file notes.txt is no sheet of a batch and was not read."
    ]
    (folder / "assay.tsv").write_text("Unit\tContent (% of label)\n1\t9O\n")
    (folder / "UNITS.CSV").write_text("Unit,Mass (g)\n1,2.O\n")
    assert refused(folder) == [
        'UNITS.CSV, UNITS!B2: mass "2.O" is not a number (it ends in the letter O). Type it in digits, for '
        "example 2.0.",
        'assay.tsv, assay!B2: content "9O" is not a number (it ends in the letter O). Type it in digits, for '
        "example 90.",
    ]


def test_a_folder_without_units_is_refused(tmp_path: Path, refused: Refused) -> None:
    folder = tmp_path / "batch 8"
    folder.mkdir()
    assert refused(folder) == [
        "batch 8: the folder holds no units.csv. Put the Units table there as units.csv, one row a unit."
    ]


def test_decimal_commas_cut_in_two_under_a_spare_heading_are_refused(table_of: TableOf, refused: Refused) -> None:
    assert refused(table_of("Unit,Mass (g),Note\n1,2,013\n2,2,014\n3,2,100\n")) == [
        'units.csv, B2: "2,013" and the like below it look like decimal commas taken for separators. Type decimal '
        "points, or separate the fields by semicolons."
    ]
    (said,) = refused(table_of("Unit,Mass (g),Note\n1,2,013\n2,2,014\n3,2.1,100\n"))
    assert 'C2: the note of unit 1 is a number, "013", and so are 2 more' in said


def test_the_separator_that_cannot_be_told_is_said_in_a_line_before_the_first(
    table_of: TableOf, refused: Refused
) -> None:
    text = "Unit,Mass (g),x;Unit;Mass (g)\n1,2.013,;1;2.013\n"
    (message,) = refused(table_of(text))
    assert message.startswith("units.csv: the fields could be separated by comma and semicolon. Write sep= and")
    assert message.endswith("sep=; or use one separator in the whole file.")
    assert read_batch(table_of("sep=;\nUnit;Mass (g)\n1;2.013\n2;2.021\n")).units


@pytest.mark.parametrize("data", [b"", b"\xef\xbb\xbf", b"\xff\xfe\r\x00\n\x00", b" \n\n"])
def test_an_empty_file_of_a_folder_is_refused(tmp_path: Path, refused: Refused, data: bytes) -> None:
    (tmp_path / "units.csv").write_text("Unit,Mass (g)\n1,2.0\n")
    (tmp_path / "assay.csv").write_bytes(data)
    assert refused(tmp_path) == [
        "assay.csv, assay: the file is empty. Save it again from where it came, or take it out of the folder if "
        "nothing was entered there."
    ]


def test_lines_may_end_in_a_carriage_return_alone(table_of: TableOf) -> None:
    batch = read_batch(table_of("Unit,Mass (g)\rA,2.013\rB,2.021\r"))
    assert [(unit.name, str(unit.mass_g)) for unit in batch.units] == [("A", "2.013"), ("B", "2.021")]


def test_as_many_cells_are_read_from_a_text_as_from_a_sheet(
    table_of: TableOf, refused: Refused, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("qc.readers.guards.MOST_CELLS", 6)
    assert len(read_batch(table_of("Unit,Mass (g)\nA,2.013\nB,2.021\n")).units) == 2
    assert "filled cells" in refused(table_of("Unit,Mass (g)\nA,2.013\nB,2.021\nC,\n"))[0]


@pytest.mark.parametrize("encoding", ["utf-16-le", "utf-16-be"])
def test_a_text_of_which_more_than_every_eighth_byte_is_zero_is_utf_16(encoding: str) -> None:
    assert _decoded("\u041c\u0430\u0441\u0441\u0430;1a".encode(encoding)) == ("\u041c\u0430\u0441\u0441\u0430;1a", "")
    with pytest.raises(UnusableFileError, match=r"^the file is no text \(it holds zero characters\)$"):
        _decoded("\u041c\u0430\u0441\u0441\u0430\u0436;1".encode(encoding))


def test_a_zero_in_a_table_makes_no_other_text_of_it(table_of: TableOf, refused: Refused) -> None:
    assert refused(table_of(b"Unit,Mass (g)\n1,2.013\n2,2.0\x001\n")) == [
        "units.csv: the file is no text (it holds zero characters). Save it from the spreadsheet program as CSV UTF-8."
    ]


def test_the_separator_that_a_first_line_names_is_taken_though_another_would_do(table_of: TableOf) -> None:
    (unit,) = read_batch(table_of("sep=,\nUnit,Mass (g),x;Unit;Mass (g)\n1,2.013,y;;\n")).units
    assert str(unit.mass_g) == "2.013"


@pytest.mark.parametrize(
    ("masses", "cut"),
    [
        (("2.013 g", "2.021 g", "1.9"), True),
        (("2.013", "2.021 g", "1.9"), False),
        (("2.013 g", "2.021 g", "1.9 g"), False),
        (("2.013 g", "2.021 g", "1.998"), False),
    ],
)
def test_a_last_line_that_lacks_decimals_and_the_unit_of_all_others_was_cut_off(
    table_of: TableOf, remarks: Remarks, masses: tuple[str, ...], cut: bool
) -> None:
    rows = "".join(f"{number},{mass}\n" for number, mass in enumerate(masses, start=1))
    told = 'units.csv!B4: Read "1.9" ends the file: cut off?.'
    assert (told in remarks(table_of(f"Unit,Mass\n{rows}"))) == cut


@pytest.mark.parametrize(
    ("text", "cut"),
    [
        ("1\t2.013\n2\t2.021\n3\t1.9", "1.9"),
        ("1\t2.013\n2\t2.021\n3\t1.998", ""),
        ("1\t2.013\n2\t2.021\n3\t1.9\n", ""),
        ("1\t2.013\n2\t2.02\n3\t1.99", ""),
        ("2.013 2.021 1.998 2.004 2.0", "2.0"),
        ("2.013 2.021 1.998 2.004 2.010", ""),
    ],
)
def test_a_last_number_with_fewer_digits_and_no_line_end_is_refused(table_of: TableOf, text: str, cut: str) -> None:
    path = table_of(text, name="units.txt")
    if not cut:
        assert read_batch(path, options=ReadOptions(form="suppositories")).units
        return
    with pytest.raises(InputProblems, match=f'"{cut}" ends the file without a line end, with fewer digits'):
        read_batch(path, options=ReadOptions(form="suppositories"))
