"""What a history costs: an append beside a bare insert with the same durability, charts of 100,000 batches, a review.

Run by hand: `pytest -m benchmarks tests/benchmarks/test_history_study.py`. The table goes to results/history.md. An
entry is made, packing in it, before the append begins and other writers have to wait. Append and bare insert go by
turns in one run; the disk of a busy machine makes either slow, so that the tenth percentile stands beside the median.
Charts and review in processor time of one core. And by how much a change looks too large where it is just seen.
"""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Callable
from contextlib import closing, nullcontext
from datetime import date, timedelta
from functools import partial
from hashlib import sha256
from pathlib import Path
from statistics import fmean, quantiles

import numpy as np
import pytest
import year
from msgspec.structs import asdict, replace
from stored_batches import checked

from qc.history.change import changes
from qc.history.charts import BatchValue, follow
from qc.history.entries import StoredEntry, to_append
from qc.history.figures import BatchFigures, WithinBatch, figures_of
from qc.history.products import products, rules_for, series_of
from qc.history.register import MIGRATIONS, open_register
from qc.jobs.history import write_review
from qc.show.pages_pdf import Paper

RESULTS = Path(__file__).parent / "results" / "history.md"
APPENDS, CHARTED, REVIEWED, STEPS = 400, 100_000, 1000, 400
STEPS_TITLE = "## Steps that were seen, and whether their intervals hold"
STEPS_HEAD = f"| step | batches on either side | found in {STEPS} series | shown / true | interval holds it |"
_FIELDS = StoredEntry.__struct_fields__
INSERT = f"INSERT INTO entry ({', '.join(_FIELDS)}) VALUES (:{', :'.join(_FIELDS)})"

pytestmark = pytest.mark.benchmarks


def appends(place: Path) -> list[str]:
    """The same row into the same table, by the register and bare, by turns; each is first every other time."""
    document, judged = checked().sealed(), checked().judged
    figures = figures_of(document)
    making, append, alone = list[float](), list[float](), list[float]()
    with open_register(str(place / "history.db")) as register, closing(bare_store(place / "bare.db")) as bare:
        for number in range(1, APPENDS + 1):
            named = replace(figures, result_sha256=sha256(b"%d" % number).hexdigest())
            making.append(spent(partial(to_append, named, document=document, judged=judged)))
            one = to_append(named, document=document, judged=judged)
            row = asdict(StoredEntry(number=number, previous="0" * 64, digest="1" * 64, **asdict(one)))
            both = [(append, partial(register.append, one)), (alone, partial(insert, bare, row))]
            for times, done in both[:: 1 if number % 2 else -1]:
                times.append(spent(done))
    size, lines, tenths = len(one.content) // 1000, list[str](), list[list[float]]()
    for what, times in (("making the entry", making), ("append", append), ("bare insert of the same row", alone)):
        tenths.append(quantiles(times, n=10))
        lines.append(f"| {what}, {size} kB | {tenths[-1][4] * 1e3:.2f} ms | {tenths[-1][0] * 1e3:.2f} ms |")
    ratios = [tenths[1][place] / tenths[2][place] for place in (4, 0)]
    return [*lines, f"| append over bare insert | {ratios[0]:.2f} | {ratios[1]:.2f} |"]


def spent(done: Callable[[], object]) -> float:
    begin = time.perf_counter()
    done()
    return time.perf_counter() - begin


def insert(bare: sqlite3.Connection, row: dict[str, object]) -> None:
    bare.execute("BEGIN IMMEDIATE")
    bare.execute(INSERT, row)
    bare.execute("COMMIT")


def bare_store(path: Path) -> sqlite3.Connection:
    bare = sqlite3.connect(path, isolation_level=None)
    for statement in ("PRAGMA journal_mode=WAL", "PRAGMA synchronous=FULL", *MIGRATIONS[0]):
        bare.execute(statement.format(bytes="BLOB"))
    return bare


def sizes_of_steps() -> list[str]:
    """By how much a step looks larger than it is where it is seen at all: it is measured by what called it."""
    lines = []
    for around in (10, 25):
        for size in (1.0, 1.5, 2.0, 3.0):
            found = []
            for seed in range(STEPS):
                values = np.random.default_rng(seed).normal(0.0, 1.0, 2 * around)
                values[around:] += size
                one = follow([BatchValue(value=float(value)) for value in values], rules=rules_for(4))
                told = changes(list(values), levels=one.levels, seen=one.seen, aside=one.beyond)
                # A false signal elsewhere is no measure of this step; said.md counts those.
                found += sorted(told, key=lambda change: abs(change.first - around))[:1]
            mean = fmean(abs(one.difference[0]) for one in found)
            held = sum(one.difference[1] <= size <= one.difference[2] for one in found)
            lines.append(
                f"| {size} SD | {around} | {len(found)} | {mean / size:.2f} | {100 * held / len(found):.0f} % |"
            )
    return lines


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

    records = [(number, figures(number)) for number in range(CHARTED)]
    begin = time.process_time()
    (product,) = products(records)
    count = len(series_of(product))
    return f"| {count} charts of {CHARTED:,} batches | {time.process_time() - begin:.1f} s | |"


def reviewed(place: Path) -> str:
    made = [year.checked(batch, day).sealed() for day, batch in year.year() if (batch.number or "").startswith("P")]
    with open_register(str(place / "many.db")) as register:
        for number in range(REVIEWED):
            document = made[number % len(made)]
            day = (date(2020, 1, 1) + timedelta(days=number)).isoformat()
            named = replace(figures_of(document), number=str(number), result_sha256=str(number), made_on=day)
            register.append(to_append(named, document=document))
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
    lines += ["", STEPS_TITLE, "", STEPS_HEAD, "|---|---|---|---|---|", *sizes_of_steps()]
    RESULTS.write_text("\n".join([*head, *lines]) + "\n", encoding="utf-8")
    assert len(lines) == 21
