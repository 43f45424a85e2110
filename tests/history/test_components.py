"""Variance components against printed and independently computed ones."""

from __future__ import annotations

from statistics import fmean
from typing import Any

import numpy as np
import pytest
from published import ITEMS

from qc.history.cavities import UnitsOfBatch, mass_components
from qc.history.components import components
from qc.history.figures import BatchFigures, WithinBatch


def one_way(groups: Any) -> tuple[list[float], dict[str, list[str]]]:
    rows = list(groups.values()) if isinstance(groups, dict) else groups
    return [value for row in rows for value in row], {"batch": [str(i) for i, row in enumerate(rows) for _ in row]}


def test_batches_without_a_planned_mass_differ_from_the_mean_of_all() -> None:
    """Twelve batches whose means have an SD of 1.4 % of their mean, units of 0.5 %, by the one-way analysis above."""
    draw = np.random.default_rng(3)
    levels = 100.0 + 1.4 * draw.standard_normal(12)
    groups = {
        str(at): [float(level + 0.5 * one) for one in draw.standard_normal(20)] for at, level in enumerate(levels)
    }
    batches = [
        UnitsOfBatch(
            batch=BatchFigures(
                result_sha256=name,
                verdict="complies",
                mass=WithinBatch(n=20, mean=0.02 * fmean(masses), sd=0.01),
            ),
            masses=tuple(("", "", 100.0 * one / fmean(masses)) for one in masses),
            contents={},
        )
        for name, masses in groups.items()
    ]
    found, wanted = mass_components(batches), components(*one_way(groups))
    assert found is not None
    assert found.variances["batch"] == pytest.approx(wanted.variances["batch"], rel=0.02)
    assert found.residual == pytest.approx(wanted.residual, rel=0.02)


@pytest.mark.parametrize(
    ("id", "between", "within"),
    [
        ("vc-dyestuff", "reml_between", "reml_within"),
        ("vc-dyestuff2", "reml_between", "reml_within"),
        ("vc-kuehl-5.1", "between", "within"),
        ("vc-unbalanced", "reml_between", "reml_within"),
    ],
)
def test_one_factor_gives_the_published_components(id: str, between: str, within: str) -> None:
    expected = ITEMS[id]["expected"]
    found = components(*one_way(ITEMS[id]["inputs"]["groups"]))
    assert found.variances["batch"] == pytest.approx(expected[between], rel=1e-6, abs=1e-9)
    assert found.residual == pytest.approx(expected[within], rel=1e-6)
    if "reml_criterion" in expected:
        assert found.criterion == pytest.approx(expected["reml_criterion"], abs=1e-6)
    if "se_mean" in expected:
        assert found.mean_se == pytest.approx(expected["se_mean"], rel=1e-6)


def test_two_crossed_factors_give_the_published_components() -> None:
    given, expected = ITEMS["vc-penicillin"]["inputs"]["plates_by_samples"], ITEMS["vc-penicillin"]["expected"]
    plates = [str(i) for i, row in enumerate(given) for _ in row]
    samples = [str(j) for row in given for j, _ in enumerate(row)]
    found = components([value for row in given for value in row], {"plate": plates, "sample": samples})
    assert found.variances == pytest.approx({"plate": expected["plate"], "sample": expected["sample"]}, rel=1e-5)
    assert found.residual == pytest.approx(expected["residual"], rel=1e-5)
    assert found.mean == pytest.approx(expected["mean"])


def test_nested_factors_give_the_components_of_their_mean_squares() -> None:
    """Balanced and all positive, REML is the analysis of variance: Davies 1967 p. 107 has 16.28, 0.329 and 0.747."""
    expected = ITEMS["vc-davies-nested"]["expected"]
    draw = np.random.default_rng(1)
    sizes = (9, 3, 2)
    batch, sample, unit = (draw.normal(0.0, 1.0, sizes[: k + 1]) for k in range(3))
    # Made to have the printed mean squares exactly: 99.110, 1.406 and 0.747.
    batch -= batch.mean()
    sample -= sample.mean(axis=1, keepdims=True)
    unit -= unit.mean(axis=2, keepdims=True)
    batch *= np.sqrt(99.110 / (6 * (batch**2).sum() / 8))
    sample *= np.sqrt(1.406 / (2 * (sample**2).sum() / 18))
    unit *= np.sqrt(0.747 / ((unit**2).sum() / 27))
    values = (batch[:, None, None] + sample[:, :, None] + unit).ravel()
    places = [(i, j) for i in range(9) for j in range(3) for _ in range(2)]
    found = components(list(values), {"batch": [str(i) for i, _ in places], "sample": [f"{i}.{j}" for i, j in places]})
    assert found.variances == pytest.approx({"batch": expected["batch"], "sample": expected["sample"]}, rel=2e-4)
    assert found.residual == pytest.approx(expected["residual"], rel=2e-4)


def test_levels_are_drawn_towards_the_mean_by_what_their_data_leave_open() -> None:
    values, factors = one_way(ITEMS["vc-dyestuff"]["inputs"]["groups"])
    found = components(values, factors)
    share = found.variances["batch"] / (found.variances["batch"] + found.residual / 5)
    for level in found.levels["batch"]:
        own = [value for value, batch in zip(values, factors["batch"], strict=True) if batch == level.name]
        assert level.effect == pytest.approx(share * (np.mean(own) - found.mean), rel=1e-6)
        assert level.n == 5


def test_any_factors_give_the_components_of_a_second_engine() -> None:
    """Crossed and nested factors, unequal numbers: the likelihood of the contrasts by scipy, searched for its top."""
    from scipy.linalg import null_space
    from scipy.optimize import minimize
    from scipy.stats import multivariate_normal

    draw = np.random.default_rng(11)
    places = [(batch, cavity) for batch in range(6) for cavity in range(4) for _ in range(1 + (batch + cavity) % 2)]
    factors = {
        "batch": [str(batch) for batch, _ in places],
        "cavity": [str(cavity) for _, cavity in places],
        "lot": [str(batch // 2) for batch, _ in places],
    }
    of = {name: {level: draw.normal(0.0, 1.5) for level in sorted(set(levels))} for name, levels in factors.items()}
    values = [100.0 + draw.normal() + sum(of[name][factors[name][k]] for name in of) for k in range(len(places))]
    contrasts = null_space(np.ones((1, len(values))))
    alike = [np.equal.outer(levels, levels).astype(float) for levels in map(np.array, factors.values())]

    def criterion(logs: Any) -> float:
        *parts, residual = np.exp(logs)
        spread = residual * np.eye(len(values)) + sum(part * same for part, same in zip(parts, alike, strict=True))
        told = multivariate_normal(cov=contrasts.T @ spread @ contrasts).logpdf(contrasts.T @ np.array(values))
        return float(np.log(len(values)) - 2.0 * told)

    top = minimize(criterion, np.zeros(4), method="Nelder-Mead", options={"xatol": 1e-5, "fatol": 1e-9})
    found = components(values, factors)
    assert found.criterion == pytest.approx(top.fun, abs=1e-6)
    assert [*found.variances.values(), found.residual] == pytest.approx(list(np.exp(top.x)), rel=2e-3)


@pytest.mark.parametrize(("batches", "seed"), [(8, 18), (8, 134), (8, 144), (12, 141)])
def test_cavities_that_do_not_differ_give_components_wherever_the_search_leaps(batches: int, seed: int) -> None:
    """In one product of a hundred it tried an SD a thousand million times that of the units."""
    draw, count = np.random.Generator(np.random.Philox(seed)), 12 * batches
    values = 100 + np.repeat(0.5 * draw.standard_normal(batches), 12) + draw.standard_normal(count)
    factors = {"batch": [str(at // 12) for at in range(count)], "cavity": [str(at % 6) for at in range(count)]}
    found = components(values.tolist(), factors)
    assert found.residual == pytest.approx(1.0, abs=0.5)
    assert found.variances["cavity"] < 0.2


def test_values_that_do_not_differ_have_no_spread_to_part() -> None:
    found = components([100.0] * 30, {"batch": [str(at // 6) for at in range(30)]})
    assert found.variances == {"batch": 0.0}
    assert found.residual < 1e-15
