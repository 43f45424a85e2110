"""Means and standard deviations against certified values (NIST StRD; see tests/reference/nist/SOURCE.md)."""

from __future__ import annotations

import json
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest

from qc.quantities import mean, sample_variance, square_root

DATA = (Path(__file__).parent.parent / "reference/nist/univariate.json").read_text()
SETS = json.loads(
    (Path(__file__).parent.parent / "reference/nist/univariate.json").read_text(),
    parse_float=Decimal,
    parse_int=Decimal,
)


@pytest.mark.parametrize("name", sorted(SETS))
def test_certified_mean_and_sd_are_met_to_all_printed_digits(name: str) -> None:
    data = SETS[name]["data"]
    assert float(mean(data)) == pytest.approx(float(SETS[name]["mean"]), rel=1e-14)
    assert square_root(sample_variance(data)) == pytest.approx(float(SETS[name]["sd"]), rel=1e-14)


@pytest.mark.parametrize("first", ["1000000.2", "10000000.2"])
def test_sd_of_nearly_equal_large_numbers_is_exact(first: str) -> None:
    middle = Decimal(first)
    data = [middle, *([middle - Decimal("0.1"), middle + Decimal("0.1")] * 500)]
    assert mean(data) == Fraction(middle)
    assert square_root(sample_variance(data)) == 0.1
