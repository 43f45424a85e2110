"""Delimited text: one .csv, .tsv or .txt file as a bare Units table, or a folder of them as a workbook.

The text is UTF-8, UTF-16 (by its byte-order mark or its many zeros) or one of the old code pages of our languages,
by the words that come out. The separator is the one under which the headings are known; a first line "sep=;" decides,
as it does in spreadsheet programs. Where no headings are known, it is the tab or the semicolon that stands in most
lines, then the comma; the columns of a .txt file may also be set apart by two blanks or more.
"""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections.abc import Sequence
from contextlib import suppress
from pathlib import PurePath

from msgspec.structs import replace

from qc.fields.field import Sheet, plain
from qc.fields.sheets import BARE_UNITS, SHEETS
from qc.fields.words import every_word, heading_of, plain_words
from qc.patterns import pattern
from qc.problems import IgnoredCells, Notice
from qc.readers.cells import Book, CellKind, Noted, SheetCell, SheetRow, SheetTable, address
from qc.readers.guards import MOST_CELLS, UnusableFileError, guard_cells
from qc.readers.stored import TEXT_SUFFIX, StoredFile, StoredInput

SEPARATORS = (",", ";", "\t", "|")
_RULE = pattern(r"[-+=:\s]+")
SEPARATOR_NAMES = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}
TITLE_ROWS = 200
MOST_BYTES = 16 * 1024 * 1024
# The first where the words decide nothing.
CODE_PAGES = {"cp1252": "Windows-1252", "cp1250": "Windows-1250", "iso8859-2": "ISO 8859-2"}
_POINTED = pattern(r"\s*\"?\d+\.\d+(?:\s*m?g)?\"?\s*")
_OTHER_KINDS, _MEASURED = (".xlsx", ".xlsm", ".xls", ".ods", ".txt"), ("units", "assay")
# The last number of a text, and its decimals.
_LAST_NUMBER = pattern(r"\d(?:[.,](\d*))?(?!.*\d)")
_ONE_HEAD = pattern(r"^\s*([^\d:;\n]+:)\s+(?=\d)")
_BLANKS, _ONE_BLANK = pattern(r"[ \t]{2,}"), pattern(r"\s+")
# What sets fields apart where the comma is their decimal mark, and a field with one.
_FIELDS, _DECIMAL = pattern(r"[;\t|]"), pattern(r"\s*\"?\s*[-+]?\d{1,5},\d{1,6}(?:\s?m?g)?\"?\s*", re.ASCII)
_DECIMAL_PARTED = pattern(r"\d,\d", re.ASCII)
# A line of several masses and nothing else; one that is drawn; a row between upright strokes.
_ONLY_MASSES = pattern(r"(?:\d{1,5}[.,]\d{1,6}\s+)+\d{1,5}[.,]\d{1,6}|", re.ASCII)
# A few dashes alone are what a balance shows for no value.
_DRAWN, _FRAMED = pattern(r"(?=.{5}|.*[+=|])[-+=|:\s]*[-=]{2,}[-+=|:\s]*"), pattern(r"\|.*\|")
# A byte-order mark and blanks, in UTF-8 or UTF-16.
_NOTHING = codecs.BOM_UTF8 + codecs.BOM_UTF16 + b" \t\r\n\x00"
_EMPTIED = "Save it again from where it came, or take it out of the folder if nothing was entered there"
_SAVE_AS_CSV = "Save it from the spreadsheet program as CSV UTF-8"


def read_bare_table(file: StoredFile, separator: str | None, findings: Noted) -> Book:
    """Read one delimited file as the Units table and nothing else.

    Raises
    ------
    UnusableFileError
        When the file is no text, or its separator cannot be told.
    """
    table = _table(file, BARE_UNITS, sheet="", separator=separator, findings=findings)
    return Book(file=file.name, tables=(table,), bare=True)


def read_folder(stored: StoredInput, separator: str | None, findings: Noted) -> Book:
    """Read a folder of delimited files, one a sheet; what is wrong with one file does not hide the others.

    Raises
    ------
    UnusableFileError
        When the folder holds no units.csv.
    """
    tables: list[SheetTable] = []
    parts = stored.files
    if not any(part.stem.casefold() == "units" for part in parts):
        raise UnusableFileError(
            "the folder holds no units.csv", mend="Put the Units table there as units.csv, one row a unit"
        )
    for part in parts:
        table = SheetTable(file=part.name, sheet=part.stem, name=part.stem, rows=())
        try:
            if not part.data.strip(_NOTHING):
                raise UnusableFileError("the file is empty", mend=_EMPTIED)
            known = SHEETS[part.stem.casefold()]
            tables.append(_table(part, known, sheet=part.stem, separator=separator, findings=findings))
        except UnusableFileError as error:
            findings.refuse(table, "", found=str(error), mend=error.mend)
    for part in stored.beside:
        try:
            table = _table(part, BARE_UNITS, sheet=part.stem, separator=separator, findings=Noted())
            tables.append(replace(table, name=part.stem))
        except UnusableFileError as error:
            findings.notices.append(Notice(where=part.name, text=f"It was not read: {error}."))
    for name in stored.others:
        if PurePath(name).stem.casefold() in _MEASURED and PurePath(name).suffix.casefold() in _OTHER_KINDS:
            found = f"the file {name} stands in the folder, and only tables of text are read there"
            findings.refuse_input(stored.name, found=found, mend="Save it as .csv, or take it out of the folder")
        text = f"The file {name} is no sheet of a batch and was not read."
        ignored = IgnoredCells(cells=name, what="file", said="file")
        findings.notices.append(Notice(where=name, text=text, ignored=ignored))
    return Book(file=stored.name, tables=tuple(tables))


def _table(file: StoredFile, known: Sheet, *, sheet: str, separator: str | None, findings: Noted) -> SheetTable:
    if len(file.data) > MOST_BYTES:
        raise UnusableFileError(f"the file is larger than {MOST_BYTES // 1048576} MB", mend="Keep one batch in a file")
    text, code_page = _decoded(file.data)
    if (lines := text.count("\n") + text.count("\r")) > 2 * MOST_CELLS:
        raise UnusableFileError(f"the file holds {lines:,} line ends", mend="Keep one batch in a file")
    if "\n" in text and (lone := re.search(r"\r(?!\n)", text)):
        line = text.count("\n", 0, lone.start()) + 1
        told = f"line {line} is broken by a carriage return, which ends no other line"
        raise UnusableFileError(told, mend="Save the table anew from the spreadsheet program")
    if said := re.match(r"sep=([,;\t|])\r?(?:\n|$)", text, re.IGNORECASE):
        text = text[said.end() :]
    if file.suffix == TEXT_SUFFIX and ";" in text and "\n" not in text.strip():
        # A word before a row of masses is a field of its own.
        text = _ONE_HEAD.sub("\\1;", text)
    separator = separator or (said.group(1) if said else _separator(text, known, file))
    rows = _rows(text, separator)
    if file.suffix == TEXT_SUFFIX and all(len(row.cells) == 1 for row in rows):
        rows = _rows(_tabbed(text), "\t")
        _refuse_gaps(rows, known)
    table = SheetTable(file=file.name, sheet=sheet, name=known.name, rows=rows, separator=separator)
    _check_end(table, findings, ended=text.endswith(("\n", "\r")))
    if code_page:
        findings.remark(table, "", f"The text is not UTF-8 and was read as {code_page}.")
    return table


def _check_end(table: SheetTable, findings: Noted, *, ended: bool) -> None:
    """Refuse a last number with fewer decimals than all others of its column and no line end: a file cut off.

    Where the line has its end, one that also lacks the unit of measure that stands behind all others is told.
    """
    *rows, end = table.rows or (SheetRow(number=0, cells={}),)
    last = next(reversed(end.cells.values()), None)
    before = [row.cells[last.column].text for row in rows if last and last.column in row.cells]
    # Masses on one line are the others of their line.
    before = before or [cell.text for cell in [*end.cells.values()][:-1] if not rows]
    decimals = [len(match.group(1) or "") for one in before if (match := _LAST_NUMBER.search(one))]
    cut = _LAST_NUMBER.search(last.text) if last else None
    if last is None or cut is None or not decimals or not (last.text + before[-1]).strip()[:1].isdigit():
        return
    bare = all(one[-1:].isalpha() for one in before) and not last.text[-1:].isalpha()
    if len(cut.group(1) or "") < min(decimals) and (bare or not ended):
        words = [
            {word for cell in row.cells.values() for word in plain_words(cell.text) if word.isalpha()}
            for row in (end, *rows[-1:])
        ]
        # A figure stands behind a word of its own.
        if ended or words[0] - words[-1]:
            findings.tell(table, [last], f"{last.quoted} ends the file: cut off?")
            return
        found = (
            f"{last.quoted} ends the file without a line end, with fewer digits than those before it: it may be cut off"
        )
        mend = "Save the file anew from where it came, or type the number in full"
        findings.refuse(table, last.address, found=found, mend=mend)


def _wordy(row: SheetRow) -> list[str]:
    """The texts of a row without a digit: "Date 04/03/26" is a fact."""
    return [cell.text for cell in row.cells.values() if not any(map(str.isdigit, cell.text))]


def _refuse_gaps(rows: Sequence[SheetRow], known: Sheet) -> None:
    """Refuse columns set apart by blanks with an empty place in a row: what follows it stands in the wrong one."""
    spoken = ((row, sum(_is_heading(text, known, spoken=True) for text in _wordy(row))) for row in rows)
    head = next((row for row, count in spoken if count > 1), None)
    for row in rows if head is not None else ():
        texts = [cell.text for cell in row.cells.values()]
        numbers = sum(any(map(str.isdigit, text)) for text in texts)
        if head is not None and row.number > head.number and numbers > 1 and row.width < head.width:
            found = f"line {row.number} has {row.width} fields under {head.width} headings, set apart by blanks alone"
            raise UnusableFileError(
                found, mend="Separate the fields by tabs or semicolons, so that an empty place is seen"
            )


def _tabbed(text: str) -> str:
    """The lines of a print-out, or of a table drawn with strokes, with tabs between their columns."""
    lines = ["" if _DRAWN.fullmatch(line) else line.strip().rstrip(",;") for line in text.splitlines()]
    blanks = _ONE_BLANK if all(map(_ONLY_MASSES.fullmatch, lines)) else _BLANKS
    bare = (re.sub(r"\s*\|\s*", "\t", line[1:-1]).strip() if _FRAMED.fullmatch(line) else line for line in lines)
    return "\n".join(blanks.sub("\t", line) for line in bare)


def _decoded(data: bytes) -> tuple[str, str]:
    """The text of a file, and the code page for which it was taken; empty where it is Unicode."""
    encodings = ["utf-8-sig"]
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        encodings = ["utf-16"]
    elif 8 * data.count(0) > len(data):
        # ASCII characters in UTF-16 have a zero in every other byte: behind the character, or before it.
        encodings = ["utf-16-le" if data[1::2].count(0) > data[::2].count(0) else "utf-16-be"]
    found = "the text is damaged UTF-16"
    for encoding in encodings:
        try:
            text = data.decode(encoding)
            break
        except UnicodeDecodeError as error:
            if encoding == "utf-8-sig":
                encodings.append(_code_page(data))
            elif encoding in CODE_PAGES:
                found = f"the file is no text (byte {error.start + 1} is {data[error.start]:#04x})"
    else:
        raise UnusableFileError(found, mend=_SAVE_AS_CSV)
    if "\x00" in text:
        raise UnusableFileError("the file is no text (it holds zero characters)", mend=_SAVE_AS_CSV)
    return text, CODE_PAGES.get(encoding, "")


# What no keyboard types; a code page that has such characters is not the one that was used.
_CONTROL = pattern(r"[\x00-\x08\x0e-\x1f\x7f-\x9f]")


def _code_page(data: bytes) -> str:
    """Windows-1252, but for a text that is whole, and holds more of the words known here, in another code page."""

    def known(text: str) -> int:
        return len(every_word() & {*plain_words(text)})

    best, most = "cp1252", known(data.decode("cp1252", errors="replace"))
    for page in CODE_PAGES:
        with suppress(UnicodeDecodeError):
            text = data.decode(page)
            if not _CONTROL.search(text) and (many := known(text)) > most:
                best, most = page, many
    return best


def _separator(text: str, known: Sheet, file: StoredFile) -> str:
    """The separator under which most headings of one row are known."""
    lines = [line for line in text.splitlines() if line.strip()]
    decimal = _commas_are_decimal(lines, blanks=_ONE_BLANK if file.suffix == TEXT_SUFFIX else _BLANKS)
    separators = [one for one in SEPARATORS if not (decimal and one == ",")]
    known_in = {separator: _heading_row(text, separator, known) for separator in separators}
    most = max(known_in.values())
    best = [separator for separator in separators if known_in[separator] == most]
    if len(best) == 1:
        return best[0]
    if most[0] > 1:
        names = " and ".join(SEPARATOR_NAMES[separator] for separator in best)
        mend = "Write sep= and the separator in a line before the first, for example sep=; "
        mend += "or use one separator in the whole file"
        raise UnusableFileError(f"the fields could be separated by {names}", mend=mend)
    usual = [one for one in ("\t", ";", "|") if 2 * sum(one in line for line in lines) > len(lines)]
    pointed = 2 * sum(any(map(_POINTED.fullmatch, line.split(","))) and "," in line for line in lines) > len(lines)
    no_comma = decimal or (file.suffix == TEXT_SUFFIX and not pointed)
    return "\t" if file.suffix == ".tsv" else next(iter(usual), ";" if no_comma else ",")


def _heading_row(text: str, separator: str, known: Sheet) -> tuple[int, bool]:
    """How many headings are known in the row that holds most of them; of one alone, whether others stand beside it."""
    try:
        rows = _lines(text, separator)[:TITLE_ROWS] or [[]]
    except UnusableFileError:
        return 0, False
    spoken = known is BARE_UNITS
    # A number with a decimal comma behind its label is one field: "Balance: 1,404".
    one = [separator == "," and len(row) == 2 and bool(_DECIMAL_PARTED.search(",".join(row))) for row in rows]
    counts = [
        (sum(_is_heading(field, known, spoken=spoken) for field in row), 1 if alone else len(row))
        for row, alone in zip(rows, one, strict=True)
    ]
    count, width = max(counts, key=lambda one: one[0])
    return count, count == 1 and width > 1


def _commas_are_decimal(lines: Sequence[str], *, blanks: re.Pattern[str]) -> bool:
    """Whether most lines of numbers hold commas within numbers alone; digits that count upward before one are units."""
    rows = [_FIELDS.split(blanks.sub("\t", line.strip())) for line in lines if any(map(str.isdigit, line))]
    parted = [[field for field in row if "," in field] for row in rows]
    decimal = [row for row in parted if row and all(map(_DECIMAL.fullmatch, row))]
    whole = {field.partition(",")[0].strip() for row in decimal for field in row}
    several = 2 * sum(len(row) > 1 for row in rows) > len(rows)
    return 2 * len(decimal) > len(rows) and (several or 2 * len(whole) <= len(decimal))


def _is_heading(text: str, known: Sheet, *, spoken: bool) -> bool:
    if plain(text) in known.columns:
        return True
    # A unit of measure, a number or a sign of the balance is no heading.
    said = heading_of(text) if spoken and len(text.strip()) > 2 and any(map(str.isalpha, text)) else None
    return said is not None


def _lines(text: str, separator: str) -> list[list[str]]:
    try:
        return list(csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True))
    except csv.Error as error:
        raise UnusableFileError(
            f"the quotation marks of the file do not match ({error})", mend="Close every quotation mark"
        ) from None


def _rows(text: str, separator: str) -> tuple[SheetRow, ...]:
    rows: list[SheetRow] = []
    held = 0
    for number, fields in enumerate(_lines(text, separator), start=1):
        cells = {
            column: SheetCell(column, address(number, column), CellKind.TEXT, field)
            for column, field in enumerate(fields, start=1)
            # The rules of a table that is drawn hold nothing.
            if field.strip() and not (separator == "|" and _RULE.fullmatch(field))
        }
        held += len(cells)
        guard_cells(held)
        if cells:
            rows.append(SheetRow(number=number, cells=cells, width=len(fields)))
    return tuple(rows)
