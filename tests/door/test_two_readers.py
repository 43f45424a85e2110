"""Every book of the corpus is read by a second library too; whatever the two say otherwise is explained here."""

from __future__ import annotations

import json
import subprocess
import sys
from collections import Counter
from collections.abc import Iterator, Mapping
from decimal import Decimal
from pathlib import Path

import pytest
from door_sheets import Case

from qc.problems import InputProblems
from qc.quantities import shown_decimal
from qc.readers.cells import CellKind, Noted, SheetCell
from qc.readers.options import ReadOptions
from qc.readers.read import read_book

pytest.importorskip("python_calamine")
pytestmark = pytest.mark.xdist_group("corpus of the door")

SECOND = Path(__file__).parents[1] / "corpus" / "second_reader.py"
SAMPLES = Path(__file__).parents[2] / "sample_data"
BOOKS = (".xlsx", ".xlsm", ".ods", ".xls")
Cells = Mapping[str, Mapping[str, list[str]]]

# What the two may say otherwise of one cell, and why that is right.
EXPLAINED = {
    "formula without a stored result": "the second reader takes it for an empty cell; here it is refused",
    "error": "the second reader takes an error of an .ods for an empty cell; here it is refused where it counts",
    "percent": "of an .ods both give the fraction, here it is known to be shown in percent",
    "date": "the second reader gives a date or a time; here the number stays beside it",
}


def by_second_reader(paths: list[Path]) -> list[Cells]:
    """What the second library reads, by file."""
    call = [sys.executable, str(SECOND), *map(str, paths)]
    done = subprocess.run(call, capture_output=True, text=True, check=True, timeout=240)
    return [json.loads(line) for line in done.stdout.splitlines()]


def agree(ours: SheetCell | None, theirs: list[str] | None) -> str | None:
    """Empty where both say the same, the explanation where they may not, None where they must."""
    if ours is None:
        return None if theirs else ""
    kind, text = theirs or ("", "")
    if ours.kind is CellKind.UNSAVED:
        return "formula without a stored result" if kind in ("", "text", "number") else None
    if ours.kind is CellKind.ERROR:
        return "error"
    if ours.kind is CellKind.DATE:
        return "date" if kind in ("date", "number") else None
    if ours.kind is CellKind.PERCENT:
        return "percent" if kind == "number" and shown_decimal(float(text)) == ours.number else None
    if ours.kind is CellKind.NUMBER:
        return "" if kind == "number" and shown_decimal(float(text)) == ours.number else None
    return "" if text.split() == ours.text.split() else None


def differences(path: Path, second: Cells) -> Iterator[tuple[str, str | None]]:
    """Where the two readers differ: the place, and the explanation if there is one."""
    try:
        book = read_book(path, options=ReadOptions(), findings=Noted())
    except InputProblems:
        return
    if [table.name for table in book.tables] != list(second):
        yield f"{path.name}: sheets {[table.name for table in book.tables]} and {list(second)}", None
        return
    for table in book.tables:
        ours = {cell.address: cell for row in table.rows for cell in row.cells.values()}
        for place in sorted(ours.keys() | second[table.name].keys()):
            why = agree(ours.get(place), second[table.name].get(place))
            if why != "":
                yield f"{path.name} {table.name}!{place}: {ours.get(place)} and {second[table.name].get(place)}", why


def test_every_book_says_the_same_to_both_readers(written: list[tuple[Case, Path]]) -> None:
    paths = [path for _, path in written if path.suffix in BOOKS]
    paths += sorted(path for path in SAMPLES.glob("*.xlsx"))
    kinds = Counter(path.suffix for path in paths)
    assert kinds[".xlsx"] > 60
    found = [
        one for path, second in zip(paths, by_second_reader(paths), strict=True) for one in differences(path, second)
    ]
    assert [place for place, why in found if why is None] == []
    told = Counter(why for _, why in found)
    print(dict(kinds), dict(told))
    assert told.keys() <= EXPLAINED.keys()


def test_a_difference_is_noticed() -> None:
    number = SheetCell(2, "B2", CellKind.NUMBER, "2.013", Decimal("2.013"))
    assert agree(number, ["number", "2.013"]) == ""
    assert agree(number, ["number", "2.014"]) is None
    assert agree(number, None) is None
    assert agree(None, ["number", "2.013"]) is None
    assert agree(SheetCell(2, "B2", CellKind.TEXT, "2.013"), ["number", "2.013"]) == ""
    assert agree(SheetCell(2, "B2", CellKind.TEXT, "a"), ["text", "b"]) is None
