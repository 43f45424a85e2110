"""Rebuild the sample batches: `python sample_data/make.py DIR` writes them all, the same bytes every time."""

from __future__ import annotations

import csv
import sys
from collections.abc import Sequence
from datetime import date
from decimal import Decimal
from io import StringIO
from pathlib import Path

from batches import sample_recipes
from msgspec.structs import replace
from pouring import pour

from qc.fields.entries import Cell, Entries, Row, entries_of
from qc.workbook.entry import workbook_bytes

FOLDER = "folder-of-csv"
BARE_TABLE = "weights-only"
SLIPS = "typing-slips"


def sample_files() -> dict[str, bytes]:
    """Every sample file by its path below the folder of samples, with its bytes."""
    files: dict[str, bytes] = {}
    for stem, recipe in sample_recipes().items():
        entries = entries_of(pour(recipe))
        if stem == FOLDER:
            files |= {f"{FOLDER}/{name}": content for name, content in _folder(entries).items()}
        elif stem == BARE_TABLE:
            files[f"{stem}.csv"] = _table(
                [
                    {header: row[header] for header in ("Unit", "Pour order", "Mould", "Cavity", "Mass (g)")}
                    for row in entries.units
                ]
            )
        else:
            files[f"{stem}.xlsx"] = workbook_bytes(with_slips(entries) if stem == SLIPS else entries)
    return files


def write_samples(folder: Path) -> tuple[Path, ...]:
    """Write every sample file below a folder, over what stands there; answers the paths.

    Parameters
    ----------
    folder : Path
        Made when it is missing.
    """
    written = []
    for name, content in sample_files().items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
        written.append(path)
    return tuple(written)


def with_slips(entries: Entries) -> Entries:
    """A sound batch as a tired hand would have typed it: every slip that the instructions warn of, once.

    The unit of measure typed into a cell is read exactly all the same; everything else is refused, each in its place.
    """
    units = [dict(row) for row in entries.units]
    _type(units, 2, "Mass (g)", "2.O71")
    _type(units, 4, "Mass (g)", f"{units[3]['Mass (g)']} g")
    _type(units, 6, "Mass (g)", str(units[5]["Mass (g)"]).replace(".", ","))
    _type(units, 8, "Mass (g)", date(2026, 2, 7))
    _type(units, 10, "Mass (g)", _thousandfold(units[9]["Mass (g)"]))
    _type(units, 12, "Mass (g)", "ca 2.07")
    _type(units, 14, "Mass (g)", "2..06")
    _type(units, 16, "Unit", "15")
    _type(units, 18, "Unit", None)
    _type(units, 20, "Pour order", "twenty")
    _type(units, 21, "Test sample", "yess")
    assay = [dict(row) for row in entries.assay]
    _type(assay, 3, "Unit", "42")
    _type(assay, 5, "Content (mg)", "25l.3")
    _type(assay, 7, "Part", "hole")
    actives = [dict(row) for row in entries.actives]
    _type(actives, 1, "Displacement factor", Decimal("1.39"))
    return replace(
        entries,
        units=tuple(units),
        assay=tuple(assay),
        actives=tuple(actives),
        batch={**entries.batch, "Base": "fat"},
    )


def _type(rows: list[Row], number: int, header: str, cell: Cell) -> None:
    rows[number - 1][header] = cell


def _thousandfold(cell: Cell) -> Cell:
    assert isinstance(cell, Decimal)
    return cell.scaleb(3)


def _folder(entries: Entries) -> dict[str, bytes]:
    facts: list[Row] = [{"Field": field, "Value": value} for field, value in entries.batch.items() if value is not None]
    return {
        "batch.csv": _table(facts),
        "actives.csv": _table(entries.actives),
        "units.csv": _table(entries.units),
        "assay.csv": _table(entries.assay),
        "cavities.csv": _table(entries.cavities),
        "checks.csv": _table(entries.checks),
    }


def _table(rows: Sequence[Row]) -> bytes:
    """Rows as comma-separated text, without the columns that hold nothing."""
    filled = [header for header in rows[0] if any(row.get(header) is not None for row in rows)]
    text = StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(filled)
    writer.writerows(["" if row.get(header) is None else str(row[header]) for header in filled] for row in rows)
    return text.getvalue().encode("utf-8")


def main(arguments: Sequence[str]) -> int:
    """Write the samples into the folder that is named.

    Parameters
    ----------
    arguments : sequence of str
        One: the folder.

    Returns
    -------
    int
        0 when they are written, 2 when no folder was named.
    """
    if len(arguments) != 1:
        print("Name the folder for the samples: python sample_data/make.py sample_data", file=sys.stderr)
        return 2
    for path in write_samples(Path(arguments[0])):
        print(path)
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
