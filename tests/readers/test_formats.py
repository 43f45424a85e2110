"""The same cells give the same batch, whichever kind of file holds them."""

from __future__ import annotations

import csv
import gc
import zipfile
from collections.abc import Mapping, Sequence
from decimal import Decimal
from pathlib import Path
from xml.sax.saxutils import escape

import openpyxl
import pandas
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from msgspec.structs import replace
from openpyxl.cell import Cell

from qc.batch import Batch
from qc.problems import InputProblems
from qc.readers.frames import batch_from_frames
from qc.readers.options import ReadOptions
from qc.readers.read import read_batch

Cells = Mapping[str, Sequence[Sequence[str | Decimal | None]]]
SPACES = "urn:oasis:names:tc:opendocument:xmlns"
EXAMPLE: Cells = {
    "Batch": [["Field", "Value"], ["Base", "fatty"], ["Planned mass (g)", Decimal("2.05")], ["Made on", "2026-03-14"]],
    "Actives": [["Active", "Label claim (mg)", "Displacement value"], ["zinc oxide", Decimal(125), Decimal("4.7")]],
    "Units": [
        ["Unit", "Pour order", "Mass (mg)", "Test sample", "Seen"],
        ["1", Decimal(1), Decimal("2013.5"), "yes", "chipped; bloom"],
        ["2", Decimal(2), Decimal(2001), "no", None],
        ["3", Decimal(4), Decimal("2040.25"), None, "flash"],
    ],
    "Assay": [["Unit", "Part", "Content (% of label)"], ["1", None, Decimal("99.7")], ["2", "tip", Decimal("101.25")]],
    "Cavities": [["Mould", "Cavity", "Base mass (g)"], ["A", "1", Decimal("1.985")]],
    "Checks": [["Check", "Result"], ["appearance", "smooth & white"]],
}


def as_xlsx(cells: Cells, folder: Path) -> Path:
    book = openpyxl.Workbook()
    assert book.active is not None
    book.remove(book.active)
    for name, rows in cells.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append([float(cell) if isinstance(cell, Decimal) else cell for cell in row])
    book.save(folder / "batch.xlsx")
    return folder / "batch.xlsx"


def as_ods(cells: Cells, folder: Path) -> Path:
    def cell_of(cell: str | Decimal | None) -> str:
        if cell is None:
            return "<table:table-cell/>"
        if isinstance(cell, Decimal):
            return f'<table:table-cell office:value-type="float" office:value="{float(cell)!r}"/>'
        return f'<table:table-cell office:value-type="string"><text:p>{escape(cell)}</text:p></table:table-cell>'

    tables = "".join(
        f'<table:table table:name="{name}">'
        + "".join(f"<table:table-row>{''.join(map(cell_of, row))}</table:table-row>" for row in rows)
        + "</table:table>"
        for name, rows in cells.items()
    )
    names = " ".join(f'xmlns:{name}="{SPACES}:{name}:1.0"' for name in ("office", "table", "text"))
    with zipfile.ZipFile(folder / "batch.ods", "w") as archive:
        archive.writestr("META-INF/manifest.xml", "<manifest/>")
        archive.writestr(
            "content.xml",
            f"<office:document-content {names}><office:body><office:spreadsheet>{tables}</office:spreadsheet>"
            "</office:body></office:document-content>",
        )
    return folder / "batch.ods"


def as_folder(cells: Cells, folder: Path) -> Path:
    for name, rows in cells.items():
        with (folder / f"{name.casefold()}.csv").open("w", newline="", encoding="utf-8") as file:
            csv.writer(file, delimiter=";").writerows(
                ["" if cell is None else str(cell) for cell in row] for row in rows
            )
    return folder


def found(batch: Batch) -> Batch:
    """Less what names the file; a decimal typed with zeros behind it and a stored number are equal."""
    return replace(batch, source=None, read=None, notices=())


def read_or_refused(path: Path) -> Batch | set[tuple[str, str]]:
    try:
        return found(read_batch(path))
    except InputProblems as wrong:
        return {(problem.sheet.casefold(), problem.cell) for problem in wrong.problems}


def test_a_workbook_an_open_document_and_a_folder_give_the_same_batch(tmp_path: Path) -> None:
    first, *others = (found(read_batch(write(EXAMPLE, tmp_path))) for write in (as_xlsx, as_ods, as_folder))
    assert others == [first, first]
    assert [unit.mass_g for unit in first.units] == [Decimal("2.0135"), Decimal("2.001"), Decimal("2.04025")]


def test_data_frames_give_the_same_batch(tmp_path: Path) -> None:
    frames = {name.casefold(): pandas.DataFrame(rows[1:], columns=rows[0]) for name, rows in EXAMPLE.items()}
    assert found(batch_from_frames(**frames)) == found(read_batch(as_xlsx(EXAMPLE, tmp_path)))


MASSES = st.one_of(
    st.none(),
    st.decimals(min_value="0.001", max_value="99", places=4),
    st.sampled_from([Decimal("2.05"), Decimal(2), Decimal(0), Decimal(20001), "2.0O1", "2.01 g", "1.98 mg", "-"]),
)
ROWS = st.lists(
    st.tuples(
        st.sampled_from(["1", "2", "3a", "B-4", "mean", "ü", ""]),
        st.sampled_from([None, Decimal(1), Decimal(2), Decimal("2.5")]),
        MASSES,
        st.sampled_from([None, "yes", "no", "perhaps"]),
    ),
    min_size=1,
    max_size=6,
)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(ROWS)
def test_whatever_the_cells_hold_every_kind_of_file_reads_or_refuses_it_in_the_same_place(
    tmp_path: Path, rows: list[tuple[str, Decimal | None, str | Decimal | None, str | None]]
) -> None:
    cells: Cells = {"Units": [["Unit", "Pour order", "Mass (g)", "Test sample"], *rows]}
    first, *others = (read_or_refused(write(cells, tmp_path)) for write in (as_xlsx, as_ods, as_folder))
    assert others == [first, first]


@pytest.mark.parametrize("write", [as_xlsx, as_ods, as_folder])
def test_a_number_is_refused_in_the_same_words(write: object, tmp_path: Path) -> None:
    assert callable(write)
    cells: Cells = {"Units": [["Unit", "Mass (g)"], ["1", Decimal(20001)], ["2", "2.O1"]]}
    with pytest.raises(InputProblems, match="B2") as caught:
        read_batch(write(cells, tmp_path))
    assert [(problem.cell, problem.found) for problem in caught.value.problems] == [
        ("B2", "mass 20001 g is not plausible: 0.00001 to 10000 g is"),
        ("B3", 'mass "2.O1" is not a number (it holds the letter O after "2.")'),
    ]


def test_what_the_library_made_of_a_workbook_goes_with_it(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    for row in [("Unit", "Mass (g)")] + [(number, 2.0 + number / 1000) for number in range(1, 31)]:
        book.worksheets[0].append(row)
    book.save(tmp_path / "batch.xlsx")
    del book
    gc.collect()
    gc.disable()
    try:
        read_batch(tmp_path / "batch.xlsx", options=ReadOptions(form="suppositories"))
        left = sum(isinstance(one, Cell) and one.column == 2 for one in gc.get_objects())
    finally:
        gc.enable()
    assert left == 0
