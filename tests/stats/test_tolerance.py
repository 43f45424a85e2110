"""Normal tolerance factors against printed tables and other programs: see tests/reference/tolerance/SOURCE.md."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from qc.stats.increasing_root import increasing_root
from qc.stats.tolerance import half_width, two_sided_factor

FACTORS: list[dict[str, Any]] = json.loads(
    (Path(__file__).parents[1] / "reference" / "tolerance" / "factors.json").read_text()
)["factors"]


def rows(*names: str) -> list[Any]:
    """Every (inputs, expected figure) that carries one of the names."""
    return [
        pytest.param(row["inputs"], row["expected"][name], id=f"{row['id']}-{name}")
        for row in FACTORS
        for name in names
        if name in row["expected"]
    ]


def two_sided(inputs: dict[str, float]) -> float:
    return two_sided_factor(int(inputs["n"]), coverage=inputs["coverage"], confidence=inputs["confidence"])


@pytest.mark.parametrize(("inputs", "printed"), rows("k_printed_rounded_up"))
def test_two_sided_factor_equals_iso_16269_6_annex_f_rounded_up(inputs: dict[str, float], printed: float) -> None:
    assert math.ceil(two_sided(inputs) * 10_000) / 10_000 == pytest.approx(printed, abs=1e-9)


@pytest.mark.parametrize(("inputs", "printed"), rows("k_two_sided_printed_MeekerHahnEscobar_J5b"))
def test_two_sided_factor_equals_meeker_hahn_escobar_table_j5b(inputs: dict[str, float], printed: float) -> None:
    assert two_sided(inputs) == pytest.approx(printed, abs=5e-4)


@pytest.mark.parametrize(("inputs", "theirs"), rows("k_two_sided_exact", "k2_exact"))
def test_two_sided_factor_agrees_with_r_and_another_library(inputs: dict[str, float], theirs: float) -> None:
    assert two_sided(inputs) == pytest.approx(theirs, abs=1e-7)


def test_factors_fall_with_the_number_of_units_toward_the_normal_quantile() -> None:
    factors = [two_sided_factor(n, coverage=0.95, confidence=0.95) for n in (2, 3, 5, 10, 30, 100, 900)]
    assert factors == sorted(factors, reverse=True)
    assert factors[-1] > 1.96


@pytest.mark.parametrize(
    ("n", "coverage", "confidence", "message"),
    [
        (1, 0.9, 0.9, "a tolerance interval from 1 units; at least 2 are needed"),
        (5, 1.0, 0.9, "a coverage of 1.0; a number between 0 and 1 is needed"),
        (5, 0.9, 0.0, "a confidence of 0.0; a number between 0 and 1 is needed"),
    ],
)
def test_an_impossible_interval_is_refused(n: int, coverage: float, confidence: float, message: str) -> None:
    with pytest.raises(ValueError, match=f"^{message}$"):
        two_sided_factor(n, coverage=coverage, confidence=confidence)


def test_a_function_that_never_rises_has_no_root() -> None:
    with pytest.raises(ValueError, match=r"^the function does not become positive$"):
        increasing_root(lambda _: -1.0, start=1.0)


@given(offset=st.floats(-4, 4), share=st.floats(0.01, 0.9999))
def test_an_interval_off_the_true_mean_holds_the_share(offset: float, share: float) -> None:
    begin = float(stats.norm.ppf(0.5 * (1 + share)))
    (found,) = half_width(np.array([offset]), share=share, begin=begin, step=1e-13)
    held = stats.norm.cdf(offset + found) - stats.norm.cdf(offset - found)
    assert held == pytest.approx(share, abs=1e-12)
