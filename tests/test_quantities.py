"""Exact numbers against certified data, printed roundings, and what arithmetic promises."""

from __future__ import annotations

import tomllib
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc.quantities import (
    deviation_percent,
    mean,
    root_at_most,
    rounded,
    sample_variance,
    shown_decimal,
    square_root,
)

REFERENCE = Path(__file__).parent / "reference" / "acceptance"
decimals = st.decimals(min_value=-1000, max_value=1000, places=4)


def load(name: str) -> dict[str, Any]:
    return tomllib.loads((REFERENCE / f"{name}.toml").read_text(encoding="utf-8"), parse_float=Decimal)


def certified_data(name: str) -> list[Decimal]:
    """The observations of a set; NumAcc3 and NumAcc4 are given by rule."""
    record = load(f"nist/{name}")
    if "data" in record:
        return [Decimal(value) for value in record["data"]]
    start = {"numacc3": Decimal("1000000"), "numacc4": Decimal("10000000")}[name]
    return [start + Decimal("0.2"), *[start + Decimal("0.1"), start + Decimal("0.3")] * 500]


@pytest.mark.parametrize("name", ["lew", "lottery", "mavro", "numacc3", "numacc4"])
class TestCertifiedUnivariateData:
    """NIST Statistical Reference Datasets, univariate summary statistics: certified mean and SD, 15 digits."""

    def test_mean_agrees_to_the_digits_certified(self, name: str) -> None:
        certified = Decimal(load(f"nist/{name}")["mean"])
        places = -int(certified.as_tuple().exponent)
        assert rounded(mean(certified_data(name)), decimals=places) == certified

    def test_sd_agrees_to_the_last_digit_of_a_float(self, name: str) -> None:
        certified = float(load(f"nist/{name}")["sd"])
        assert square_root(sample_variance(certified_data(name))) == pytest.approx(certified, rel=1e-14)


class TestCertifiedAnalysisOfVariance:
    """NIST Statistical Reference Datasets, analysis of variance, SiRstv: sums of squares by means and variances."""

    def test_sums_of_squares_within_and_between_agree(self) -> None:
        record = load("nist/sirstv")
        groups = record["groups"]
        within = sum((sample_variance(group) * (len(group) - 1) for group in groups), Fraction(0))
        between = sample_variance([mean(group) for group in groups]) * (len(groups) - 1) * len(groups[0])
        assert within == Fraction(Decimal(record["within_sum_of_squares"]))
        assert between == Fraction(Decimal(record["between_sum_of_squares"]))
        residual_sd = square_root(within / (25 - 5))
        assert residual_sd == pytest.approx(float(record["residual_sd"]), rel=1e-14)


class TestPrintedRounding:
    """USP General Notices 7.20: look at one digit only, a five goes up, compare after rounding."""

    RECORD = load("rounding-illustration")

    @pytest.mark.parametrize("row", range(9))
    def test_each_row_of_the_illustration(self, row: int) -> None:
        inputs, printed = self.RECORD["inputs"], self.RECORD["printed"]
        result = rounded(inputs["unrounded"][row], decimals=inputs["decimals"][row])
        assert result == printed["rounded"][row]
        limit = Decimal(inputs["limits"][row][2:])
        conforms = result >= limit if inputs["limits"][row].startswith(">=") else result <= limit
        assert conforms is printed["conforms"][row]

    def test_binary_rounding_gets_a_row_wrong_so_the_rows_can_fail(self) -> None:
        assert round(0.015, 2) != 0.02

    def test_a_negative_five_goes_away_from_zero(self) -> None:
        assert rounded(Decimal("-97.95"), decimals=1) == Decimal("-98.0")

    def test_edqm_example_of_two_figures(self) -> None:
        # EDQM answer on rounding to the significant figures of the limit: 0.145 becomes 0.15 and 0.284 becomes 0.28.
        assert rounded(Decimal("0.145"), decimals=2) == Decimal("0.15")
        assert rounded(Decimal("0.284"), decimals=2) == Decimal("0.28")


class TestAsTyped:
    """A cell's number is the shortest decimal of fifteen digits, so that 2.1 typed is 2.1 judged."""

    @given(st.decimals(min_value=Decimal("0.0001"), max_value=Decimal("99999"), places=4))
    def test_a_typed_decimal_survives_the_binary_cell(self, typed: Decimal) -> None:
        assert shown_decimal(float(typed)) == typed

    @pytest.mark.parametrize("number", [float("nan"), float("inf"), float("-inf")])
    def test_what_is_no_number_is_refused(self, number: float) -> None:
        with pytest.raises(ValueError, match=r"^-?(nan|inf) is not a finite number$"):
            shown_decimal(number)


def test_exactly_five_percent_is_not_more_than_five_percent() -> None:
    centre = mean([Decimal("2.000")] * 19 + [Decimal("2.000")])
    assert deviation_percent(Decimal("2.100"), centre=centre) == 5
    # The same comparison on binary floats says "more than 5 %": the reason for exact numbers.
    assert (2.1 - 2.0) / 2.0 * 100 > 5


@given(st.lists(decimals, min_size=2, max_size=30))
def test_mean_and_variance_do_not_depend_on_the_order(values: list[Decimal]) -> None:
    assert mean(values) == mean(values[::-1])
    assert sample_variance(values) == sample_variance(values[::-1])


@given(st.lists(decimals, min_size=2, max_size=30), decimals)
def test_a_shift_moves_the_mean_and_leaves_the_variance(values: list[Decimal], shift: Decimal) -> None:
    shifted = [value + shift for value in values]
    assert mean(shifted) == mean(values) + Fraction(shift)
    assert sample_variance(shifted) == sample_variance(values)


@given(st.fractions(min_value=0, max_value=1000, max_denominator=10**6))
def test_a_root_compared_with_itself_squared_is_at_most_it(root: Fraction) -> None:
    squared = root**2
    assert root_at_most(squared, limit=root)
    assert not root_at_most(squared + Fraction(1, 10**30), limit=root)
    assert square_root(squared) == float(root)


def test_a_negative_limit_is_never_met() -> None:
    assert not root_at_most(Fraction(0), limit=Fraction(-1))


def test_no_values_have_no_mean_and_one_has_no_spread() -> None:
    with pytest.raises(ValueError, match=r"^the mean of no values$"):
        mean([])
    with pytest.raises(ValueError, match=r"^the spread of fewer than two values$"):
        sample_variance([Decimal(2)])


def test_a_number_of_many_digits_is_rounded_without_a_limit_of_precision() -> None:
    assert rounded(Decimal("4006381333931.5"), decimals=20) == Decimal("4006381333931.5")
    assert rounded(Decimal("-1e40"), decimals=2) == Decimal("-1e40")
    assert str(rounded(Decimal("-0.001"), decimals=2)) == "0.00"
