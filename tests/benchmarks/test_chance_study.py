"""Chances of passing against an independent simulation, and their time beside it; run by hand.

    pytest -m benchmarks tests/benchmarks/test_chance_study.py

Writes `tests/benchmarks/results/chance.md`. The simulation below is written for this study alone and shares no code
with the package; times are medians of one run on one machine, and only their ratios are of interest.
"""

from __future__ import annotations

import math
import statistics
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from qc.assurance.dosage_unit_chance import stage_surface
from qc.jobs.chance import chance
from qc.rules.kinds.dosage_units.record import DosageUnitRule
from qc.rules.rule_books import load_rule

pytestmark = pytest.mark.benchmarks

RESULTS = Path(__file__).parent / "results" / "chance.md"
Floats = NDArray[np.float64]
BATCHES = 1_000_000
AT_ONCE = 50_000

SECTIONS: dict[str, list[str]] = {}

DOSAGE_CELLS = [
    (mean, sd)
    for mean, sds in (
        (85.5, (0.7, 1.5)),
        (88.0, (1.5, 3.0)),
        (91.3, (2.5, 3.5, 5.0)),
        (94.0, (3.5, 4.5, 6.0)),
        (96.2, (4.5, 5.5, 6.5, 8.0)),
        (98.5, (5.0, 6.0, 7.0, 9.0)),
        (100.0, (5.0, 6.5, 7.5, 8.5, 11.0)),
        (101.5, (5.5, 6.5, 7.5)),
        (103.8, (4.5, 6.0, 7.0)),
        (108.1, (3.0, 4.0, 5.5)),
        (113.0, (1.0, 2.0)),
    )
    for sd in sds
]
MASS_RSDS = (1.8, 2.2, 2.7, 3.2, 3.8, 4.4)
CONTENT_RSDS = (5.5, 6.5, 7.5, 8.5, 9.5, 10.5, 13.0)


def dosage_units(sample: Floats) -> tuple[int, int]:
    """Passed at the first stage, and in all; the rule written out with its numbers (2.9.40)."""

    def acceptance_value(part: Floats, k: float) -> Floats:
        mean = part.mean(axis=1)
        reference = np.where(mean < 98.5, 98.5, np.where(mean > 101.5, 101.5, mean))
        return np.asarray(np.abs(reference - mean) + k * part.std(axis=1, ddof=1))

    first = acceptance_value(sample[:, :10], 2.4) <= 15.0
    rest = sample[~first]
    mean = rest.mean(axis=1)
    reference = np.where(mean < 98.5, 98.5, np.where(mean > 101.5, 101.5, mean))
    inside = (rest.min(axis=1) >= 0.75 * reference) & (rest.max(axis=1) <= 1.25 * reference)
    second = (acceptance_value(rest, 2.0) <= 15.0) & inside
    return int(first.sum()), int(first.sum() + second.sum())


def mass(sample: Floats) -> tuple[int, int]:
    """Of 20, at most 2 beyond 5 % of their mean, none beyond 10 % (2.9.5)."""
    mean = sample[:, :20].mean(axis=1, keepdims=True)
    away = np.abs(sample[:, :20] / mean - 1.0)
    passed = int((((away > 0.05).sum(axis=1) <= 2) & (away.max(axis=1) <= 0.10)).sum())
    return passed, passed


def content(sample: Floats) -> tuple[int, int]:
    """Test B of 2.9.6: 1 of 10 or 3 of 30 outside 85-115 % of the mean, none outside 75-125 %."""
    first = sample[:, :10] / sample[:, :10].mean(axis=1, keepdims=True)
    beyond = ((first < 0.85) | (first > 1.15)).sum(axis=1)
    kept = (first.min(axis=1) >= 0.75) & (first.max(axis=1) <= 1.25)
    rest = sample[kept & (beyond >= 2) & (beyond <= 3)]
    pooled = rest / rest.mean(axis=1, keepdims=True)
    second = (((pooled < 0.85) | (pooled > 1.15)).sum(axis=1) <= 3) & (pooled.min(axis=1) >= 0.75)
    second &= pooled.max(axis=1) <= 1.25
    passed = int((kept & (beyond <= 1)).sum())
    return passed, passed + int(second.sum())


def simulate(
    decide: Callable[[Floats], tuple[int, int]], cells: list[tuple[float, float]], seed: int
) -> list[tuple[float, float]]:
    """Chances over BATCHES batches a cell, with numbers of its own for every cell."""
    found = []
    for row, (mean, sd) in enumerate(cells):
        generator = np.random.Generator(np.random.Philox(seed + row))
        first = overall = 0
        for _ in range(BATCHES // AT_ONCE):
            more_first, more = decide(mean + sd * generator.standard_normal((AT_ONCE, 30)))
            first, overall = first + more_first, overall + more
        found.append((first / BATCHES, overall / BATCHES))
    return found


def standard_error(chance: float) -> float:
    return math.sqrt(max(chance * (1.0 - chance), 1.0 / BATCHES) / BATCHES)


@pytest.mark.parametrize(
    ("test", "decide", "cells"),
    [
        ("dosage-unit-uniformity", dosage_units, DOSAGE_CELLS),
        ("mass-uniformity", mass, [(100.0, rsd) for rsd in MASS_RSDS]),
        ("content-uniformity", content, [(100.0, rsd) for rsd in CONTENT_RSDS]),
    ],
)
def test_chances_agree_with_a_million_batches_a_cell(
    test: str, decide: Callable[[Floats], tuple[int, int]], cells: list[tuple[float, float]]
) -> None:
    seen = simulate(decide, cells, seed=2026)
    answer = chance(test, np.array([mean for mean, _ in cells]), np.array([sd for _, sd in cells]))
    firsts, overalls = np.atleast_1d(answer.pass_first_stage), np.atleast_1d(answer.pass_overall)
    lines, steps = [], []
    for (mean, sd), (first, overall), ours_first, ours in zip(cells, seen, firsts, overalls, strict=True):
        step_first = (ours_first - first) / standard_error(first)
        step = (ours - overall) / standard_error(overall)
        steps += [step_first, step]
        lines.append(
            f"| {mean:g} | {sd:g} | {ours_first:.6f} | {first:.6f} | {ours:.6f} | {overall:.6f} | {step:+.2f} |"
        )
    SECTIONS[test] = [
        f"## {test}",
        "",
        f"{BATCHES:,} simulated batches a cell, Philox seeds from 2026 on, one a cell. The last column is the "
        "difference of the overall chances in standard errors of the simulation.",
        "",
        "| mean | SD | first stage | simulated | overall | simulated | difference [SE] |",
        "|---|---|---|---|---|---|---|",
        *lines,
        "",
        f"Greatest difference {max(map(abs, steps)):.2f} SE; mean square {np.mean(np.square(steps)):.2f} SE².",
        "",
    ]
    assert max(map(abs, steps)) < 4.5
    write()


def median_time(work: Callable[[], object], *, times: int) -> float:
    found = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        found.append(time.perf_counter() - start)
    return statistics.median(found)


def test_time_and_error_beside_a_simulation_of_equal_error() -> None:
    rule = load_rule("harmonised-udu")
    assert isinstance(rule, DosageUnitRule)
    stage_surface.cache_clear()
    cold = median_time(lambda: chance("dosage-unit-uniformity", 97, 6), times=1)
    warm = median_time(lambda: chance("dosage-unit-uniformity", 97, 6), times=51)
    means, sds = np.linspace(85, 115, 200)[:, None], np.linspace(0.5, 12, 200)
    plane = median_time(lambda: chance("dosage-unit-uniformity", means, sds), times=3)
    generator = np.random.Generator(np.random.Philox(1))
    staged = median_time(lambda: dosage_units(97 + 6 * generator.standard_normal((AT_ONCE, 30))), times=9)
    drawing = median_time(lambda: generator.standard_normal((AT_ONCE, 30)), times=9)
    answer = chance("dosage-unit-uniformity", 97, 6)
    passes, error = float(answer.pass_overall), float(answer.error_bound)
    # A simulation whose standard error is half the stated bound: 95 in 100 lie within the bound.
    needed = passes * (1.0 - passes) / (error / 2.0) ** 2
    loose = passes * (1.0 - passes) / (1e-4 / 2.0) ** 2
    per_batch = staged / AT_ONCE
    others = {
        test: median_time(lambda test=test, rsd=rsd: chance(test, 100, rsd), times=21)  # type: ignore[misc]
        for test, rsd in (("mass-uniformity", 3.0), ("content-uniformity", 7.0))
    }
    SECTIONS["time"] = [
        "## Time",
        "",
        "| what | time | beside |",
        "|---|---|---|",
        f"| dosage units, one cell, warm | {warm * 1e3:.2f} ms | error at most {error:.1e} |",
        f"| dosage units, first cell of a rule (its surface worked out) | {cold * 1e3:.0f} ms | |",
        f"| dosage units, plane of 200 x 200 | {plane:.2f} s | {plane / 40_000 * 1e6:.0f} us a cell |",
        f"| mass, one cell | {others['mass-uniformity'] * 1e3:.1f} ms | error at most 1e-06 |",
        f"| content, test B, one cell | {others['content-uniformity'] * 1e3:.1f} ms | error at most 1e-06 |",
        f"| simulation of dosage units, vectorised, staged | {per_batch * 1e6:.2f} us a batch | "
        f"{staged / drawing:.2f} times the bare drawing of its numbers |",
        f"| simulation to the same error ({needed:.1e} batches) | {needed * per_batch:.0f} s | "
        f"**{needed * per_batch / warm:.1e} times** the worked-out cell |",
        f"| simulation to 1e-4 ({loose:.1e} batches) | {loose * per_batch:.0f} s | "
        f"**{loose * per_batch / warm:.1e} times** the worked-out cell |",
        "",
    ]
    write()
    assert needed * per_batch > warm


def write() -> None:
    """What is known so far, in a fixed order."""
    order = ("dosage-unit-uniformity", "mass-uniformity", "content-uniformity", "time")
    lines = [
        "# Chances of passing: study",
        "",
        "Made by `pytest -m benchmarks tests/benchmarks/test_chance_study.py`. From our own run: the simulation is",
        "independent of the package, yet written by the same hands.",
        "",
        *(line for name in order for line in SECTIONS.get(name, [])),
    ]
    RESULTS.write_text("\n".join(lines).rstrip() + "\n", encoding="utf-8")
