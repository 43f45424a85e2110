"""What somebody typed into a workbook that is about to be written over.

The first sheet of an entry workbook bears a digest of all its cells as they were written, formulas and notes too; where
they read otherwise now, something was typed there.
"""

from __future__ import annotations

import hashlib
from io import BytesIO
from pathlib import Path

from qc.fields.field import plain
from qc.fields.sheets import INSTRUCTIONS_SHEET
from qc.patterns import pattern
from qc.problems import InputProblems
from qc.readers.cells import CellKind, Noted
from qc.readers.options import ReadOptions
from qc.readers.read import read_book
from qc.readers.sheets import located_sheets
from qc.say.text import counted

MASSES = ("mass_g", "weighed_again_g")
_STAMP = pattern(r"As written: [0-9a-f]{16}")
_DECIMALS = 9
# What a plan may fill in, so that nobody need have typed it.
PLANNED = frozenset(
    {"number", "product", "dosage_form", "base", "units_poured", "nominal_mass_g", "planned_mass_g", "rules"}
    | {"balance_readability_g", "balance_repeatability_g", "label_claim_mg", "state"}
    | {"displacement_value", "displacement_factor", "name", "pour_order", "mould", "cavity"}
)


class EntriesKeptError(FileExistsError):
    """A workbook holds what somebody typed; it was left as it is."""


def stamp(content: bytes) -> str:
    """The line on the first sheet with the digest of a workbook's cells; the line itself is left out of it."""
    from openpyxl import load_workbook

    cells = [
        f"{sheet.title}!{cell.coordinate}={_plain(cell.value)} {cell.comment.text if cell.comment else ''}"
        for sheet in load_workbook(BytesIO(content)).worksheets
        for row in sheet.iter_rows()
        for cell in row
        if (cell.value is not None or cell.comment) and not _STAMP.fullmatch(str(cell.value))
    ]
    digest = hashlib.sha256("\n".join(cells).encode()).hexdigest()
    return f"As written: {digest[:16]}"


def _plain(value: object) -> str:
    # A spreadsheet keeps a binary number.
    return str(round(value, _DECIMALS)) if isinstance(value, float) else str(value)


def what_was_typed(path: Path) -> str:
    """What would be lost with a workbook, in a few words; empty where it is an entry workbook that nobody filled in.

    Of an entry workbook counts whatever stands there otherwise than it was written; of any other every number does, and
    a file that cannot be read holds what nobody knows.
    """
    try:
        book = read_book(path, options=ReadOptions(), findings=Noted())
    except InputProblems:
        return "it cannot be read, so that nobody knows what it holds"
    cells = [cell for table in book.tables for row in table.rows for cell in row.cells.values()]
    if all(plain(table.name) != plain(INSTRUCTIONS_SHEET) for table in book.tables):
        numbers = sum(cell.kind is CellKind.NUMBER for cell in cells)
        return f"it holds {counted(numbers, 'number')}" if cells else ""
    if any(_STAMP.fullmatch(cell.typed) for cell in cells) and stamp(path.read_bytes()) in {one.typed for one in cells}:
        return ""
    sheets, _ = located_sheets(book, ReadOptions(), Noted())
    filled = [name for table in sheets.values() for entry in table.entries for name in entry.cells.keys() - PLANNED]
    masses = sum(name in MASSES for name in filled)
    others = ("other entry", "other entries") if masses else ("entry", "entries")
    counts = {("typed mass", "typed masses"): masses, others: len(filled) - masses}
    found = [counted(count, *nouns) for nouns, count in counts.items() if count]
    return f"it holds {' and '.join(found)}" if found else "it is not as it was written: something was changed in it"
