"""The judge's figures once more by general-purpose libraries, on hundreds of random batches.

numpy and pandas work on binary floats and know nothing of this package; agreement to 1e-12 relative says that no sum,
divisor or unit of measure slipped.
"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from qc.contents import Scale
from qc.results import TestResult
from qc.rules.kinds.content.procedure import judge_contents
from qc.rules.kinds.content.record import ContentRule
from qc.rules.kinds.dosage_units.procedure import judge_dosage_units
from qc.rules.kinds.dosage_units.record import DosageUnitRule, Route
from qc.rules.kinds.mass.procedure import judge_masses
from qc.rules.kinds.mass.record import MassRule
from qc.rules.measured import Measured, Stages
from qc.rules.rule_books import load_rule

BATCHES = 150
CLOSE = 1e-12


def draw(seed: int, *, n: int, centre: float, spread: float, decimals: int) -> tuple[tuple[Measured, ...], pd.Series]:
    """Random readings as an instrument shows them: exact decimals for the judge, floats for the other engine."""
    readings = np.random.default_rng(seed).normal(centre, spread * centre, n).round(decimals)
    typed = [Decimal(f"{reading:.{decimals}f}") for reading in readings]
    units = tuple(Measured(unit=str(place), value=Fraction(value)) for place, value in enumerate(typed, 1))
    return units, pd.Series([float(value) for value in typed], index=[unit.unit for unit in units])


def figure(result: TestResult, name: str) -> float:
    value = result.figures[name]
    assert value is not None
    return float(value)


def clear_of(deviations: pd.Series, *limits: float) -> bool:
    """Whether no deviation lies so near a limit that a binary float may call it wrong."""
    return all((deviations.abs() - limit).abs().min() > 1e-9 for limit in limits)


@pytest.mark.parametrize("spread", [0.005, 0.03, 0.06])
def test_masses(spread: float) -> None:
    rule = load_rule("ph-eur-2.9.5")
    assert isinstance(rule, MassRule)
    compared = 0
    for seed in range(BATCHES // 3):
        n = 20 + seed % 15
        units, masses = draw(seed, n=n, centre=2.0, spread=spread, decimals=3)
        result = judge_masses(units, rule=rule, form="suppositories")
        deviations = (masses / masses.mean() - 1) * 100
        assert figure(result, "mean_g") == pytest.approx(masses.mean(), rel=CLOSE)
        assert figure(result, "sd_g") == pytest.approx(masses.std(ddof=1), rel=CLOSE)
        assert figure(result, "rsd_percent") == pytest.approx(stats.variation(masses, ddof=1) * 100, rel=CLOSE)
        if not clear_of(deviations, 5, 10):
            continue
        compared += 1
        assert figure(result, "beyond_limit") == (deviations.abs() > 5).sum()
        assert figure(result, "beyond_double") == (deviations.abs() > 10).sum()
        outside = deviations[deviations.abs() > 5]
        assert [unit.unit for unit in result.outside] == list(outside.index)
        assert [unit.deviation_percent for unit in result.outside] == pytest.approx(list(outside), rel=1e-11)
        bound = figure(result, "fraction_beyond_at_most_percent") / 100
        beyond = int((deviations.abs() > 5).sum())
        test = stats.binomtest(beyond, n, alternative="less")
        assert bound == pytest.approx(test.proportion_ci(0.95, method="exact").high, rel=1e-9)
    assert compared > 45


@pytest.mark.parametrize("n", [10, 30])
@pytest.mark.parametrize(("centre", "spread"), [(100, 0.03), (96, 0.06), (104, 0.08)])
def test_contents_about_their_mean_and_against_the_label(n: int, centre: float, spread: float) -> None:
    content_rule, dosage_rule = load_rule("ph-eur-2.9.6-b"), load_rule("harmonised-udu")
    assert isinstance(content_rule, ContentRule)
    assert isinstance(dosage_rule, DosageUnitRule)
    for seed in range(BATCHES // 6):
        units, contents = draw(1000 + seed, n=n, centre=centre, spread=spread, decimals=2)
        stages = Stages(first=units[:10], second=units[10:])
        label = Fraction(100)
        about_mean = judge_contents(
            stages, rule=content_rule, active="drug", scale=Scale(unit="% of label", label=label)
        )
        looked_at = contents[:10] if figure(about_mean, "stage") == 1 else contents
        relative = looked_at / looked_at.mean() * 100 - 100
        assert figure(about_mean, "mean_percent") == pytest.approx(looked_at.mean(), rel=CLOSE)
        assert figure(about_mean, "sd_percent") == pytest.approx(looked_at.std(), rel=CLOSE)
        if clear_of(relative, 15, 25):
            assert figure(about_mean, "beyond_inner") == (relative.abs() > 15).sum()
            assert figure(about_mean, "beyond_outer") == (relative.abs() > 25).sum()

        against_label = judge_dosage_units(
            stages, to_percent=list, rule=dosage_rule, active="drug", target_percent=Decimal(100), route=Route.CONTENT
        )
        looked_at = contents[:10] if figure(against_label, "stage") == 1 else contents
        mean, sd = looked_at.mean(), np.std(looked_at, ddof=1)
        reference = np.clip(mean, 98.5, 101.5)
        value = abs(reference - mean) + (2.4 if len(looked_at) == 10 else 2.0) * sd
        assert figure(against_label, "acceptance_value") == pytest.approx(value, rel=CLOSE)
        assert figure(against_label, "reference_percent") == pytest.approx(reference, rel=CLOSE)
        assert figure(against_label, "single_low_percent") == pytest.approx(0.75 * reference, rel=CLOSE)


def test_masses_times_the_assay_over_their_mean() -> None:
    rule = load_rule("harmonised-udu")
    assert isinstance(rule, DosageUnitRule)
    for seed in range(BATCHES // 6):
        units, masses = draw(2000 + seed, n=10, centre=0.35, spread=0.04, decimals=4)

        def to_percent(some: object, units: tuple[Measured, ...] = units) -> list[Measured]:
            average = sum((unit.value for unit in units), Fraction(0)) / len(units)
            return [Measured(unit=unit.unit, value=unit.value * Fraction("98.7") / average) for unit in units]

        result = judge_dosage_units(
            Stages(first=units),
            to_percent=to_percent,
            rule=rule,
            active="drug",
            target_percent=Decimal(100),
            route=Route.MASS,
        )
        contents = masses * 98.7 / masses.mean()
        assert figure(result, "acceptance_value") == pytest.approx(2.4 * contents.std(), rel=CLOSE)
