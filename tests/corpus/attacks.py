"""Files made to cost time or memory, or to be taken for something else: one function a file."""

from __future__ import annotations

import io
import random
import struct
import zipfile
from collections.abc import Callable, Iterable, Mapping

MIB = 1024 * 1024
SPACES = "urn:oasis:names:tc:opendocument:xmlns"
MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
RELATIONS = "http://schemas.openxmlformats.org/package/2006/relationships"
KINDS = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
FLOAT = 'office:value-type="float"'
SHEET, STYLES, STRINGS, BOOK = "xl/worksheets/sheet1.xml", "xl/styles.xml", "xl/sharedStrings.xml", "xl/workbook.xml"
HEAD = (
    '<row r="1"><c r="A1" t="inlineStr"><is><t>Unit</t></is></c>'
    '<c r="B1" t="inlineStr"><is><t>Mass (g)</t></is></c></row>'
)
ROWS = "".join(
    f'<row r="{at}"><c r="A{at}"><v>{at - 1}</v></c><c r="B{at}"><v>2.0{at}</v></c></row>' for at in range(2, 22)
)


def zipped(parts: Mapping[str, bytes | str], *, method: int = zipfile.ZIP_DEFLATED, level: int = 6) -> bytes:
    """Parts as a zip."""
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", method, compresslevel=level) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return stream.getvalue()


def sheet(inner: str = HEAD + ROWS, *, before: str = "", after: str = "") -> str:
    """A sheet part."""
    return f'<worksheet xmlns="{MAIN}">{before}<sheetData>{inner}</sheetData>{after}</worksheet>'


def book_parts(**changed: bytes | str) -> dict[str, bytes | str]:
    """The parts of a sound workbook of twenty units, some of them changed: `sheet`, `styles`, `strings`, `book`."""
    kind = "application/vnd.openxmlformats-officedocument.spreadsheetml"
    names = {"/" + BOOK: "sheet.main", "/" + SHEET: "worksheet", "/" + STYLES: "styles", "/" + STRINGS: "sharedStrings"}
    overrides = "".join(f'<Override PartName="{at}" ContentType="{kind}.{what}+xml"/>' for at, what in names.items())
    targets = {"worksheet": "worksheets/sheet1.xml", "styles": "styles.xml", "sharedStrings": "sharedStrings.xml"}
    links = "".join(
        f'<Relationship Id="r{at}" Type="{KINDS}/{what}" Target="{target}"/>'
        for at, (what, target) in enumerate(targets.items())
    )
    parts: dict[str, bytes | str] = {
        "[Content_Types].xml": '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types"><Default '
        'Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/><Default '
        f'Extension="xml" ContentType="application/xml"/>{overrides}</Types>',
        "_rels/.rels": f'<Relationships xmlns="{RELATIONS}"><Relationship Id="r1" Type="{KINDS}/officeDocument" '
        f'Target="{BOOK}"/></Relationships>',
        "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{RELATIONS}">{links}</Relationships>',
        BOOK: f'<workbook xmlns="{MAIN}" xmlns:r="{KINDS}"><sheets><sheet name="Units" sheetId="1" r:id="r0"/></sheets>'
        "</workbook>",
        SHEET: sheet(),
        STYLES: styles(),
        STRINGS: f'<sst xmlns="{MAIN}"/>',
    }
    at = {"sheet": SHEET, "styles": STYLES, "strings": STRINGS, "book": BOOK}
    return {**parts, **{at[name]: content for name, content in changed.items()}}


def styles(*, formats: str = "", looks: str = '<xf numFmtId="0" fontId="0" fillId="0" borderId="0"/>') -> str:
    """A styles part with number formats and cell formats of its own."""
    return (
        f'<styleSheet xmlns="{MAIN}"><numFmts>{formats}</numFmts><fonts><font/></fonts><fills><fill><patternFill/>'
        "</fill></fills><borders>"
        f'<border/></borders><cellStyleXfs><xf numFmtId="0" fontId="0" fillId="0" borderId="0"/>'
        "</cellStyleXfs><cellXfs>"
        f"{looks}</cellXfs></styleSheet>"
    )


def book(*, level: int = 6, **changed: bytes | str) -> bytes:
    """A workbook with some of its parts changed."""
    return zipped(book_parts(**changed), level=level)


def document(table: str = "", *, before: str = "", tables: str = "", **parts: bytes | str) -> bytes:
    """An open document with one table Units."""
    names = " ".join(f'xmlns:{name}="{SPACES}:{name}:1.0"' for name in ("office", "table", "text", "style"))
    tables = tables or f'<table:table table:name="Units">{table}</table:table>'
    content = (
        f"<office:document-content {names}>{before}<office:body><office:spreadsheet>{tables}</office:spreadsheet>"
        "</office:body></office:document-content>"
    )
    manifest = (
        f'<manifest:manifest xmlns:manifest="{SPACES}:manifest:1.0"><manifest:file-entry '
        'manifest:full-path="content.xml" '
        'manifest:media-type="text/xml"/></manifest:manifest>'
    )
    kind = "application/vnd.oasis.opendocument.spreadsheet"
    return zipped({"mimetype": kind, "META-INF/manifest.xml": manifest, "content.xml": content, **parts})


def line(*cells: str) -> str:
    """A row of an open document: numbers as numbers, the rest as text."""
    return "<table:table-row>" + "".join(map(_cell, cells)) + "</table:table-row>"


def _cell(text: str) -> str:
    if text.replace(".", "", 1).isdecimal():
        return f'<table:table-cell {FLOAT} office:value="{text}"><text:p>{text}</text:p></table:table-cell>'
    return f'<table:table-cell office:value-type="string"><text:p>{text}</text:p></table:table-cell>'


UNITS = line("Unit", "Mass (g)") + "".join(line(f"{at}", f"2.0{at + 10}") for at in range(1, 21))


def declared(encoding: str, content: str, *, written_in: str = "ascii") -> bytes:
    """An XML part that says in which encoding it is written."""
    return f'<?xml version="1.0" encoding="{encoding}"?>{content}'.encode(written_in)


def laughs(levels: int = 30) -> str:
    """Entities each of which stands for ten of the one before."""
    lines = [f'<!ENTITY a{at} "' + f"&a{at - 1};" * 10 + '">' for at in range(1, levels)]
    return f'<!DOCTYPE x [<!ENTITY a0 "ha">{"".join(lines)}]>'


def merges(areas: Iterable[str]) -> str:
    """Merged areas behind the cells."""
    return "<mergeCells>" + "".join(f'<mergeCell ref="{area}"/>' for area in areas) + "</mergeCells>"


def many(count: int, text: Callable[[int], str]) -> str:
    """A piece of text written for each number."""
    return "".join(map(text, range(count)))


def overlapping() -> bytes:
    """A zip the directory of which names one stored part a thousand times."""
    data = zipped(book_parts())
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        start = archive.start_dir
        first = archive.infolist()[0]
    entry = data[start : start + 46 + len(first.filename)]
    directory = entry * 1000
    end = struct.pack("<4s4H2LH", b"PK\5\6", 0, 0, 1000, 1000, len(directory), start, 0)
    return data[:start] + directory + end


def other_name_inside() -> bytes:
    """A zip in which a part bears another name than in the directory."""
    return zipped(book_parts()).replace(SHEET.encode(), b"xl/worksheets/sheet9.xml", 1)


def old(records: bytes, *, sector: int = 512) -> bytes:
    """An old workbook: one stream of records in a compound file."""
    records += b"\0" * (-len(records) % sector)
    while len(records) < 4096:
        records += b"\0" * sector
    count = len(records) // sector
    tables = -(-(count + 2) // 127)
    chain = [*range(1, count), 0xFFFFFFFE, 0xFFFFFFFE, *[0xFFFFFFFD] * tables]
    chain += [0xFFFFFFFF] * (tables * 128 - len(chain))
    head = struct.pack(
        "<8s16sHHHHH6xLLL4xLLLLL",
        bytes.fromhex("d0cf11e0a1b11ae1"),
        b"",
        0x3E,
        3,
        0xFFFE,
        9,
        6,
        0,
        tables,
        count,
        4096,
        0xFFFFFFFE,
        0,
        0xFFFFFFFE,
        0,
    )
    head += struct.pack("<109L", *range(count + 1, count + 1 + tables), *[0xFFFFFFFF] * (109 - tables))

    def entry(name: str, kind: int, child: int, start: int, size: int) -> bytes:
        text = name.encode("utf-16-le")
        return struct.pack(
            "<64sHBBLLL16sL8s8sLLL",
            text,
            len(text) + 2,
            kind,
            1,
            0xFFFFFFFF,
            0xFFFFFFFF,
            child,
            b"",
            0,
            b"",
            b"",
            start,
            size,
            0,
        )

    folder = entry("Root Entry", 5, 1, 0xFFFFFFFE, 0) + entry("Workbook", 2, 0xFFFFFFFF, 0, len(records))
    return head + records + folder + b"\0" * (sector - len(folder)) + struct.pack(f"<{tables * 128}L", *chain)


def record(kind: int, content: bytes = b"") -> bytes:
    """One record of an old workbook."""
    return struct.pack("<HH", kind, len(content)) + content


def old_book(
    cells: bytes,
    *,
    dimensions: tuple[int, int, int, int] = (0, 3, 0, 2),
    end: bool = True,
    sheets: int = 1,
    number_format: str = "General",
) -> bytes:
    """An old workbook with the records of its sheet Units."""
    globals_ = record(0x809, struct.pack("<HHHHLL", 0x600, 5, 0, 0, 0, 0)) + record(0x42, struct.pack("<H", 1200))
    globals_ += record(0x41E, struct.pack("<HHB", 164, len(number_format), 0) + number_format.encode("latin-1"))
    globals_ += record(0xE0, struct.pack("<HHHBBBBLLH", 0, 164, 0, 0, 0, 0, 0, 0, 0, 0)) * 16
    bound = b"".join(record(0x85, struct.pack("<LBBBB", 0, 0, 0, 5, 0) + b"Units") for _ in range(sheets))
    first = len(globals_) + len(bound) + 4
    bound = b"".join(record(0x85, struct.pack("<LBBBB", first, 0, 0, 5, 0) + b"Units") for _ in range(sheets))
    body = record(0x809, struct.pack("<HHHHLL", 0x600, 16, 0, 0, 0, 0))
    body += record(0x200, struct.pack("<LLHHH", *dimensions, 0)) + cells + (record(0x0A) if end else b"")
    return old(globals_ + bound + record(0x0A) + body)


def old_text(row: int, column: int, text: str) -> bytes:
    """A text cell of an old workbook."""
    return record(0x204, struct.pack("<HHHHB", row, column, 0, len(text), 0) + text.encode("latin-1"))


def old_number(row: int, column: int, number: float) -> bytes:
    """A number cell of an old workbook."""
    return record(0x203, struct.pack("<HHHd", row, column, 0, number))


def old_numbers(row: int, count: int) -> bytes:
    """A row of whole numbers of an old workbook, in one record."""
    return record(
        0xBD, struct.pack("<HH", row, 0) + struct.pack("<HL", 0, 2 << 2 | 2) * count + struct.pack("<H", count - 1)
    )


OLD_HEAD = old_text(0, 0, "Unit") + old_text(0, 1, "Mass (g)")
OLD_ROWS = b"".join(old_number(at, 0, at) + old_number(at, 1, 2 + at / 1000) for at in range(1, 21))


def circular() -> bytes:
    """An old workbook the sectors of which follow each other in a circle."""
    data = bytearray(old_book(OLD_HEAD + OLD_ROWS, dimensions=(0, 21, 0, 2)))
    table = len(data) - 512
    data[table + 8 : table + 12] = struct.pack("<L", 1)
    return bytes(data)


def looks(count: int) -> str:
    """Cell formats, no two neighbours alike."""
    draws = random.Random(count)
    return many(
        count, lambda _: f'<xf numFmtId="{draws.randrange(160)}" fontId="{draws.randrange(10**6)}" fillId="0"/>'
    )


def letters(seed: int) -> str:
    """As many letters as a cell takes, less one."""
    return "".join(random.Random(seed).choices("abcdefgh", k=32_766))


def noise(size: int) -> bytes:
    """Bytes without a meaning."""
    return random.Random(size).randbytes(size)


UNIT_LINES = "Unit,Mass (g)\r\n" + many(20, lambda at: f"{at + 1},2.0{at + 10}\r\n")
SHARED_FORMULA = (
    f'<row r="1"><c r="A1"><f t="shared" ref="A1:A20000" si="0">{"+".join(["B1"] * 2700)}</f><v>1</v></c></row>'
    + many(20000, lambda at: f'<row r="{at + 2}"><c r="A{at + 2}"><f t="shared" si="0"/><v>1</v></c></row>')
)

ATTACKS: Mapping[str, Callable[[], bytes]] = {
    "one part of 300 MB.xlsx": lambda: book(sheet=sheet(" " * (300 * MIB))),
    "parts of 200 MB.xlsx": lambda: zipped(
        {**book_parts(), **{f"xl/a{at}.xml": f"<a>{' ' * 4000000}</a>" for at in range(50)}}
    ),
    "a million cells.xlsx": lambda: book(
        sheet=sheet(many(100000, lambda at: f'<row r="{at + 1}">' + "<c><v>2</v></c>" * 10 + "</row>")), level=1
    ),
    "as many cells as are read.xlsx": lambda: book(
        sheet=sheet(
            HEAD
            + many(
                15_490,
                lambda at: (
                    f'<row r="{at + 2}">' + "".join(f"<c><v>2.0{one + at % 90}</v></c>" for one in range(10)) + "</row>"
                ),
            )
        )
    ),
    "as many empty cells as are read.xlsx": lambda: book(
        sheet=sheet(
            HEAD
            + ROWS
            + many(50_000, lambda at: f'<row r="{at + 30}">' + f'<c r="A{at + 30}"/>' + "<c/>" * 9 + "</row>")
        )
    ),
    "a million empty cells.xlsx": lambda: book(
        sheet=sheet(HEAD + ROWS + many(100000, lambda at: f'<row r="{at + 30}">' + "<c/>" * 10 + "</row>")), level=1
    ),
    "ten million elements.xlsx": lambda: book(sheet=sheet("<x/>" * 10_000_000)),
    "attribute of 60 MB.xlsx": lambda: book(
        sheet=sheet(HEAD + ROWS, before=f'<sheetPr codeName="{"x" * (60 * MIB)}"/>'), level=1
    ),
    "comment of 60 MB.xlsx": lambda: book(sheet=sheet(HEAD + ROWS, before=f"<!--{'x' * (60 * MIB)}-->"), level=1),
    "a million attributes.xlsx": lambda: book(
        sheet=sheet(before="<sheetPr " + many(1_000_000, lambda at: f'a{at}="" ') + "/>")
    ),
    "nested a hundred thousand deep.xlsx": lambda: book(sheet=sheet(after="<x>" * 100_000 + "</x>" * 100_000)),
    "nested in the styles.xlsx": lambda: book(styles=styles(looks="<xf>" * 5000 + "</xf>" * 5000)),
    "merged column.xlsx": lambda: book(sheet=sheet(after=merges(["D1:D1048576"]))),
    "merged sheet.xlsx": lambda: book(sheet=sheet(after=merges(["D1:XFD1048576"]))),
    "a thousand merged areas.xlsx": lambda: book(
        sheet=sheet(after=merges(f"D{at * 1000 + 1}:CY{at * 1000 + 999}" for at in range(1000)))
    ),
    "one area merged 100,000 times.xlsx": lambda: book(sheet=sheet(after=merges(["D1:Z99"] * 100_000))),
    "dimension of a whole sheet.xlsx": lambda: book(sheet=sheet(before='<dimension ref="A1:XFD1048576"/>')),
    "a cell in the far corner.xlsx": lambda: book(
        sheet=sheet(HEAD + ROWS + '<row r="1048576"><c r="XFD1048576"><v>1</v></c></row>')
    ),
    "a column past the last.xlsx": lambda: book(
        sheet=sheet(HEAD + ROWS + '<row r="30"><c r="ZZZ30"><v>1</v></c></row>')
    ),
    "a billion columns.xlsx": lambda: book(
        sheet=sheet(before='<cols><col min="1" max="1000000000" hidden="1"/></cols>')
    ),
    "hidden columns over each other.xlsx": lambda: book(
        sheet=sheet(
            before="<cols>"
            + many(16384, lambda at: f'<col min="{at + 1}" max="16384" hidden="1" width="1"/>')
            + "</cols>"
        )
    ),
    "row 99999999999999999999.xlsx": lambda: book(
        sheet=sheet(HEAD + ROWS + '<row r="99999999999999999999"><c><v>1</v></c></row>')
    ),
    "16,384 headings.xlsx": lambda: book(
        sheet=sheet(
            '<row r="1"><c t="inlineStr"><is><t>Unit</t></is></c><c t="inlineStr"><is><t>Mass (g)</t></is></c>'
            + many(16382, lambda at: f'<c t="inlineStr"><is><t>Heading {at} of it</t></is></c>')
            + "</row>"
            + ROWS
        )
    ),
    "long texts.xlsx": lambda: book(
        sheet=sheet(
            HEAD
            + ROWS
            + many(
                300,
                lambda at: (
                    f'<row r="{at + 30}"><c r="D{at + 30}" t="inlineStr"><is><t>{letters(at)}!</t></is></c></row>'
                ),
            )
        )
    ),
    "a million styles.xlsx": lambda: book(styles=styles(looks=looks(1_000_000)), level=1),
    "as many styles as are read.xlsx": lambda: book(styles=styles(looks=looks(58_000))),
    "a million shared texts.xlsx": lambda: book(strings=f'<sst xmlns="{MAIN}">{"<si><t>x</t></si>" * 1_000_000}</sst>'),
    "shared text of 60 MB.xlsx": lambda: book(
        strings=f'<sst xmlns="{MAIN}"><si><t>{"x" * (60 * MIB)}</t></si></sst>', level=1
    ),
    "number format of a million brackets.xlsx": lambda: book(
        sheet=sheet(HEAD + ROWS.replace("<c r=", '<c s="1" r=')),
        styles=styles(
            formats=f'<numFmt numFmtId="170" formatCode="{"[" * 1_000_000}"/>',
            looks='<xf numFmtId="0"/><xf numFmtId="170" applyNumberFormat="1"/>',
        ),
    ),
    "number of a million digits.xlsx": lambda: book(
        sheet=sheet(HEAD + ROWS + f'<row r="30"><c r="B30"><v>{"9" * 1_000_000}</v></c></row>')
    ),
    "shared formula of 8,000 signs.xlsx": lambda: book(sheet=sheet(SHARED_FORMULA)),
    "as many names as are read.xlsx": lambda: book(
        book=f'<workbook xmlns="{MAIN}" xmlns:r="{KINDS}"><sheets><sheet name="Units" sheetId="1" r:id="r0"/></sheets>'
        "<definedNames>"
        + many(57_000, lambda at: f'<definedName name="n{at}">Units!A1</definedName>')
        + "</definedNames></workbook>"
    ),
    "ten thousand sheets.xlsx": lambda: book(
        book=f'<workbook xmlns="{MAIN}" xmlns:r="{KINDS}"><sheets>'
        + many(10_000, lambda at: f'<sheet name="s{at}" sheetId="{at + 1}" r:id="r0"/>')
        + "</sheets></workbook>"
    ),
    "rules of entry.xlsx": lambda: book(
        sheet=sheet(
            after="<dataValidations>"
            + many(58_000, lambda at: f'<dataValidation sqref="A{at + 1}"/>')
            + "</dataValidations>"
        )
    ),
    "conditional colours.xlsx": lambda: book(
        sheet=sheet(
            after=many(
                28_000,
                lambda at: (
                    f'<conditionalFormatting sqref="A{at + 1}"><cfRule type="expression" priority="{at + 1}"/>'
                    "</conditionalFormatting>"
                ),
            )
        )
    ),
    "document type definition.xlsx": lambda: book(sheet=f"{laughs()}{sheet('&a29;')}"),
    "external entity.xlsx": lambda: book(
        sheet=f'<!DOCTYPE x [<!ENTITY e SYSTEM "file:///etc/hostname">]>{sheet("&e;")}'
    ),
    "unknown encoding.xlsx": lambda: book(sheet=declared("klingon", sheet())),
    "encoding utf-7.xlsx": lambda: book(sheet=declared("utf-7", sheet())),
    "encoding of a mainframe.xlsx": lambda: book(sheet=declared("cp037", sheet())),
    "encoding of many bytes.xlsx": lambda: book(sheet=declared("shift_jis", sheet())),
    "encoding that is a codec.xlsx": lambda: book(sheet=declared("rot13", sheet())),
    "packed by lzma.xlsx": lambda: zipped(book_parts(), method=zipfile.ZIP_LZMA),
    "packed by bzip2.xlsx": lambda: zipped(book_parts(), method=zipfile.ZIP_BZIP2),
    "six thousand parts.xlsx": lambda: zipped({**book_parts(), **{f"a{at}": b"" for at in range(6000)}}),
    "one part named a thousand times.xlsx": overlapping,
    "another name inside.xlsx": other_name_inside,
    "half a zip.xlsx": lambda: zipped(book_parts())[:1500],
    "noise.xlsx": lambda: b"PK\3\4" + noise(100_000),
    "rows repeated.ods": lambda: document(
        UNITS + UNITS.replace("<table:table-row>", '<table:table-row table:number-rows-repeated="1000000">')
    ),
    "columns repeated.ods": lambda: document(
        UNITS
        + '<table:table-row><table:table-cell table:number-columns-repeated="2000000000" office:value-type="float" '
        'office:value="2"/></table:table-row>'
    ),
    "empty rows repeated.ods": lambda: document(
        UNITS + '<table:table-row table:number-rows-repeated="1000000000"><table:table-cell '
        'table:number-columns-repeated="1000000000"/></table:table-row>'
    ),
    "hidden columns repeated.ods": lambda: document(
        '<table:table-column table:visibility="collapse" table:number-columns-repeated="1000000000"/>' * 1000 + UNITS
    ),
    "repeated minus five times.ods": lambda: document(
        UNITS.replace("<table:table-cell ", '<table:table-cell table:number-columns-repeated="-5" ', 4)
    ),
    "spanned over a sheet.ods": lambda: document(
        UNITS.replace(
            "<table:table-cell ",
            '<table:table-cell table:number-rows-spanned="1000000000" table:number-columns-spanned="99999999" ',
            1,
        )
    ),
    "a thousand spans.ods": lambda: document(
        UNITS
        + many(
            2000,
            lambda at: (
                '<table:table-row><table:table-cell table:number-rows-spanned="1000000" office:value-type="string">'
                "<text:p>x</text:p></table:table-cell></table:table-row>"
            ),
        )
    ),
    "groups in groups.ods": lambda: document(
        "<table:table-row-group>" * 20_000 + UNITS + "</table:table-row-group>" * 20_000
    ),
    "spans of text in spans.ods": lambda: document(UNITS + line("<text:span>" * 20_000 + "</text:span>" * 20_000)),
    "blanks repeated.ods": lambda: document(
        UNITS + many(2000, lambda at: line('<text:s text:c="1000000000"/>' * 2 + "x" * at))
    ),
    "as many cells as are read.ods": lambda: document(
        UNITS + many(15_490, lambda at: line(*(f"2.0{one + at % 90}" for one in range(10))))
    ),
    "a million cells.ods": lambda: document(UNITS + line(*"2222222222") * 100_000),
    "as many styles as are read.ods": lambda: document(
        UNITS,
        before="<office:automatic-styles>"
        + many(58_000, lambda at: f'<style:style style:name="ce{at}"><!-- {at} --></style:style>')
        + "</office:automatic-styles>",
    ),
    "ten thousand tables.ods": lambda: document(
        tables=many(10_000, lambda at: f'<table:table table:name="t{at}">{line("1", "2")}</table:table>')
    ),
    "document type definition.ods": lambda: zipped(
        {"mimetype": "x", "META-INF/manifest.xml": "<m/>", "content.xml": f"{laughs()}<x>&a29;</x>"}
    ),
    "content of 300 MB.ods": lambda: document(UNITS + " " * (300 * MIB)),
    "unknown encoding.ods": lambda: zipped(
        {"mimetype": "x", "META-INF/manifest.xml": "<m/>", "content.xml": declared("klingon", "<a/>")}
    ),
    "number of a million digits.ods": lambda: document(UNITS + line("1", "9" * 1_000_000)),
    "half a zip.ods": lambda: document(UNITS)[:700],
    "sectors in a circle.xls": circular,
    "sectors that are not there.xls": lambda: old_book(OLD_HEAD + OLD_ROWS, dimensions=(0, 21, 0, 2))[:3000],
    "noise.xls": lambda: bytes.fromhex("d0cf11e0a1b11ae1") + noise(100_000),
    "records cut short.xls": lambda: old_book((OLD_HEAD + OLD_ROWS)[:200], dimensions=(0, 21, 0, 2), end=False),
    "a million cells.xls": lambda: old_book(
        b"".join(old_numbers(at, 15) for at in range(65536)), dimensions=(0, 65536, 0, 15)
    ),
    "a cell in each far row.xls": lambda: old_book(
        OLD_HEAD + OLD_ROWS + b"".join(old_number(at, 255, 2.0) for at in range(30, 65536)),
        dimensions=(0, 65536, 0, 256),
    ),
    "dimension of a whole sheet.xls": lambda: old_book(OLD_HEAD + OLD_ROWS, dimensions=(0, 2**32 - 1, 0, 65535)),
    "four thousand sheets.xls": lambda: old_book(OLD_HEAD + OLD_ROWS, dimensions=(0, 21, 0, 2), sheets=4000),
    "one line of 100 MB.csv": lambda: b"2.013," * (100 * MIB // 6),
    "one field of 10 MB.csv": lambda: b"Unit,Mass (g)\n1," + b"9" * (10 * MIB),
    "commas.csv": lambda: UNIT_LINES.encode() + b"," * (15 * MIB),
    "quotation marks.csv": lambda: UNIT_LINES.encode() + b'"' * (15 * MIB),
    "line ends.csv": lambda: UNIT_LINES.encode() + b"\n" * (15 * MIB),
    "as many numbers as are read.csv": lambda: many(
        9_990, lambda at: ",".join(f"2.0{one + at % 90}" for one in range(10)) + "\n"
    ).encode(),
    "as many units as are read.csv": lambda: (
        "Unit,Mass (g)\n" + many(49_990, lambda at: f"{at},2.0{at % 90 + 10}\n")
    ).encode(),
    "unknown facts.ods": lambda: document(
        tables='<table:table table:name="Batch">'
        + line("Field", "Value")
        + many(20_000, lambda at: line(f"fact {at}", f"{at}"))
        + '</table:table><table:table table:name="Units">'
        + UNITS
        + "</table:table>"
    ),
    "a million lines.csv": lambda: ("Unit,Mass (g)\n" + many(1_000_000, lambda at: f"{at},2.013\n")).encode(),
    "16,384 headings.csv": lambda: (
        "Unit,Mass (g)," + ",".join(f"Heading {at} of it" for at in range(16382)) + "\n1,2.01\n"
    ).encode(),
    "long texts.csv": lambda: (UNIT_LINES + many(100, lambda at: f"x,{letters(at)}!,{letters(at)}!\n")).encode(),
    "blanks.txt": lambda: UNIT_LINES.encode() + b" " * (15 * MIB) + b"x",
    "numbers in a line.txt": lambda: b"2.013  " * 200_000,
    "zero bytes.csv": lambda: UNIT_LINES.encode().replace(b"2.015", b"2.\x00015"),
    "zero bytes far behind.csv": lambda: UNIT_LINES.encode() + b"\n" * 3000 + b"\x00",
    "utf-7.csv": lambda: UNIT_LINES.replace("2.015", "+ADI-.015").encode(),
    "utf-16 without a mark, odd.csv": lambda: UNIT_LINES.encode("utf-16-le") + b"x",
    "utf-32.csv": lambda: UNIT_LINES.encode("utf-32"),
    "a program.txt": lambda: b"\x7fELF" + noise(100_000),
    "a picture.txt": lambda: b"\x89PNG\r\n\x1a\n" + noise(100_000),
    "a workbook.csv": lambda: book(),
    "a page.xls": lambda: b"<html><table><tr><td>Unit</td></tr></table></html>",
}
