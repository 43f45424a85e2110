"""A sheet part of a workbook read once: its cells as they are stored; what contradicts itself refuses the file.

References
----------
ECMA-376, part 1, section 18.3.1 (worksheets).
"""

from __future__ import annotations

import re
import zipfile
from collections.abc import Iterator, Mapping, Sequence

from msgspec import Struct, field

from qc.problems import quoted
from qc.readers.cells import Merge, address, column_letters, column_number
from qc.readers.guards import MOST_MERGED, guard_cells
from qc.readers.parts import Begins, Runs, is_on, look, refused, walk, white

_ROW = re.compile(r"[1-9]\d{0,6}", re.ASCII)
_PLACE = re.compile(r"([A-Z]{1,3})([1-9]\d{0,6})", re.ASCII)
_NUMBER = re.compile(r"\s*[-+]?(\d+\.?\d*|\.\d+)([eE][-+]?\d+)?\s*", re.ASCII)
_KINDS = frozenset(("n", "s", "str", "b", "e", "d", "inlineStr"))
LAST_ROW, LAST_COLUMN = 1_048_576, 16_384
NOT_WRITTEN_OUT = "shared with other cells"


class StoredSheet(Struct, frozen=True, kw_only=True):
    """The filled cells of a sheet part by address: their type, and the text of their value; the formulas beside.

    A formula that was dragged over several cells is written out in the first; `origins` names that for the others.
    `looks` says of which a part is struck through, raised or lowered; `styles` gives the number of the style of each
    that has one. `hidden_columns` are the first and the last of each range.
    """

    name: str
    hidden: bool
    filled: Mapping[str, tuple[str, str]]
    formulas: Mapping[str, str]
    origins: Mapping[str, str]
    looks: Mapping[str, str]
    styles: Mapping[str, int]
    hidden_rows: frozenset[int]
    hidden_columns: Sequence[tuple[int, int]]
    merges: tuple[Merge, ...]
    comments: Mapping[str, str]


class _Scan(Struct, kw_only=True):
    """A sheet part while it is read."""

    name: str
    filled: dict[str, tuple[str, str]] = field(default_factory=dict)
    formulas: dict[str, str] = field(default_factory=dict)
    origins: dict[str, str] = field(default_factory=dict)
    looks: dict[str, str] = field(default_factory=dict)
    styles: dict[str, int] = field(default_factory=dict)
    hidden_rows: set[int] = field(default_factory=set)
    hidden_columns: list[tuple[int, int]] = field(default_factory=list)
    shared: dict[str, str] = field(default_factory=dict)
    """The cell in which each shared formula is written out, by its number."""
    number: str | None = None
    merges: list[Merge] = field(default_factory=list)
    merged: int = 0
    tables: int = 0
    dimension: str = ""
    row: int = 0
    column: int = 0
    last_column: int = 0
    cell: str = ""
    kind: str = ""
    inside: str = ""
    """The element whose text is being read: a value, a formula, a text of the cell itself."""
    text: list[str] = field(default_factory=list)
    runs: Runs = field(default_factory=Runs)


def stored_sheet(
    archive: zipfile.ZipFile,
    part: str,
    name: str,
    texts: Sequence[str],
    *,
    looks: Mapping[str, str],
    held: int,
    hidden: bool,
    comments: Mapping[str, str],
) -> StoredSheet:
    """Read the part of a sheet.

    Parameters
    ----------
    archive : zipfile.ZipFile
    part, name : str
        The name of the part, and that of the sheet.
    texts : sequence of str
        The shared texts.
    looks : mapping
        By their number, what the type of a part of them does to them.
    held : int
        How many filled cells the sheets before hold.
    hidden : bool
    comments : mapping
        What is said of its cells, by their address.

    Raises
    ------
    UnusableFileError
        When it contradicts itself, or holds more than the sheet of a batch.
    """
    scan = _Scan(name=name)

    def stray(_: Mapping[str, str] | None = None) -> None:
        if scan.inside == "v":
            raise refused(f"{name}!{scan.cell} stores something else within its value")

    begins: Begins = {
        "dimension": lambda given: setattr(scan, "dimension", given.get("ref", "")),
        "sheetData": lambda _: setattr(scan, "tables", scan.tables + 1),
        "col": lambda given: _begin_column(scan, given),
        "row": lambda given: _begin_row(scan, given),
        "c": lambda given: _begin_cell(scan, given),
        "f": lambda given: _begin_formula(scan, given),
        "v": lambda _: _begin_value(scan, "v"),
        "is": lambda _: _begin_value(scan, "is"),
        "t": lambda given: scan.runs.begin(given) if scan.inside == "is" else stray(),
        "rPh": scan.runs.begin_phonetic,
        "mergeCell": lambda given: _merge(scan, given.get("ref", "")),
        # Of texts alone: others stand in what the sheet makes of its cells.
        "strike": lambda given: look(scan.looks, scan.cell, given) if scan.inside else None,
        "vertAlign": lambda given: look(scan.looks, scan.cell, given) if scan.inside else None,
        "color": lambda given: white(scan.looks, scan.cell, given) if scan.inside else None,
    }

    def ended(element: str) -> None:
        if element == "c":
            scan.cell = ""
        elif element == scan.inside:
            text = scan.runs.taken() if element == "is" else "".join(scan.text)
            if element == "f":
                _end_formula(scan, text)
            else:
                _end_value(scan, text, texts, looks)
                guard_cells(held + len(scan.filled))
            scan.inside = ""
        elif scan.inside == "is":
            scan.runs.end(element)

    def heard(text: str) -> None:
        if scan.inside == "is":
            scan.runs.hear(text)
        elif scan.inside:
            scan.text.append(text)

    walk(archive, part, begins, other=stray, ends=ended, text=heard)
    if scan.tables != 1:
        raise refused(f"the sheet {quoted(name)} holds {scan.tables} tables of cells in place of one")
    _check_dimension(scan)
    for merge in scan.merges:
        inside = [place for place in _covered(merge) if place in scan.filled]
        if inside:
            raise refused(f"{name}!{inside[0]} holds a value and is hidden by the merged cells {merge.address}")
    return StoredSheet(
        name=name,
        hidden=hidden,
        filled=scan.filled,
        formulas=scan.formulas,
        origins=scan.origins,
        looks=scan.looks,
        styles=scan.styles,
        hidden_rows=frozenset(scan.hidden_rows),
        hidden_columns=scan.hidden_columns,
        merges=tuple(scan.merges),
        comments=comments,
    )


def _whole(scan: _Scan, given: Mapping[str, str], name: str) -> int:
    """A whole number of an attribute; 0 where there is none."""
    said = given.get(name, "0")
    if not said.isdecimal():
        raise refused(f"the sheet {quoted(scan.name)} says {name} = {quoted(said)}, which is no whole number")
    return int(said)


def _begin_column(scan: _Scan, given: Mapping[str, str]) -> None:
    first, last = _whole(scan, given, "min"), _whole(scan, given, "max")
    if is_on(given.get("hidden", "")):
        scan.hidden_columns.append((first, last))


def _begin_row(scan: _Scan, given: Mapping[str, str]) -> None:
    text = given.get("r", str(scan.row + 1))
    number = int(text) if _ROW.fullmatch(text) else 0
    if number > LAST_ROW:
        raise refused(f"row {number} of the sheet {quoted(scan.name)} lies beyond the last row of a sheet")
    if number <= scan.row:
        raise refused(f"row {number} of the sheet {quoted(scan.name)} stands again, or out of its order")
    scan.row, scan.column = number, 0
    if is_on(given.get("hidden", "")):
        scan.hidden_rows.add(number)


def _begin_cell(scan: _Scan, given: Mapping[str, str]) -> None:
    place = given.get("r", f"{column_letters(scan.column + 1)}{scan.row}")
    match = _PLACE.fullmatch(place)
    if (
        match is None
        or int(match.group(2)) != scan.row
        or not scan.column < column_number(match.group(1)) <= LAST_COLUMN
        or scan.cell
    ):
        raise refused(f"{scan.name}!{place} stands in row {scan.row} twice, or is not of that row")
    scan.column = column_number(match.group(1))
    scan.last_column = max(scan.last_column, scan.column)
    scan.cell, scan.kind = place, given.get("t", "n")
    if style := _whole(scan, given, "s"):
        scan.styles[place] = style


def _begin_formula(scan: _Scan, given: Mapping[str, str]) -> None:
    # What the sheet makes of its cells has formulas too.
    if scan.cell:
        _begin_text(scan, "f")
        scan.number = given.get("si") if given.get("t") == "shared" else None


def _begin_value(scan: _Scan, element: str) -> None:
    if not scan.cell:
        raise refused(f"a value stands outside of the cells of row {scan.row} of the sheet {quoted(scan.name)}")
    _begin_text(scan, element)


def _begin_text(scan: _Scan, element: str) -> None:
    if scan.inside:
        raise refused(f"{scan.name}!{scan.cell} stores something else within its value")
    scan.inside = element
    scan.text.clear()


def _end_formula(scan: _Scan, text: str) -> None:
    """A formula as it is written, or that of the cell from which it was dragged here."""
    first = scan.shared.setdefault(scan.number, scan.cell) if scan.number is not None else scan.cell
    if not text and first in scan.formulas:
        scan.origins[scan.cell] = first
    scan.formulas[scan.cell] = f"={text}" if text else scan.formulas.get(first, NOT_WRITTEN_OUT)


def _merge(scan: _Scan, area: str) -> None:
    """Count a merged area before anybody writes out its cells."""
    corners = [_PLACE.fullmatch(corner) for corner in area.replace("$", "").split(":")]
    first, last = corners[0], corners[-1]
    if len(corners) > 2 or first is None or last is None:
        raise refused(f"the sheet {quoted(scan.name)} merges the cells {quoted(area)}, which are no range")
    merge = Merge(
        top=int(first.group(2)),
        left=column_number(first.group(1)),
        bottom=int(last.group(2)),
        right=column_number(last.group(1)),
    )
    count = (merge.right - merge.left + 1) * (merge.bottom - merge.top + 1)
    if merge.right < merge.left or merge.bottom < merge.top:
        raise refused(f"the sheet {quoted(scan.name)} merges the cells {quoted(area)}, which are no range")
    if count > MOST_MERGED:
        raise refused(f"the cells {area} are merged, more than {MOST_MERGED:,} of them")
    scan.merges.append(merge)
    scan.merged += count
    if scan.merged > MOST_MERGED:
        raise refused(f"the sheet {quoted(scan.name)} merges more than {MOST_MERGED:,} cells")


def _end_value(scan: _Scan, text: str, texts: Sequence[str], looks: Mapping[str, str]) -> None:
    """A value that is stored: it must be what its type says."""
    own_text = scan.kind == "inlineStr"
    if text and (scan.kind not in _KINDS or own_text is not (scan.inside == "is")):
        raise refused(f"{scan.name}!{scan.cell} is stored as {quoted(scan.kind)}, which its value is not")
    if scan.kind == "s":
        if not text.strip().isdecimal() or int(text) >= len(texts):
            raise refused(f"{scan.name}!{scan.cell} names the text {quoted(text)}, which the file does not hold")
        if look := looks.get(text.strip()):
            scan.looks.setdefault(scan.cell, look)
        text = texts[int(text)]
    elif scan.kind == "n" and text and not _NUMBER.fullmatch(text):
        raise refused(f"{scan.name}!{scan.cell} stores {quoted(text)} as a number")
    elif scan.kind == "b" and text not in ("0", "1", ""):
        raise refused(f"{scan.name}!{scan.cell} stores {quoted(text)} as true or false")
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
    lowest = max([scan.row, 1, *(merge.bottom for merge in scan.merges)])
    rightmost = max([scan.last_column, 1, *(merge.right for merge in scan.merges)])
    found = ""
    if int(row) > lowest:
        found = f"row {row} and ends in row {scan.row}"
    elif column_number(column) > rightmost:
        found = f"column {column} and ends in column {column_letters(scan.last_column)}"
    if found:
        raise refused(f"the sheet {quoted(scan.name)} says that it reaches to {found}")


def _covered(merge: Merge) -> Iterator[str]:
    """The addresses of a merged area, its first cell apart."""
    rows, columns = range(merge.top, merge.bottom + 1), range(merge.left, merge.right + 1)
    return (address(row, column) for row in rows for column in columns if (row, column) != (merge.top, merge.left))
