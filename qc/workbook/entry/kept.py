"""What somebody typed into a workbook that is about to be written over.

The first sheet of an entry workbook says how many cells were filled in with it, and gives a digest of what was put
there; whatever stands there beyond that was typed.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

from qc.expr import CellRef
from qc.fields.field import plain
from qc.fields.sheets import INSTRUCTIONS_SHEET
from qc.problems import InputProblems
from qc.readers.cells import CellKind, Noted, address
from qc.readers.options import ReadOptions
from qc.readers.read import read_book
from qc.readers.sheets import located_sheets

MASSES = ("mass_g", "weighed_again_g")
_STAMP = re.compile(r"Filled in with this workbook: (\d+) cells, ([0-9a-f]{16})")
_DECIMALS = 9
# What a plan may fill in, so that nobody need have typed it.
PLANNED = frozenset(
    {"number", "product", "dosage_form", "base", "units_poured", "nominal_mass_g", "planned_mass_g", "rules"}
    | {"balance_readability_g", "balance_repeatability_g", "label_claim_mg", "state"}
    | {"displacement_value", "displacement_factor", "name", "pour_order", "mould", "cavity"}
)


class EntriesKeptError(FileExistsError):
    """A workbook holds what somebody typed; it was left as it is."""


def stamp(cells: Iterable[CellRef]) -> str:
    """The line on the first sheet about the entry cells that are filled in with a workbook."""
    return _line(f"{one.sheet}!{address(one.row + 1, one.column + 1)}={_plain(one.value)}" for one in cells)


def _line(cells: Iterable[str]) -> str:
    filled = sorted(cells)
    digest = hashlib.sha256("\n".join(filled).encode()).hexdigest()[:16]
    return f"Filled in with this workbook: {len(filled)} cells, {digest}"


def _plain(value: object) -> str:
    # A spreadsheet keeps a binary number.
    return str(round(float(value), _DECIMALS)) if isinstance(value, Decimal | Fraction | int) else str(value)


def what_was_typed(path: Path) -> str:
    """What would be lost with a workbook, in a few words; empty where it is an entry workbook that nobody filled in.

    Of an entry workbook counts what was not filled in with it; of any other every number does, and a file that cannot
    be read holds what nobody knows.
    """
    try:
        book = read_book(path, options=ReadOptions(), findings=Noted())
    except InputProblems:
        return "it cannot be read, so that nobody knows what it holds"
    cells = [cell for table in book.tables for row in table.rows for cell in row.cells.values()]
    if all(plain(table.name) != plain(INSTRUCTIONS_SHEET) for table in book.tables):
        numbers = sum(cell.kind is CellKind.NUMBER for cell in cells)
        return f"it holds {_counted(numbers, 'number')}" if cells else ""
    sheets, _ = located_sheets(book, ReadOptions(), Noted())
    every = [
        (name, f"{table.table.sheet}!{cell.address}={_plain(cell.typed if cell.number is None else cell.number)}")
        for table in sheets.values()
        for entry in table.entries
        for name, cell in entry.cells.items()
    ]
    filled, planned = (
        [name for name, _ in every if name not in PLANNED],
        [one for name, one in every if name in PLANNED],
    )
    put = next(filter(None, (_STAMP.fullmatch(cell.typed) for cell in cells)), None)
    if put is None or put.string.strip() != _line(planned):
        filled += ["typed into the plan"] * max(1, len(planned) - int(put[1] if put else 0))
    masses = sum(name in MASSES for name in filled)
    counts = {"typed mass": masses, "other entry" if masses else "entry": len(filled) - masses}
    found = [_counted(count, noun) for noun, count in counts.items() if count]
    return f"it holds {' and '.join(found)}" if found else ""


def _counted(count: int, noun: str) -> str:
    many = {"typed mass": "typed masses", "other entry": "other entries", "entry": "entries", "number": "numbers"}
    return f"{count} {noun if count == 1 else many[noun]}"
