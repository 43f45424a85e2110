"""What a history costs: an append beside a bare insert with the same durability, charts of 100,000 batches, a review.

Run by hand: `pytest -m benchmarks tests/benchmarks/test_history_study.py`. The table goes to results/history.md. Both
inserts go by turns in one run; the disk of a busy machine makes either slow, so that the tenth percentile stands
beside the median. Charts and review in processor time of one core.
"""

from __future__ import annotations

import sqlite3
import time
from contextlib import nullcontext
from datetime import date, timedelta
from pathlib import Path
from statistics import quantiles

import numpy as np
import pytest
import year
from msgspec.structs import replace
from stored_batches import entry

from qc.history.figures import BatchFigures, WithinBatch
from qc.history.products import products, series_of
from qc.history.register import ToAppend, open_register
from qc.jobs.history import entry_of, write_review
from qc.show.pages_pdf import Paper

RESULTS = Path(__file__).parent / "results" / "history.md"
APPENDS, CHARTED, REVIEWED = 400, 100_000, 1000

pytestmark = pytest.mark.benchmarks


def spent(begin: float) -> float:
    return time.perf_counter() - begin


def appends(place: Path) -> list[str]:
    entries = [entry(number) for number in range(1, APPENDS + 1)]
    content = entries[0].packed()
    bare = sqlite3.connect(place / "bare.db", isolation_level=None)
    for statement in (
        "PRAGMA journal_mode=WAL",
        "PRAGMA synchronous=FULL",
        "CREATE TABLE one (n INTEGER, content BLOB)",
    ):
        bare.execute(statement)
    times: dict[str, list[float]] = {"bare insert": [], "packing": [], "append, packing in it": []}
    with open_register(str(place / "history.db")) as register:
        for number, one in enumerate(entries):
            # Before either insert: what others write in the meantime is paid for by the next to wait for the disk.
            begin = time.perf_counter()
            one.packed()
            times["packing"].append(spent(begin))
            begin = time.perf_counter()
            bare.execute("BEGIN IMMEDIATE")
            bare.execute("INSERT INTO one VALUES (?, ?)", (number, content))
            bare.execute("COMMIT")
            times["bare insert"].append(spent(begin))
            begin = time.perf_counter()
            register.append(one)
            times["append, packing in it"].append(spent(begin))
    bare.close()
    return [
        f"| {what} of {len(content) // 1000} kB | {quantiles(all, n=10)[4] * 1e3:.2f} ms | "
        f"{quantiles(all, n=10)[0] * 1e3:.2f} ms |"
        for what, all in times.items()
    ]


def charted() -> str:
    draw, first = np.random.default_rng(1), date(1900, 1, 1)

    def figures(number: int) -> BatchFigures:
        content = WithinBatch(n=10, mean=float(100 + draw.normal()), sd=float(1.5 * np.exp(0.2 * draw.normal())))
        mass = WithinBatch(n=24, mean=float(2.1 + 0.01 * draw.normal()), sd=float(0.02 * np.exp(0.1 * draw.normal())))
        return BatchFigures(
            result_sha256=str(number),
            verdict="complies",
            number=str(number),
            product="P",
            made_on=(first + timedelta(days=number // 3)).isoformat(),
            planned_g=2.1,
            mass=mass,
            contents={"a": content},
        )

    records = [(number, "", figures(number)) for number in range(CHARTED)]
    begin = time.process_time()
    (product,) = products(records)
    count = len(series_of(product))
    return f"| {count} charts of {CHARTED:,} batches | {time.process_time() - begin:.1f} s | |"


def reviewed(place: Path) -> str:
    made = [entry_of(year.checked(batch, day)) for day, batch in year.year() if (batch.number or "").startswith("P")]
    with open_register(str(place / "many.db")) as register:
        for number in range(REVIEWED):
            one = made[number % len(made)]
            day = (date(2020, 1, 1) + timedelta(days=number)).isoformat()
            assert isinstance(one.figures, BatchFigures)
            named = replace(one.figures, number=str(number), result_sha256=str(number), made_on=day)
            register.append(ToAppend(figures=named, document=one.document))
    begin, out = time.process_time(), place / "review"
    write_review(str(place / "many.db"), product=None, first="", last="", out=out, paper=Paper.A4, told=nullcontext)
    return f"| review of {REVIEWED:,} batches, page and PDF | {time.process_time() - begin:.1f} s | |"


def test_what_a_history_costs(tmp_path: Path) -> None:
    head = [
        "# What a history costs",
        "",
        "Run by hand: `pytest -m benchmarks tests/benchmarks/test_history_study.py`",
        "",
    ]
    lines = ["| what | median | tenth percentile |", "|---|---|---|", *appends(tmp_path), charted(), reviewed(tmp_path)]
    RESULTS.write_text("\n".join([*head, *lines]) + "\n", encoding="utf-8")
    assert len(lines) == 7
