"""What somebody typed into a workbook that is about to be written over."""

from __future__ import annotations

from pathlib import Path

from qc.fields.field import plain
from qc.fields.sheets import INSTRUCTIONS_SHEET, SHEETS
from qc.problems import InputProblems
from qc.readers.cells import CellKind, Noted
from qc.readers.headed_table import headed_table
from qc.readers.options import ReadOptions
from qc.readers.read import read_book

MASSES = ("mass_g", "weighed_again_g")
OTHERS = ("base_mass_g", "content_mg", "content_percent", "part_mass_g", "result", "seen", "left_out_because", "note")


class EntriesKeptError(FileExistsError):
    """A workbook holds what somebody typed; it was left as it is."""


def what_was_typed(path: Path) -> str:
    """What would be lost with a workbook, in a few words; empty where it is an entry workbook that nobody filled in.

    Of an entry workbook the masses and results count; of any other every number does, and a file that cannot be read
    holds what nobody knows.
    """
    try:
        book = read_book(path, options=ReadOptions(), findings=Noted())
    except InputProblems:
        return "it cannot be read, so that nobody knows what it holds"
    cells = [cell for table in book.tables for row in table.rows for cell in row.cells.values()]
    if all(plain(table.name) != plain(INSTRUCTIONS_SHEET) for table in book.tables):
        numbers = sum(cell.kind is CellKind.NUMBER for cell in cells)
        return f"it holds {_counted(numbers, 'number')}" if cells else ""
    known = [(table, SHEETS[plain(table.name)]) for table in book.tables if plain(table.name) in SHEETS]
    located = [one for table, sheet in known if (one := headed_table(table, sheet, Noted())) is not None]
    filled = [name for table in located for entry in table.entries for name in entry.cells]
    counts = {"typed mass": MASSES, "other entry": OTHERS}
    found = [_counted(count, noun) for noun, names in counts.items() if (count := sum(one in names for one in filled))]
    return f"it holds {' and '.join(found)}" if found else ""


def _counted(count: int, noun: str) -> str:
    many = {"typed mass": "typed masses", "other entry": "other entries"}
    return f"{count} {noun if count == 1 else many.get(noun, f'{noun}s')}"
