"""A sheet as it lies in the file, before anybody asks what it means: cells with their address and kind.

Every format (workbook, open document, csv, data frame) is brought to these records; whatever follows sees only them.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from enum import StrEnum
from numbers import Real
from string import ascii_uppercase

from msgspec import Struct, field

from qc.batch import Source
from qc.problems import TOLD, IgnoredCells, Notice, Problem, quoted
from qc.quantities import shown_decimal

STRUCK, RAISED, WHITE, FILLED = "struck through", "raised or lowered", "in white type", "filled in a colour"
# Where a text stands that is in no cell.
IN_BOX, ON_EMPTY, ON_MARGIN = "text box", "comment on the empty cell {}", "head or foot of the page"
ON_RANGE = "name or prompt of {}"
_DAY_ZERO = datetime(1899, 12, 30)


class CellKind(StrEnum):
    """What a cell holds."""

    TEXT = "text"
    NUMBER = "number"
    PERCENT = "number in a percent format"
    DATE = "number in a date format"
    BOOLEAN = "true or false"
    ERROR = "error"
    UNSAVED = "formula without a stored value"


class SheetCell(Struct, frozen=True):
    """One cell that is not empty.

    Parameters
    ----------
    column : int
        Counted from 1.
    address : str
        As a person finds it: "E14" in a spreadsheet.
    kind : CellKind
    text : str
        What was typed; for a number the shown decimal, for a date its ISO form.
    number : Decimal or None
        The stored number; for a date format the raw serial number, for a percent format the fraction.
    unit : str
        The unit that its number format shows behind a stored number.
    formula : str
        What its stored value was calculated by; empty for one that was typed, and where the format keeps no formula.
    origin : str
        The cell from which its formula was dragged, and for which it is written; empty for one of its own.
    look : str
        What its type does to it, whole or in part: STRUCK, RAISED, WHITE; or FILLED; or nothing.
    comment : str
        What a comment on it says.
    """

    column: int
    address: str
    kind: CellKind
    text: str
    number: Decimal | None = None
    unit: str = ""
    formula: str = ""
    origin: str = ""
    look: str = ""
    comment: str = ""

    @property
    def own_formula(self) -> str:
        """Its formula as it stands there by itself; empty where one that was dragged there cannot be written out."""
        if not self.origin:
            return self.formula
        from openpyxl.formula.tokenizer import TokenizerError
        from openpyxl.formula.translate import Translator, TranslatorError

        try:
            return str(Translator(self.formula, origin=self.origin).translate_formula(self.address))
        except (TokenizerError, TranslatorError):
            return ""

    @property
    def typed(self) -> str:
        """The text without the blanks around it."""
        return self.text.strip()

    @property
    def quoted(self) -> str:
        """The text as a message quotes it."""
        return quoted(self.typed)

    @property
    def shown(self) -> str:
        """As a person reads it: what was typed without the blanks around it, a percentage with its sign."""
        if self.number is not None and self.kind is CellKind.PERCENT:
            return f"{self.number.scaleb(2):f} %"
        return self.typed


Content = tuple[CellKind, str, Decimal | None]
"""Kind, text and number of a cell."""


def content_of(value: object, *, percent: bool = False, places: int = 0, serial: float | None = None) -> Content | None:
    """What a stored value says: true or false, a number, a date or a text; None where there are only blanks.

    Parameters
    ----------
    value : object
        A binary number is what a spreadsheet shows of it; one that is not finite is an error.
    percent : bool
        Whether a number is shown in percent.
    places : int
        Decimals that are shown of it at least: 2.05 shown as 2.050 was typed so, or is as good as [-].
    serial : float, optional
        The number by which the spreadsheet stores a date [days]; from 30 December 1899 on when it is not given.
    """
    if isinstance(value, bool):
        return CellKind.BOOLEAN, str(value).upper(), None
    if isinstance(value, Real | Decimal):
        try:
            shown = value if isinstance(value, Decimal) and value.is_finite() else shown_decimal(float(value))
        except (ValueError, OverflowError):
            return CellKind.ERROR, str(value), None
        if places + int(shown.as_tuple().exponent) > 0:
            shown = shown.quantize(Decimal(1).scaleb(-places))
        return CellKind.PERCENT if percent else CellKind.NUMBER, f"{shown:f}", shown
    if isinstance(value, date):
        day, clock = (value.date(), value.time()) if isinstance(value, datetime) else (value, time())
        moment = datetime.combine(day, clock)
        text = day.isoformat() if clock == time() else moment.isoformat(sep=" ", timespec="seconds")
        days = (moment - _DAY_ZERO) / timedelta(days=1) if serial is None else serial
        return CellKind.DATE, text, shown_decimal(days)
    text = str(value)
    return (CellKind.TEXT, text, None) if text.strip() else None


class SheetRow(Struct, frozen=True, kw_only=True):
    """One row that holds something, its cells by column; `width` counts all fields of a delimited line."""

    number: int
    cells: dict[int, SheetCell]
    hidden: bool = False
    width: int = 0


class Merge(Struct, frozen=True, kw_only=True):
    """A merged range, ends included."""

    top: int
    left: int
    bottom: int
    right: int

    @property
    def address(self) -> str:
        """The range as a spreadsheet writes it."""
        return f"{address(self.top, self.left)}:{address(self.bottom, self.right)}"


class SheetTable(Struct, frozen=True, kw_only=True):
    """One sheet, or one delimited file.

    Parameters
    ----------
    file : str
        Base name of the file that holds it.
    sheet : str
        Its name as problems print it; empty for a bare table.
    name : str
        The name by which a known sheet is recognised.
    separator : str
        What separates the fields of a delimited file; empty for a workbook.
    apart : tuple
        The texts that stand in no cell, each with where it stands: on a text box, an empty cell or the margin.
    """

    file: str
    sheet: str
    name: str
    rows: tuple[SheetRow, ...]
    hidden: bool = False
    hidden_columns: frozenset[int] = frozenset()
    merges: tuple[Merge, ...] = ()
    separator: str = ""
    apart: tuple[tuple[str, str], ...] = ()


class Book(Struct, frozen=True, kw_only=True):
    """All tables of one input, and the digest of its bytes. A bare table is a Units table without a workbook."""

    file: str
    tables: tuple[SheetTable, ...]
    bare: bool = False
    source: Source | None = None
    ignored: tuple[tuple[str, SheetCell], ...] = ()
    """Cells that the call leaves out of account, each with the name of its sheet."""


class Noted(Struct):
    """What is wrong and what is worth a remark, gathered while an input is read."""

    problems: list[Problem] = field(default_factory=list)
    notices: list[Notice] = field(default_factory=list)
    choices: list[tuple[str, str]] = field(default_factory=list)
    """Where several batches were found: "sheet" or "batch" with what the call says to pick each."""

    def refuse_input(self, name: str, *, found: str, mend: str) -> None:
        """Note a problem of an input as a whole, or of what the call says about it."""
        self.problems.append(Problem(file=name, sheet="", cell="", found=found, mend=mend))

    def refuse(self, table: SheetTable, cell: str, *, found: str, mend: str) -> None:
        """Note a problem at a cell (or at the whole table, when `cell` is empty)."""
        self.problems.append(Problem(file=table.file, sheet=table.sheet, cell=cell, found=found, mend=mend))

    def remark(self, table: SheetTable, cell: str, text: str) -> None:
        """Note a remark at a cell (or at the whole table, when `cell` is empty)."""
        self.notices.append(Notice(where=placed(table, cell), text=text))

    def ignore(
        self, table: SheetTable, cell: str, text: str, *, cells: Sequence[SheetCell], what: str, said: str = ""
    ) -> None:
        """Note a remark at a cell, or at the whole table, that says that cells were left out of account."""
        ignored = IgnoredCells(cells=placed(table, areas(table, cells)), what=what, said=said)
        self.notices.append(Notice(where=placed(table, cell), text=text, ignored=ignored))

    def tell(self, table: SheetTable, cells: Sequence[SheetCell], said: str, text: str = "") -> None:
        """Note what was read and may say something of units: in short, and in full where that is more."""
        self.ignore(table, cells[0].address, text or f"Read {said}.", cells=cells, what=TOLD, said=said)


def placed(table: SheetTable, cells: str) -> str:
    """The address of cells with the sheet, or the file, before it where none stands there."""
    sheet = table.sheet or table.file
    if "!" in cells:
        return cells
    return f"{sheet}!{cells}" if cells else sheet


def areas(table: SheetTable, cells: Sequence[SheetCell]) -> str:
    """Where cells stand: the fewest ranges in which no other cell of the sheet is filled.

    Examples
    --------
    >>> column = [SheetCell(2, f"B{row}", CellKind.NUMBER, "2", Decimal(2)) for row in (4, 5, 7)]
    >>> areas(SheetTable(file="", sheet="", name="", rows=()), column)
    'B4:B7'
    """
    own = {(cell.column, spot) for cell in cells if (spot := row_of(cell))}
    if not own or len(own) < len({cell.address for cell in cells}):
        # The cells of a data frame have names of their own.
        return " to ".join(dict.fromkeys((cells[0].address, cells[-1].address))) if cells else ""
    runs: list[tuple[int, int, int]] = []
    for column, row in sorted(own):
        if runs and runs[-1][0] == column and not _filled_between(table, column, runs[-1][2], row):
            runs[-1] = (column, runs[-1][1], row)
        else:
            runs.append((column, row, row))
    blocks: list[list[int]] = []
    for column, first, last in sorted(runs, key=lambda run: (run[1], run[2], run[0])):
        if blocks and blocks[-1][1:] == [column - 1, first, last]:
            blocks[-1][1] = column
        else:
            blocks.append([column, column, first, last])
    ends = [(address(first, left), address(last, right)) for left, right, first, last in sorted(blocks)]
    return ", ".join(first if first == last else f"{first}:{last}" for first, last in ends)


def _filled_between(table: SheetTable, column: int, above: int, below: int) -> bool:
    """Whether a column holds something between two rows."""
    if below == above + 1:
        return False
    first, last = (bisect_left(table.rows, row, key=lambda one: one.number) for row in (above + 1, below))
    return any(column in row.cells for row in table.rows[first:last])


def row_of(cell: SheetCell) -> int:
    """The row in which a cell stands; 0 of a data frame, whose cells have names of their own."""
    digits = cell.address.lstrip(ascii_uppercase)
    return int(digits) if digits.isdecimal() and len(digits) < len(cell.address) else 0


def column_number(letters: str) -> int:
    """The number of a column by its letters."""
    number = 0
    for letter in letters:
        number = 26 * number + ord(letter) - ord("A") + 1
    return number


def column_letters(column: int) -> str:
    """The letters of a column counted from 1.

    Examples
    --------
    >>> column_letters(1), column_letters(27), column_letters(16384)
    ('A', 'AA', 'XFD')
    """
    letters = ""
    while column > 0:
        column, rest = divmod(column - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters


def address(row: int, column: int) -> str:
    """The address of a cell as a spreadsheet writes it.

    Examples
    --------
    >>> address(14, 5)
    'E14'
    """
    return f"{column_letters(column)}{row}"
