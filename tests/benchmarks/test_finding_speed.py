"""What finding a table of weights costs beside reading the fixed layout of the same file; run by hand.

    pytest -m benchmarks tests/benchmarks/test_finding_speed.py

Writes `tests/benchmarks/results/finding_speed.md`. Every layout holds the same 300 masses; all are read by turns in one
process, and the least processor time of each counts. Our own runs: they guard against change and prove nothing.
"""

from __future__ import annotations

import random
import time
from pathlib import Path

import openpyxl
import pytest

from qc.readers.options import ReadOptions
from qc.readers.read import read_batch

pytestmark = pytest.mark.benchmarks

RESULTS = Path(__file__).parent / "results" / "finding_speed.md"
ROUNDS, UNITS, ACROSS = 25, 300, 15
# The aim; the figure scatters by a twentieth from run to run.
MOST = 1.3
Rows = list[list[str | float]]


def layouts() -> dict[str, Rows]:
    """By name, the first of them the fixed layout."""
    rng = random.Random(1)
    masses = [round(rng.gauss(2.0, 0.03), 3) for _ in range(UNITS)]
    bare: Rows = [[str(at), mass] for at, mass in enumerate(masses, start=1)]
    return {
        "fixed layout": [["Unit", "Mass (g)"], *bare],
        "list under other headings": [["Nr", "Gewicht [g]"], *bare],
        "list without headings": bare,
        "masses alone": [[mass] for mass in masses],
        "grid": [[*masses[at : at + ACROSS]] for at in range(0, UNITS, ACROSS)],
    }


def written(folder: Path, name: str, rows: Rows, suffix: str) -> Path:
    path = folder / f"{name.replace(' ', '-')}.{suffix}"
    if suffix == "csv":
        lines = (",".join(f"{one:.3f}" if isinstance(one, float) else one for one in row) for row in rows)
        path.write_text("\n".join(lines) + "\n", encoding="utf-8")
        return path
    book = openpyxl.Workbook()
    sheet = book.worksheets[0]
    sheet.title = "Units" if name == "fixed layout" else "Weights"
    for row in rows:
        sheet.append(row)
    book.save(path)
    return path


def seconds(path: Path) -> float:
    start = time.process_time()
    batch = read_batch(path, options=ReadOptions(form="suppositories"))
    spent = time.process_time() - start
    assert len(batch.weighed) == UNITS
    return spent


def test_finding_a_table_costs_little_more_than_reading_the_fixed_layout(tmp_path: Path) -> None:
    lines, ratios = [], {}
    for suffix in ("csv", "xlsx"):
        paths = {name: written(tmp_path, name, rows, suffix) for name, rows in layouts().items()}
        spent: dict[str, list[float]] = {name: [] for name in paths}
        for _ in range(ROUNDS):
            for name, path in paths.items():
                spent[name].append(seconds(path))
        fixed = min(spent["fixed layout"])
        for name, every in spent.items():
            ratios[suffix, name] = min(every) / fixed
            lines.append(f"| .{suffix} | {name} | {min(every) * 1000:.1f} | {min(every) / fixed:.2f} |")
    call = "    pytest -m benchmarks tests/benchmarks/test_finding_speed.py"
    head = ["# What finding a table of 300 weights costs", "", call]
    head += ["", "| file | layout | ms | times the fixed layout |", "|---|---|---|---|"]
    RESULTS.write_text("\n".join([*head, *lines]) + "\n", encoding="utf-8")
    assert {key: ratio for key, ratio in ratios.items() if ratio > MOST} == {}
