from __future__ import annotations

import hashlib
import sys
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest

from qc.fields.words import MassUnit
from qc.problems import InputProblems, Problem
from qc.readers.assemble import in_order
from qc.readers.cells import Book, SheetTable
from qc.readers.options import ReadOptions
from qc.readers.read import read_batch
from qc.readers.stored import MOST_BESIDE, StoredFile, is_folder_of_tables, stored_input
from qc.readers.xlsx import read_xlsx

Refused = Callable[..., list[str]]
BookOf = Callable[..., Path]
TableOf = Callable[..., Path]


@pytest.mark.parametrize(
    ("name", "data", "message"),
    [
        ("gone.xlsx", None, "there is no such file. See whether the name and the folder are right."),
        ("old.xlsb", b"x", "files of the kind .xlsb are not read. Save it as .xlsx in the spreadsheet program."),
        ("none.xls", b"", "the file is empty. Open it in the spreadsheet program and save it again as .xlsx."),
        (
            "page.pdf",
            b"x",
            "files of the kind .pdf are not read. Use .xlsx, .xlsm, .xls, .ods, .csv, .tsv, .txt, or a folder with "
            "units.csv.",
        ),
        ("empty.xlsx", b"", "the file is empty. Save the workbook again, or choose the right file."),
        (
            "locked.xlsx",
            bytes.fromhex("d0cf11e0a1b11ae1") + b"0" * 600,
            "the file is protected by a password, or is a workbook of the old .xls kind. Take the password off, "
            "or save it as "
            ".xlsx, and try again.",
        ),
        (
            "text.xlsx",
            b"Unit,Mass (g)",
            "the file is no .xlsx workbook inside (it does not begin like one). Open it in the spreadsheet "
            "program and save it "
            "again as .xlsx.",
        ),
        (
            "torn.xlsx",
            b"PK\x03\x04torn",
            "the file is damaged (BadZipFile). Open it in the spreadsheet program and save it again as .xlsx.",
        ),
    ],
)
def test_a_file_that_cannot_be_used_is_refused_as_a_whole(
    tmp_path: Path, refused: Refused, name: str, data: bytes | None, message: str
) -> None:
    if data is not None:
        (tmp_path / name).write_bytes(data)
    assert refused(tmp_path / name) == [f"{name}: {message}"]


def test_a_document_type_definition_is_refused(tmp_path: Path, refused: Refused) -> None:
    path = tmp_path / "bomb.ods"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("content.xml", '<?xml version="1.0"?><!DOCTYPE a [<!ENTITY b "c">]><a>&b;</a>')
    assert refused(path) == [
        "bomb.ods: the part content.xml carries a document type definition, which no spreadsheet program "
        "writes. Open it in "
        "the spreadsheet program and save it again as .xlsx."
    ]


def test_a_part_that_unpacks_to_hundreds_of_times_its_size_is_refused(tmp_path: Path, refused: Refused) -> None:
    path = tmp_path / "bomb.xlsx"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/sheet.xml", b"<a>" + b" " * 8_000_000 + b"</a>")
    (message,) = refused(path)
    assert message.startswith("bomb.xlsx: the part xl/sheet.xml unpacks to ")
    assert message.endswith(" times its size. Copy the entries into an empty entry workbook.")


def test_the_source_is_name_and_digest(book_of: BookOf) -> None:
    path = book_of(Units=[["Unit", "Mass (g)"], [1, 2.0]])
    source = read_batch(path).source
    assert source is not None
    assert (source.name, source.sha256) == ("batch.xlsx", hashlib.sha256(path.read_bytes()).hexdigest())


def test_a_folder_is_read_with_its_sheets_and_so_many_tables_beside_them(tmp_path: Path) -> None:
    names = ["batch.csv", "Units.TSV", "notes.md", ".hidden.csv", *(f"x{at:02d}.csv" for at in range(MOST_BESIDE + 1))]
    for name in names:
        (tmp_path / name).write_text(name, encoding="utf-8")
    (tmp_path / "sub.csv").mkdir()
    found = stored_input(tmp_path)
    assert [file.name for file in found.files] == ["Units.TSV", "batch.csv"]
    assert [file.name for file in found.beside] == names[4:-1]
    assert found.others == ("notes.md", "sub.csv", names[-1])
    lines = "".join(f"{hashlib.sha256(name.encode()).hexdigest()}  {name}\n" for name in ("Units.TSV", "batch.csv"))
    assert (found.source.name, found.source.sha256) == (tmp_path.name, hashlib.sha256(lines.encode()).hexdigest())
    assert is_folder_of_tables(sorted(tmp_path.iterdir()))
    (tmp_path / "Units.TSV").unlink()
    assert not is_folder_of_tables(sorted(tmp_path.iterdir()))


def test_a_cell_in_the_far_corner_is_no_burden(book_of: BookOf) -> None:
    def far(book: object) -> None:
        book["Units"]["XFD1048576"] = "x"  # type: ignore[index]

    assert len(read_batch(book_of(far, Units=[["Unit", "Mass (g)"], [1, 2.0]])).units) == 1


def test_problems_stand_in_the_order_of_sheets_and_cells(book_of: BookOf, refused: Refused) -> None:
    path = book_of(
        Assay=[["Unit", "Content (mg)"], [7, "x1"]], Units=[["Unit", "Mass (g)"], [1, "2.O"], [1, 2.0], [None, 2.0]]
    )
    assert [message.partition(":")[0] for message in refused(path)] == [
        "batch.xlsx, Assay!A2",
        "batch.xlsx, Assay!B2",
        "batch.xlsx, Units!B2",
        "batch.xlsx, Units!A3",
        "batch.xlsx, Units!A4",
    ]


@pytest.mark.parametrize("lock", ["~$batch.csv", ".~lock.batch.csv#"])
def test_a_lock_file_beside_the_input_gives_a_notice(lock: str, tmp_path: Path) -> None:
    book = tmp_path / "batch.csv"
    book.write_text("Unit,Mass (g)\n1,2.013\n")
    assert not read_batch(book).notices
    (tmp_path / lock).write_text("")
    (notice,) = read_batch(book).notices
    assert notice.where == "batch.csv"
    assert notice.text == (
        f"It seems to be open in a spreadsheet program ({lock} stands beside it), so it may hold changes that are not "
        "saved yet: what was read is what was saved last."
    )


@pytest.mark.parametrize("asked", ["X1", "x1 ", "X2"])
def test_the_sheet_batch_names_the_batch_that_the_call_asks_for(
    asked: str, book_of: Callable[..., Path], refused: Callable[..., list[str]]
) -> None:
    units = [("Unit", "Mass (g)"), *((n, 2.0) for n in range(1, 5))]
    path = book_of(Batch=[("Field", "Value"), ("Batch number", "X1")], Units=units)
    options = ReadOptions(batch=asked)
    if asked == "X2":
        found = 'the call asks for batch "X2", but this one is "X1"'
        assert refused(path, options) == [f"batch.xlsx, Batch!B2: {found}. Leave out --batch, or mend it."]
    else:
        assert read_batch(path, options=options) == read_batch(path)


@pytest.mark.parametrize(("last", "refuses"), [(200, False), (201, True), (2000, True)])
def test_a_pour_order_far_beyond_the_others_is_a_slip(
    last: int, refuses: bool, book_of: Callable[..., Path], refused: Callable[..., list[str]]
) -> None:
    rows = [(n, last if n == 4 else n, 2.0) for n in range(1, 21)]
    path = book_of(Units=[("Unit", "Pour order", "Mass (g)"), *rows])
    if refuses:
        assert refused(path) == [
            f"batch.xlsx, Units!B5: pour order {last} lies far beyond the others, which end at 20. "
            "Type the place of the unit in the pour, 1 for the first poured."
        ]
    else:
        assert read_batch(path).units[3].pour_order == last


@pytest.mark.parametrize(("heading", "unit", "mass"), [("Mass (g)", "mg", 2.0), ("Mass (mg)", "g", 2000)])
def test_a_unit_of_mass_that_the_heading_contradicts_is_refused(
    heading: str, unit: MassUnit, mass: float, book_of: Callable[..., Path], refused: Callable[..., list[str]]
) -> None:
    path = book_of(Units=[("Unit", heading), *((n, mass) for n in range(1, 5))])
    other: MassUnit = "g" if unit == "mg" else "mg"
    assert refused(path, ReadOptions(mass_unit=unit)) == [
        f"batch.xlsx, Units!B1: the masses stand in {other} here, but the call says {unit}. Leave out --mass-unit, or "
        "mend the heading."
    ]
    assert len(read_batch(path, options=ReadOptions(mass_unit=other)).units) == 4


def test_what_is_read_past_the_file_is_what_the_file_says(past_the_file: dict[bytes, Book], book_of: BookOf) -> None:
    texts = [
        "Unit",
        "Mass (g)",
        " Z\u00e4pfchen\n2",
        "2.01",
        "5 %",
        "2,0",
        "12.3.2026",
        "'",
        "   ",
        "",
        "-",
        "1e3",
        "A1",
    ]
    numbers = [0, 7, 2.0, -2.013, 0.1 + 0.2, 1e-7, 12345678.9, 10**12, 2.5e20, 1 / 3]
    sheets = {"Week 3": [texts, [], [None, *numbers]], " padded ": [[None], ["x"]], "Empty": []}
    book_of(**sheets)
    (laid_out,) = past_the_file.values()
    written = book_of(lambda _: None, **sheets)
    assert read_xlsx(StoredFile(name=written.name, data=written.read_bytes())) == laid_out


@pytest.mark.parametrize(("size", "said"), [(1 << 20, ""), ((1 << 20) + 1, "Reading units.csv (1.0 MB) ...\n")])
def test_a_terminal_is_told_of_a_file_of_more_than_a_megabyte(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], size: int, said: str
) -> None:
    (tmp_path / "units.csv").write_bytes(bytes(size))
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
    with pytest.raises(InputProblems):
        read_batch(tmp_path / "units.csv")
    assert capsys.readouterr() == ("", said)


@pytest.mark.parametrize("turned", range(6))
def test_problems_come_in_the_order_of_the_sheets_and_of_their_cells(turned: int) -> None:
    tables = tuple(SheetTable(file="a.xlsx", sheet=name, name=name, rows=()) for name in ("Units", "Assay"))
    places = [("", ""), ("Units", "row 3"), ("Units", "B9"), ("Units", "AA9"), ("Units", "B10"), ("Assay", "A2")]
    problems = [Problem(file="a.xlsx", sheet=sheet, cell=cell, found="", mend="") for sheet, cell in places]
    asked = [*problems[turned:], *problems[:turned]][::-1]
    assert in_order(asked, Book(file="a.xlsx", tables=tables)) == problems
