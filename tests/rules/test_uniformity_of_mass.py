"""Uniformity of mass, clause by clause: Ph. Eur. 2.9.5 and its neighbours, limits below, at and above."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace
from scipy.stats import hypergeom

from qc.results import TestResult, Verdict
from qc.rules.kinds.mass.procedure import judge_masses
from qc.rules.kinds.mass.record import MassRule
from qc.rules.measured import Measured
from qc.rules.rule_books import load_rule
from qc.say.limits import lines
from qc.say.messages import all_words, words

SUPPOSITORIES = "suppositories"


def mass_rule(name: str) -> MassRule:
    rule = load_rule(name)
    assert isinstance(rule, MassRule)
    return rule


EUROPEAN = mass_rule("ph-eur-2.9.5")


def measured(masses: Sequence[Decimal | str | Fraction | int], *, first: int = 1) -> tuple[Measured, ...]:
    return tuple(Measured(unit=str(n), value=Fraction(mass)) for n, mass in enumerate(masses, first))


def judged(
    masses: Sequence[Decimal | str | Fraction | int],
    *,
    rule: MassRule = EUROPEAN,
    form: str = SUPPOSITORIES,
    others: Sequence[Decimal | str | Fraction] = (),
    labelled_mass_g: Decimal | None = None,
) -> TestResult:
    return judge_masses(
        measured(masses), others=measured(others, first=101), rule=rule, form=form, labelled_mass_g=labelled_mass_g
    )


def about_two(*deviations: str, n: int = 20) -> list[Decimal]:
    """`n` masses with mean 2 g exactly: each deviation [% of mean] stands once with each sign, the rest at the mean."""
    shifts = [Decimal(deviation) / 50 for deviation in deviations]
    pairs = [Decimal(2) + sign * shift for shift in shifts for sign in (1, -1)]
    return pairs + [Decimal("2.000")] * (n - len(pairs))


def outside(result: TestResult) -> list[str]:
    return [unit.unit for unit in result.outside]


class TestClauseTwo:
    """2. Not more than 2 of the 20 masses deviate from their mean by more than 5 %."""

    @pytest.mark.parametrize(
        ("deviation", "beyond"), [("4.99995", 0), ("5", 0), ("5.00005", 2)], ids=["below", "at", "above"]
    )
    def test_a_deviation_of_five_percent_does_not_exceed_five_percent(self, deviation: str, beyond: int) -> None:
        result = judged(about_two(deviation))
        assert result.figures["mean_g"] == 2.0
        assert result.figures["beyond_limit"] == beyond
        assert len(result.outside) == beyond
        assert result.verdict is Verdict.COMPLIES

    @pytest.mark.parametrize(
        ("masses", "verdict"),
        [
            (["2.12", "1.88", *["2"] * 18], Verdict.COMPLIES),
            (["2.12", "2.12", "1.76", *["2"] * 17], Verdict.DOES_NOT_COMPLY),
            (["2.11", "2.11", "1.88", "1.9", *["2"] * 16], Verdict.DOES_NOT_COMPLY),
        ],
        ids=["two beyond", "three, one beyond double", "three beyond"],
    )
    def test_two_beyond_pass_and_three_fail(self, masses: list[str], verdict: Verdict) -> None:
        assert judged(masses).verdict is verdict

    def test_three_beyond_five_percent_and_none_beyond_ten_fail_with_their_numbers(self) -> None:
        result = judged(["2.11", "2.11", "1.88", "1.9", *["2"] * 16])
        assert outside(result) == ["1", "2", "3"]
        assert result.figures["beyond_double"] == 0
        assert all_words(result.reasons) == (
            "Units 1, 2 and 3 deviate by more than 5 % from the mean; the rule allows at most 2.",
        )

    @pytest.mark.parametrize(
        ("masses", "closing"),
        [
            (
                ["2.12", "1.88", *["2"] * 18],
                (
                    "Units beyond 5 % of the mean: 2 of 20 (units 1 and 2); at most 2 (clause 2).",
                    "Units beyond 10 % of the mean: 0 of 20; none allowed (clause 3).",
                    "Therefore the sample complies.",
                ),
            ),
            (
                ["2.11", "2.11", "1.88", "1.9", *["2"] * 16],
                (
                    "Units beyond 5 % of the mean: 3 of 20 (units 1, 2 and 3); at most 2 (clause 2).",
                    "Units beyond 10 % of the mean: 0 of 20; none allowed (clause 3).",
                    "Therefore the sample does not comply. Units 1, 2 and 3 deviate by more than 5 % from the mean; "
                    "the rule allows at most 2.",
                ),
            ),
        ],
        ids=["complies", "does not"],
    )
    def test_the_working_ends_in_the_counts_and_the_verdict(self, masses: list[str], closing: tuple[str, ...]) -> None:
        assert all_words(judged(masses).working[-3:]) == closing


class TestClauseThree:
    """3. No mass deviates from the mean by more than 10 %."""

    @pytest.mark.parametrize(
        ("deviation", "beyond", "verdict"),
        [
            ("9.99995", 0, Verdict.COMPLIES),
            ("10", 0, Verdict.COMPLIES),
            ("10.00005", 2, Verdict.DOES_NOT_COMPLY),
        ],
        ids=["below", "at", "above"],
    )
    def test_a_deviation_of_ten_percent_does_not_exceed_ten_percent(
        self, deviation: str, beyond: int, verdict: Verdict
    ) -> None:
        result = judged(about_two(deviation))
        assert result.figures["beyond_double"] == beyond
        assert result.figures["beyond_limit"] == 2
        assert result.verdict is verdict

    def test_one_unit_beyond_ten_percent_fails_even_alone(self) -> None:
        result = judged(["2.38", *["1.98"] * 19])
        assert result.figures["mean_g"] == 2.0
        assert result.verdict is Verdict.DOES_NOT_COMPLY
        assert all_words(result.reasons) == ("Unit 1 deviates by more than 10 % from the mean; the rule allows none.",)


class TestClauseFour:
    """4. The limit is set by form and mean mass; the ends of the bands are inclusive or not as the table has them."""

    @pytest.mark.parametrize(
        ("form", "mean_mg", "limit"),
        [
            ("uncoated tablets", "79.9999", 10),
            ("uncoated tablets", "80", 10),
            ("uncoated tablets", "80.0001", 7.5),
            ("uncoated tablets", "249.9999", 7.5),
            ("uncoated tablets", "250", 5),
            ("film-coated tablets", "250.0001", 5),
            ("hard capsules", "299.9999", 10),
            ("hard capsules", "300", 7.5),
            ("single-dose powders", "300.0001", 7.5),
            ("powders for parenteral use", "40.0001", 10),
            ("powders for eye-drops and eye lotions", "299.9999", 10),
            ("powders for eye-drops and eye lotions", "300", 7.5),
            ("suppositories", "1", 5),
            ("suppositories", "900", 5),
            ("pessaries", "8000", 5),
        ],
    )
    def test_the_band_of_the_european_table(self, form: str, mean_mg: str, limit: float) -> None:
        result = judged([Decimal(mean_mg) / 1000] * 20, form=form)
        assert result.figures["limit_percent"] == limit
        assert result.figures["outer_percent"] == 2 * limit
        assert result.verdict is Verdict.COMPLIES

    @pytest.mark.parametrize(("mean_mg", "limit"), [("79.9999", 10), ("80", 7.5), ("250", 7.5), ("250.0001", 5)])
    def test_the_international_table_puts_both_ends_in_the_middle_band(self, mean_mg: str, limit: float) -> None:
        result = judged([Decimal(mean_mg) / 1000] * 20, form="uncoated tablets", rule=mass_rule("int-ph-5.2"))
        assert result.figures["limit_percent"] == limit

    def test_the_wrong_band_would_reverse_the_verdict_so_the_band_is_named(self) -> None:
        # Capsules of about 425 mg, one 18 % light: inside twice 10 %, beyond twice 7.5 % (mass-capsules-20, published).
        result = judged(["0.3488", *["0.4290"] * 10, *["0.42943"] * 9], form="hard capsules")
        assert [(line.what, line.figure, line.limit, line.met) for line in lines(result.criteria)] == [
            ("units weighed", "20", "at least 20", True),
            ("units beyond 7.5 % of the mean", "1 of 20", "at most 2", True),
            ("units beyond 15 % of the mean", "1 of 20", "none allowed", False),
            ("farthest in the sample", "−17.96 % (unit 1)", "7.5 % / 15 %", None),
        ]

    def test_powders_for_injection_of_forty_milligrams_are_left_to_the_content_test(self) -> None:
        result = judged(["0.040"] * 20, form="powders for parenteral use")
        assert result.verdict is Verdict.NOT_ASSESSED
        assert not result.required
        assert all_words(result.reasons) == (
            "With a mean of 40 mg or less the powder is tested for uniformity of content in place of mass.",
        )

    def test_a_form_without_a_limit_asks_for_one_and_its_source(self) -> None:
        result = judged(["1.0"] * 20, form="moulded lozenges")
        assert result.verdict is Verdict.NOT_ASSESSED
        assert words(result.missing) == "a mass limit for moulded lozenges with its source"
        assert all_words(result.reasons) == (
            "European Pharmacopoeia 2.9.5 has no mass limit for moulded lozenges; "
            "give a limit and its source in a house rule file.",
        )


class TestClauseSeven:
    """7. The masses are compared with the mean of the sample, never with the planned mass."""

    def test_a_sample_that_is_light_throughout_complies(self) -> None:
        result = judge_masses(measured(["1.2"] * 20), rule=EUROPEAN, form=SUPPOSITORIES, labelled_mass_g=Decimal("2.0"))
        assert result.verdict is Verdict.COMPLIES


class TestClauseEleven:
    """11. Fewer than 20 units give information only and are not this test."""

    @pytest.mark.parametrize(("n", "verdict"), [(19, Verdict.TOO_FEW_UNITS), (20, Verdict.COMPLIES)])
    def test_nineteen_are_too_few_and_twenty_enough(self, n: int, verdict: Verdict) -> None:
        result = judged(["2.0"] * n)
        assert result.verdict is verdict
        assert result.more_units == 20 - n

    def test_too_few_say_what_can_be_said(self) -> None:
        result = judged(["2.0"] * 6)
        # One-sided 95 % bound with 0 of 6: 1 - 0.05 ** (1 / 6), the exact binomial bound (Clopper and Pearson 1934).
        assert result.figures["fraction_beyond_at_most_percent"] == pytest.approx(100 * (1 - 0.05 ** (1 / 6)))
        assert all_words(result.reasons) == (
            "The rule asks for 20 units; 6 were weighed, so the test cannot be passed yet.",
            "So far 0 units of 6 beyond 5 % and none beyond 10 %; with 95 % confidence at most 39 % of such units lie "
            "beyond 5 %.",
        )

    @pytest.mark.parametrize(
        ("masses", "verdict"),
        [
            # Three of which the mean says little, and nineteen that comply with a twentieth of 2.09 g.
            (["2.3", "1.6", "2.0"], Verdict.TOO_FEW_UNITS),
            ([*["2.0"] * 18, "2.2125"], Verdict.TOO_FEW_UNITS),
            # One missing, M at most S / 18.9: x > 1.1 (36 + x) / 18.9 from 39.6 / 17.8 on.
            ([*["2.0"] * 18, "2.2247"], Verdict.TOO_FEW_UNITS),
            ([*["2.0"] * 18, "2.2248"], Verdict.DOES_NOT_COMPLY),
            # Below: x < 0.9 (36 + x) / 19.1 up to 32.4 / 18.2.
            ([*["2.0"] * 18, "1.7803"], Verdict.TOO_FEW_UNITS),
            ([*["2.0"] * 18, "1.7802"], Verdict.DOES_NOT_COMPLY),
            # A batch of twelve with a unit of 30 % less; eight units cannot bring the mean down so far.
            ([*["2.0"] * 11, "1.4"], Verdict.DOES_NOT_COMPLY),
        ],
    )
    def test_too_few_fail_only_by_a_unit_beyond_double_whatever_the_others_weigh(
        self, masses: list[str], verdict: Verdict
    ) -> None:
        assert judged(masses).verdict is verdict

    @given(
        masses=st.lists(st.integers(150, 250), min_size=2, max_size=19),
        rest=st.lists(st.integers(100, 300), min_size=18, max_size=18),
    )
    def test_no_further_units_turn_a_failure_of_too_few_into_compliance(
        self, masses: list[int], rest: list[int]
    ) -> None:
        first = [str(mass) for mass in masses]
        if judged(first).verdict is Verdict.DOES_NOT_COMPLY:
            whole = [*first, *map(str, rest[: 20 - len(first)])]
            assert judged(whole).verdict is Verdict.DOES_NOT_COMPLY

    @pytest.mark.parametrize(
        ("masses", "met"),
        [
            (["2.0"] * 10, [None, None, None]),
            # Three beyond 5 % of the mean so far: units still to be weighed move the mean, so nothing is decided.
            (["2.14", "2.14", "2.14", "1.96", "1.96", *["2"] * 5], [None, None, None]),
            (["2.0", "2.0", "2.0", "2.0", "1.5"], [None, None, None]),
            # A unit beyond 10 % whatever the others weigh fails the sample at once.
            ([*["2.0"] * 18, "1.5"], [None, None, False]),
        ],
        ids=["none beyond", "three beyond", "one beyond double so far", "one beyond double"],
    )
    def test_limits_of_too_few_stay_open_unless_one_decides(self, masses: list[str], met: list[bool | None]) -> None:
        result = judged(masses)
        assert [limit.met for limit in result.criteria[:3]] == met
        assert (result.verdict is Verdict.DOES_NOT_COMPLY) is (False in met)

    def test_other_units_beside_too_few_decide_only_where_one_lies_beyond_double(self) -> None:
        met = [judged(["2.0"] * 19, others=[other]).criteria[3].met for other in ("2.2", "2.21", "2.3")]
        assert met == [None, None, False]

    def test_one_unit_has_no_spread(self) -> None:
        result = judged(["2.0"])
        assert result.figures["sd_g"] is None
        assert result.figures["rsd_percent"] is None
        assert result.verdict is Verdict.TOO_FEW_UNITS

    def test_nothing_weighed_is_not_assessed(self) -> None:
        result = judged([])
        assert result.verdict is Verdict.NOT_ASSESSED
        assert words(result.missing) == "the masses of single units"
        assert all_words(result.reasons) == ("No unit was weighed.",)

    def test_more_units_than_asked_keep_the_same_allowance(self) -> None:
        result = judged(about_two("6", n=30))
        assert result.verdict is Verdict.COMPLIES
        assert all_words(result.reasons) == (
            "2 units of 30 beyond 5 % of the mean (at most 2 of any 20 allowed), none beyond 10 %.",
            "The rule asks for 20 units; all 30 were counted with the same allowance of 2, which is stricter.",
        )

    def test_of_more_units_than_asked_those_drawn_may_all_lie_inside(self) -> None:
        """Of 31 weighed 3 lie beyond: whether the 20 drawn hold at most 2 hangs on the draw."""
        result = judged([*about_two("6", n=30), Decimal("2.11")])
        assert (result.verdict, words(result.missing)) == (
            Verdict.NOT_ASSESSED,
            "which 20 units were drawn before weighing (Test sample)",
        )
        expected = 1 - Fraction(20 * 19 * 18, 31 * 30 * 29)
        assert result.figures["samples_that_comply_percent"] == float(100 * expected)
        assert result.reasons[0].id == "tests.sample-not-marked"
        assert all_words(result.reasons) == (
            "The rule asks for 20 units; of the 31 weighed nobody marked which were drawn. Of all 31 weighed 3 deviate "
            "by more than 5 % from the mean; so it hangs on which 20 were drawn: 75 % of the possible samples would "
            "comply.",
        )

    @pytest.mark.parametrize(("pairs", "verdict"), [(3, Verdict.NOT_ASSESSED), (4, Verdict.DOES_NOT_COMPLY)])
    def test_what_fails_whichever_were_drawn_fails(self, pairs: int, verdict: Verdict) -> None:
        """Of 24 weighed at most 4 are not drawn: of 6 beyond the limit 2 may be drawn, of 8 at least 4 are."""
        result = judged(about_two(*["6"] * pairs, n=24))
        assert result.verdict is verdict
        assert result.figures["beyond_limit_of_all"] == result.figures["beyond_limit"] == 2 * pairs

    def test_one_beyond_the_outer_limit_fails_whichever_were_drawn(self) -> None:
        assert judged([*about_two(n=24), Decimal("2.3")]).verdict is Verdict.DOES_NOT_COMPLY

    @pytest.mark.parametrize(("others", "verdict"), [(4, Verdict.COMPLIES), (5, Verdict.NOT_ASSESSED)])
    def test_a_marked_sample_that_hardly_any_other_would_equal_is_doubted(self, others: int, verdict: Verdict) -> None:
        """Of 20 marked none lies beyond, of those left out every one: 11.5 % of the samples would comply, or 3.8 %."""
        apart = [Decimal("2.11"), Decimal("1.89")] * 3
        result = judged(about_two(), others=apart[:others])
        assert result.verdict is verdict
        expected = 100 * float(hypergeom.cdf(2, 20 + others, others, 20))
        assert result.figures["samples_that_comply_percent"] == pytest.approx(expected)
        assert result.figures["beyond_limit_of_all"] == others
        if verdict is Verdict.NOT_ASSESSED:
            assert all_words(result.reasons) == (
                "0 units of 20 beyond 5 % of the mean (at most 2 allowed), none beyond 10 %.",
                "Of all 25 weighed 5 deviate by more than 5 % from the mean; of the possible samples of 20 only 4 % "
                "would comply, and the marked one is among them.",
            )


class TestUnitsBeyondTheSample:
    """A unit known to be beyond the outer limit is never hidden by a sample that left it out."""

    @pytest.mark.parametrize(
        ("mass", "verdict"),
        [("2.2", Verdict.COMPLIES), ("2.2001", Verdict.DOES_NOT_COMPLY), ("1.7999", Verdict.DOES_NOT_COMPLY)],
        ids=["at ten percent", "above", "below"],
    )
    def test_the_outer_limit_holds_for_units_the_sample_left_out(self, mass: str, verdict: Verdict) -> None:
        result = judged(["2.0"] * 20, others=[mass])
        assert result.verdict is verdict
        assert result.figures["mean_g"] == 2.0
        assert result.figures["beyond_double"] == 0
        assert [(unit.unit, unit.in_sample) for unit in result.outside] == [("101", False)]

    def test_the_reason_says_that_the_sample_left_it_out(self) -> None:
        assert all_words(judged(["2.0"] * 20, others=["2.3", "1.7"]).reasons) == (
            "Units 101 and 102 deviate by more than 10 % from the mean of the sample, although the test sample left "
            "them out; a unit known to be beyond the outer limit is not hidden.",
        )

    def test_the_working_counts_the_units_the_sample_left_out(self) -> None:
        assert words(judged(["2.0"] * 20, others=["2.3", "2.0"]).working[-3]) == (
            "Other units weighed, beyond 10 %: 1 of 2 (unit 101); none allowed (clause 12)."
        )

    def test_units_left_out_between_the_limits_are_shown_and_do_not_count(self) -> None:
        result = judged(about_two("6"), others=["2.15", "2.15", "2.15"])
        assert result.verdict is Verdict.COMPLIES
        assert outside(result) == ["1", "2", "101", "102", "103"]


class TestChineseRule:
    """Ten suppositories against the labelled mass, one beyond; 10 % to 1.0 g, 7.5 % to 3.0 g, 5 % above."""

    RULE = mass_rule("chp-0107")

    @pytest.mark.parametrize(("label", "limit"), [("1.0", 10), ("1.0001", 7.5), ("3.0", 7.5), ("3.0001", 5)])
    def test_the_bands_go_by_the_labelled_mass(self, label: str, limit: float) -> None:
        result = judged([Decimal(label)] * 10, rule=self.RULE, labelled_mass_g=Decimal(label))
        assert result.figures["limit_percent"] == limit

    @pytest.mark.parametrize(("heavy", "verdict"), [(1, Verdict.COMPLIES), (2, Verdict.DOES_NOT_COMPLY)])
    def test_one_of_ten_may_lie_beyond(self, heavy: int, verdict: Verdict) -> None:
        result = judged(["2.2"] * heavy + ["2.0"] * (10 - heavy), rule=self.RULE, labelled_mass_g=Decimal("2.0"))
        assert result.figures["beyond_limit"] == heavy
        assert result.verdict is verdict

    def test_a_sample_far_from_its_label_fails_although_it_is_even(self) -> None:
        masses = ["1.6"] * 10
        assert judged(masses, rule=self.RULE, labelled_mass_g=Decimal("2.0")).verdict is Verdict.DOES_NOT_COMPLY
        assert judged(masses, rule=self.RULE).verdict is Verdict.COMPLIES


masses = st.lists(st.decimals(min_value=Decimal("1.6"), max_value=Decimal("2.4"), places=3), min_size=1, max_size=30)


def brute_force(values: Sequence[Decimal], *, limit: int = 5, allowed: int = 2, size: int = 20) -> Verdict:
    """The rule once more, written without division: n x against the sum, all whole numbers of milligrams."""
    milligrams = [int(value * 1000) for value in values]
    n, total = len(milligrams), sum(milligrams)
    distances = [abs(n * value - total) * 100 for value in milligrams]
    beyond = sum(distance > limit * total for distance in distances)
    beyond_double = sum(distance > 2 * limit * total for distance in distances)
    if n < size:
        low, high, missing = 100 - 2 * limit, 100 + 2 * limit, size - n
        below = any(value * (100 * size - low * missing) < low * total for value in milligrams)
        room = 100 * size - high * missing
        above = room > 0 and any(value * room > high * total for value in milligrams)
        return Verdict.DOES_NOT_COMPLY if below or above else Verdict.TOO_FEW_UNITS
    if beyond_double:
        return Verdict.DOES_NOT_COMPLY
    return Verdict.COMPLIES if beyond <= allowed else Verdict.DOES_NOT_COMPLY


@given(masses)
def test_the_verdict_equals_one_reckoned_in_whole_milligrams(values: list[Decimal]) -> None:
    assert judged(values).verdict is brute_force(values)


@given(st.lists(st.sampled_from(["1.9", "2.1", "2.0", "1.8", "2.2", "1.899", "2.101"]), min_size=20, max_size=20))
def test_the_verdict_equals_one_reckoned_in_whole_milligrams_near_the_limits(values: list[str]) -> None:
    assert judged(values).verdict is brute_force([Decimal(value) for value in values])


@given(masses, st.randoms(use_true_random=False))
def test_the_order_of_the_units_does_not_matter(values: list[Decimal], random: Any) -> None:
    shuffled = list(values)
    random.shuffle(shuffled)
    one, other = judged(values), judged(shuffled)
    assert one.verdict is other.verdict
    # The unit named as farthest may differ where two lie equally far, and so may the sign of its deviation.
    assert {key: value for key, value in one.figures.items() if key != "greatest_deviation_percent"} == {
        key: value for key, value in other.figures.items() if key != "greatest_deviation_percent"
    }


@given(masses, st.decimals(min_value=Decimal("0.01"), max_value=Decimal("50"), places=2))
def test_scaling_every_mass_changes_nothing_relative(values: list[Decimal], factor: Decimal) -> None:
    one, other = judged(values), judged([value * factor for value in values])
    assert one.verdict is other.verdict
    for figure in ("rsd_percent", "beyond_limit", "beyond_double", "greatest_deviation_percent"):
        assert one.figures[figure] == other.figures[figure]
    assert [unit.unit for unit in one.outside] == [unit.unit for unit in other.outside]


@given(masses, st.decimals(min_value=Decimal("0.5"), max_value=Decimal("5"), places=2))
def test_a_tighter_limit_never_turns_a_failure_into_a_pass(values: list[Decimal], limit: Decimal) -> None:
    band = next(band for band in EUROPEAN.bands if SUPPOSITORIES in band.forms)
    tighter = replace(EUROPEAN, bands=(replace(band, limit_percent=limit, outer_percent=2 * limit),))
    if judged(values).verdict is Verdict.DOES_NOT_COMPLY:
        assert judged(values, rule=tighter).verdict is Verdict.DOES_NOT_COMPLY
    if judged(values, rule=tighter).verdict is Verdict.COMPLIES:
        assert judged(values).verdict is Verdict.COMPLIES


@given(masses, st.decimals(min_value=Decimal("0.1"), max_value=Decimal("9"), places=3))
def test_adding_a_unit_beyond_the_outer_limit_never_makes_a_sample_comply(values: list[Decimal], far: Decimal) -> None:
    before = judged(values)
    after = judged(values, others=[far])
    mean_g = sum(map(Fraction, values)) / len(values)
    if abs(Fraction(far) - mean_g) * 10 > mean_g:
        assert after.verdict is not Verdict.COMPLIES
        assert after.verdict is Verdict.DOES_NOT_COMPLY or len(values) < 20
    else:
        assert after.verdict is before.verdict
