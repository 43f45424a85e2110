"""When no second stage can clear a first one any more: certain in every case that is called, and in no other."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction
from random import Random

import numpy as np
import pytest

from qc.results import TestResult, Verdict
from qc.rules.built_in import load_rule
from qc.rules.kinds.dosage_units.procedure import judge_dosage_units
from qc.rules.kinds.dosage_units.record import DosageUnitRule, Route
from qc.rules.measured import Measured, Stages
from qc.say.messages import all_words

RULE = load_rule("harmonised-udu")
assert isinstance(RULE, DosageUnitRule)


def measured(values: Sequence[Decimal | Fraction | str], *, name: str) -> tuple[Measured, ...]:
    return tuple(Measured(unit=f"{name}{place}", value=Fraction(one)) for place, one in enumerate(values, 1))


def judged(
    first: Sequence[Decimal | Fraction | str],
    second: Sequence[Decimal | Fraction | str] = (),
    *,
    beside: Sequence[Decimal | str] = (),
    target: str = "100",
    route: Route = Route.CONTENT,
) -> TestResult:
    stages = Stages(
        first=measured(first, name="a"), second=measured(second, name="b"), others=measured(beside, name="c")
    )
    return judge_dosage_units(
        stages, to_percent=list, rule=RULE, active="drug", target_percent=Decimal(target), route=route
    )


def some_pass(known: Sequence[float], come: np.ndarray, beside: Sequence[float]) -> bool:
    """Whether a row of units to come passes the second stage with those known: the rule anew, in floats."""
    every = np.hstack([np.broadcast_to(known, (len(come), len(known))), come])
    mean, sd = every.mean(axis=1), every.std(axis=1, ddof=1)
    reference = np.clip(mean, 98.5, 101.5)
    single = np.hstack([every, np.broadcast_to(beside, (len(come), len(beside)))])
    inside = (abs(single - reference[:, None]) <= 0.25 * reference[:, None] + 1e-9).all(axis=1)
    return bool((inside & (abs(reference - mean) + 2 * sd < 15.05)).any())


class TestAgainstBruteForce:
    """First tens drawn at random near the border; further units all alike at every content, and drawn at random."""

    def test_what_is_called_hopeless_is_passed_by_nothing_and_what_is_not_is_passed_by_something(self) -> None:
        draw, rng, seen = Random(1), np.random.default_rng(1), Counter[Verdict]()
        contents = np.arange(60, 135, 0.01)
        for _ in range(250):
            centre, spread = draw.uniform(80, 122), draw.choice([3, 8, 11, 13, 15])
            first = [f"{max(draw.gauss(centre, spread), 0):.1f}" for _ in range(10)]
            known = [f"{draw.gauss(100, 8):.1f}" for _ in range(draw.choice([0, 0, 0, 7, 19]))]
            beside = [f"{draw.gauss(100, 12):.1f}" for _ in range(draw.choice([0, 0, 2]))]
            verdict = judged(first, known, beside=beside).verdict
            seen[verdict] += 1
            if judged(first).verdict is Verdict.COMPLIES:
                continue  # Nothing is to come: the first stage ends the test.
            to_come = 20 - len(known)
            so_far, aside = [float(one) for one in (*first, *known)], [float(one) for one in beside]
            alike = some_pass(so_far, np.repeat(contents[:, None], to_come, axis=1), aside)
            assert alike is (verdict is Verdict.SECOND_STAGE), (first, known, beside)
            centres = rng.uniform(85, 115, (2000, 1))
            others = rng.normal(centres, rng.uniform(0, 4, (2000, 1)), (2000, to_come))
            assert alike or not some_pass(so_far, others, aside)
        assert min(seen[one] for one in (Verdict.COMPLIES, Verdict.SECOND_STAGE, Verdict.DOES_NOT_COMPLY)) > 20


def two_sided(half: str) -> list[Decimal]:
    """Ten contents of mean 100, five on each side."""
    return [100 - Decimal(half)] * 5 + [100 + Decimal(half)] * 5


class TestAtTheBorder:
    """Five units on each side of 100 by h: s of all 30 is h √(10/29) at best, and AV = 2 s must stay below 15.05."""

    @pytest.mark.parametrize(
        ("half", "verdict"),
        [("12.814", Verdict.SECOND_STAGE), ("12.816", Verdict.DOES_NOT_COMPLY)],
        ids=["below: 15.0492", "above: 15.0515"],
    )
    def test_spread(self, half: str, verdict: Verdict) -> None:
        assert judged(two_sided(half)).verdict is verdict

    @pytest.mark.parametrize(
        ("content", "verdict"),
        [
            # 0.75 x 98.5: the least content that some M allows.
            ("73.875", Verdict.SECOND_STAGE),
            ("73.874", Verdict.DOES_NOT_COMPLY),
            # 1.25 x 101.5: the greatest.
            ("126.875", Verdict.SECOND_STAGE),
            ("126.876", Verdict.DOES_NOT_COMPLY),
        ],
    )
    def test_one_unit_far_off(self, content: str, verdict: Verdict) -> None:
        assert judged(["100"] * 9 + [content]).verdict is verdict

    def test_a_target_above_the_range_lets_a_richer_unit_through(self) -> None:
        assert judged(["100"] * 9 + ["130"], target="104").verdict is Verdict.SECOND_STAGE
        assert judged(["100"] * 9 + ["130.1"], target="104").verdict is Verdict.DOES_NOT_COMPLY

    def test_a_unit_assayed_beside_the_sample_counts(self) -> None:
        assert judged(["88", "112"] * 5, beside=["74"]).verdict is Verdict.SECOND_STAGE
        assert judged(["88", "112"] * 5, beside=["73"]).verdict is Verdict.DOES_NOT_COMPLY

    def test_an_acceptance_value_that_rounds_up_is_not_below_the_limit(self) -> None:
        """Five units on each side by √(29 x 7.525² / 10) make AV 15.05 of all 30, which rounds to 15.1."""
        half = (Decimal(29) * Decimal("7.525") ** 2 / 10).sqrt()
        assert judged(two_sided(str(half - Decimal("1E-12")))).verdict is Verdict.SECOND_STAGE
        assert judged(two_sided(str(half + Decimal("1E-12")))).verdict is Verdict.DOES_NOT_COMPLY


def test_masses_leave_it_open_since_their_contents_change_with_the_mean_to_come() -> None:
    assert judged(["60", *["100"] * 9], route=Route.MASS).verdict is Verdict.SECOND_STAGE


def test_what_is_said() -> None:
    assert all_words(judged(["100"] * 9 + ["60"]).reasons)[1:] == (
        "AV 32.9 (32.86) against L1 = 15.0 (10 units, mean 96.00 %, k = 2.4): not met.",
        "No second stage can clear this sample: unit a10 lies more than 25.0 % from every M the rule can give.",
    )
    assert all_words(judged(two_sided("14")).reasons)[1:] == (
        "AV 35.4 (35.42) against L1 = 15.0 (10 units, mean 100.00 %, k = 2.4): not met.",
        "No second stage can clear this sample: whatever the 20 units to come hold, AV of all stays above L1 = 15.0, "
        "or a unit lies outside L2.",
    )


def test_no_further_units_are_asked_for() -> None:
    test = judged(["100"] * 9 + ["60"])
    assert (test.more_units, test.figures["stage"]) == (0, 1)
    assert [(limit.what, limit.met) for limit in test.criteria if limit.met is False] == [
        ("acceptance_value", False),
        ("beyond_every_reference", False),
    ]
