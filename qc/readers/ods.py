"""Open-document spreadsheets (.ods), read from their content.xml by the standard library.

The general reader that was tried for this (python-calamine) reads an error cell, and a formula without a stored result,
as an empty cell; a missing mass must not look like that. The format keeps value, type, formula and shown text of a cell
side by side, so that a plain walk over the rows tells all kinds apart.

References
----------
OASIS, OpenDocument version 1.2, part 1, sections 9.1 (tables), 19.385 (office:value-type), 19.675 and 19.679 (repeats).
"""

from __future__ import annotations

import functools
import zipfile
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from xml.etree.ElementTree import Element, ParseError, fromstring

from msgspec import Struct, field

from qc.readers.cells import Book, CellKind, Content, Merge, SheetCell, SheetRow, SheetTable, address, content_of
from qc.readers.guards import BROKEN_ZIP, SAVE_AGAIN, UnusableFileError, guard_zip

MOST_CELLS = 4_000_000
_SPACES = {
    "office": "urn:oasis:names:tc:opendocument:xmlns:office:1.0",
    "table": "urn:oasis:names:tc:opendocument:xmlns:table:1.0",
    "text": "urn:oasis:names:tc:opendocument:xmlns:text:1.0",
    "style": "urn:oasis:names:tc:opendocument:xmlns:style:1.0",
    "manifest": "urn:oasis:names:tc:opendocument:xmlns:manifest:1.0",
    "calc": "urn:org:documentfoundation:names:experimental:calc:xmlns:calcext:1.0",
}
_ERRORS = ("#", "Err:")
_PLAIN = frozenset(f"{{{_SPACES['table']}}}{name}" for name in ("table-row", "table-column"))


@functools.cache
def _tag(name: str) -> str:
    space, _, local = name.partition(":")
    return f"{{{_SPACES[space]}}}{local}"


def _said(element: Element, name: str, default: str = "") -> str:
    """An attribute of an element."""
    return element.get(_tag(name), default)


def _count(element: Element, name: str) -> int:
    """An attribute that counts; 1 where it is not there."""
    return int(_said(element, name, "1"))


def read_ods(path: Path) -> Book:
    """Read every sheet of an open-document spreadsheet.

    Raises
    ------
    UnusableFileError
        When the file is no such spreadsheet, is locked, damaged or outsized.
    """
    guard_zip(path)
    try:
        with zipfile.ZipFile(path) as archive:
            manifest = fromstring(archive.read("META-INF/manifest.xml"))
            if manifest.find(f".//{_tag('manifest:encryption-data')}") is not None:
                mend = "Take the password off and try again"
                raise UnusableFileError("the file is protected by a password", mend=mend)
            content = fromstring(archive.read("content.xml"))
        hidden_styles = {
            style.get(_tag("style:name"))
            for style in content.iter(_tag("style:style"))
            for look in style.iter(_tag("style:table-properties"))
            if look.get(_tag("table:display")) == "false"
        }
        sheets = content.findall(f"./{_tag('office:body')}/{_tag('office:spreadsheet')}/{_tag('table:table')}")
        return Book(file=path.name, tables=tuple(_table(path, sheet, hidden_styles) for sheet in sheets))
    except UnusableFileError:
        raise
    except ValueError as error:
        raise UnusableFileError(f"the spreadsheet holds a damaged value ({error})", mend=SAVE_AGAIN) from error
    except (ParseError, *BROKEN_ZIP) as error:
        raise UnusableFileError(f"the spreadsheet is damaged ({type(error).__name__})", mend=SAVE_AGAIN) from error


class _Grid(Struct):
    """What is found while walking over one sheet."""

    rows: list[SheetRow] = field(default_factory=list)
    merges: list[Merge] = field(default_factory=list)
    cells: int = 0


def _table(path: Path, sheet: Element, hidden_styles: set[str | None]) -> SheetTable:
    name = _said(sheet, "table:name")
    grid = _Grid()
    number = 1
    for row in _inside(sheet, _tag("table:table-row")):
        repeated = _count(row, "table:number-rows-repeated")
        _take_row(grid, row, number, repeated, name)
        number += repeated
    hidden_columns: set[int] = set()
    spot = 1
    for column in _inside(sheet, _tag("table:table-column")):
        repeated = _count(column, "table:number-columns-repeated")
        if _said(column, "table:visibility", "visible") != "visible":
            hidden_columns.update(range(spot, min(spot + repeated, 16385)))
        spot += repeated
    return SheetTable(
        file=path.name,
        sheet=name.strip(),
        name=name,
        rows=tuple(grid.rows),
        hidden=sheet.get(_tag("table:style-name")) in hidden_styles,
        hidden_columns=frozenset(hidden_columns),
        merges=tuple(grid.merges),
    )


def _inside(element: Element, wanted: str) -> Iterator[Element]:
    """Rows or columns of a sheet, those inside groups and repeated headings too, in order."""
    for child in element:
        if child.tag == wanted:
            yield child
        elif child.tag.startswith(_tag("table:table-")) and child.tag not in _PLAIN:
            yield from _inside(child, wanted)


def _take_row(grid: _Grid, row: Element, number: int, repeated: int, name: str) -> None:
    """Put a row into the grid as often as it repeats; an empty one never, however often it does."""
    found: list[tuple[int, Content]] = []
    column = 1
    for cell in row:
        if cell.tag not in (_tag("table:table-cell"), _tag("table:covered-table-cell")):
            continue
        times = _count(cell, "table:number-columns-repeated")
        value = _value(cell) if cell.tag == _tag("table:table-cell") else None
        if value is not None:
            grid.cells += times * repeated
            if grid.cells > MOST_CELLS:
                raise UnusableFileError(
                    f'the sheet "{name}" repeats a cell until it holds more than {MOST_CELLS} of them',
                    mend="Clear the cells below and beside the table, and save it again",
                )
            found += [(column + spot, value) for spot in range(times)]
            bottom = number + _count(cell, "table:number-rows-spanned") - 1
            right = column + _count(cell, "table:number-columns-spanned") - 1
            if bottom > number or right > column:
                grid.merges.append(Merge(top=number, left=column, bottom=bottom, right=right))
        column += times
    if not found:
        return
    hidden = _said(row, "table:visibility", "visible") != "visible"
    for spot in range(number, number + repeated):
        cells = {place: SheetCell(place, address(spot, place), *content) for place, content in found}
        grid.rows.append(SheetRow(number=spot, cells=cells, hidden=hidden))


def _value(cell: Element) -> Content | None:
    """Kind, text and number of a cell; None when it is empty."""
    kind, text = _said(cell, "office:value-type"), "\n".join(_text(part) for part in cell if part.tag == _tag("text:p"))
    formula = cell.get(_tag("table:formula"))
    if formula is not None and (cell.get(_tag("calc:value-type")) == "error" or text.startswith(_ERRORS)):
        return CellKind.ERROR, text, None
    if kind in ("float", "currency", "percentage"):
        return content_of(float(_said(cell, "office:value")), percent=kind == "percentage")
    if kind == "date":
        return content_of(datetime.fromisoformat(_said(cell, "office:date-value")))
    if kind == "time":
        return CellKind.DATE, text or _said(cell, "office:time-value"), None
    if kind == "boolean":
        return CellKind.BOOLEAN, _said(cell, "office:boolean-value").upper(), None
    if formula is not None and not kind:
        return CellKind.UNSAVED, formula.partition(":")[2] or formula, None
    return content_of(text or _said(cell, "office:string-value"))


def _text(element: Element) -> str:
    """The text of a paragraph, its spaces, tabs and line breaks written out, comments left aside."""
    parts = [element.text or ""]
    for child in element:
        if child.tag == _tag("text:s"):
            parts.append(" " * min(_count(child, "text:c"), 1000))
        elif child.tag in (_tag("text:tab"), _tag("text:line-break")):
            parts.append("\t" if child.tag == _tag("text:tab") else "\n")
        elif child.tag != _tag("office:annotation"):
            parts.append(_text(child))
        parts.append(child.tail or "")
    return "".join(parts)
