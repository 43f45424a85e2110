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
from xml.etree.ElementTree import Element, ParseError, fromstring

from qc.readers.cells import Book, CellKind, Content, Merge, SheetCell, SheetRow, SheetTable, address, content_of
from qc.readers.guards import BROKEN_ZIP, SAVE_AGAIN, UnusableFileError, guard_zip
from qc.readers.stored import StoredFile

MOST_CELLS = 4_000_000
MOST_COLUMNS = 16_384
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


def read_ods(file: StoredFile) -> Book:
    """Read every sheet of an open-document spreadsheet.

    Raises
    ------
    UnusableFileError
        When the file is no such spreadsheet, is locked, damaged or outsized.
    """
    guard_zip(file.name, file.data)
    try:
        with zipfile.ZipFile(file.stream()) as archive:
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
        return Book(file=file.name, tables=tuple(_table(file.name, sheet, hidden_styles) for sheet in sheets))
    except UnusableFileError:
        raise
    except ValueError as error:
        raise UnusableFileError(f"the spreadsheet holds a damaged value ({error})", mend=SAVE_AGAIN) from error
    except (ParseError, *BROKEN_ZIP) as error:
        raise UnusableFileError(f"the spreadsheet is damaged ({type(error).__name__})", mend=SAVE_AGAIN) from error


def _table(file: str, sheet: Element, hidden_styles: set[str | None]) -> SheetTable:
    name = _said(sheet, "table:name")
    rows: list[SheetRow] = []
    merges: list[Merge] = []
    held = 0
    for number, repeated, row in _placed(sheet, "rows", "table-row"):
        found: dict[int, Content] = {}
        for column, times, cell in _placed(row, "columns", "table-cell", "covered-table-cell"):
            value = _value(cell) if cell.tag == _tag("table:table-cell") else None
            if value is None:
                continue
            held += times * repeated
            if held > MOST_CELLS:
                text = f'the sheet "{name}" repeats a cell until it holds more than {MOST_CELLS} of them'
                raise UnusableFileError(text, mend="Clear the cells below and beside the table, and save it again")
            found.update(dict.fromkeys(range(column, column + times), value))
            bottom = number + _count(cell, "table:number-rows-spanned") - 1
            right = column + _count(cell, "table:number-columns-spanned") - 1
            if bottom > number or right > column:
                merges.append(Merge(top=number, left=column, bottom=bottom, right=right))
        # An empty row is left out, however often it repeats.
        for spot in range(number, number + repeated) if found else ():
            cells = {place: SheetCell(place, address(spot, place), *content) for place, content in found.items()}
            rows.append(SheetRow(number=spot, cells=cells, hidden=_is_hidden(row)))
    columns = [one for one in _placed(sheet, "columns", "table-column") if _is_hidden(one[2])]
    return SheetTable(
        file=file,
        sheet=name.strip(),
        name=name,
        rows=tuple(rows),
        hidden=sheet.get(_tag("table:style-name")) in hidden_styles,
        hidden_columns=frozenset(
            spot for first, times, _ in columns for spot in range(first, min(first + times, MOST_COLUMNS + 1))
        ),
        merges=tuple(merges),
    )


def _is_hidden(element: Element) -> bool:
    """Whether a row or column is hidden, or filtered out."""
    return _said(element, "table:visibility", "visible") != "visible"


def _placed(parent: Element, kind: str, *names: str) -> Iterator[tuple[int, int, Element]]:
    """Rows, columns or cells, each with its place counted from 1 and with how often it repeats."""
    spot = 1
    for element in _inside(parent, frozenset(_tag(f"table:{name}") for name in names)):
        times = _count(element, f"table:number-{kind}-repeated")
        yield spot, times, element
        spot += times


def _inside(element: Element, wanted: frozenset[str]) -> Iterator[Element]:
    """Elements of a sheet, those inside groups and repeated headings too, in order."""
    for child in element:
        if child.tag in wanted:
            yield child
        elif child.tag.startswith(_tag("table:table-")) and child.tag not in _PLAIN:
            yield from _inside(child, wanted)


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
