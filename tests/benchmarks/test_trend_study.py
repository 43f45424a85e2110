"""How often the trend test is wrong, how often it is right, and how often its interval holds; run by hand.

    pytest -m benchmarks tests/benchmarks/test_trend_study.py

Writes `tests/benchmarks/results/trend.md`. The ceiling in the power tables is the t-test on the true shape itself, the
best possible test for a shape that is known beforehand; each shape is scaled so that this ceiling is 0.90 at 5 %.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest
from msgspec.structs import force_setattr
from numpy.typing import NDArray

from qc.batch import Active, Assay, Batch, Unit
from qc.pour.analysis import analyse_pour
from qc.pour.correction import Corrected
from qc.pour.series import Series, SeriesKind
from qc.pour.trend import fitted_change
from qc.results.pour import TrendFlag
from qc.stats.order_test import Monotone, Places, monotone_share
from qc.stats.permutations import generator, permutations, share_at_least

pytestmark = pytest.mark.benchmarks

RESULTS = Path(__file__).parent / "results" / "trend.md"
SIZES = (6, 10, 12, 20, 30)
Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Recipe:
    """How a simulated batch is made; everything in % of the mean unless the name says otherwise."""

    units: int = 30
    assayed: int = 10
    drift: float = 0.0
    assay: float = 1.0
    mixing: float = 1.2
    fill: float = 1.0
    cavities: int = 6
    cavity_sd: float = 0.0
    moulds: int = 0
    mould_sd: float = 0.0
    autocorrelated: float = 0.0
    mass_decimals: int = 3
    slip: bool = False
    heavy_tails: bool = False
    weighed: bool = True


def simulated_batch(recipe: Recipe, random: np.random.Generator) -> Batch:
    """One batch by a recipe: contents drift in a straight line, masses do not."""
    n = recipe.units
    place = np.arange(n)
    scatter = random.standard_t(3, n) / np.sqrt(3) if recipe.heavy_tails else random.standard_normal(n)
    for index in range(1, n):
        keep = recipe.autocorrelated
        scatter[index] = keep * scatter[index - 1] + np.sqrt(1 - keep**2) * scatter[index]
    relative = 1 + recipe.fill * scatter / 100
    relative += recipe.cavity_sd * random.standard_normal(recipe.cavities)[place % recipe.cavities] / 100
    if recipe.moulds:
        relative += recipe.mould_sd * random.standard_normal(recipe.moulds)[place * recipe.moulds // n] / 100
    mass = 2.0 * relative
    concentration = 50.0 * (1 + recipe.drift / 100 * (place / (n - 1) - 0.5))
    content = mass * concentration * (1 + recipe.mixing * random.standard_normal(n) / 100)
    if recipe.slip:
        # One mass with two neighbouring digits changed about.
        mass[random.integers(n)] += 0.09
    chosen = sorted(random.choice(n, recipe.assayed, replace=False))
    units = tuple(
        Unit(
            name=str(index + 1),
            pour_order=index + 1,
            mould="ABCDEFGHIJ"[index * recipe.moulds // n] if recipe.moulds else None,
            cavity=str(index % recipe.cavities + 1) if recipe.cavities > 1 else None,
            mass_g=Decimal(f"{mass[index]:.{recipe.mass_decimals}f}") if recipe.weighed else None,
        )
        for index in range(n)
    )
    found = content * (1 + recipe.assay * random.standard_normal(n) / 100)
    assays = tuple(
        Assay(unit=str(index + 1), active="active", content_mg=Decimal(f"{found[index]:.2f}")) for index in chosen
    )
    return Batch(units=units, assays=assays, actives=(Active(name="active", label_claim_mg=Decimal(100)),))


def shapes(n: int) -> dict[str, Floats]:
    x = np.arange(n, dtype=float)

    def late(tau: float) -> Floats:
        return np.exp(-(n - 1 - x) / tau)

    return {
        "straight": x,
        "late, tau n/6": late(n / 6),
        "late, tau n/12": late(n / 12),
        "late, tau n/3": late(n / 3),
        "early, tau n/6": -late(n / 6)[::-1],
        "first poor": (x > 0).astype(float),
        "first two poor": (x > 1).astype(float),
        "last rich": (x >= n - 1).astype(float),
        "last two rich": (x >= n - 2).astype(float),
        "last three rich": (x >= n - 3).astype(float),
        "step n/3": (x >= n / 3).astype(float),
        "step n/2": (x >= n / 2).astype(float),
        "step 3n/4": (x >= 3 * n / 4).astype(float),
        "flat, then ramp": np.maximum(0.0, x - (0.7 * n - 1)),
        "poor, then rich": np.sinh((x - (n - 1) / 2) / (n / 8)),
        HUMP: ((x >= n / 3) & (x < 2 * n / 3)).astype(float),
    }


HUMP = "hump"
"""Rich in the middle third, which no settling makes: it shows what a test of rise and fall cannot see."""


def strength_for_ninety_percent(n: int) -> float:
    """Length of the mean vector at which the t-test on the true shape has power 0.90 at 5 %, two-sided."""
    from scipy import optimize, stats

    limit = stats.t.ppf(0.975, n - 2)
    # The chance of a call in the wrong direction is below 0.00001 here and is left out.
    return float(optimize.brentq(lambda d: stats.nct.sf(limit, n - 2, d) - 0.9, 2.0, 7.0))


TITLES = (
    "Power at 5 % where the best possible test has 0.90",
    "False alarms of one series (600 series, 499 permutations or all)",
    "Coverage of the 95 % interval of the change from first to last unit (5,000 batches)",
    "Whole batches: share of 200 in which a series was called (999 permutations)",
)


def write(number: int, lines: list[str]) -> None:
    """Put one section into the table of results and leave the others as they are."""
    old = RESULTS.read_text().split("\n## ")[1:] if RESULTS.exists() else []
    sections = {title: body for title, _, body in (section.partition("\n") for section in old) if title in TITLES}
    sections[TITLES[number]] = "\n".join(["", *lines])
    head = (
        "# Trend along the pour: false alarms, power, coverage\n\n"
        "Own simulation with recorded seeds (`pytest -m benchmarks tests/benchmarks/test_trend_study.py`); it guards\n"
        "against change and shows what the method does, on data made by its own assumptions and against them.\n"
    )
    body = "\n".join(f"## {title}\n{sections[title].rstrip()}\n" for title in TITLES if title in sections)
    RESULTS.parent.mkdir(exist_ok=True)
    RESULTS.write_text(f"{head}\n{body}")


def p_by_permutation(values: Floats, places: Places, random: np.random.Generator) -> float:
    rows = permutations([0] * len(values), draws=499, random=random)
    return float(share_at_least(monotone_share(values[rows], places))[0])


def test_power_stays_near_the_best_possible_test_of_each_shape() -> None:
    named = shapes(10)
    lines = [
        f"| n | p-value from | {' | '.join(named)} | mean without the hump | least without it |",
        "|" + "---|" * (len(named) + 4),
    ]
    for n in SIZES:
        random = generator(2024, stream=n)
        places = Places.of(np.arange(n, dtype=float))
        null = random.standard_normal((40_000, n))
        critical = np.quantile(monotone_share(null, places), 0.95)
        critical_rising = np.quantile(monotone_share(null, places, direction=Monotone.RISING), 0.95)
        powers: dict[str, list[float]] = {
            "normal theory": [],
            "normal theory, stated direction": [],
            "permutation": [],
        }
        for column in shapes(n).values():
            centred = column - column.mean()
            signal = centred / np.linalg.norm(centred) * strength_for_ninety_percent(n)
            rows = random.standard_normal((10_000, n)) + signal
            rising = monotone_share(rows, places, direction=Monotone.RISING)
            powers["normal theory"].append(float((monotone_share(rows, places) >= critical).mean()))
            powers["normal theory, stated direction"].append(float((rising >= critical_rising).mean()))
            calls = [p_by_permutation(values, places, random) <= 0.05 for values in rows[:400]]
            powers["permutation"].append(float(np.mean(calls)))
        for name, found in powers.items():
            cells = " | ".join(f"{power:.2f}" for power in found)
            monotone = found[:-1]
            lines.append(f"| {n} | {name} | {cells} | {np.mean(monotone):.2f} | {min(monotone):.2f} |")
        # Own run: mean over the monotone shapes about 0.65 at n 10 and 0.71 at n 30 by normal theory.
        assert list(named)[-1] == HUMP
        if n >= 10:
            assert np.mean(powers["normal theory"][:-1]) > 0.62
            assert powers["permutation"][0] > 0.75
    lines += [
        "",
        "The tool uses permutation. It gives up most of the power against a single odd unit at an end, because one",
        "odd unit may as well be a slip of the pen; a wild value at an end is then no false alarm.",
    ]
    write(0, lines)


def test_rearrangement_keeps_its_level_whatever_the_distribution() -> None:
    kinds: dict[str, Callable[[np.random.Generator, tuple[int, int]], Floats]] = {
        "normal": lambda random, size: random.standard_normal(size),
        "t, 3 df": lambda random, size: random.standard_t(3, size),
        "lognormal 0.5": lambda random, size: random.lognormal(0, 0.5, size),
        "rounded to 1 SD": lambda random, size: np.round(random.standard_normal(size)),
    }
    lines = ["| n | distribution | at 5 % | at 1 % |", "|---|---|---|---|"]
    for n in SIZES:
        places = Places.of(np.arange(n, dtype=float))
        for number, (name, draw) in enumerate(kinds.items()):
            random = generator(77, stream=10 * n + number)
            series = draw(random, (600, n))
            p = np.empty(len(series))
            for index, values in enumerate(series):
                rows = permutations([0] * n, draws=499, random=random)
                p[index] = share_at_least(monotone_share(values[rows], places))[0]
            rates = float((p <= 0.05).mean()), float((p <= 0.01).mean())
            lines.append(f"| {n} | {name} | {rates[0]:.3f} | {rates[1]:.3f} |")
            # Four standard errors of 600 series above the stated level: twenty rows are looked at together.
            assert rates[0] <= 0.05 + 4 * np.sqrt(0.05 * 0.95 / 600)
            assert rates[1] <= 0.01 + 4 * np.sqrt(0.01 * 0.99 / 600)
    write(1, lines)


def corrected(values: Floats) -> Corrected:
    n = len(values)
    series = Series(
        kind=SeriesKind.CONTENT,
        active="",
        measure="mg",
        units=(),
        values=values,
        order=np.arange(n, dtype=float),
        along=np.linspace(0.0, 1.0, n),
        ends=(),
        step=0.0,
        least_scatter=0.0,
    )
    flat = (0,) * n
    # The fit needs only the length of `units`.
    force_setattr(series, "units", (None,) * n)
    return Corrected(series=series, tested=values, levels=flat, sized=values)


def test_the_interval_covers_the_true_change_as_often_as_stated() -> None:
    lines = [
        "| n | no change | straight, 3 SD | straight, 8 SD | step n/2, 6 SD | late, tau n/6, 8 SD |",
        "|---|---|---|---|---|---|",
    ]
    for n in SIZES:
        places = Places.of(np.arange(n, dtype=float))
        random = generator(5, stream=n)
        critical = np.quantile(monotone_share(random.standard_normal((40_000, n)), places), 0.99)
        named = {
            name: (column - column[0]) / (column[-1] - column[0]) for name, column in shapes(n).items() if name != HUMP
        }
        cases = {
            "none": (named["straight"], 0.0),
            "straight 3": (named["straight"], 3.0),
            "straight 8": (named["straight"], 8.0),
            "step": (named["step n/2"], 6.0),
            "late": (named["late, tau n/6"], 8.0),
        }
        rates = {}
        for case, (column, size) in cases.items():
            rows = random.standard_normal((5_000, n)) + size * column
            bends = monotone_share(rows, places) >= critical
            covered = 0
            for values, may_bend in zip(rows, bends, strict=True):
                found = fitted_change(corrected(values), may_bend=bool(may_bend))
                assert found is not None
                covered += found.low <= size <= found.high
            rates[case] = covered / len(rows)
        lines.append(f"| {n} | " + " | ".join(f"{rates[case]:.3f}" for case in cases) + " |")
        for case in ("none", "straight 3", "straight 8"):
            assert 0.94 <= rates[case] <= 0.96, (n, case, rates[case])
    lines += [
        "",
        "The interval is that of a straight drift unless a clear change decidedly has another shape; for changes that",
        "are not straight and not clear enough to show it, it covers less often, as the last two columns say.",
    ]
    write(2, lines)


def test_whole_batches_are_called_when_they_should_be_and_not_when_they_should_not() -> None:
    scenes = {
        "content drifts by 15 %, 12 assays of 30 units": Recipe(drift=15, assayed=12, fill=0.5),
        "the same, 12 units all assayed": Recipe(drift=15, units=12, assayed=12, fill=0.5, cavities=1),
        "the same, 30 units in 5 moulds that differ by 1 SD": Recipe(drift=15, assayed=12, moulds=5, mould_sd=1),
        "sound, 6 units": Recipe(units=6, assayed=6, cavities=1),
        "sound, cavities differ by 5 SD of fill, 5 rounds": Recipe(cavity_sd=5),
        "sound, cavities differ by 5 SD, each filled once": Recipe(cavity_sd=5, cavities=30),
        "sound, 5 moulds one after the other, 1 SD": Recipe(moulds=5, mould_sd=1),
        "sound, 5 moulds one after the other, 2 SD": Recipe(moulds=5, mould_sd=2),
        "sound, 3 moulds one after the other, 2 SD": Recipe(moulds=3, mould_sd=2),
        "sound, moulds 1 SD, not weighed": Recipe(moulds=5, mould_sd=1, weighed=False),
        "sound, one slip of the pen among the masses": Recipe(slip=True),
        "sound, fill with heavy tails (t, 3 df)": Recipe(heavy_tails=True),
        "sound, masses read to 0.01 g (half an SD)": Recipe(mass_decimals=2),
        "sound, neighbours alike (correlation 0.4)": Recipe(autocorrelated=0.4),
    }
    lines = ["| batch | any clear | any called | content clear | content cannot tell |", "|---|---|---|---|---|"]
    for number, (name, made_by) in enumerate(scenes.items()):
        random = generator(9, stream=number)
        clear = called = content_clear = cannot = 0
        for index in range(200):
            trend = analyse_pour(simulated_batch(made_by, random), seed=index, permutations=999).trend
            flags = [one.flag for one in (trend.mass, *trend.content.values(), *trend.concentration.values())]
            clear += TrendFlag.CLEAR in flags
            called += bool({TrendFlag.CLEAR, TrendFlag.POSSIBLE} & set(flags))
            content_clear += trend.content["active"].flag is TrendFlag.CLEAR
            cannot += trend.content["active"].flag is TrendFlag.CANNOT_TELL
        shares = [count / 200 for count in (clear, called, content_clear, cannot)]
        lines.append(f"| {name} | " + " | ".join(f"{share:.3f}" for share in shares) + " |")
        if made_by.drift:
            assert shares[2] >= 0.95, name
        elif not made_by.autocorrelated:
            # Two standard errors of 200 batches above 5 %.
            assert shares[1] <= 0.05 + 2 * np.sqrt(0.05 * 0.95 / 200), name
    lines += [
        "",
        "Neighbours that are alike for another reason than the pour raise the false alarms; no test of order tells",
        "them from a change, and every call says so.",
    ]
    write(3, lines)
