"""What a file may hold at most: each bound looked at where it is reached and one beyond it, in memory."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, cast

import pytest

from qc.readers.cells import Book, CellKind, Merge, Noted, SheetCell, SheetRow, SheetTable
from qc.readers.container import stored_sheets
from qc.readers.delimited import read_bare_table
from qc.readers.guards import UnusableFileError, _guard_sizes, _Part, guard_cells, guard_zip
from qc.readers.read import _guard_extent
from qc.readers.stored import StoredFile, stored_input

MB = 1024 * 1024


def why(call: Callable[[], object]) -> str:
    """Why something is refused; empty where it is not."""
    try:
        call()
    except UnusableFileError as refused:
        return str(refused)
    return ""


@pytest.mark.parametrize(("cells", "told"), [(155_000, ""), (155_001, "the file holds more than 155,000 filled cells")])
def test_filled_cells(cells: int, told: str) -> None:
    assert why(lambda: guard_cells(cells)) == told


class Directory:
    """The directory of a zip that holds parts of these sizes, unpacked and packed."""

    def __init__(self, sizes: Sequence[tuple[int, int]], *, name: str = "part{}.xml", packed: int = 8) -> None:
        self.parts = []
        for number, (size, compressed) in enumerate(sizes):
            part = zipfile.ZipInfo(name.format(number))
            part.file_size, part.compress_size, part.compress_type = size, compressed, packed
            self.parts.append(part)

    def infolist(self) -> list[zipfile.ZipInfo]:
        return self.parts


@pytest.mark.parametrize(
    ("directory", "told"),
    [
        (Directory([(1, 1)] * 5000), ""),
        (Directory([(1, 1)] * 5001), "the file has 5001 parts inside, more than 5000"),
        (Directory([(64 * MB, MB)]), ""),
        (Directory([(64 * MB, MB), (1, 1)]), "the file unpacks to 64 MB, more than the 64 MB a batch can need"),
        (Directory([(32 * MB, MB), (33 * MB, MB)]), "the file unpacks to 65 MB, more than the 64 MB a batch can need"),
        (Directory([(65 * MB, MB)], name="picture{}.png"), ""),
        (Directory([(65 * MB, MB)], name="part{}.rels"), "the file unpacks to 65 MB, more than the 64 MB a batch can"),
        (Directory([(4 * MB, 1)]), ""),
        (Directory([(4 * MB + 1, 1)]), "the part part0.xml unpacks to 4194305 times its size"),
        (Directory([(4 * MB + 1, 0)]), "the part part0.xml unpacks to 4194305 times its size"),
        (Directory([(5_000_000, 20_000)]), ""),
        (Directory([(5_000_001, 20_000)]), "the part part0.xml unpacks to 250 times its size"),
        (Directory([(1, 1), (1, 1)], name="part.xml"), "the part part.xml stands twice in the file"),
        (Directory([(1, 1)], packed=0), ""),
        (Directory([(1, 1)], packed=12), "the file is packed in a way that no spreadsheet program uses"),
    ],
)  # fmt: skip
def test_the_parts_of_a_zip(directory: Directory, told: str) -> None:
    said = why(lambda: _guard_sizes(cast(zipfile.ZipFile, directory)))
    assert said.startswith(told) if told else not said


@pytest.mark.parametrize(
    ("names", "left", "told"),
    [
        (["c"] * 10, 10, ""),
        (["c"] * 11, 10, "the file holds more elements than the workbook of a batch"),
        (["x:row", "font"], 11, ""),
        (["x:row", "font"], 10, "the file holds more elements than the workbook of a batch"),
        (["c"] * 100, 1000, ""),
        (["c"] * 101, 1000, "the part p.xml nests its elements more than 100 deep"),
    ],
)
def test_the_elements_of_a_part(names: list[str], left: int, told: str) -> None:
    part = _Part(name="p.xml", left=left)
    assert why(lambda: [part.begin(name, {}) for name in names]) == told
    if not told:
        [part.end(name) for name in names]
        assert part.depth == 0


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ({"a": "x" * 999_999}, ""),
        ({"a": "x" * 1_000_000}, "the part p.xml holds an element longer than 1,000,000 signs"),
        ({"aa": "x" * 500_000, "b": "x" * 499_998}, "the part p.xml holds an element longer than 1,000,000 signs"),
        ({"formatCode": "0" * 255}, ""),
        ({"formatCode": "0" * 256}, "a number format is longer than 255 signs"),
    ],
)
def test_the_attributes_of_an_element(given: dict[str, str], told: str) -> None:
    assert why(lambda: _Part(name="p.xml", left=100).begin("c", given)) == told


@pytest.mark.parametrize(
    ("start", "told"),
    [
        (b"", "the file is empty"),
        (bytes.fromhex("d0cf11e0a1b11ae1") + b"x", "the file is protected by a password, or is a workbook of the old"),
        (b"PK\x03\x04", "the file is damaged (BadZipFile)"),
        (b"PK\x03", "the file is no .xlsx workbook inside (it does not begin like one)"),
    ],
)
def test_the_beginning_of_a_workbook(start: bytes, told: str) -> None:
    assert why(lambda: guard_zip("book.XLSX", start)).startswith(told)


@pytest.mark.parametrize(
    ("elements", "told"), [(599_990, ""), (599_991, "the file holds more elements than the workbook of a batch")]
)
def test_the_elements_of_all_parts(monkeypatch: pytest.MonkeyPatch, elements: int, told: str) -> None:
    """Each part begins with what the ones before it left."""
    monkeypatch.setattr("qc.readers.guards._guard_part", lambda _, __, *, left: _taken(left, elements))
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w") as archive:
        archive.writestr("a.xml", "<x/>")
        archive.writestr("b.xml", "<x/>")
    assert why(lambda: guard_zip("book.xlsx", data.getvalue())) == told


def _taken(left: int, elements: int) -> int:
    part = _Part(name="p.xml", left=left if left < 600_000 else left - elements)
    part.begin("font", {})
    return part.left if left < 600_000 else left - elements


def sheet(name: str = "Units", cells: Sequence[SheetCell] = (), merges: Sequence[Merge] = ()) -> SheetTable:
    row = SheetRow(number=1, cells={cell.column: cell for cell in cells})
    return SheetTable(file="b.xlsx", sheet=name, name=name, rows=(row,), merges=tuple(merges))


def text_of(length: int) -> SheetCell:
    return SheetCell(1, "A1", CellKind.TEXT, "x" * length)


@pytest.mark.parametrize(
    ("tables", "told"),
    [
        ([sheet()] * 1000, ""),
        ([sheet()] * 1001, "the file holds 1001 sheets"),
        ([sheet(merges=[Merge(top=1, left=1, bottom=50_000, right=2)])], ""),
        (
            [sheet(merges=[Merge(top=1, left=1, bottom=50_000, right=2), Merge(top=1, left=4, bottom=1, right=4)])],
            'the sheet "Units" merges more than 100,000 cells',
        ),
        ([sheet(merges=[Merge(top=2, left=3, bottom=50_001, right=4)])], ""),
        ([sheet(merges=[Merge(top=2, left=3, bottom=50_002, right=4)])], 'the sheet "Units" merges more than 100,000'),
        ([sheet(cells=[text_of(32_767)])], ""),
        ([sheet(cells=[text_of(32_768)])], "the cell A1 holds 32,768 signs, more than a spreadsheet program takes"),
    ],
)
def test_the_extent_of_a_book(tables: list[SheetTable], told: str) -> None:
    said = why(lambda: _guard_extent(Book(file="b.xlsx", tables=tuple(tables))))
    assert said.startswith(told) if told else not said


class Stream(io.BytesIO):
    """A file of a size, of which a read gives so many places and not the bytes."""

    size = 0

    def read(self, most: int | None = -1, /) -> Any:
        return range(min(most or 0, self.size))


@pytest.mark.parametrize(("size", "told"), [(128 * MB, ""), (128 * MB + 1, "the file is larger than 128 MB")])
def test_the_bytes_of_a_file(monkeypatch: pytest.MonkeyPatch, tmp_path: Path, size: int, told: str) -> None:
    (tmp_path / "b.xlsx").touch()
    monkeypatch.setattr(Stream, "size", size)
    monkeypatch.setattr(Path, "open", lambda *_: Stream())
    assert why(lambda: stored_input(tmp_path / "b.xlsx")) == told


def read_text(data: bytes) -> None:
    read_bare_table(StoredFile(name="units.csv", data=data), ",", Noted())


# Text in UTF-16 that is damaged at its beginning, so that no more of it is looked at.
DAMAGED = b"\xfe\xff\xd8\x00"


@pytest.mark.parametrize(
    ("data", "told"),
    [
        pytest.param(DAMAGED + bytes(16 * MB - 4), "the text is damaged UTF-16", id="16 MB"),
        pytest.param(DAMAGED + bytes(16 * MB - 3), "the file is larger than 16 MB", id="a byte more"),
        pytest.param(b"\n" * 310_001, "the file holds 310,001 line ends", id="line feeds"),
        pytest.param(b"\r" * 310_001, "the file holds 310,001 line ends", id="carriage returns"),
        pytest.param(b"a\n\r" * 155_000, "line 2 is broken by a carriage return", id="as many as may be"),
    ],
)
def test_the_bytes_and_lines_of_a_text(data: bytes, told: str) -> None:
    assert why(lambda: read_text(data)).startswith(told)


SHEETS = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
RELATIONS = '<Relationships><Relationship Id="r1" Type="{}" Target="{}"/></Relationships>'


def workbook(rows: str, *, before: str = "", behind: str = "") -> zipfile.ZipFile:
    """A container with one sheet, as small as it can be."""
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w") as archive:
        archive.writestr("[Content_Types].xml", "<Types/>")
        # Another part may be named before the workbook.
        kinds = (("core-properties", "docProps/core.xml"), ("officeDocument", "xl/workbook.xml"))
        named = "".join(
            f'<Relationship Id="r{at}" Type="{SHEETS}/{kind}" Target="{target}"/>'
            for at, (kind, target) in enumerate(kinds)
        )
        archive.writestr("_rels/.rels", f"<Relationships>{named}</Relationships>")
        archive.writestr("xl/workbook.xml", '<workbook><sheets><sheet name="Units" r:id="r1"/></sheets></workbook>')
        archive.writestr("xl/_rels/workbook.xml.rels", RELATIONS.format(f"{SHEETS}/worksheet", "s1.xml"))
        archive.writestr("xl/s1.xml", f"<worksheet>{before}<sheetData>{rows}</sheetData>{behind}</worksheet>")
    return zipfile.ZipFile(data)


def cell(place: str, value: str = "2") -> str:
    return f'<row r="{place.lstrip("ABCDEFX")}"><c r="{place}"><v>{value}</v></c></row>'


def merged(*areas: str) -> str:
    return "<mergeCells>" + "".join(f'<mergeCell ref="{area}"/>' for area in areas) + "</mergeCells>"


@pytest.mark.parametrize(
    ("rows", "around", "told"),
    [
        (cell("XFD1"), {}, ""),
        (cell("XFE1"), {}, "Units!XFE1 stands in row 1 twice, or is not of that row"),
        (cell("A1048576"), {}, ""),
        (cell("A1048577"), {}, 'row 1048577 of the sheet "Units" lies beyond the last row of a sheet'),
        ("<row><c><v>1</v></c><c><v>2</v></c></row><row><c><v>3</v></c></row>", {}, ""),
        (cell("A2") + cell("A2"), {}, 'row 2 of the sheet "Units" stands again, or out of its order'),
        ('<row r="0"/>', {}, 'row 0 of the sheet "Units" stands again, or out of its order'),
        ('<row r="1"><c r="A2"/></row>', {}, "Units!A2 stands in row 1 twice, or is not of that row"),
        ('<row r="1"><c r="a1"/></row>', {}, "Units!a1 stands in row 1 twice, or is not of that row"),
        ('<row r="1"><c r="A1"><v>1</v><v>2</v></c></row>', {}, "Units!A1 stores two values"),
        ('<row r="1"><v>1</v></row>', {}, 'row 1 of the sheet "Units" holds a value or a formula outside of its cells'),
        ('<row r="1"><f>1</f></row>', {}, 'row 1 of the sheet "Units" holds a value or a formula outside of its cells'),
        (cell("A1"), {"behind": "<x><f>1</f></x>"}, ""),
        (cell("A1", "x"), {}, 'Units!A1 stores "x" as a number'),
        (cell("A1"), {"before": '<dimension ref="A1:A1"/>'}, ""),
        (cell("A1"), {"before": '<dimension ref="A1:A2"/>'}, "it reaches to row 2 and ends in row 1"),
        (cell("A1"), {"before": '<dimension ref="A1:B1"/>'}, "it reaches to column B and ends in column A"),
        (cell("A1"), {"before": '<dimension ref="B2"/>'}, ""),
        ("", {"before": '<dimension ref="A1:A1"/>'}, ""),
        ("", {"before": '<dimension ref="A1:B1"/>'}, "it reaches to column B and ends in column "),
        (cell("A1"), {"before": '<dimension ref="A1:B3"/>', "behind": merged("A1:B3")}, ""),
        (cell("A1"), {"before": '<dimension ref="A1:B3"/>', "behind": merged("A1:B2")}, "it reaches to row 3"),
        (cell("A1"), {"before": '<dimension ref="A1:C3"/>', "behind": merged("A1:B3")}, "it reaches to column C"),
        (cell("A1"), {"behind": merged("A1:A50000", "B1:B50000")}, ""),
        (cell("A1"), {"behind": merged("A1:A50000", "B1:B50001")}, "merges more than 100,000 cells"),
        (cell("A1"), {"behind": merged("B2:C50001")}, ""),
        (cell("A1"), {"behind": merged("B2:C50002")}, "the cells B2:C50002 are merged, more than 100,000 of them"),
        (cell("A1"), {"behind": merged("A1:B2", "nowhere")}, ""),
        (cell("B2"), {"behind": merged("A1:B2")}, "Units!B2 holds a value and is hidden by the merged cells A1:B2"),
    ],
)
def test_the_cells_of_a_sheet_part(rows: str, around: dict[str, str], told: str) -> None:
    said = why(lambda: stored_sheets(workbook(rows, **around)))
    assert told in said if told else not said


def test_what_a_sheet_part_holds() -> None:
    shared = '<c><f t="shared" si="0">A1*2</f><v>4</v></c><c><f t="shared" si="0"/><v>6</v></c>'
    rows = f'<row><c><v>2</v></c>{shared}<c><f>B1</f></c><c t="str"><v>x</v></c></row>'
    (found,) = stored_sheets(workbook(rows))
    assert found.filled == {
        "A1": ("n", "2"), "B1": ("n", "4"), "C1": ("n", "6"), "E1": ("str", "x")
    }  # fmt: skip
    assert (found.formulas, found.origins) == ({"B1": "=A1*2", "C1": "=A1*2", "D1": "=B1"}, {"C1": "B1"})
