"""Open-document spreadsheets (.ods), read from their content.xml by the standard library.

The general reader that was tried for this (python-calamine) reads an error cell, and a formula without a stored result,
as an empty cell; a missing mass must not look like that. The format keeps value, type, formula and shown text of a cell
side by side, so that a plain walk over the rows tells all kinds apart.

References
----------
OASIS, OpenDocument version 1.2, part 1, sections 9.1 (tables), 19.385 (office:value-type), 19.675 and 19.679 (repeats),
4.3 (document statistics); part 3, section 3.2 (manifest).
"""

from __future__ import annotations

import functools
import re
import zipfile
from collections import ChainMap
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import datetime
from decimal import Decimal
from xml.etree.ElementTree import Element, ParseError, fromstring

from msgspec.structs import replace

from qc.fields.field import plain
from qc.fields.sheets import BARE_UNITS
from qc.fields.words import measure_of
from qc.patterns import pattern
from qc.problems import quoted
from qc.readers.cells import (
    FILLED,
    IN_BOX,
    ON_EMPTY,
    ON_MARGIN,
    ON_RANGE,
    RAISED,
    STRUCK,
    WHITE,
    Book,
    CellKind,
    Content,
    Merge,
    SheetCell,
    SheetRow,
    SheetTable,
    address,
    areas,
    content_of,
)
from qc.readers.guards import BROKEN_ZIP, SAVE_AGAIN, UnusableFileError, guard_cells, guard_zip
from qc.readers.stored import StoredFile
from qc.readers.typed_number import NotANumberError, written

CONTENT, META, MANIFEST, STYLES = "content.xml", "meta.xml", "META-INF/manifest.xml", "styles.xml"
MOST_COLUMNS = 16_384
_SPACES = {
    "office": "urn:oasis:names:tc:opendocument:xmlns:office:1.0",
    "table": "urn:oasis:names:tc:opendocument:xmlns:table:1.0",
    "text": "urn:oasis:names:tc:opendocument:xmlns:text:1.0",
    "chart": "urn:oasis:names:tc:opendocument:xmlns:chart:1.0",
    "draw": "urn:oasis:names:tc:opendocument:xmlns:drawing:1.0",
    "fo": "urn:oasis:names:tc:opendocument:xmlns:xsl-fo-compatible:1.0",
    "style": "urn:oasis:names:tc:opendocument:xmlns:style:1.0",
    "manifest": "urn:oasis:names:tc:opendocument:xmlns:manifest:1.0",
    "meta": "urn:oasis:names:tc:opendocument:xmlns:meta:1.0",
    "calc": "urn:org:documentfoundation:names:experimental:calc:xmlns:calcext:1.0",
}
_MARGINS = tuple(f"style:{part}{side}" for part in ("header", "footer") for side in ("", "-left", "-first"))
# What a head or foot of a page sets by itself.
_FIELDS = ("text:sheet-name", "text:page-number", "text:page-count", "text:title")
_BOXES = ("draw:text-box", "draw:custom-shape")
_ERRORS = ("#", "Err:")
_NUMBERS = ("float", "currency", "percentage")
_KINDS = (*_NUMBERS, "string", "boolean", "date", "time", "")
_COUNT, _NUMBER = (pattern(one, re.ASCII) for one in (r"[1-9]\d{0,9}", r"-?(\d+\.?\d*|\.\d+)([eE][-+]?\d{1,3})?"))
_PLAIN_NUMBER, _BELOW_ZERO = pattern(r"[-+]?[\d.,'/]+(?:E[-+]?\d+)?%?|%"), pattern(r"^\((.*)\)$")
# A formula that takes from another file.
_OTHER_FILE = pattern(r"'(?:[^']*/)?([^'/]+)'#")
_PLAIN = frozenset(f"{{{_SPACES['table']}}}{name}" for name in ("table-row", "table-column"))


@functools.cache
def _tag(name: str) -> str:
    space, _, local = name.partition(":")
    return f"{{{_SPACES[space]}}}{local}"


_STYLE, _USUAL_STYLE = _tag("table:style-name"), _tag("table:default-cell-style-name")


def _said(element: Element, name: str, default: str = "") -> str:
    """An attribute of an element."""
    return element.get(_tag(name), default)


def _count(element: Element, name: str) -> int:
    """An attribute that counts; 1 where it is not there."""
    text = _said(element, name, "1")
    if not _COUNT.fullmatch(text):
        raise ValueError(f"{name} is {quoted(text)}")
    return int(text)


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
            manifest = fromstring(archive.read(MANIFEST))
            if manifest.find(f".//{_tag('manifest:encryption-data')}") is not None:
                mend = "Take the password off and try again"
                raise UnusableFileError("the file is protected by a password", mend=mend)
            listed = {_said(entry, "manifest:full-path") for entry in manifest.iter(_tag("manifest:file-entry"))}
            names = set(archive.namelist())
            lost = sorted(name for name in listed - names if not name.endswith("/"))
            if lost or CONTENT not in names or (listed and CONTENT not in listed):
                raise ValueError(f"the part {(lost or [CONTENT])[0]} is missing in the file, or is not listed")
            content = fromstring(archive.read(CONTENT))
            meta = fromstring(archive.read(META)) if META in names else None
            common = [fromstring(archive.read(STYLES))] if STYLES in names else []
            charts = [fromstring(archive.read(name)) for name in sorted(names) if name.endswith(f"/{CONTENT}")]
        hidden_styles = {
            style.get(_tag("style:name"))
            for style in content.iter(_tag("style:style"))
            for look in style.iter(_tag("style:table-properties"))
            if look.get(_tag("table:display")) == "false"
        }
        looks = _looks([content, *common])
        # Our own sheet prompts under its own headings.
        prompts = {
            one.get(_tag("table:name")): " ".join(filter(None, (title, _paragraphs(said))))
            for one in content.iter(_tag("table:content-validation"))
            for said in one.iter(_tag("table:help-message"))
            if plain(title := _said(said, "table:title")) not in BARE_UNITS.columns
        }
        body = content.find(f"./{_tag('office:body')}/{_tag('office:spreadsheet')}")
        if body is None:
            raise ValueError("it is no spreadsheet inside")
        sheets = body.findall(_tag("table:table"))
        held, tables = 0, list[SheetTable]()
        for sheet in sheets:
            tables.append(_table(file.name, sheet, hidden_styles, looks, prompts, held=held))
            held += sum(len(row.cells) for row in tables[-1].rows)
        _check_counts(meta, sheets)
        # Which sheet they belong to is not looked for: they are held against the masses wherever these stand.
        margins = [(ON_MARGIN, head) for root in common for kind in _MARGINS for head in root.iter(_tag(kind))]
        titles = [(IN_BOX, title) for root in charts for title in root.iter(_tag("chart:title"))]
        said = [(where, text) for where, one in (*margins, *titles) if (text := _paragraphs(one))]
        ranges = [_named(one) for one in body.iter(_tag("table:named-range"))]
        return Book(
            file=file.name,
            tables=tuple(
                replace(one, apart=(*one.apart, *said, *(named[1:] for named in ranges if named[0] == one.name)))
                for one in tables
            ),
        )
    except UnusableFileError:
        raise
    except ValueError as error:
        raise UnusableFileError(f"the spreadsheet is damaged: {error}", mend=SAVE_AGAIN) from error
    except (ParseError, *BROKEN_ZIP) as error:
        raise UnusableFileError(f"the spreadsheet is damaged ({type(error).__name__})", mend=SAVE_AGAIN) from error


def _named(element: Element) -> tuple[str, str, str]:
    """The sheet and the range that a name stands for, and the name."""
    sheet, _, area = _said(element, "table:cell-range-address").replace("$", "").partition(".")
    area = area.replace(".", "")
    return sheet.strip("'"), ON_RANGE.format(area), _said(element, "table:name").replace("_", " ")


def _looks(roots: Sequence[Element]) -> dict[str | None, str]:
    """By the name of a style, what it does to a text; of those that it is made from where it says nothing itself."""
    kinds = ("table-cell", "text")
    every = [style for root in roots for style in root.iter(_tag("style:style"))]
    styles = {style.get(_tag("style:name")): style for style in every if _said(style, "style:family") in kinds}
    looks: dict[str | None, str] = {}
    for name in styles:
        chain: list[str | None] = [name]
        while (parent := styles[chain[-1]].get(_tag("style:parent-style-name"))) in styles and parent not in chain:
            chain.append(parent)
        properties = (look.attrib for one in chain for look in styles[one].iter(_tag("style:text-properties")))
        said = ChainMap(*map(dict, properties))
        lines = {said.get(_tag(f"style:text-line-through-{one}"), "none") for one in ("style", "type")}
        raised = said.get(_tag("style:text-position"), "0%").split()[0] != "0%"
        white = said.get(_tag("fo:color"), "").casefold() == "#ffffff"
        looks[name] = STRUCK if lines != {"none"} else RAISED if raised else WHITE if white else ""
        cells = (look.attrib for one in chain for look in styles[one].iter(_tag("style:table-cell-properties")))
        filled = ChainMap(*map(dict, cells)).get(_tag("fo:background-color"), "transparent") != "transparent"
        looks[name] = looks[name] or (FILLED if filled else "")
    return looks


def _check_counts(meta: Element | None, sheets: list[Element]) -> None:
    """Hold the tables against the numbers of tables and of cells that the document gives of itself; blanks count."""
    said = None if meta is None else next(meta.iter(_tag("meta:document-statistic")), None)
    if said is None:
        return
    cells = sum(
        repeated * times
        for sheet in sheets
        for _, repeated, row in _placed(sheet, "rows", "table-row")
        for _, times, cell in _placed(row, "columns", "table-cell")
        if _tag("office:value-type") in cell.attrib or _tag("table:formula") in cell.attrib
    )
    found = {"table": len(sheets), "cell": cells}
    for what, count in found.items():
        if (told := _said(said, f"meta:{what}-count")).isdecimal() and int(told) > count:
            raise ValueError(f"it says that it holds {told} {what}s and holds {count}")


def _table(
    file: str,
    sheet: Element,
    hidden_styles: set[str | None],
    looks: Mapping[str | None, str],
    prompts: Mapping[str | None, str],
    *,
    held: int,
) -> SheetTable:
    name = _said(sheet, "table:name")
    rows: list[SheetRow] = []
    merges: list[Merge] = []
    prompted: dict[str, list[SheetCell]] = {}
    apart = [(IN_BOX, text) for kind in _BOXES for box in sheet.iter(_tag(kind)) if (text := _paragraphs(box))]
    typed = sum(_tag("office:value-type") in one.attrib and one.tag.startswith(_tag("table:")) for one in sheet.iter())
    styled = _columns(sheet, lambda one: bool(looks.get(one.get(_USUAL_STYLE))))
    usual = {spot: one.get(_USUAL_STYLE) for spot, one in styled.items()}
    for number, repeated, row in _placed(sheet, "rows", "table-row"):
        prompts_here: dict[int, str] = {}
        found: dict[int, tuple[CellKind, str, Decimal | None, str, str, str, str, str]] = {}
        for column, times, cell in _placed(row, "columns", "table-cell", "covered-table-cell"):
            place = f"{name}!{address(number, column)}"
            typed -= _tag("office:value-type") in cell.attrib
            value, comment = _value(cell, place), _comment(cell) or _words_shown(cell)
            if value is None:
                apart += [(ON_EMPTY.format(address(number, column)), comment)] if comment else []
                continue
            if cell.tag != _tag("table:table-cell"):
                raise ValueError(f"{place} holds a value and is hidden by merged cells")
            prompt = prompts.get(cell.get(_tag("table:content-validation-name")), "")
            held += times * repeated
            guard_cells(held)
            prompts_here.update(dict.fromkeys(range(column, column + times), prompt))
            own = cell.get(_STYLE) or row.get(_USUAL_STYLE) or usual.get(column)
            runs = [looks.get(one.get(_tag("text:style-name")), "") for one in cell.iter(_tag("text:span"))]
            look = STRUCK if STRUCK in (looks.get(own), *runs) else "".join(runs[:1])
            look = look or (FILLED if looks.get(own) == FILLED else "")
            held_here = (*value, "", look, comment)
            found.update(dict.fromkeys(range(column, column + times), held_here))
            bottom = number + _count(cell, "table:number-rows-spanned") - 1
            right = column + _count(cell, "table:number-columns-spanned") - 1
            if bottom > number or right > column:
                merges.append(Merge(top=number, left=column, bottom=bottom, right=right))
        # An empty row is left out, however often it repeats.
        for spot in range(number, number + repeated) if found else ():
            cells = {place: SheetCell(place, address(spot, place), *content) for place, content in found.items()}
            rows.append(SheetRow(number=spot, cells=cells, hidden=_is_hidden(row)))
            for cell_here in cells.values():
                prompted.setdefault(prompts_here[cell_here.column], []).append(cell_here)
    if typed:
        raise ValueError(f"the sheet {quoted(name)} holds a value outside of its rows and cells")
    table = SheetTable(
        file=file,
        sheet=name.strip(),
        name=name,
        rows=tuple(rows),
        hidden=sheet.get(_tag("table:style-name")) in hidden_styles,
        hidden_columns=frozenset(_columns(sheet, _is_hidden)),
        merges=tuple(merges),
        apart=tuple(apart),
    )
    asked = [(ON_RANGE.format(areas(table, cells)), text) for text, cells in prompted.items() if text]
    return replace(table, apart=(*apart, *asked))


def _columns(sheet: Element, chosen: Callable[[Element], bool]) -> dict[int, Element]:
    """Those of the columns of a sheet that are chosen, each by its place, however often it repeats."""
    placed = (one for one in _placed(sheet, "columns", "table-column") if chosen(one[2]))
    return {spot: one for first, times, one in placed for spot in range(first, min(first + times, MOST_COLUMNS + 1))}


def _words_shown(cell: Element) -> str:
    """The words that a number is shown with, or instead of it, as its format says."""
    if _said(cell, "office:value-type") not in _NUMBERS or cell.find(_tag("text:p")) is None:
        return ""
    shown = _BELOW_ZERO.sub(r"\1", _paragraphs(cell)).split() or ["(not shown)"]
    return " ".join(word for word in shown if not (_PLAIN_NUMBER.fullmatch(word) or measure_of(word)))


def _comment(cell: Element) -> str:
    return "\n".join(filter(None, map(_paragraphs, cell.iter(_tag("office:annotation")))))


def _paragraphs(element: Element) -> str:
    return "\n".join(map(_text, element.iter(_tag("text:p"))))


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


def _value(cell: Element, place: str) -> tuple[CellKind, str, Decimal | None, str, str] | None:
    """Kind, text and number of a cell, the unit shown behind it and its formula; None when it is empty."""
    content, unit = _content(cell, place)
    formula = re.sub(r"[\[\]]|\.(?=\$?[A-Z]+\$?\d)", "", cell.get(_tag("table:formula")) or "")
    return None if content is None else (*content, unit, formula)


def _content(cell: Element, place: str) -> tuple[Content | None, str]:
    kind, text = _said(cell, "office:value-type"), "\n".join(_text(part) for part in cell if part.tag == _tag("text:p"))
    formula, stored = cell.get(_tag("table:formula")), _said(cell, "office:value")
    if formula is not None and (lost := _OTHER_FILE.search(formula)):
        return (CellKind.ERROR, f"#REF! ({lost.group(1)})", None), ""
    if formula is not None and (cell.get(_tag("calc:value-type")) == "error" or text.startswith(_ERRORS)):
        return (CellKind.ERROR, text, None), ""
    told, apart = _said(cell, "calc:value-type", kind), bool(stored) and kind not in _NUMBERS
    if told != kind or apart or kind not in _KINDS:
        raise ValueError(f"{place} stores {quoted(stored or text)} as {kind or 'nothing'}, and as {told or 'a number'}")
    if kind in _NUMBERS:
        if not _NUMBER.fullmatch(stored):
            raise ValueError(f"{place} stores {quoted(stored)} as a number")
        is_percent = kind == "percentage"
        unit, places = _shown_as(stored, text, place, is_percent=is_percent)
        return content_of(float(stored), percent=is_percent, places=places), unit
    if kind == "date":
        return content_of(datetime.fromisoformat(_said(cell, "office:date-value"))), ""
    if kind == "time":
        return (CellKind.DATE, text or _said(cell, "office:time-value"), None), ""
    if kind == "boolean":
        return (CellKind.BOOLEAN, _said(cell, "office:boolean-value").upper(), None), ""
    if formula is not None and not kind:
        return (CellKind.UNSAVED, formula.partition(":")[2] or formula, None), ""
    string = _said(cell, "office:string-value")
    if text and string and text.split() != string.split():
        raise ValueError(f"{place} stores {quoted(string)} and shows {quoted(text)}")
    return content_of(text or string), ""


def _shown_as(stored: str, text: str, place: str, *, is_percent: bool) -> tuple[str, int]:
    """The unit and the decimals that a number is shown with; what is shown of it must be the number, rounded."""
    try:
        shown = written(text)
    except NotANumberError:
        return " or ".join(filter(None, map(measure_of, text.split()))), 0
    value = Decimal(stored).scaleb(2 if is_percent else 0)
    readings = [one for one in (shown.with_point, shown.with_comma) if one is not None]
    meant = [one for one in readings if abs(value - one) <= Decimal("0.5000001").scaleb(int(one.as_tuple().exponent))]
    if not meant:
        raise ValueError(f"{place} stores {quoted(stored)} and shows {quoted(text)}")
    return ("", 0) if is_percent else (measure_of(shown.unit), min(9, -int(meant[0].as_tuple().exponent)))


def _text(element: Element) -> str:
    """The text of a paragraph, its spaces, tabs and line breaks written out, comments and fields left aside."""
    parts = [element.text or ""]
    for child in element:
        if child.tag == _tag("text:s"):
            parts.append(" " * min(_count(child, "text:c"), 1000))
        elif child.tag in (_tag("text:tab"), _tag("text:line-break")):
            parts.append("\t" if child.tag == _tag("text:tab") else "\n")
        elif child.tag not in (_tag("office:annotation"), *map(_tag, _FIELDS)):
            parts.append(_text(child))
        parts.append(child.tail or "")
    return "".join(parts)
