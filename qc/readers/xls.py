"""Workbooks of the old .xls kind, read by xlrd in a process of its own, with a limit of time and of memory.

The library follows offsets that stand in the file; a damaged one may cost any time and memory, and must not take the
check with it. What it read comes back as the records of `qc.readers.cells`.
"""

from __future__ import annotations

import signal
import struct
import subprocess
import sys
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

import msgspec

from qc.fields.field import plain
from qc.fields.sheets import BARE_UNITS
from qc.patterns import pattern
from qc.problems import quoted
from qc.readers.cells import (
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
    content_of,
)
from qc.readers.container import NOT_WRITTEN_OUT
from qc.readers.guards import OLE_SIGNATURE, SAVE_AGAIN, UnusableFileError, guard_cells
from qc.readers.number_format import Shown, shown_behind
from qc.readers.stored import StoredFile

if TYPE_CHECKING:
    from xlrd.book import Book as OldBook
    from xlrd.sheet import Cell, Sheet

# Of processor time where the system can limit it, which a busy machine does not use up; else of the clock.
LONGEST_SECONDS, LONGEST_WAIT = 8, 60
MOST_MEMORY = 400 * 1024 * 1024
# The second is how a process ends that has used up its processor time.
REFUSED, OUT_OF_TIME = 9, -getattr(signal, "SIGXCPU", 24)
# Types of cells as the library numbers them.
_PAPER = (255, 255, 255)
_EMPTY, NUMBER = (0, 6), 2
# Records that hold a formula, in the three ages of the format; one that is shared; and a token for one held elsewhere.
_FORMULA, _SHARED, _BY_ANOTHER = (0x0006, 0x0206, 0x0406), 0x04BC, b"\x01"
# The head and the foot of a page ([MS-XLS], 2.4.136 and 2.4.124): the bytes that count their letters, and what in them
# sets the type and the side.
_MARGINS, _LENGTH, _SET = (0x0014, 0x0015), 2, pattern(r'&(?:"[^"]*"|\d+|[A-Z])')
# A text of a chart, and a rule for what is typed into cells with its prompt ([MS-XLS], 2.4.254 and 2.4.92).
_CHART_TEXT, _PROMPT = 0x100D, 0x01BE
# What the library writes for another file, and what is read of a cell that takes from one.
_OTHER_FILE, _LOST = "<<external>>", (CellKind.ERROR, "#REF! (another file)", None)
_RANGE_OF_A_NAME = pattern(r"'?(.*?)'?!(\$?[A-Z]+\$?\d+(?::\$?[A-Z]+\$?\d+)?)")
_Place = tuple[int, int, int]
LOCKED = "the file is protected by a password"


def is_old_workbook(data: bytes) -> bool:
    """Whether a file is a workbook of the old kind inside, whatever its name says."""
    return data[:8] == OLE_SIGNATURE


def read_xls(file: StoredFile) -> Book:
    """Read every sheet of an old workbook.

    Raises
    ------
    UnusableFileError
        When the file is locked or damaged, or takes more time or memory than a batch can need.
    """
    call = [sys.executable, "-P", "-m", __name__, file.name]
    try:
        child = subprocess.run(call, input=file.data, capture_output=True, timeout=LONGEST_WAIT, check=False)
    except subprocess.TimeoutExpired as error:
        raise _refused(f"the workbook was not read within {LONGEST_WAIT} s") from error
    if child.returncode == 0:
        return msgspec.msgpack.decode(child.stdout, type=Book)
    last = child.stderr.decode(errors="replace").strip().rpartition("\n")[2]
    if child.returncode == OUT_OF_TIME:
        raise _refused(f"the workbook was not read within {LONGEST_SECONDS} s")
    if child.returncode == REFUSED:
        raise _refused(last)
    if "encrypted" in last:
        raise UnusableFileError(LOCKED, mend="Take the password off, or save it as .xlsx, and try again")
    raise UnusableFileError(
        f"the workbook is damaged ({last.partition(':')[0] or 'it ended the reader'})", mend=SAVE_AGAIN
    )


def _set_limits() -> None:
    try:
        import resource
    except ImportError:
        return  # Windows has no such limit for a process; the limit of time holds there too.
    resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY, MOST_MEMORY))
    resource.setrlimit(resource.RLIMIT_CPU, (LONGEST_SECONDS, LONGEST_SECONDS + 1))


def _book(name: str, data: bytes) -> Book:
    import xlrd

    held: set[_Place] = set()
    formulas, apart = _Formulas(), list[tuple[int, str, str]]()
    put, next_record = xlrd.sheet.Sheet.put_cell_unragged, xlrd.book.Book.get_record_parts
    read, drawn = xlrd.sheet.Sheet.read, xlrd.sheet.Sheet.handle_txo

    def record_seen(book: OldBook) -> tuple[int, int, bytes]:
        record: tuple[int, int, bytes] = next_record(book)
        formulas.see(record[0], record[2])
        if record[0] in _MARGINS and len(record[2]) > _LENGTH:
            text = xlrd.biffh.unpack_unicode(record[2], 0, lenlen=_LENGTH)
            apart.append((formulas.sheet, ON_MARGIN, _SET.sub("", text)))
        elif record[0] == _CHART_TEXT:
            apart.append((formulas.sheet, IN_BOX, xlrd.biffh.unpack_unicode(record[2], 2, lenlen=1)))
        elif record[0] == _PROMPT:
            apart.append((formulas.sheet, *_prompt(record[2])))
        return record

    def sheet_read(sheet: Sheet, book: OldBook) -> object:
        formulas.sheet = sheet.number
        return read(sheet, book)

    def text_drawn(sheet: Sheet, data: bytes) -> object:
        if (box := drawn(sheet, data)) is not None:
            apart.append((sheet.number, IN_BOX, box.text))
        return box

    def put_once(sheet: Sheet, row: int, column: int, kind: int | None, *rest: object) -> None:
        # Of two that are stored for one place the library keeps the last.
        place = (sheet.number, row, column)
        if place in held:
            raise _refused(f"{sheet.name}!{address(row + 1, column + 1)} is stored twice in the file")
        formulas.put(place)
        if kind not in _EMPTY:
            held.add(place)
            guard_cells(len(held))
        put(sheet, row, column, kind, *rest)

    # It is patched in a process that ends with this book.
    xlrd.sheet.Sheet.put_cell_unragged, xlrd.book.Book.get_record_parts = put_once, record_seen
    xlrd.sheet.Sheet.read, xlrd.sheet.Sheet.handle_txo = sheet_read, text_drawn
    book = xlrd.open_workbook(file_contents=data, formatting_info=True, logfile=sys.stderr)
    for number, sheet in enumerate(book.sheets()):
        loaded = sum(cell.ctype not in _EMPTY for row in sheet.get_rows() for cell in row)
        if loaded != sum(place[0] == number for place in held):
            raise _refused(f"cells of the sheet {quoted(sheet.name)} are stored in the file and were not loaded")
        last = max(sheet.nrows, *(row + 1 for row in sheet.rowinfo_map), 1)
        if sheet._dimnrows > last:
            found = f"says that it reaches to row {sheet._dimnrows} and ends in row {last}"
            raise _refused(f"the sheet {quoted(sheet.name)} {found}")
    return Book(file=name, tables=tuple(_table(name, sheet, book, formulas, apart) for sheet in book.sheets()))


class _Formulas:
    """The formulas of the cells, which the library passes over: read from the records as they go by.

    Records FORMULA and SHRFMLA of [MS-XLS], 2.4.127 and 2.4.277; the numbers of tokens as the library has them.
    """

    def __init__(self) -> None:
        self.last: tuple[int, int] | None = None
        self.tokens = b""
        self.of: dict[_Place, bytes] = {}
        self.shared: dict[_Place, bytes] = {}
        self.sheet = 0

    def see(self, code: int, data: bytes) -> None:
        """A record, before the library makes a cell of it."""
        if code in _FORMULA:
            self.last, self.tokens = (*struct.unpack("<HH", data[:4]),), data[20:]
        elif code == _SHARED and self.tokens[2:3] == _BY_ANOTHER:
            row, column = struct.unpack("<HH", self.tokens[3:7])
            self.shared[self.sheet, row, column] = data[8:]

    def put(self, place: _Place) -> None:
        """A cell, after its record."""
        self.sheet = place[0]
        if self.last == place[1:]:
            self.of[place], self.last = self.tokens, None

    def written(self, book: OldBook, place: _Place) -> str:
        """The formula of a cell as a workbook shows it, one that cannot be written out as such; empty for none."""
        from xlrd.formula import FMLA_TYPE_CELL, FMLA_TYPE_SHARED, FormulaError, decompile_formula

        tokens = self.of.get(place)
        if tokens is None:
            return ""
        kind = FMLA_TYPE_CELL
        if tokens[2:3] == _BY_ANOTHER:
            row, column = struct.unpack("<HH", tokens[3:7])
            tokens, kind = self.shared.get((place[0], row, column), b""), FMLA_TYPE_SHARED
        try:
            (length,) = struct.unpack("<H", tokens[:2])
            text = decompile_formula(book, tokens[2:], length, kind, browx=place[1], bcolx=place[2])
        except (FormulaError, AssertionError, LookupError, TypeError, ValueError, struct.error):
            return NOT_WRITTEN_OUT
        return f"={text}" if text else NOT_WRITTEN_OUT


def _refused(found: str) -> UnusableFileError:
    return UnusableFileError(found, mend=SAVE_AGAIN)


def _table(
    name: str, sheet: Sheet, book: OldBook, formulas: _Formulas, apart: Sequence[tuple[int, str, str]]
) -> SheetTable:
    rows: list[SheetRow] = []
    for row in range(sheet.nrows):
        contents = ((column, _content(cell, book), cell) for column, cell in enumerate(sheet.row(row), start=1))
        cells = {
            column: SheetCell(
                column,
                address(row + 1, column),
                *(
                    _LOST
                    if _OTHER_FILE in (formula := formulas.written(book, (sheet.number, row, column - 1)))
                    else content
                ),
                _shown(cell, book).unit,
                formula,
                look=_look(sheet, book, row, column - 1),
                comment=_comment(sheet, row, column - 1) or _shown(cell, book).words,
            )
            for column, content, cell in contents
            if content is not None
        }
        look = sheet.rowinfo_map.get(row)
        hidden = look is not None and bool(look.hidden or not (look.height or look.has_default_height))
        if cells:
            rows.append(SheetRow(number=row + 1, cells=cells, hidden=hidden))
    return SheetTable(
        file=name,
        sheet=sheet.name.strip(),
        name=sheet.name,
        rows=tuple(rows),
        hidden=sheet.visibility != 0,
        hidden_columns=frozenset(
            column + 1 for column, look in sheet.colinfo_map.items() if look.hidden or not look.width
        ),
        merges=tuple(
            Merge(top=top + 1, left=left + 1, bottom=bottom, right=right)
            for top, bottom, left, right in sheet.merged_cells
        ),
        apart=(*_on_empty_cells(sheet, rows), *_on_no_cell(sheet, book, apart)),
    )


def _comment(sheet: Sheet, row: int, column: int) -> str:
    """What is written on a cell, also where the pointer rests on its link."""
    note, link = sheet.cell_note_map.get((row, column)), sheet.hyperlink_map.get((row, column))
    return "; ".join(filter(None, (note and note.text, link and link.quicktip)))


def _on_empty_cells(sheet: Sheet, rows: Sequence[SheetRow]) -> Iterator[tuple[str, str]]:
    for (row, column), note in sheet.cell_note_map.items():
        if not any(one.number == row + 1 and column + 1 in one.cells for one in rows):
            yield ON_EMPTY.format(address(row + 1, column + 1)), note.text


def _on_no_cell(sheet: Sheet, book: OldBook, apart: Sequence[tuple[int, str, str]]) -> Iterator[tuple[str, str]]:
    """The texts on its margins, in its text boxes and charts, of rules and names; a note is drawn as one too."""
    # A chart holds the words of the cells that it draws as well.
    notes = {note.text for note in sheet.cell_note_map.values()}
    notes |= {str(cell.value) for row in range(sheet.nrows) for cell in sheet.row(row)}
    for name in book.name_obj_list:
        place = _RANGE_OF_A_NAME.fullmatch(name.result.text) if not name.builtin and name.result is not None else None
        if place is not None and place[1].replace("''", "'") == sheet.name:
            yield ON_RANGE.format(place[2].replace("$", "")), name.name.replace("_", " ")
    yield from ((where, text) for of, where, text in apart if of == sheet.number and text.strip() and text not in notes)


def _prompt(data: bytes) -> tuple[str, str]:
    """The range of a rule and its prompt with the title, from its record: four texts, two formulas and the ranges."""
    from xlrd.biffh import unpack_unicode_update_pos

    texts, at = list[str](), 4
    for _ in range(4):
        text, at = unpack_unicode_update_pos(data, at, lenlen=2)
        texts.append(text.strip("\0"))
    for _ in range(2):
        at += 4 + int.from_bytes(data[at : at + 2], "little")
    ends = struct.iter_unpack("<HHHH", data[at + 2 :])
    where = ", ".join(f"{address(top + 1, left + 1)}:{address(end + 1, right + 1)}" for top, end, left, right in ends)
    own = plain(texts[0]) in BARE_UNITS.columns
    return ON_RANGE.format(where), "" if own else " ".join(filter(None, texts[::2]))


def _look(sheet: Sheet, book: OldBook, row: int, column: int) -> str:
    """What the font of a cell, or of a run of its text, does to it."""
    runs = [font for _, font in sheet.rich_text_runlist_map.get((row, column), ())]
    numbers = [*runs, book.xf_list[sheet.cell(row, column).xf_index].font_index]
    fonts = [book.font_list[number] for number in numbers if number < len(book.font_list)]
    raised = RAISED if any(font.escapement for font in fonts[: len(runs)]) else ""
    white = WHITE if any(book.colour_map.get(font.colour_index) == _PAPER for font in fonts[: len(runs)]) else ""
    return STRUCK if any(font.struck_out for font in fonts) else raised or white


def _content(cell: Cell, book: OldBook) -> Content | None:
    """Kind, text and number of a cell; None when it is empty."""
    import xlrd

    if cell.ctype == xlrd.XL_CELL_TEXT:
        return content_of(cell.value)
    if cell.ctype == xlrd.XL_CELL_BOOLEAN:
        return content_of(bool(cell.value))
    if cell.ctype == xlrd.XL_CELL_ERROR:
        return CellKind.ERROR, xlrd.error_text_from_code.get(cell.value, "#ERROR"), None
    if cell.ctype == xlrd.XL_CELL_DATE:
        try:
            moment = xlrd.xldate_as_datetime(cell.value, book.datemode)
        except (ValueError, OverflowError):
            return content_of(cell.value)
        return content_of(moment, serial=cell.value)
    if cell.ctype == xlrd.XL_CELL_NUMBER:
        shown = _shown(cell, book)
        return content_of(cell.value, percent=shown.percent, places=shown.places)
    return None


def _shown(cell: Cell, book: OldBook) -> Shown:
    """What its format makes of the number of a cell; nothing for any other cell."""
    number_format = book.format_map[book.xf_list[cell.xf_index].format_key].format_str
    return shown_behind(number_format if cell.ctype == NUMBER else "")


if __name__ == "__main__":
    _set_limits()
    try:
        read = _book(sys.argv[1], sys.stdin.buffer.read())
    except UnusableFileError as refused:
        sys.stderr.write(f"\n{refused}")
        sys.exit(REFUSED)
    sys.stdout.buffer.write(msgspec.msgpack.encode(read))
