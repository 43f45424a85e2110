"""Whether what a history and `qc chance` say is as often true as they say; run by hand.

    pytest -m benchmarks tests/benchmarks/test_said_study.py

Writes `tests/benchmarks/results/said.md`. The truth is drawn here, normal and not, and no room of the package draws it.
"""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from qc.assurance.planning import acceptance_limits, greatest_true_sd
from qc.batch import Active, Assay, Batch, Unit
from qc.causes.priors import normal_quantile
from qc.history.cavities import UnitsOfBatch, cavities_apart, cavity_series, mass_components
from qc.history.figures import BatchFigures, WithinBatch
from qc.history.outlook import chance_to_pass
from qc.history.products import BATCHES_A_FALSE_SIGNAL, products, series_of
from qc.history.wording import worth_working_on
from qc.jobs.chance import question
from qc.jobs.chance.found import batch_of
from qc.jobs.chance.noticing import noticing
from qc.pour.analysis import analyse_pour
from qc.results.pour import TrendFlag
from qc.stats.mean_interval import half_width

pytestmark = pytest.mark.benchmarks

RESULTS = Path(__file__).parent / "results" / "said.md"
Floats = NDArray[np.float64]
Noise = Callable[[np.random.Generator, int], Floats]
NOISES: dict[str, Noise] = {
    "normal": lambda lot, n: lot.standard_normal(n),
    "t, 5 df": lambda lot, n: lot.standard_t(5, n) / np.sqrt(5 / 3),
}
PLAN = question("dosage-unit-uniformity").plan()
TITLES = (
    "The next batch (600 products a row)",
    "False signals of four charts, and cavities light or heavy",
    "The largest part of the spread (200 products a row)",
    "Batches that show units like these (400 a row)",
    "Changes noticed (200 pours a row)",
    "The mean of single units, 95 % (2,000 a row)",
    "Samples within the limits that assure 95 % with 95 % confidence (20,000 a row)",
    "The chance of the next batch, products of any level and spread (600 a row)",
)


def write(number: int, lines: list[str]) -> None:
    """Put one section into the page and leave the others as they are."""
    old = RESULTS.read_text(encoding="utf-8").split("\n## ")[1:] if RESULTS.exists() else []
    sections = {title: body.strip() for title, _, body in (part.partition("\n") for part in old) if title in TITLES}
    sections[TITLES[number]] = "\n".join(lines)
    body = "\n".join(f"## {title}\n\n{sections[title]}\n" for title in TITLES if title in sections)
    head = "# What a history and qc chance say: study"
    how = "Own simulation; `pytest -m benchmarks tests/benchmarks/test_said_study.py`."
    RESULTS.write_text(f"{head}\n\n{how}\n\n{body}", encoding="utf-8")


def made(
    lot: np.random.Generator, noise: Noise, *, batches: int, between: float, within: float, about: float = 98.0
) -> list[BatchFigures]:
    """Batches of one product: means that differ from batch to batch, ten units assayed and 24 weighed of each."""
    found = []
    for number, level in enumerate(about + between * noise(lot, batches)):
        contents, masses = (
            level + within * noise(lot, 10),
            2.0 * (1 + 0.005 * lot.standard_normal()) * (1 + 0.01 * noise(lot, 24)),
        )
        found.append(
            BatchFigures(
                result_sha256=str(number),
                verdict="complies",
                number=str(number),
                product="P",
                made_on=f"2026-{1 + number // 28:02d}-{1 + number % 28:02d}",
                planned_g=2.0,
                mass=WithinBatch(n=24, mean=float(masses.mean()), sd=float(masses.std(ddof=1))),
                contents={"a": WithinBatch(n=10, mean=float(contents.mean()), sd=float(contents.std(ddof=1)))},
            )
        )
    return found


def test_the_next_batch_lies_where_it_is_said_to_and_passes_as_often() -> None:
    score = float(normal_quantile(np.array([0.975]))[0])
    lines = [
        "| batches | units | mean in its interval | SD in its interval | stated to pass | passes |",
        "|---|---|---|---|---|---|",
    ]
    for batches in (5, 10, 25):
        for name, noise in NOISES.items():
            lot, held, chances = np.random.Generator(np.random.Philox(batches)), [], []
            for _ in range(600):
                *known, last = made(lot, noise, batches=batches + 1, between=1.5, within=5.0)
                (product,) = products([(at, one) for at, one in enumerate(known)])
                by_id = {one.id: one for one in series_of(product)}
                mean, sd, content = by_id["content-mean"], by_id["content-sd"], last.contents["a"]
                ends = [[one.shown(one.followed.outlook(side)) for side in (-score, score)] for one in (mean, sd)]
                held.append(
                    [low <= value <= high for (low, high), value in zip(ends, (content.mean, content.sd), strict=True)]
                )
                units = 98.0 + 1.5 * noise(lot, 40)[:, None] + 5.0 * noise(lot, 40 * 30).reshape(40, 30)
                chances.append((chance_to_pass(mean, sd, plan=PLAN), float(passing(units).mean())))
            shares, (stated, passes) = np.mean(held, axis=0), np.mean(chances, axis=0)
            cells = [100 * one for one in (*shares, stated, passes)]
            lines.append(f"| {batches} | {name} | {' | '.join(f'{cell:.1f}' for cell in cells)} |")
    write(0, [*lines, "", "In %. Means differ from batch to batch by an SD of 1.5 %, units by 5 %, ten assayed."])


def test_of_the_products_that_are_given_a_chance_as_many_pass() -> None:
    """Levels of 94 to 104 %, SD of 0.3 to 4 % from batch to batch and of 2.5 to 8 % within, evenly on their scales."""
    groups = ((0.0, 0.5), (0.5, 0.8), (0.8, 0.95), (0.95, 1.1))
    lines = ["| batches | units | stated | products | stated, mean | passes |", "|---|---|---|---|---|---|"]
    for batches in (3, 5, 10, 25):
        for name, noise in NOISES.items():
            lot, found = np.random.Generator(np.random.Philox(100 + batches)), []
            for _ in range(600):
                about, between, within = (
                    lot.uniform(94.0, 104.0),
                    *np.exp(lot.uniform(np.log([0.3, 2.5]), np.log([4, 8]))),
                )
                known = made(lot, noise, batches=batches, between=between, within=within, about=about)
                (product,) = products([(at, one) for at, one in enumerate(known)])
                by_id = {one.id: one for one in series_of(product)}
                stated = chance_to_pass(by_id["content-mean"], by_id["content-sd"], plan=PLAN)
                units = about + between * noise(lot, 40)[:, None] + within * noise(lot, 40 * 30).reshape(40, 30)
                found.append((stated, float(passing(units).mean())))
            told = np.array(found)
            for low, high in (*groups, (0.0, 1.1)):
                of = told[(told[:, 0] >= low) & (told[:, 0] < high)]
                group = "all" if high - low > 1.0 else f"{100 * low:.0f} to {min(100 * high, 100):.0f}"
                cells = " | ".join(f"{100 * one:.1f}" for one in of.mean(axis=0))
                lines.append(f"| {batches} | {name} | {group} | {len(of)} | {cells} |")
    write(7, [*lines, "", "In %, by what is stated."])


def passing(units: Floats) -> NDArray[np.bool_]:
    """Which rows of thirty units pass the dosage-unit test, the first ten at once or all of them (2.9.40, T 100)."""
    found = np.zeros(len(units), dtype=bool)
    for n, k in ((10, 2.4), (30, 2.0)):
        mean = units[:, :n].mean(axis=1)
        reference = np.clip(mean, 98.5, 101.5)
        value = np.abs(reference - mean) + k * units[:, :n].std(axis=1, ddof=1)
        inside = (units[:, :n] >= 0.75 * reference[:, None]) & (units[:, :n] <= 1.25 * reference[:, None])
        found |= (value <= 15.0) & (inside.all(axis=1) if n == 30 else True)
    return found


def test_signals_are_as_rarely_false_and_cavities_named_as_seldom_as_said() -> None:
    lines = ["| what | units | stated at most | found |", "|---|---|---|---|"]
    for name, noise in NOISES.items():
        lot, signals, followed = np.random.Generator(np.random.Philox(3)), 0, 0
        for _ in range(200):
            known = made(lot, noise, batches=60, between=1.5, within=3.0)
            (product,) = products([(at, one) for at, one in enumerate(known)])
            signals += sum(len(one.followed.beyond) + len(one.followed.seen) for one in series_of(product))
            followed += 60 - 4
        stated, found = 1000 / BATCHES_A_FALSE_SIGNAL, 1000 * signals / followed
        lines.append(f"| false signals of 1,000 batches | {name} | {stated:.1f} | {found:.1f} |")
    for name, noise in NOISES.items():
        lot, named = np.random.Generator(np.random.Philox(4)), 0
        for _ in range(200):
            batches = filled(lot, noise, cavity_sd=0.0)
            named += bool(cavities_apart(cavity_series(batches), mass_components(batches)))
        lines.append(
            f"| products in 100 of which a cavity is named where none differs | {name} | 5.0 | {named / 2:.1f} |"
        )
    for name, noise in NOISES.items():
        lot, missed, told = np.random.Generator(np.random.Philox(5)), 0, 0
        for _ in range(200):
            true = lot.standard_normal(6)
            true -= true.mean()
            batches = filled(lot, noise, sizes=true)
            for one in cavities_apart(cavity_series(batches), mass_components(batches)):
                missed += not one.low <= true[int(one.cavity.split()[-1])] <= one.high
                told += 1
        lines.append(f"| intervals in 100 of named cavities that miss | {name} | 5.0 | {100 * missed / told:.1f} |")
    write(1, lines)


def filled(
    lot: np.random.Generator,
    noise: Noise,
    *,
    sizes: Floats | None = None,
    cavity_sd: float = 1.0,
    batch_sd: float = 0.5,
) -> list[UnitsOfBatch]:
    """Twelve batches of 24 units out of six cavities, which differ; units scatter by 1 %."""
    sizes = cavity_sd * lot.standard_normal(6) if sizes is None else sizes
    found = []
    for number in range(12):
        mass = 100 + batch_sd * lot.standard_normal() + np.tile(sizes, 4) + noise(lot, 24)
        figures = BatchFigures(
            result_sha256=str(number),
            verdict="complies",
            planned_g=2.0,
            mass=WithinBatch(n=24, mean=float(0.02 * mass.mean()), sd=float(0.02 * mass.std(ddof=1))),
        )
        masses = tuple(("A", str(at % 6), float(100 * one / mass.mean())) for at, one in enumerate(mass))
        found.append(UnitsOfBatch(batch=figures, masses=masses, contents={}))
    return found


def test_the_largest_part_of_the_spread_is_the_one_named() -> None:
    lines = ["| from batch to batch, cavities, units: SD [%] | units | named |", "|---|---|---|"]
    for batch_sd, cavity_sd, largest in (
        (0.3, 0.3, "unit to unit"),
        (0.5, 2.0, "cavities"),
        (2.0, 0.5, "batch to batch"),
    ):
        for name, noise in NOISES.items():
            lot, right = np.random.Generator(np.random.Philox(6)), 0
            for _ in range(200):
                sizes = lot.standard_normal(6)
                sizes *= cavity_sd / sizes.std(ddof=1)
                components = mass_components(filled(lot, noise, sizes=sizes, batch_sd=batch_sd))
                assert components is not None
                right += largest in worth_working_on("the masses", components)
            lines.append(f"| {batch_sd}, {cavity_sd}, 1 | {name} | {right / 2:.1f} |")
    write(2, lines)


def test_a_batch_is_seldom_called_good_or_bad_wrongly() -> None:
    """Batches on the very edge: as likely to pass as not, or passing in 95 %."""
    lines = [
        "| units | spread | bad ones called bad in fewer than 5 of 100 | just good ones called good in more than 95 |",
        "|---|---|---|---|",
    ]
    asked = question("dosage-unit-uniformity")
    for n in (10, 30):
        for name, noise in NOISES.items():
            lot, wrong = np.random.Generator(np.random.Philox(n)), []
            edges = []
            for wanted in (0.5, 0.95):
                tried = np.linspace(4.0, 10.0, 25)
                shares = [passing(98.0 + sd * noise(lot, 200_000 * 3).reshape(-1, 30)).mean() for sd in tried]
                edges.append(float(np.interp(-wanted, [-one for one in shares], tried)))
            for _ in range(400):
                bad, good = (batch_of((98.0 + sd * noise(lot, n)).tolist(), asked=asked) for sd in edges)
                wrong.append([bad.bad < 0.05, good.good > 0.95])
            shares = 100 * np.mean(wrong, axis=0)
            lines.append(f"| {n} | {name} | {shares[0]:.1f} | {shares[1]:.1f} |")
    write(3, lines)


def test_a_change_is_noticed_as_often_as_said() -> None:
    lines = ["| assays | change [%] | stated | noticed | noticed less stated |", "|---|---|---|---|---|"]
    for assays, change in ((6, 8.0), (6, 12.0), (6, 16.0), (8, 10.0), (10, 6.0), (10, 10.0), (15, 6.0), (24, 5.0)):
        said, lot, seen = (
            noticing(change, units=24, assays=assays, scatter_percent=3.0),
            np.random.Generator(np.random.Philox(assays)),
            0,
        )
        for _ in range(200):
            concentration = 50 * (1 + change / 100 * (np.arange(24) / 23 - 0.5)) * (1 + 0.03 * lot.standard_normal(24))
            mass = 2 * (1 + 0.01 * lot.standard_normal(24))
            units = tuple(
                Unit(name=str(at + 1), pour_order=at + 1, mass_g=Decimal(f"{one:.3f}")) for at, one in enumerate(mass)
            )
            contents = tuple(
                Assay(unit=str(at), active="A", content_mg=Decimal(f"{mass[at - 1] * concentration[at - 1]:.2f}"))
                for at in said.even_units
            )
            found = analyse_pour(
                Batch(units=units, assays=contents, actives=(Active(name="A", label_claim_mg=Decimal(100)),)), seed=1
            )
            every = (*found.trend.content.values(), *found.trend.concentration.values())
            seen += any(one.flag in (TrendFlag.CLEAR, TrendFlag.POSSIBLE) for one in every)
        stated = 100 * said.asked.evenly
        lines.append(f"| {assays} of 24 | {change:g} | {stated:.1f} | {seen / 2:.1f} | {seen / 2 - stated:.1f} |")
    write(4, lines)


def test_a_sample_that_keeps_the_limits_seldom_comes_from_a_batch_that_does_not_pass_as_often() -> None:
    lines = ["| units | true mean [%] | spread | kept by a batch that passes in 95 % |", "|---|---|---|---|"]
    means = tuple(np.linspace(84.0, 116.0, 65).tolist())
    table = acceptance_limits(plan=PLAN, means=means, numbers=(10, 30))
    for column, n in enumerate((10, 30)):
        greatest = np.array([row[column] for row in table.greatest_sd_percent])
        for mean in (92.0, 96.0, 100.0, 104.0):
            sd = greatest_true_sd(mean, plan=PLAN)
            for name, noise in NOISES.items():
                lot = np.random.Generator(np.random.Philox(n))
                units = mean + sd * noise(lot, 20_000 * n).reshape(-1, n)
                kept = units.std(axis=1, ddof=1) <= np.interp(units.mean(axis=1), means, greatest, left=0.0, right=0.0)
                lines.append(f"| {n} | {mean:g} | {name} | {100 * kept.mean():.1f} |")
    write(6, lines)


def test_the_mean_of_single_units_lies_in_its_interval() -> None:
    lines = ["| units | of a batch of | spread | holds |", "|---|---|---|---|"]
    noises: dict[str, Noise] = {
        **NOISES,
        "exponential": lambda lot, n: lot.standard_exponential(n) - 1,
        "10 % of the units 4 SD off, unlike the rest": lambda lot, n: lot.normal(size=n) - 4.0 * (lot.random(n) < 0.1),
        "2 % of the units 10 SD off, unlike the rest": lambda lot, n: (
            lot.normal(size=n) - 10.0 * (lot.random(n) < 0.02)
        ),
    }
    for n, whole in ((10, 24), (10, 60), (30, 60)):
        for name, noise in noises.items():
            lot, held = np.random.Generator(np.random.Philox(n)), 0
            for _ in range(2_000):
                batch = 98.0 + 4.0 * noise(lot, whole)
                half = half_width([Fraction(one) for one in batch[:n].tolist()], confidence=0.95)
                assert half is not None
                held += abs(float(batch[:n].mean() - batch.mean())) <= half
            lines.append(f"| {n} | {whole} | {name} | {held / 20:.1f} |")
    write(5, lines)
