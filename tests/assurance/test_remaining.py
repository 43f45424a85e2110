"""What a judged batch is told about the units that are left: counts, interval, number outside, and the words."""

from __future__ import annotations

import math
from decimal import Decimal
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace
from scipy import stats

from qc.assurance.assure import assure_batch
from qc.assurance.joint_region import joint_region
from qc.assurance.remaining import (
    CountedOutside,
    contents_outside,
    known_size,
    masses_outside,
    units_left,
    with_the_rest,
)
from qc.batch import Assay, Batch, Part, Unit
from qc.results import Assurance, Outside, TestResult, Verdict, message
from qc.rules.kinds.mass.record import MassRule
from qc.rules.rule_books import load_rule
from qc.say.messages import paragraph, words

RULES = {id: load_rule(id) for id in ("ph-eur-2.9.5", "ph-eur-2.9.6-b", "harmonised-udu", "chp-0107")}
BARE = Assurance(
    test="dosage-unit-uniformity",
    active="A",
    confidence=0.95,
    pass_chance_low=0.5,
    coverage=0.95,
    tolerance_low_percent=90.0,
    tolerance_high_percent=110.0,
    said=("It is so.",),
)


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


def told(
    *,
    left: int,
    whole: int | None = 24,
    mean: float = 100.0,
    sd: float = 3.0,
    n: int = 10,
    by_mass: bool = False,
    counted: CountedOutside | None = None,
    confidence: float = 0.95,
) -> Assurance:
    return with_the_rest(
        replace(BARE, confidence=confidence),
        region=joint_region(mean, sd, n=n, confidence=confidence),
        batch=_with_left(left, whole=whole, by_mass=by_mass),
        by_mass=by_mass,
        scale="label",
        counted=counted,
    )


def _with_left(left: int, *, whole: int | None, by_mass: bool) -> Batch:
    measured = 0 if whole is None else whole - left
    return batch(
        poured=whole,
        listed=measured,
        weighed=measured if by_mass else 0,
        assayed=0 if by_mass else measured,
    )


def outside(found: int = 0, *, n: int = 10, known: int | None = None, measured: int | None = None) -> CountedOutside:
    return CountedOutside(
        limits=message("assurance.outside_range", low=85.0, high=115.0),
        found=found,
        n=n,
        known=found if known is None else known,
        measured=n if measured is None else measured,
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
        assert units_left(batch(poured=None), by_mass=False) is None


class TestSentence:
    def test_of_few_units_left_it_speaks_of_all(self) -> None:
        found = told(left=14, counted=outside())
        assert paragraph(found.said) == (
            "It is so. Of the 14 units left, all lie between 88.2 and 111.8 % of label with 95 % confidence if their "
            "spread is normal; without assuming that, not more than 4 of the 24 are outside 85 to 115 %."
        )
        assert (found.units_left, found.left_within, found.outside_at_most) == (14, 14, 4)

    @pytest.mark.parametrize(
        ("left", "within"),
        [(1, 1), (19, 19), (20, 19), (21, 20), (39, 38), (40, 38), (41, 39), (140, 133), (1000, 950)],
    )
    def test_the_units_promised_are_95_percent_rounded_up(self, left: int, within: int) -> None:
        assert told(left=left, whole=left + 10).left_within == within

    def test_of_many_units_left_it_speaks_of_a_number_of_them(self) -> None:
        found = told(left=30, whole=40)
        assert paragraph(found.said) == (
            "It is so. Of the 30 units left, at least 29 lie between 89.3 and 110.7 % of label with 95 % confidence "
            "if their spread is normal."
        )

    def test_one_unit_left_lies_in_the_prediction_interval(self) -> None:
        found = told(left=1, whole=11, counted=outside())
        # Textbook formula for one further unit, for example Meeker, Hahn & Escobar (2017), section 4.7 (from memory).
        reach = stats.t.ppf(0.975, 9) * 3.0 * math.sqrt(1 + 1 / 10)
        assert found.left_low_percent == pytest.approx(100 - reach, rel=1e-6)
        assert found.left_high_percent == pytest.approx(100 + reach, rel=1e-6)
        assert paragraph(found.said) == (
            "It is so. The one unit left lies between 92.8 and 107.2 % of label with 95 % confidence if the spread is "
            "normal; without assuming that, not more than 1 of the 11 is outside 85 to 115 %."
        )

    def test_units_not_weighed_are_named_so(self) -> None:
        found = told(left=4, by_mass=True)
        assert paragraph(found.said).startswith("It is so. Of the 4 units left unweighed, all lie between ")

    def test_a_batch_assayed_whole_has_nothing_left(self) -> None:
        found = told(left=0, counted=outside(1, n=24))
        assert paragraph(found.said) == "It is so. All 24 units were assayed, so none is left."
        assert (found.units_left, found.left_within, found.outside_at_most) == (0, None, None)
        assert (found.left_low_percent, found.left_high_percent) == (None, None)

    def test_a_batch_weighed_whole_has_nothing_left_to_say(self) -> None:
        assert paragraph(told(left=0, by_mass=True).said) == "It is so. All 24 units were weighed, so none is left."

    def test_a_batch_of_unknown_size_is_said_to_be_one(self) -> None:
        found = told(left=14, whole=None, counted=outside())
        assert paragraph(found.said) == (
            "It is so. The number of units poured was not entered, so nothing is said of those left."
        )
        assert (found.units_left, found.left_within, found.outside_at_most) == (None, None, None)

    def test_without_a_spread_only_the_count_is_bounded(self) -> None:
        found = told(left=14, sd=0.0, counted=outside())
        assert paragraph(found.said) == (
            "It is so. With 95 % confidence and without assuming a normal spread, not more than 4 of the 24 are "
            "outside 85 to 115 %."
        )
        assert (found.units_left, found.left_within, found.outside_at_most) == (14, None, 4)
        assert paragraph(told(left=14, sd=0.0).said) == "It is so."

    def test_no_unit_outside_is_said_in_words(self) -> None:
        found = told(left=1, whole=24, n=23, counted=outside(n=23))
        assert found.outside_at_most == 0
        assert paragraph(found.said).endswith("none of the 24 is outside 85 to 115 %.")

    @given(st.floats(60, 140), st.floats(0.1, 30), st.integers(2, 30), st.integers(1, 60))
    def test_the_interval_is_rounded_outward_and_never_below_nought(
        self, mean: float, sd: float, n: int, left: int
    ) -> None:
        found = told(left=left, whole=left + n, mean=mean, sd=sd, n=n)
        words = paragraph(found.said).partition(" between ")[2].split()
        assert found.left_low_percent is not None
        assert found.left_high_percent is not None
        assert 0.0 <= float(words[0]) <= found.left_low_percent < found.left_high_percent <= float(words[2])
        assert found.left_low_percent - float(words[0]) < 0.1 + 1e-9
        assert float(words[2]) - found.left_high_percent < 0.1 + 1e-9


class TestUnitsOutside:
    @pytest.mark.parametrize(
        ("percent", "found"),
        [("84.999999999999999999", 1), ("85", 0), ("100", 0), ("115", 0), ("115.000000000000000001", 1)],
    )
    def test_a_unit_at_the_limit_is_inside(self, percent: str, found: int) -> None:
        marked = contents_outside({"1": Fraction(percent)}, sample=("1",), limit=Fraction(15))
        assert marked == outside(found, n=1)

    def test_units_assayed_beyond_the_sample_are_known_and_not_drawn(self) -> None:
        contents = {"1": Fraction(99), "2": Fraction(120), "3": Fraction(80), "4": Fraction(101)}
        marked = contents_outside(contents, sample=("1", "2"), limit=Fraction(15))
        assert marked == outside(1, n=2, known=2, measured=4)

    def test_a_sample_without_contents_marks_nothing(self) -> None:
        assert contents_outside({}, sample=("1",), limit=Fraction(15)) is None
        assert contents_outside({"1": Fraction(99)}, sample=(), limit=Fraction(15)) is None

    @given(st.data(), st.integers(3, 60))
    def test_the_bound_is_the_hypergeometric_one(self, data: st.DataObject, whole: int) -> None:
        n = data.draw(st.integers(2, whole - 1))
        found = data.draw(st.integers(0, n))
        bound = told(left=whole - n, whole=whole, n=n, counted=outside(found, n=n)).outside_at_most
        allowed = [
            count
            for count in range(found, whole - n + found + 1)
            if stats.hypergeom.cdf(found, whole, count, n) > 0.05 + 1e-12
        ]
        assert bound == max(allowed, default=found)

    def test_the_bound_lies_between_what_is_known_of_all_measured(self) -> None:
        assert told(left=4, counted=outside(0, known=6, measured=20)).outside_at_most == 6
        assert told(left=2, counted=outside(3, known=3, measured=22)).outside_at_most == 5

    def test_masses_are_marked_only_where_the_limit_goes_by_the_labelled_mass(self) -> None:
        test = TestResult(
            id="mass-uniformity",
            rule="chp-0107",
            verdict=Verdict.COMPLIES,
            n=20,
            figures={"rsd_percent": 2.0, "limit_percent": 7.5},
            outside=(
                Outside(unit="1", deviation_percent=8.0),
                Outside(unit="22", deviation_percent=-8.0, in_sample=False),
            ),
        )
        labelled, by_mean = RULES["chp-0107"], RULES["ph-eur-2.9.5"]
        assert isinstance(labelled, MassRule)
        assert isinstance(by_mean, MassRule)
        planned = replace(batch(), planned_mass_g=Decimal("2.0"))
        assert masses_outside(test, rule=labelled, batch=planned) == CountedOutside(
            limits=message("assurance.off_labelled_mass", percent=7.5), found=1, n=20, known=2, measured=24
        )
        assert masses_outside(test, rule=labelled, batch=batch()) is None
        assert masses_outside(test, rule=by_mean, batch=planned) is None


class TestOfAWholeBatch:
    DOSAGE = TestResult(
        id="dosage-unit-uniformity",
        rule="harmonised-udu",
        active="A",
        verdict=Verdict.COMPLIES,
        n=10,
        figures={"mean_percent": 100.0, "sd_percent": 3.0, "target_percent": 100.0},
        sample=tuple(str(place) for place in range(1, 11)),
    )

    def only(self, test: TestResult, *, of: Batch, changed: set[str | None] | None = None) -> Assurance:
        contents = {"A": {str(place): Fraction(99) for place in range(1, 11)}} if of.assays else {}
        (found,) = assure_batch(
            tests=(test,), book_rules=RULES, batch=of, contents=contents, changed=changed or frozenset()
        )
        return found

    def test_a_change_along_the_pour_stands_behind_all_of_it(self) -> None:
        found = self.only(self.DOSAGE, of=batch(), changed={"A"})
        caveat = "A change was seen along the pour: this holds only for units drawn at random from the whole batch."
        assert words(found.caveat) == caveat
        assert paragraph(found.said).endswith(f"not more than 4 of the 24 are outside 85 to 115 %. {caveat}")
        assert not self.only(self.DOSAGE, of=batch()).caveat

    def test_contents_found_by_mass_leave_the_units_that_are_not_weighed(self) -> None:
        found = self.only(self.DOSAGE, of=batch(weighed=10, assayed=0))
        assert (found.units_left, found.left_within, found.outside_at_most) == (14, 14, None)
        assert "Of the 14 units left unweighed, all lie between 88.2 and 111.8 % of label" in paragraph(found.said)

    def test_limits_about_the_mean_of_the_sample_bound_no_number_outside(self) -> None:
        content = replace(
            self.DOSAGE,
            id="content-uniformity",
            rule="ph-eur-2.9.6-b",
            figures={"rsd_percent": 3.0, "mean_percent": 100.0, "sd_percent": 3.0},
        )
        found = self.only(content, of=batch())
        assert (found.units_left, found.left_within, found.outside_at_most) == (14, 14, None)
        assert paragraph(found.said).endswith(
            "Of the 14 units left, all lie between 88.2 and 111.8 % of label with 95 % confidence if their spread is "
            "normal."
        )

    def test_masses_of_units_not_weighed_are_told_in_percent_of_the_mean(self) -> None:
        mass = TestResult(
            id="mass-uniformity",
            rule="ph-eur-2.9.5",
            verdict=Verdict.COMPLIES,
            n=20,
            figures={"mean_g": 2.0, "rsd_percent": 1.0, "limit_percent": 5.0},
            mass_limits=(Decimal(5), Decimal(10)),
        )
        found = self.only(mass, of=batch(poured=60, listed=20, weighed=20))
        assert (found.units_left, found.left_within, found.outside_at_most) == (40, 38, None)
        assert paragraph(found.said).endswith(
            "Of the 40 units left unweighed, at least 38 lie between 97.2 and 102.8 % of the mean with 95 % confidence "
            "if their spread is normal."
        )


@pytest.mark.parametrize(("whole", "n"), [(24, 10), (30, 3), (60, 30)])
def test_the_units_left_lie_in_their_interval_as_often_as_stated(whole: int, n: int) -> None:
    batches = np.random.Generator(np.random.Philox(24)).normal(97.0, 4.0, (40_000, whole))
    sample, rest = batches[:, :n], batches[:, n:]
    means, sds = sample.mean(axis=1), sample.std(axis=1, ddof=1)
    of_one = told(left=whole - n, whole=whole, mean=100.0, sd=1.0, n=n)
    assert of_one.left_high_percent is not None
    assert of_one.left_within is not None
    factor = of_one.left_high_percent - 100.0
    # Mean and SD of a sample move and stretch the interval, and do no more.
    for mean, sd in zip(means[:5].tolist(), sds[:5].tolist(), strict=True):
        found = told(left=whole - n, whole=whole, mean=mean, sd=sd, n=n)
        assert found.left_low_percent == pytest.approx(max(mean - factor * sd, 0.0))
        assert found.left_high_percent == pytest.approx(mean + factor * sd)
    inside = np.abs(rest - means[:, None]) <= factor * sds[:, None]
    kept = float((inside.sum(axis=1) >= of_one.left_within).mean())
    assert kept == pytest.approx(0.95, abs=4.5 * math.sqrt(0.95 * 0.05 / len(batches)))


@pytest.mark.parametrize("bad", [0, 1, 3, 6, 12, 23, 24])
def test_the_number_outside_is_bounded_as_often_as_stated_whatever_the_spread(bad: int) -> None:
    """A batch of which some units hold nothing at all, as far from normal as can be: every count a sample may show."""
    kept = 0.0
    for hits in range(max(0, bad - 14), min(bad, 10) + 1):
        drawn = {str(place): Fraction(0 if place < hits else 100) for place in range(10)}
        bound = told(left=14, counted=contents_outside(drawn, sample=tuple(drawn), limit=Fraction(15))).outside_at_most
        assert bound is not None
        kept += float(stats.hypergeom.pmf(hits, 24, bad, 10)) * (bound >= bad)
    assert kept >= 0.95
