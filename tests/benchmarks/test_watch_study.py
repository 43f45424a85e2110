"""Whether the memory of a watch stays level over thousands of saves.

Run by hand: `QC_SAVES=10000 pytest -m benchmarks tests/benchmarks/test_watch_study.py`. Table: results/watch.md.
"""

from __future__ import annotations

import os
import platform
import random
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest

from qc.jobs.seal import call_of
from qc.jobs.sweep.rows import SweptBatch
from qc.jobs.watch import watch
from qc.readers.options import ReadOptions

SAVES = int(os.environ.get("QC_SAVES", "10000"))
MANY, WAIT_S = 50, 120
RESULTS = Path(__file__).parent / "results" / "watch.md"


def saved(folder: Path, number: int) -> Path:
    """One save: every tenth batch is sound and gets its report, a mass of the others is no number."""
    draw = random.Random(number)
    lines = [f"{unit},{2 + draw.gauss(0, 0.01):.4f}" for unit in range(1, 21)]
    if number % 10:
        lines[5] = "6,2.O1"
    path = folder / f"b{number % MANY}.csv"
    path.write_text("\n".join(["Unit,Mass (g)", *lines]) + "\n")
    return path


def megabytes() -> float:
    return int(Path("/proc/self/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE") / 1e6


@pytest.mark.benchmarks
def test_memory_stays_level(tmp_path: Path) -> None:
    told, lines = Counter[str](), list[str]()

    def tell(row: SweptBatch) -> None:
        told[row.verdict or "refused"] += 1

    def ticks() -> Iterator[set[Path]]:
        for first in range(0, SAVES, MANY):
            before, began = told.total(), time.monotonic()
            changed = {saved(tmp_path, number) for number in range(first, first + MANY)}
            while told.total() < before + MANY and time.monotonic() - began < WAIT_S:
                yield changed
                changed = set()
                time.sleep(0.02)
            if first + MANY in (MANY, 200) or (first + MANY) % max(SAVES // 10, MANY) == 0:
                files = len(os.listdir("/proc/self/fd"))
                lines.append(
                    f"| {first + MANY} | {told.total()} | {megabytes():.1f} | {files} | {time.process_time():.0f} |"
                )

    watch(tmp_path, call=call_of(ReadOptions(form="suppositories"), rules=None), told=tell, ticks=ticks())
    head = [
        "# A folder watched over many saves",
        "",
        f"`QC_SAVES={SAVES} pytest -m benchmarks tests/benchmarks/test_watch_study.py`. Python "
        f"{platform.python_version()}, {os.cpu_count()} processors.",
        f"{MANY} files of 20 masses are saved again and again, one save in ten judged with its report, the others "
        "refused at a cell; the process that watches is measured. Fewer are told than were saved where the next "
        f"save of a file came before the last one was judged (after {WAIT_S} s).",
        "",
        "| saves | rows told | memory [MB] | files open | processor time of the watch [s] |",
        "|---|---|---|---|---|",
    ]
    RESULTS.write_text("\n".join([*head, *lines, ""]), encoding="utf-8")
