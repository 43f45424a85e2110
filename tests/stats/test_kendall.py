"""Kendall's S and the median slope against tables and open data (tests/reference/trend/SOURCE.md)."""

from __future__ import annotations

import json
from fractions import Fraction
from itertools import permutations
from pathlib import Path

import pytest

from qc.stats.kendall import inversion_counts, median_slope, score, tail

REFERENCE = Path(__file__).parent.parent / "reference/trend"
TABLES = json.loads((REFERENCE / "kendall.json").read_text())
NILE = json.loads((REFERENCE / "nile.json").read_text())


@pytest.mark.parametrize("name", sorted(TABLES))
def test_exact_tail_agrees_with_the_table(name: str) -> None:
    counts = inversion_counts(TABLES[name]["tie_groups"])
    most, total = len(counts) - 1, sum(counts)
    for s, chance in TABLES[name]["upper_tail"].items():
        found = sum(count for k, count in enumerate(counts) if most - 2 * k >= int(s)) / total
        assert found == pytest.approx(chance, rel=1e-9)


@pytest.mark.parametrize("values", [[1, 2, 3, 4, 5], [2, 1, 1, 3, 2, 5], [4, 4, 4, 1]])
def test_exact_p_equals_full_enumeration(values: list[float]) -> None:
    every = [abs(score(order)) for order in permutations(values)]
    assert tail(values) == Fraction(sum(s >= abs(score(values)) for s in every), len(every))


@pytest.mark.parametrize("name", sorted(NILE))
def test_nile_flows_give_the_values_of_other_programs(name: str) -> None:
    case = NILE[name]
    assert score(case["values"]) == case["S"]
    assert float(tail(case["values"])) == pytest.approx(case["p_exact_tied"], rel=1e-7)
    slope = median_slope(range(len(case["values"])), case["values"])
    assert slope is not None
    assert slope.slope == pytest.approx(case["sen_slope"], rel=1e-7)
    assert [slope.low, slope.high] == pytest.approx(case["sen_ci95_gilbert"], rel=1e-7)


@pytest.mark.parametrize("name", sorted(NILE))
def test_a_general_purpose_trend_package_agrees(name: str) -> None:
    other = pytest.importorskip("pymannkendall", reason="second engine, not in every package index")
    found = other.original_test(NILE[name]["values"])
    slope = median_slope(range(len(NILE[name]["values"])), NILE[name]["values"])
    assert slope is not None
    assert found.s == score(NILE[name]["values"])
    assert found.slope == pytest.approx(slope.slope)


def test_no_slope_where_all_were_poured_together() -> None:
    assert median_slope([1, 1, 1], [2.0, 3.0, 4.0]) is None
