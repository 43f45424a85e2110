"""A workbook held against its own container: every sheet, row, cell and text that the file declares has been loaded.

A library may pass over what it does not find. Here each part is read once more, by expat alone, and whatever differs
from what was loaded refuses the file: a part that is missing is never a sheet on which nothing was entered.
"""

from __future__ import annotations

import re
import zipfile
from collections.abc import Callable, Mapping, Sequence

from msgspec import Struct, field
from msgspec.structs import replace

from qc.patterns import pattern
from qc.problems import quoted
from qc.readers.cells import address, column_letters, column_number
from qc.readers.guards import MOST_MERGED, guard_cells
from qc.readers.parts import note_look, note_white, refused, relations_of, shared_texts, text_boxes, walk

_ROW = pattern(r"[1-9]\d{0,6}", re.ASCII)
_PLACE = pattern(r"([A-Z]{1,3})([1-9]\d{0,6})", re.ASCII)
_NUMBER = pattern(r"\s*[-+]?(\d+\.?\d*|\.\d+)([eE][-+]?\d+)?\s*", re.ASCII)
_WORKSHEET, _STRINGS = "/worksheet", "/sharedStrings"
_OF_A_SHEET = (_WORKSHEET, "/chartsheet", "/dialogsheet", "/xlMacrosheet")
_WORKSHEET_TYPE = "spreadsheetml.worksheet+xml"
_TYPES = "[Content_Types].xml"
LAST_ROW, LAST_COLUMN = 1_048_576, 16_384
NOT_WRITTEN_OUT = "shared with other cells"


class StoredSheet(Struct, frozen=True, kw_only=True):
    """The filled cells of a sheet part by address: their type, and the text of their value; the formulas beside.

    A formula that was dragged over several cells is written out in the first; `origins` names that for the others.
    `looks` says of which a part is struck through, raised or lowered; `boxes` holds the texts of its text boxes.
    """

    name: str
    filled: Mapping[str, tuple[str, str]]
    formulas: Mapping[str, str]
    origins: Mapping[str, str]
    looks: Mapping[str, str]
    boxes: tuple[str, ...] = ()


class _Scan(Struct, kw_only=True):
    """A sheet part while it is read."""

    name: str
    filled: dict[str, tuple[str, str]] = field(default_factory=dict)
    formulas: dict[str, str] = field(default_factory=dict)
    origins: dict[str, str] = field(default_factory=dict)
    looks: dict[str, str] = field(default_factory=dict)
    shared: dict[str, str] = field(default_factory=dict)
    """The cell in which each shared formula is written out, by its number."""
    number: str | None = None
    merges: list[str] = field(default_factory=list)
    merged: int = 0
    tables: int = 0
    in_table: bool = False
    dimension: str = ""
    row: int = 0
    column: int = 0
    last_column: int = 0
    cell: str = ""
    """The cell that is open; empty outside of cells."""
    kind: str = ""
    text: list[str] | None = None


def stored_sheets(archive: zipfile.ZipFile) -> tuple[StoredSheet, ...]:
    """The worksheets that a workbook declares, in its order, each with what its part holds.

    Raises
    ------
    UnusableFileError
        When a part that is declared is missing, is listed by no sheet, or contradicts itself.
    """
    workbook = next(
        (target for kind, target in relations_of(archive, "").values() if kind.endswith("/officeDocument")), ""
    )
    sheets: list[tuple[str, str]] = []
    walk(archive, workbook, {"sheet": lambda given: sheets.append((given.get("name", ""), _id_of(given)))})
    relations = relations_of(archive, workbook)
    strings = [target for kind, target in relations.values() if kind.endswith(_STRINGS)]
    texts, looks = shared_texts(archive, strings[0]) if strings else ((), {})
    found: list[StoredSheet] = []
    for name, identifier in sheets:
        kind, target = relations.get(identifier, ("", ""))
        if not kind.endswith(_OF_A_SHEET) or target not in archive.namelist():
            raise refused(f"the sheet {quoted(name)} is listed, but its part is missing in the file")
        if kind.endswith(_WORKSHEET):
            held = sum(len(sheet.filled) for sheet in found)
            sheet = _sheet(archive, target, name, texts, looks=looks, held=held)
            found.append(replace(sheet, boxes=text_boxes(archive, target)))
    parts = {target for kind, target in relations.values() if kind.endswith(_WORKSHEET)}

    def typed(given: Mapping[str, str]) -> None:
        if given.get("ContentType", "").endswith(_WORKSHEET_TYPE):
            parts.add(given.get("PartName", "").lstrip("/"))

    walk(archive, _TYPES, {"Override": typed})
    listed = {relations.get(identifier, ("", ""))[1] for _, identifier in sheets}
    if lost := sorted(parts & set(archive.namelist()) - listed):
        raise refused(f"the part {lost[0]} is a worksheet, but no sheet of the workbook lists it")
    return tuple(found)


def check_loaded(stored: Sequence[StoredSheet], loaded: Mapping[str, Mapping[str, object]]) -> None:
    """Hold the sheets that were loaded against those that the file stores.

    Parameters
    ----------
    stored : sequence of StoredSheet
    loaded : mapping
        By name of the sheet, what was loaded into each cell by its address.

    Raises
    ------
    UnusableFileError
        When a sheet or a cell was not loaded, or one was loaded that the file does not store, or as another number.
    """
    if [sheet.name for sheet in stored] != list(loaded):
        names = ", ".join(quoted(sheet.name) for sheet in stored)
        raise refused(f"the file lists the worksheets {names}, but others were loaded")
    for sheet in stored:
        cells = loaded[sheet.name]
        differing = sorted(sheet.filled.keys() ^ cells.keys())
        differing += [
            place
            for place, (kind, text) in sheet.filled.items()
            if kind == "n" and isinstance(number := cells.get(place), int | float) and _differs(text, number)
        ]
        if differing:
            raise refused(f"{sheet.name}!{differing[0]} is stored in the file in another way than it was loaded")


def _differs(text: str, number: float) -> bool:
    """Whether a number was loaded as another one; those of more digits than a float has are not compared."""
    return abs(number) < 2**53 and float(text) != number


def _id_of(given: Mapping[str, str]) -> str:
    """The relation that an element names; its prefix is the writer's own choice."""
    return next((value for name, value in given.items() if name.rpartition(":")[2] == "id" and ":" in name), "")


def _sheet(
    archive: zipfile.ZipFile, part: str, name: str, texts: Sequence[str], *, looks: Mapping[str, str], held: int
) -> StoredSheet:
    scan = _Scan(name=name)
    begins: dict[str, Callable[[Mapping[str, str]], None]] = {
        "dimension": lambda given: setattr(scan, "dimension", given.get("ref", "")),
        "sheetData": lambda _: _begin_table(scan),
        "row": lambda given: _begin_row(scan, given),
        "c": lambda given: _begin_cell(scan, given),
        "f": lambda given: _begin_formula(scan, given),
        **dict.fromkeys(("v", "is"), lambda _: _begin_text(scan)),
        "mergeCell": lambda given: _merge(scan, given.get("ref", "")),
        # Lines and colours of rules for the look of cells, of tabs and the like stand outside of texts.
        "strike": lambda given: note_look(scan.looks, scan.cell, given) if scan.text is not None else None,
        "vertAlign": lambda given: note_look(scan.looks, scan.cell, given) if scan.text is not None else None,
        "color": lambda given: note_white(scan.looks, scan.cell, given) if scan.text is not None else None,
    }

    def ended(element: str) -> None:
        if element == "c":
            scan.cell = ""
        if element == "sheetData":
            scan.in_table = False
        if element in ("v", "is", "f") and scan.text is not None:
            text, scan.text = "".join(scan.text), None
            if element == "f":
                _end_formula(scan, text)
            else:
                _end_value(scan, text, texts, looks)
                guard_cells(held + len(scan.filled))

    walk(archive, part, begins, ends=ended, text=lambda told: scan.text.append(told) if scan.text is not None else None)
    if scan.tables != 1:
        raise refused(f"the sheet {quoted(name)} holds {scan.tables} tables of cells in place of one")
    _check_dimension(scan)
    for merge in scan.merges:
        inside = [place for place in _range(merge)[1:] if place in scan.filled]
        if inside:
            raise refused(f"{name}!{inside[0]} holds a value and is hidden by the merged cells {merge}")
    return StoredSheet(name=name, filled=scan.filled, formulas=scan.formulas, origins=scan.origins, looks=scan.looks)


def _begin_table(scan: _Scan) -> None:
    scan.tables, scan.in_table = scan.tables + 1, True


def _begin_text(scan: _Scan) -> None:
    """The text of a value or a formula; those of conditions, lists and sparklines stand behind the table of cells."""
    if scan.cell:
        scan.text = []
    elif scan.in_table:
        raise refused(
            f"row {scan.row} of the sheet {quoted(scan.name)} holds a value or a formula outside of its cells"
        )


def _begin_row(scan: _Scan, given: Mapping[str, str]) -> None:
    text = given.get("r", str(scan.row + 1))
    number = int(text) if _ROW.fullmatch(text) else 0
    if number > LAST_ROW:
        raise refused(f"row {number} of the sheet {quoted(scan.name)} lies beyond the last row of a sheet")
    if number <= scan.row:
        raise refused(f"row {number} of the sheet {quoted(scan.name)} stands again, or out of its order")
    scan.row, scan.column = number, 0


def _begin_cell(scan: _Scan, given: Mapping[str, str]) -> None:
    place = given.get("r", f"{column_letters(scan.column + 1)}{scan.row}")
    match = _PLACE.fullmatch(place)
    if (
        match is None
        or int(match.group(2)) != scan.row
        or not scan.column < column_number(match.group(1)) <= LAST_COLUMN
    ):
        raise refused(f"{scan.name}!{place} stands in row {scan.row} twice, or is not of that row")
    scan.column = column_number(match.group(1))
    scan.last_column = max(scan.last_column, scan.column)
    scan.cell, scan.kind = place, given.get("t", "n")


def _begin_formula(scan: _Scan, given: Mapping[str, str]) -> None:
    _begin_text(scan)
    scan.number = given.get("si")


def _end_formula(scan: _Scan, text: str) -> None:
    """A formula as it is written, or that of the cell from which it was dragged here."""
    first = scan.shared.setdefault(scan.number, scan.cell) if scan.number is not None else scan.cell
    if not text and first in scan.formulas:
        scan.origins[scan.cell] = first
    scan.formulas[scan.cell] = f"={text}" if text else scan.formulas.get(first, NOT_WRITTEN_OUT)


def _merge(scan: _Scan, area: str) -> None:
    """Count a merged area before anybody writes out its cells."""
    scan.merges.append(area)
    scan.merged += len(_range(area))
    if scan.merged > MOST_MERGED:
        raise refused(f"the sheet {quoted(scan.name)} merges more than {MOST_MERGED:,} cells")


def _end_value(scan: _Scan, text: str, texts: Sequence[str], looks: Mapping[str, str]) -> None:
    """A value that is stored: it must be what its type says."""
    if scan.kind == "s":
        if not text.strip().isdecimal() or int(text) >= len(texts):
            raise refused(f"{scan.name}!{scan.cell} names the text {quoted(text)}, which the file does not hold")
        if look := looks.get(text.strip()):
            scan.looks.setdefault(scan.cell, look)
        text = texts[int(text)]
    elif scan.kind == "n" and text and not _NUMBER.fullmatch(text):
        raise refused(f"{scan.name}!{scan.cell} stores {quoted(text)} as a number")
    if text and scan.cell in scan.filled:
        raise refused(f"{scan.name}!{scan.cell} stores two values")
    if text:
        scan.filled[scan.cell] = (scan.kind, text)


def _check_dimension(scan: _Scan) -> None:
    """Refuse a sheet that says it reaches farther than its cells do, as one does that has lost rows or columns."""
    last = _PLACE.fullmatch(scan.dimension.rpartition(":")[2])
    if ":" not in scan.dimension or last is None:
        return
    column, row = last.groups()
    # A merged area may reach beyond the cells that are written.
    merged = [place for merge in scan.merges for place in _range(merge)[-1:]]
    corners = [match.groups() for place in merged if (match := _PLACE.fullmatch(place))]
    found = ""
    if int(row) > max([scan.row, 1, *(int(lowest) for _, lowest in corners)]):
        found = f"row {row} and ends in row {scan.row}"
    elif column_number(column) > max([scan.last_column, 1, *(column_number(last) for last, _ in corners)]):
        found = f"column {column} and ends in column {column_letters(scan.last_column)}"
    if found:
        raise refused(f"the sheet {quoted(scan.name)} says that it reaches to {found}")


def _range(area: str) -> list[str]:
    """The addresses of a merged area, the first corner first; none where it is no area."""
    corners = [_PLACE.fullmatch(corner) for corner in area.split(":")]
    if len(corners) != 2 or corners[0] is None or corners[1] is None:
        return []
    (left, top), (right, bottom) = (
        (column_number(one.group(1)), int(one.group(2))) for one in corners if one is not None
    )
    if (right - left + 1) * (bottom - top + 1) > MOST_MERGED:
        raise refused(f"the cells {area} are merged, more than {MOST_MERGED:,} of them")
    return [address(row, column) for row in range(top, bottom + 1) for column in range(left, right + 1)]
