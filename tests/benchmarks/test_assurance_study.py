"""How often what is said of a batch holds, whatever its spread: chance of passing, units left, count outside.

    pytest -m benchmarks tests/benchmarks/test_assurance_study.py

Writes `tests/benchmarks/results/assurance.md`. The spreads, the samples and the true chances are worked out here, by
plain arithmetic on the text of the rule; the package gives the statements under study alone.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest
from numpy.typing import NDArray

from qc.assurance.places import places_found
from qc.assurance.posterior import pass_chance
from qc.assurance.remaining import left_between, outside_at_most, share_between
from qc.batch import Batch, Unit
from qc.rules.kinds import dosage_units
from qc.rules.kinds.dosage_units.record import DosageUnitRule
from qc.rules.rule_books import load_rule

pytestmark = pytest.mark.benchmarks

RESULTS = Path(__file__).parent / "results" / "assurance.md"
Floats = NDArray[np.float64]
Lot = np.random.Generator
Shape = tuple[int, ...]
Spread = Callable[[Lot, Shape], Floats]
SURE = 0.95
LEAST = 0.93
SIZES = ((10, 30), (30, 60))
BATCHES, COUNTED = 400, 20_000


def normal(mean: float, sd: float) -> Spread:
    return lambda lot, shape: mean + sd * lot.standard_normal(shape)


def student(degrees: int, sd: float) -> Spread:
    return lambda lot, shape: 100 + sd * math.sqrt(1 - 2 / degrees) * lot.standard_t(degrees, shape)


def exponential(sd: float, side: int) -> Spread:
    """Skewness 2: most units near an end, a tail of poor ones (side -1) or of rich ones."""
    return lambda lot, shape: 100 + side * sd * (lot.standard_exponential(shape) - 1)


def lognormal(sd: float) -> Spread:
    """Skewness 1.75."""
    spread = math.sqrt((math.exp(0.25) - 1) * math.exp(0.25))
    return lambda lot, shape: 100 + sd * (np.exp(0.5 * lot.standard_normal(shape)) - math.exp(0.125)) / spread


def some_at(share: float, content: float, sd: float) -> Spread:
    def drawn(lot: Lot, shape: Shape) -> Floats:
        return np.where(lot.random(shape) < share, content, 100 + sd * lot.standard_normal(shape))

    return drawn


def two_melts(lot: Lot, shape: Shape) -> Floats:
    return np.where(lot.random(shape) < 0.5, 93, 107) + 2 * lot.standard_normal(shape)


ASKED: dict[str, Spread] = {
    **{f"normal, SD {sd:g}": normal(100, sd) for sd in (2, 4, 5.5, 7)},
    "normal about 94, SD 4": normal(94, 4),
    **{f"t of 5 degrees, SD {sd}": student(5, sd) for sd in (3, 5, 7)},
    **{f"t of 3 degrees, SD {sd}": student(3, sd) for sd in (3, 5, 7)},
    **{f"exponential, a tail of poor units, SD {sd}": exponential(sd, -1) for sd in (3, 5, 7)},
    **{f"exponential, a tail of rich units, SD {sd}": exponential(sd, 1) for sd in (3, 5, 7)},
    **{f"lognormal, SD {sd}": lognormal(sd) for sd in (3, 5, 7)},
    **{f"5 % at 80, else SD {sd}": some_at(0.05, 80, sd) for sd in (2, 4)},
    **{f"10 % at 82, else SD {sd}": some_at(0.10, 82, sd) for sd in (2, 4)},
    **{f"2 % at 60, else SD {sd}": some_at(0.02, 60, sd) for sd in (2, 4)},
    "2.5 % empty, else SD 2": some_at(0.025, 0, 2),
    "two melts, 93 and 107": two_melts,
    "1 % empty, else SD 3": some_at(0.01, 0, 3),
    "5 % at 60, else SD 3": some_at(0.05, 60, 3),
    "10 % empty, else SD 3": some_at(0.10, 0, 3),
    "20 % empty, else SD 3": some_at(0.20, 0, 3),
}
# The share of units that no sample passes with.
SPOILT = {name: float(name.split()[0]) / 100 for name in ASKED if "empty" in name or "at 60" in name}


def rule() -> DosageUnitRule:
    found = load_rule("harmonised-udu")
    assert isinstance(found, DosageUnitRule)
    return found


def passes(sample: Floats) -> NDArray[np.bool_]:
    """The harmonised test of uniformity of dosage units, T 100, on samples x 30 contents [% of label]."""

    def value(some: Floats, k: float) -> Floats:
        centre = some.mean(axis=1)
        off = np.maximum(np.maximum(98.5 - centre, centre - 101.5), 0.0)
        return off + k * some.std(axis=1, ddof=1)

    reference = np.clip(sample.mean(axis=1), 98.5, 101.5)
    single = np.abs(sample - reference[:, None]).max(axis=1) <= 0.25 * reference
    return (value(sample[:, :10], 2.4) <= 15) | ((value(sample, 2.0) <= 15) & single)


def true_chance(spread: Spread) -> float:
    return float(passes(spread(np.random.Generator(np.random.Philox(9)), (200_000, 30))).mean())


# The true chances are taken from 200,000 samples.
ERROR = 0.003


class Stated(NamedTuple):
    """How often the chance lies above its bound, the median bound, the mean chance; the same of what is supposed.

    What is supposed, that no more of the units than a share are spoilt, makes a statement true where more are.
    """

    holds: float
    bound: float
    chance: float
    supposed_holds: float
    supposed: float


def of_the_chance(spread: Spread, *, spoilt: float, n: int) -> Stated:
    lot, plan, chance = np.random.Generator(np.random.Philox(2611)), dosage_units.KIND.plan(rule()), true_chance(spread)
    drawn = (pass_chance(tuple(spread(lot, (n,)).tolist()), plan=plan, confidence=SURE) for _ in range(BATCHES))
    found = [one for one in drawn if one is not None]
    lows = np.array([one.low for one in found])
    supposing = [
        (one.spoilt_at_most, one.low_supposed)
        for one in found
        if one.spoilt_at_most is not None and one.low_supposed is not None
    ]
    true = [spoilt > share or low <= chance + ERROR for share, low in supposing]
    return Stated(
        holds=float((lows <= chance + ERROR).mean()),
        bound=float(np.median(lows)),
        chance=float(np.mean([one.mean for one in found])),
        supposed_holds=float(np.mean(true)) if true else 1.0,
        supposed=float(np.median([low for _, low in supposing])) if supposing else 0.0,
    )


def of_the_batch(spread: Spread, *, n: int, whole: int) -> tuple[float, float, float]:
    """How often the units left, the pour and the count outside are as said; n of the units are drawn at random."""
    units = spread(np.random.Generator(np.random.Philox(2612)), (COUNTED, whole))
    sample, rest = units[:, :n], units[:, n:]
    low, high = sample.min(axis=1), sample.max(axis=1)
    within = left_between(n, left=whole - n, confidence=SURE) or 0
    held = ((rest >= low[:, None]) & (rest <= high[:, None])).sum(axis=1) >= within
    outside = np.abs(units - 100) > 15
    bounds = [
        outside_at_most(
            [Fraction(0)] * found + [Fraction(100)] * (n - found), limit=Fraction(15), whole=whole, confidence=SURE
        )
        for found in range(n + 1)
    ]
    limits = np.array([whole if bound is None else bound for bound in bounds])
    bounded = limits[outside[:, :n].sum(axis=1)] >= outside.sum(axis=1)
    pour = np.sort(spread(np.random.Generator(np.random.Philox(2613)), (200_000,)))
    share = (np.searchsorted(pour, high, side="right") - np.searchsorted(pour, low)) / pour.size
    return (
        float(held.mean()),
        float((share >= (share_between(n, confidence=SURE) or 0.0)).mean()),
        float(bounded.mean()),
    )


def taken_for_random(places: Callable[[Lot], list[int]], *, whole: int, batches: int = 4000) -> float:
    """Share of draws whose places pass for those of a random one."""
    lot = np.random.Generator(np.random.Philox(2614))
    batch = Batch(units=tuple(Unit(name=str(place), pour_order=place) for place in range(1, whole + 1)))
    found = (places_found(batch, measured={str(place) for place in places(lot)}, whole=whole) for _ in range(batches))
    return sum(one is not None and one.random for one in found) / batches


def at_random(n: int, whole: int) -> Callable[[Lot], list[int]]:
    return lambda lot: (lot.permutation(whole)[:n] + 1).tolist()


def even(n: int, whole: int) -> Callable[[Lot], list[int]]:
    cuts = [round(place * whole / n) for place in range(n + 1)]
    return lambda lot: [int(lot.integers(low, high)) + 1 for low, high in pairwise(cuts)]


def stretch(first: int, last: int, *more: int) -> Callable[[Lot], list[int]]:
    return lambda _: [*range(first, last + 1), *more]


PLACES: dict[str, tuple[int, Callable[[Lot], list[int]]]] = {
    **{f"{n} of {whole}, at random": (whole, at_random(n, whole)) for n, whole in ((3, 12), *SIZES, (20, 200))},
    "10 of 30, one from each three in turn": (30, even(10, 30)),
    "the first 10 of 30": (30, stretch(1, 10)),
    "the last 10 of 30": (30, stretch(21, 30)),
    "10 of 30, five at each end": (30, stretch(1, 5, 26, 27, 28, 29, 30)),
    "10 of 30, from the middle": (30, stretch(11, 20)),
    "10 of 30, every second of the first 20": (30, lambda _: list(range(1, 20, 2))),
    "the first 3 of 12": (12, stretch(1, 3)),
}


def _percent(share: float) -> str:
    return f"{100 * share:.1f}"


def test_what_is_said_of_a_batch_holds_whatever_its_spread() -> None:
    heads = " | ".join(f"{n}: holds | bound | chance | {n}: holds if supposed | bound so" for n, _ in SIZES)
    chances = [
        (name, true_chance(spread), [of_the_chance(spread, spoilt=SPOILT.get(name, 0.0), n=n) for n, _ in SIZES])
        for name, spread in ASKED.items()
    ]
    counts = [(name, [of_the_batch(spread, n=n, whole=whole) for n, whole in SIZES]) for name, spread in ASKED.items()]
    drawn = [(name, taken_for_random(places, whole=whole)) for name, (whole, places) in PLACES.items()]
    rows = "".join(
        f"| {name} | {_percent(true)} | {' | '.join(_percent(one) for cell in cells for one in cell)} |\n"
        for name, true, cells in chances
    )
    counted = "".join(
        f"| {name} | {' | '.join(_percent(one) for cell in cells for one in cell)} |\n" for name, cells in counts
    )
    places = "".join(f"| {name} | {_percent(share)} |\n" for name, share in drawn)
    RESULTS.write_text(
        "# What is said of a batch, and how often it holds: study\n\n"
        "Made by `pytest -m benchmarks tests/benchmarks/test_assurance_study.py`. From our own run. All in percent;\n"
        f"stated: {100 * SURE:g} %, asked of it: {100 * LEAST:g} % or more.\n\n"
        "## The chance that another sample passes the dosage-unit test\n\n"
        f"{BATCHES} batches a cell, standard error about 1. True: the chance of a fresh random sample of the pour,\n"
        "which is also that of another sample of the units left. For ten and for thirty units assayed: how often the\n"
        "true chance is no less than the bound stated, the median bound, and the mean of the chance stated. The bound\n"
        "holds however many units are spoilt, and is said from 10 % on: ten units without a spoilt one do not rule\n"
        "out a quarter of them, and thirty one in ten, so that the bound of a sound batch stays at 5 and at 37 %.\n"
        "A second sentence names another bound, and what it supposes: that no more than one unit in forty is spoilt.\n"
        "It holds where the chance is no less than that, or more units are spoilt. The chance itself is averaged over\n"
        "what is likely beforehand, and is no bound: of the last rows, of which one unit in twenty or more is spoilt,\n"
        "it is too high, and of most others too low.\n\n"
        f"| spread, about 100 % of label | true | {heads} |\n|---|---:|{'---:|' * 5 * len(SIZES)}\n{rows}\n"
        "## The finite batch\n\n"
        f"{COUNTED:,} batches a cell, standard error 0.2. How often the units left lie between the least and the most\n"
        "assayed in the number stated, so does the share of the pour, and the count outside 85 to 115 % is bounded.\n\n"
        f"| spread | {' | '.join(f'{n} of {whole}: left | pour | count' for n, whole in SIZES)} |\n"
        f"|---|{'---:|' * 3 * len(SIZES)}\n{counted}\n"
        "## The places of the units assayed\n\n"
        "Draws taken for random; of the others no bound is given.\n\n"
        f"| draw | taken for random |\n|---|---:|\n{places}",
        encoding="utf-8",
    )
    for name, _, cells in chances:
        assert all(min(cell.holds, cell.supposed_holds) >= LEAST for cell in cells), name
    for name, cells_of in counts:
        assert all(one >= SURE - 0.007 for cell in cells_of for one in cell), name
    for name, share in drawn:
        assert share >= 0.95 - 0.015 if "random" in name or "in turn" in name else share == 0.0, name
