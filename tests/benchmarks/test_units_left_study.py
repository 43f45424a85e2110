"""How often the units left lie where they are said to lie, and how often the number outside is bounded; run by hand.

    pytest -m benchmarks tests/benchmarks/test_units_left_study.py

Writes `tests/benchmarks/results/units_left.md`. Batches that are not normal, or of which neighbours were assayed, break
what the interval takes for granted; the table says what that costs. The simulation shares no code with the package but
the factor and the bound under study.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from qc.stats.proportion import hypergeometric_bound
from qc.stats.tolerance import remaining_factor

pytestmark = pytest.mark.benchmarks

RESULTS = Path(__file__).parent / "results" / "units_left.md"
Floats = NDArray[np.float64]
Lot = np.random.Generator
BATCHES = 200_000
AT_ONCE = 10_000
CONFIDENCE = 0.95
SIZES = ((12, 3), (24, 10), (30, 10), (60, 10), (60, 30), (200, 20))


def normal(lot: Lot, shape: tuple[int, int]) -> Floats:
    return 98.0 + 4.0 * lot.standard_normal(shape)


def even(lot: Lot, shape: tuple[int, int]) -> Floats:
    return 98.0 + 4.0 * math.sqrt(12.0) * (lot.random(shape) - 0.5)


def skewed(lot: Lot, shape: tuple[int, int]) -> Floats:
    """Most units full, a tail of poor ones."""
    return 102.0 - 4.0 * lot.standard_exponential(shape)


def two_pots(lot: Lot, shape: tuple[int, int]) -> Floats:
    """One unit in eight from a pot that is 20 % of label poorer."""
    return 98.0 + 2.0 * lot.standard_normal(shape) - 20.0 * (lot.random(shape) < 0.125)


def drifting(lot: Lot, shape: tuple[int, int]) -> Floats:
    """From the first unit to the last, a rise by 20 % of label."""
    return 98.0 + 2.0 * lot.standard_normal(shape) + np.linspace(-10.0, 10.0, shape[1])


def random_order(lot: Lot, batches: Floats) -> Floats:
    return lot.permuted(batches, axis=1)


def as_poured(lot: Lot, batches: Floats) -> Floats:
    return batches


CASES: dict[str, tuple[Callable[[Lot, tuple[int, int]], Floats], Callable[[Lot, Floats], Floats]]] = {
    "normal, drawn at random": (normal, random_order),
    "even between two ends, at random": (even, random_order),
    "tail of poor units, at random": (skewed, random_order),
    "one in eight from a poorer pot, at random": (two_pots, random_order),
    "drift of 20 %, at random": (drifting, random_order),
    "drift of 20 %, the first units assayed": (drifting, as_poured),
}


def kept(case: str, *, whole: int, n: int, batches: int = BATCHES) -> tuple[float, float]:
    """Shares of batches whose units left lie in the interval, and whose number outside is bounded."""
    poured, order = CASES[case]
    left = whole - n
    within = math.ceil(round(0.95 * left, 9))
    factor = remaining_factor(n, remaining=left, within=within, confidence=CONFIDENCE)
    bounds = np.array([hypergeometric_bound(found, n=n, whole=whole, confidence=CONFIDENCE) for found in range(n + 1)])
    lot = np.random.Generator(np.random.Philox(2611))
    inside = bounded = 0
    for _ in range(batches // AT_ONCE):
        units = order(lot, poured(lot, (AT_ONCE, whole)))
        sample, rest = units[:, :n], units[:, n:]
        reach = factor * sample.std(axis=1, ddof=1, keepdims=True)
        held = (np.abs(rest - sample.mean(axis=1, keepdims=True)) <= reach).sum(axis=1)
        outside = np.abs(units - 100.0) > 15.0
        inside += int((held >= within).sum())
        bounded += int((bounds[outside[:, :n].sum(axis=1)] >= outside.sum(axis=1)).sum())
    return inside / batches, bounded / batches


def _row(case: str, shares: list[float]) -> str:
    return f"| {case} | {' | '.join(f'{100 * share:.1f}' for share in shares)} |\n"


def test_the_units_left_are_where_they_are_said_to_be() -> None:
    rows = {case: [kept(case, whole=whole, n=n) for whole, n in SIZES] for case in CASES}
    margin = 4.5 * math.sqrt(CONFIDENCE * (1 - CONFIDENCE) / BATCHES)
    head = " | ".join(f"{n} of {whole}" for whole, n in SIZES)
    line = "|---|" + "---:|" * len(SIZES)
    tables = [
        f"## {title}\n\n| batch | {head} |\n{line}\n"
        + "".join(
            f"| {case} | {' | '.join(f'{100 * one[place]:.1f}' for one in found)} |\n" for case, found in rows.items()
        )
        for place, title in enumerate(
            (
                "Batches whose units left lie in their interval [%]",
                "Batches whose number outside 85 to 115 % is bounded [%]",
            )
        )
    ]
    RESULTS.write_text(
        "# The units left of a batch: study\n\n"
        "Made by `pytest -m benchmarks tests/benchmarks/test_units_left_study.py`. From our own run.\n\n"
        f"Stated: 95 %. {BATCHES:,} simulated batches a cell; standard error 0.05. Columns: units assayed, of units\n"
        "poured. The interval is to hold all the units left, or 95 % of them rounded up. It takes the units for\n"
        "normal and for drawn at random; the bound asks for the random draw alone.\n\n" + "\n".join(tables),
        encoding="utf-8",
    )
    for inside, _ in rows["normal, drawn at random"]:
        assert inside == pytest.approx(CONFIDENCE, abs=margin)
    for case, found in rows.items():
        if case.endswith("at random"):
            assert all(bounded >= CONFIDENCE - margin for _, bounded in found)
