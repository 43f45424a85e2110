"""Figures that stand twice, to the last digit."""

from __future__ import annotations

import random
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from qc.readers.options import ReadOptions
from qc.readers.read import read_batch
from qc.readers.repeated import repeated_run
from qc.say.read_back import never_cut, what_was_left

OPTIONS = ReadOptions(form="suppositories", label_mg=Decimal(100))


def told(path: Path) -> str:
    batch = read_batch(path, options=OPTIONS)
    return " | ".join(what_was_left(batch, short=False)[: never_cut(batch)])


def drawn(count: int, *, seed: int, digits: int = 3, spread: float = 0.02) -> list[float]:
    rnd = random.Random(seed)
    return [round(rnd.gauss(2.1, spread), digits) for _ in range(count)]


def test_a_block_of_masses_that_was_copied_is_told(book_of: Callable[..., Path]) -> None:
    masses = drawn(24, seed=1)
    rows: list[list[Any]] = [["Unit", "Mass (g)"], *([at, mass] for at, mass in enumerate(masses, start=1))]
    assert "repeat" not in told(book_of(Week=rows))
    for at in range(6):
        rows[19 + at][1] = masses[2 + at]
    said = "units 19 to 24 repeat units 3 to 8"
    assert said in told(book_of(Week=rows))


def test_a_block_of_contents_that_was_copied_is_told(book_of: Callable[..., Path]) -> None:
    contents = [round(100 + 50 * (one - 2.1), 1) for one in drawn(20, seed=2)]
    contents[12:18] = contents[1:7]
    units = [["Unit", "Mass (g)"], *([at, mass] for at, mass in enumerate(drawn(20, seed=3), start=1))]
    assay = [["Unit", "Content (mg)"], *([at, one] for at, one in enumerate(contents, start=1))]
    assert "repeat units 2 to" in told(book_of(Units=units, Assay=assay))


@pytest.mark.parametrize(("digits", "spread"), [(3, 0.02), (2, 0.02), (1, 0.05), (3, 0.003)])
@pytest.mark.parametrize("count", [10, 30, 120])
def test_chance_repeats_no_run(count: int, digits: int, spread: float) -> None:
    runs = [repeated_run(drawn(count, seed=seed, digits=digits, spread=spread)) for seed in range(60)]
    assert sum(run is not None for run in runs) <= 1


@pytest.mark.parametrize("values", [[], [2.1], [2.1] * 30, list(range(40))])
def test_what_is_all_alike_or_all_different_repeats_nothing(values: list[float]) -> None:
    assert repeated_run(values) is None


def test_a_run_goes_on_as_far_as_it_agrees_and_does_not_overlap() -> None:
    run = drawn(9, seed=5)
    assert repeated_run([*run, *run, 3.0]) == (0, 9, 9)
    assert repeated_run([*run, 3.0, *run[:7], 3.1]) == (0, 10, 7)


@pytest.mark.parametrize(("length", "found"), [(11, None), (12, (0, 16, 12))])
def test_a_run_is_told_from_the_length_on_that_comes_about_by_chance_once_in_five_hundred(
    length: int, found: tuple[int, int, int] | None
) -> None:
    """Of 28 figures of three kinds: log(2 * 0.001 / 28**2) / log(share of pairs alike) is 11.3 (our own run)."""
    first = [2, 2, 1, 0, 1, 0, 2, 1, 0, 0, 2, 2]
    again = [*first[:length]] if length == 12 else [1, *first[:length]]
    values = [*first, 0, 2, 0, *([1] if length == 12 else []), *again]
    assert repeated_run(values) == found
