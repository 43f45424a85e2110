"""Delimited text: one .csv or .tsv file as a bare Units table, or a folder of them as a workbook.

The text is UTF-8, UTF-16 (by its byte-order mark, or by its zero bytes) or Windows-1252. The separator is the one under
which the headings are known; a first line "sep=;" decides, as it does in spreadsheet programs.
"""

from __future__ import annotations

import codecs
import csv
import io
from pathlib import Path

from qc.fields.field import Sheet, plain
from qc.fields.sheets import BARE_UNITS, SHEETS
from qc.problems import Notice
from qc.readers.cells import Book, CellKind, Noted, SheetCell, SheetRow, SheetTable, address
from qc.readers.guards import UnusableFileError

SEPARATORS = (",", ";", "\t")
SEPARATOR_NAMES = {",": "comma", ";": "semicolon", "\t": "tab"}
SUFFIXES = (".csv", ".tsv")
TITLE_ROWS = 200
MOST_BYTES = 128 * 1024 * 1024
_SAVE_AS_CSV = "Save it from the spreadsheet program as CSV UTF-8"


def read_bare_table(path: Path, separator: str | None, findings: Noted) -> Book:
    """Read one delimited file as the Units table and nothing else.

    Raises
    ------
    UnusableFileError
        When the file is empty, is no text, or its separator cannot be told.
    """
    table = _table(path, BARE_UNITS, sheet="", separator=separator, findings=findings)
    return Book(file=path.name, tables=(table,), bare=True)


def read_folder(path: Path, separator: str | None, findings: Noted) -> Book:
    """Read a folder of delimited files, one a sheet; what is wrong with one file does not hide the others.

    Raises
    ------
    UnusableFileError
        When the folder holds no units.csv.
    """
    tables: list[SheetTable] = []
    parts = folder_parts(path)
    if not any(part.stem.casefold() == "units" for part in parts):
        raise UnusableFileError(
            "the folder holds no units.csv", mend="Put the Units table there as units.csv, one row a unit"
        )
    for part in parts:
        table = SheetTable(file=part.name, sheet=part.stem, name=part.stem, rows=())
        try:
            known = SHEETS[part.stem.casefold()]
            tables.append(_table(part, known, sheet=part.stem, separator=separator, findings=findings))
        except UnusableFileError as error:
            if str(error) == _EMPTY and part.stem.casefold() != "units":
                continue
            findings.refuse(table, "", found=str(error), mend=error.mend)
    others = sorted(entry.name for entry in path.iterdir() if entry not in parts and not entry.name.startswith("."))
    for name in others:
        findings.notices.append(Notice(where=name, text=f"The file {name} is no sheet of a batch and was not read."))
    return Book(file=path.name, tables=tuple(tables))


def folder_parts(path: Path) -> list[Path]:
    """The files of a folder that are sheets of a batch, by name."""
    return sorted(
        entry
        for entry in path.iterdir()
        if entry.is_file() and entry.suffix.casefold() in SUFFIXES and entry.stem.casefold() in SHEETS
    )


_EMPTY = "the file is empty"


def _table(path: Path, known: Sheet, *, sheet: str, separator: str | None, findings: Noted) -> SheetTable:
    if path.stat().st_size > MOST_BYTES:
        raise UnusableFileError(f"the file is larger than {MOST_BYTES // 1048576} MB", mend="Keep one batch in a file")
    text, is_windows = _decoded(path.read_bytes())
    if not text.strip():
        raise UnusableFileError(_EMPTY, mend="Write one row a unit under the headings Unit and Mass (g)")
    text, said = _first_line_says(text)
    separator = separator or said or _separator(text, known, path)
    table = SheetTable(file=path.name, sheet=sheet, name=known.name, rows=_rows(text, separator), separator=separator)
    if is_windows:
        findings.remark(table, "", "The text is not UTF-8 and was read as Windows-1252.")
    return table


def _decoded(data: bytes) -> tuple[str, bool]:
    """The text of a file, and whether it was taken for Windows-1252."""
    encoding = "utf-8-sig"
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        encoding = "utf-16"
    elif b"\x00" in data[:2000]:
        # ASCII characters in UTF-16 have a zero in every other byte: behind the character, or before it.
        encoding = "utf-16-le" if data[1:2000:2].count(0) > data[0:2000:2].count(0) else "utf-16-be"
    try:
        text, is_windows = data.decode(encoding), False
    except UnicodeDecodeError:
        if encoding != "utf-8-sig":
            raise UnusableFileError("the text is damaged UTF-16", mend=_SAVE_AS_CSV) from None
        try:
            text, is_windows = data.decode("cp1252"), True
        except UnicodeDecodeError as error:
            raise UnusableFileError(
                f"the file is no text (byte {error.start + 1} is {data[error.start]:#04x})", mend=_SAVE_AS_CSV
            ) from None
    if "\x00" in text:
        raise UnusableFileError("the file is no text (it holds zero characters)", mend=_SAVE_AS_CSV)
    return text, is_windows


def _first_line_says(text: str) -> tuple[str, str | None]:
    first, _, rest = text.partition("\n")
    said = first.rstrip("\r").casefold()
    if len(said) == 5 and said.startswith("sep=") and said[4] in SEPARATORS:
        return rest, said[4]
    return text, None


def _separator(text: str, known: Sheet, path: Path) -> str:
    """The separator under which most headings of one row are known."""
    rows = {separator: _heading_row(text, separator, known) for separator in SEPARATORS}
    most = max(count for count, _ in rows.values())
    best = [separator for separator, (count, _) in rows.items() if count == most]
    if len(best) == 1:
        return best[0]
    by_suffix = "\t" if path.suffix.casefold() == ".tsv" else None
    if most == 0:
        return by_suffix or max(SEPARATORS, key=text.count)
    if most == 1:
        # One known column: the separator that the heading row itself uses, or else any one.
        used = [separator for separator in best if rows[separator][1] > 1]
        return used[0] if len(used) == 1 else by_suffix or ","
    names = " and ".join(SEPARATOR_NAMES[separator] for separator in best)
    raise UnusableFileError(
        f"the fields could be separated by {names}", mend="Use one separator, best the semicolon, in the whole file"
    )


def _heading_row(text: str, separator: str, known: Sheet) -> tuple[int, int]:
    """How many headings are known in the row that holds most of them, and how many fields that row has."""
    try:
        rows = _lines(text, separator)[:TITLE_ROWS]
    except UnusableFileError:
        return 0, 0
    counts = [(sum(plain(field) in known.columns for field in row), len(row)) for row in rows]
    return max(counts, key=lambda one: one[0], default=(0, 0))


def _lines(text: str, separator: str) -> list[list[str]]:
    try:
        return list(csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True))
    except csv.Error as error:
        raise UnusableFileError(
            f"the quotation marks of the file do not match ({error})", mend="Close every quotation mark"
        ) from None


def _rows(text: str, separator: str) -> tuple[SheetRow, ...]:
    rows: list[SheetRow] = []
    for number, fields in enumerate(_lines(text, separator), start=1):
        cells = {
            column: SheetCell(column, address(number, column), CellKind.TEXT, field)
            for column, field in enumerate(fields, start=1)
            if field.strip()
        }
        if cells:
            rows.append(SheetRow(number=number, cells=cells, width=len(fields)))
    return tuple(rows)
