"""The units left: how many, how many of them lie between those measured, how many outside; against every order."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace
from scipy import stats

from qc.assurance.remaining import (
    known_size,
    left_between,
    outside_at_most,
    share_between,
    share_outside_at_most,
    units_left,
)
from qc.batch import Assay, Batch, Part, Unit

LIMIT = Fraction(15)


def batch(*, poured: int | None = 24, listed: int = 24, weighed: int = 24, assayed: int = 10) -> Batch:
    return Batch(
        units=tuple(
            Unit(name=str(place), mass_g=Decimal(2) if place <= weighed else None) for place in range(1, listed + 1)
        ),
        assays=tuple(
            Assay(unit=str(place), active="A", content_percent=Decimal(99)) for place in range(1, assayed + 1)
        ),
        units_poured=poured,
    )


class TestWhichUnitsAreLeft:
    def test_an_assay_uses_a_unit_up_and_a_weighing_does_not(self) -> None:
        assert units_left(batch(), by_mass=False) == 14

    def test_a_mass_test_leaves_the_units_that_are_not_weighed(self) -> None:
        assert units_left(batch(weighed=20), by_mass=True) == 4
        lost = batch(weighed=20)
        units = (*lost.units[:-1], replace(lost.units[-1], note="fell on the floor"))
        assert units_left(replace(lost, units=units), by_mass=True) == 3
        assert units_left(batch(), by_mass=True) == 0

    def test_a_unit_assayed_without_being_weighed_is_not_left_for_the_mass_test(self) -> None:
        some = replace(batch(weighed=20), assays=(Assay(unit="24", active="A", content_percent=Decimal(99)),))
        assert units_left(some, by_mass=True) == 3

    def test_duplicates_parts_and_a_second_active_use_a_unit_up_once(self) -> None:
        some = batch(assayed=3)
        more = (
            Assay(unit="1", active="A", content_percent=Decimal(98)),
            Assay(unit="2", active="B", content_percent=Decimal(98)),
            Assay(unit="4", active="B", content_percent=Decimal(98)),
            Assay(unit="5", active="A", part=Part.TIP, content_percent=Decimal(98)),
            Assay(unit="5", active="A", part=Part.END, content_percent=Decimal(98)),
        )
        assert units_left(replace(some, assays=(*some.assays, *more)), by_mass=False) == 24 - 5

    def test_units_obtained_count_before_units_poured(self) -> None:
        assert known_size(replace(batch(poured=26), units_obtained=25)) == 25
        assert known_size(batch(poured=26)) == 26

    def test_units_listed_count_where_more_are_listed_than_poured(self) -> None:
        assert known_size(batch(poured=20)) == 24

    def test_a_batch_whose_size_is_not_entered_has_no_known_rest(self) -> None:
        assert known_size(batch(poured=None)) is None
        assert units_left(batch(poured=None), by_mass=False) is None


class TestBetweenTheLeastAndTheMost:
    @pytest.mark.parametrize(("n", "left"), [(2, 3), (3, 9), (4, 6), (5, 6), (6, 4), (8, 3)])
    def test_so_many_units_lie_between_in_all_orders_but_one_in_twenty(self, n: int, left: int) -> None:
        draws = list(combinations(range(n + left), n))
        between = [draw[-1] - draw[0] + 1 - n for draw in draws]
        shares = {least: sum(one >= least for one in between) / len(draws) for least in range(left + 1)}
        assert left_between(n, left=left, confidence=0.95) == (
            max(least for least, share in shares.items() if share >= 0.95 - 1e-12) or None
        )

    @pytest.mark.parametrize(
        ("n", "coverage", "confidence"),
        [(46, 0.90, 0.95), (93, 0.95, 0.95), (473, 0.99, 0.95), (77, 0.95, 0.90), (38, 0.90, 0.90), (130, 0.95, 0.99)],
    )
    def test_the_least_number_for_a_share_is_that_of_the_printed_tables(
        self, n: int, coverage: float, confidence: float
    ) -> None:
        """Sample sizes for two-sided distribution-free tolerance intervals, Meeker, Hahn & Escobar (2017), Table J.13,
        and ISO 16269-6:2014, clause on unknown distributions; from memory."""
        assert share_between(n - 1, confidence=confidence) < coverage <= share_between(n, confidence=confidence)

    @pytest.mark.parametrize(
        ("printed", "coverage"), [(0.993, 0.75), (0.729, 0.90), (0.358, 0.95), (0.129, 0.975), (0.026, 0.99)]
    )
    def test_the_confidence_of_twenty_five_is_that_printed_by_nist(self, printed: float, coverage: float) -> None:
        """NIST/SEMATECH e-Handbook 7.2.6.4, largest and smallest of N = 25, after Hahn & Meeker, page 91; seen."""
        below, above = (share_between(25, confidence=printed + half) for half in (0.0005, -0.0005))
        assert below <= coverage <= above

    @given(st.integers(2, 200), st.sampled_from([0.8, 0.95, 0.99]))
    def test_the_share_is_the_quantile_of_the_beta_distribution(self, n: int, confidence: float) -> None:
        theirs = stats.beta.ppf(1 - confidence, n - 1, 2)
        assert share_between(n, confidence=confidence) == pytest.approx(theirs, abs=1e-9)

    def test_of_very_many_units_left_the_share_is_that_of_the_pour(self) -> None:
        within = left_between(30, left=20_000, confidence=0.95)
        assert within is not None
        assert within / 20_000 == pytest.approx(share_between(30, confidence=0.95), abs=0.002)


class TestUnitsOutside:
    @pytest.mark.parametrize(
        ("percent", "found"),
        [("84.999999999999999999", 8), ("85", 4), ("100", 4), ("115", 4), ("115.000000000000000001", 8)],
    )
    def test_a_unit_at_the_limit_is_inside(self, percent: str, found: int) -> None:
        values = [Fraction(percent), *[Fraction(100)] * 9]
        assert outside_at_most(values, limit=LIMIT, whole=24, confidence=0.95) == found

    @given(st.data(), st.integers(3, 60))
    def test_the_bound_is_the_hypergeometric_one_or_says_nothing(self, data: st.DataObject, whole: int) -> None:
        n = data.draw(st.integers(2, whole))
        found = data.draw(st.integers(0, n))
        values = [Fraction(0)] * found + [Fraction(100)] * (n - found)
        likely = [
            count
            for count in range(found, whole - n + found + 1)
            if stats.hypergeom.cdf(found, whole, count, n) > 0.05 + 1e-12
        ]
        bound = max(likely, default=found)
        nothing = bound == whole - n + found and n < whole
        assert outside_at_most(values, limit=LIMIT, whole=whole, confidence=0.95) == (None if nothing else bound)

    @pytest.mark.parametrize("bad", [0, 1, 3, 6, 12, 23, 24])
    def test_the_number_is_bounded_as_often_as_stated_whatever_the_spread(self, bad: int) -> None:
        """A batch of which some units hold nothing at all, as far from normal as can be: every count of a sample."""
        kept = 0.0
        for hits in range(max(0, bad - 14), min(bad, 10) + 1):
            drawn = [Fraction(0 if place < hits else 100) for place in range(10)]
            bound = outside_at_most(drawn, limit=LIMIT, whole=24, confidence=0.95)
            kept += float(stats.hypergeom.pmf(hits, 24, bad, 10)) * (bound is None or bound >= bad)
        assert kept >= 0.95

    def test_the_share_is_that_of_clopper_and_pearson(self) -> None:
        values = [Fraction(0), *[Fraction(100)] * 9]
        theirs = stats.binomtest(1, 10, alternative="less").proportion_ci(0.95, method="exact").high
        assert share_outside_at_most(values, limit=LIMIT, confidence=0.95) == pytest.approx(theirs, abs=1e-9)
