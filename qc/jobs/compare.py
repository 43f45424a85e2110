"""Two entries of the same batch held against each other, cell by cell, before anybody judges."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import zip_longest
from pathlib import Path

from msgspec import Struct, to_builtins

from qc.batch import Source
from qc.fields.sheets import SHEETS
from qc.problems import InputProblems, Problem
from qc.readers.entered_cells import Entered, EnteredCell, EnteredRow, read_entered
from qc.readers.options import ReadOptions
from qc.say.text import counted

NO_ROW = "no such row"
NO_SHEET = "no entries"
LEFT_ASIDE, NOT_THERE = "Left aside", "not there"

RowKey = tuple[str, tuple[str, ...]]


class Side(Struct, frozen=True, kw_only=True):
    """What one of the two entries says: the address and what stands there; empty text for an empty cell."""

    cell: str
    found: str


class CellDifference(Struct, frozen=True, kw_only=True):
    """One place in which two entries do not say the same.

    Parameters
    ----------
    sheet, key, column : str
        The sheet, what the row is about, and the heading; no column where a whole row stands in one entry only, and no
        key where a whole sheet does.
    a, b : Side
    """

    sheet: str
    key: str
    column: str
    a: Side
    b: Side


class Comparison(Struct, frozen=True, kw_only=True):
    """Two entries compared.

    Parameters
    ----------
    a, b : Source
        Name and SHA-256 of each.
    cells : int
        How many pairs of cells were compared.
    differences : tuple of CellDifference
        In the order of the sheets, and in each of the rows of the first entry.
    unread : tuple of Problem
        Cells in which a number was expected and none could be read; they were compared as text.
    """

    a: Source
    b: Source
    cells: int
    differences: tuple[CellDifference, ...]
    unread: tuple[Problem, ...]

    def as_dict(self) -> dict[str, object]:
        """For other programs: a, b, cells, differences, unread."""
        document: dict[str, object] = to_builtins(self)
        return document


def compare_entries(a: Path, b: Path, *, options: ReadOptions) -> Comparison:
    """Compare two entries of one batch over the known sheets and columns.

    Rows are matched by what they are about (unit, field, active, part, cavity), and replicates, which bear no order, by
    what they say; so is what stands outside of known places and may be about units. Numbers are compared as exact
    decimals in the unit of their heading, texts without the blanks around them.

    Raises
    ------
    InputProblems
        With every problem of both inputs, where one of them cannot be read.
    """
    entered: list[Entered] = []
    problems: list[Problem] = []
    for path in (a, b):
        try:
            entered.append(read_entered(path, options=options))
        except InputProblems as unusable:
            problems += unusable.problems
    if problems:
        raise InputProblems(problems)
    first, second = entered
    here = _by_key(first, active=_only_one(first.actives or second.actives))
    there = _by_key(second, active=_only_one(second.actives or first.actives))
    cells = 0
    differences: list[CellDifference] = []
    for sheet in (known.name for known in SHEETS.values()):
        keys = [key for key in here if key[0] == sheet]
        others = [key for key in there if key[0] == sheet]
        if bool(keys) != bool(others):
            differences.append(_sheet_in_one(sheet, in_a=_rows(here, keys), in_b=_rows(there, others)))
            continue
        for key in dict.fromkeys([*keys, *others]):
            for occurrence, (left, right) in enumerate(_pairs(here.get(key, []), there.get(key, [])), start=1):
                count, found = _compare_rows(left, right, occurrence=occurrence)
                cells += count
                differences += found
    differences += _told_in_one(first.told, second.told)
    return Comparison(
        a=first.source,
        b=second.source,
        cells=cells,
        differences=tuple(differences),
        unread=(*first.unread, *second.unread),
    )


def _only_one(actives: set[str]) -> str:
    """What an assay that names no active is of: the only one of its entry, or of the other where it names none."""
    return next(iter(actives)) if len(actives) == 1 else ""


def _by_key(entered: Entered, *, active: str) -> dict[RowKey, list[EnteredRow]]:
    """The rows by sheet and key; an assay that names no active is of `active`."""
    rows: dict[RowKey, list[EnteredRow]] = {}
    for row in entered.rows:
        key = (row.key[0], row.key[1] or active, row.key[2]) if row.sheet == "Assay" else row.key
        rows.setdefault((row.sheet, key), []).append(row)
    return rows


def _pairs(
    here: Sequence[EnteredRow], there: Sequence[EnteredRow]
) -> Iterator[tuple[EnteredRow | None, EnteredRow | None]]:
    """Rows of one name side by side: each beside one that says the same, then the rest as they stand."""
    rest, lone = list(there), list[EnteredRow]()
    for row in here:
        same = next((other for other in rest if not _apart(row, other)), None)
        if same is None:
            lone.append(row)
        else:
            rest.remove(same)
            yield row, same
    yield from zip_longest(lone, rest)


def _rows(rows: Mapping[RowKey, Sequence[EnteredRow]], keys: Sequence[RowKey]) -> int:
    return sum(len(rows[key]) for key in keys)


def _sheet_in_one(sheet: str, *, in_a: int, in_b: int) -> CellDifference:
    a, b = (Side(cell="", found=counted(rows, "row") if rows else NO_SHEET) for rows in (in_a, in_b))
    return CellDifference(sheet=sheet, key="", column="", a=a, b=b)


def _told_in_one(a: Mapping[str, str], b: Mapping[str, str]) -> Iterator[CellDifference]:
    """What stands outside of known places in one entry alone, by what it says."""
    nothing = Side(cell="", found=NOT_THERE)
    for cells, said in a.items():
        if said not in b.values():
            yield CellDifference(sheet=LEFT_ASIDE, key="", column="", a=Side(cell=cells, found=said), b=nothing)
    for cells, said in b.items():
        if said not in a.values():
            yield CellDifference(sheet=LEFT_ASIDE, key="", column="", a=nothing, b=Side(cell=cells, found=said))


def _compare_rows(
    a: EnteredRow | None, b: EnteredRow | None, *, occurrence: int
) -> tuple[int, Sequence[CellDifference]]:
    row = a or b
    assert row is not None
    key = row.name if occurrence == 1 else f"{row.name} (row {occurrence} of that name)"
    if a is None or b is None:
        missing = Side(cell="", found=NO_ROW)
        entries = ", ".join(f"{cell.column} {cell.shown}" for cell in row.cells.values())
        whole = Side(cell=row.place, found=entries or "the row")
        one = CellDifference(
            sheet=row.sheet, key=key, column="", a=whole if b is None else missing, b=missing if b is None else whole
        )
        return 0, [one]
    differences = []
    for field in _apart(a, b):
        left, right = a.cells.get(field), b.cells.get(field)
        columns = dict.fromkeys(cell.column for cell in (left, right) if cell is not None)
        differences.append(
            CellDifference(
                sheet=row.sheet,
                key=key,
                column=" / ".join(columns),
                a=_side(a, field, left),
                b=_side(b, field, right),
            )
        )
    return len({*a.cells, *b.cells}), differences


def _apart(a: EnteredRow, b: EnteredRow) -> list[str]:
    """The fields in which two rows do not say the same."""
    pairs = {field: (a.cells.get(field), b.cells.get(field)) for field in (*a.cells, *b.cells)}
    return [field for field, (left, right) in pairs.items() if not (left and right and left.says_the_same(right))]


def _side(row: EnteredRow, field: str, cell: EnteredCell | None) -> Side:
    if cell is None:
        return Side(cell=row.empty_places.get(field, ""), found="")
    return Side(cell=cell.place, found=cell.shown)
