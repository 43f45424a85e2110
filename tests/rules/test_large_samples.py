"""Uniformity of dosage units by large samples (Ph. Eur. 2.9.47), alternative 1."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction

import pytest

from qc.batch import Active, Assay, Batch, Unit
from qc.judging.judge import judge_batch
from qc.results import Basis, BatchVerdict, TestResult, Verdict
from qc.rules.kinds.large_samples import KIND, LargeSampleRule, in_force, judge_large_sample
from qc.rules.measured import Measured
from qc.rules.rule_books import load_rule, rule_book
from qc.say.messages import all_words, words

RULE = KIND.own(load_rule("ph-eur-2.9.47"))
ALTERNATIVE = (
    "This is alternative 1. A sample that does not meet it may meet alternative 2, whose table of units outside 85 to "
    "115 % of T (c1) was not read here."
)


def rule() -> LargeSampleRule:
    assert RULE is not None
    return RULE


def judged(values: Sequence[str | int | Fraction], target: str = "100") -> TestResult:
    units = [Measured(unit=str(place), value=Fraction(value)) for place, value in enumerate(values, 1)]
    return judge_large_sample(units, rule=rule(), active="drug", target_percent=Decimal(target))


@pytest.mark.parametrize(
    ("n", "k", "outside"),
    [
        # The look-ups that were read; each row just below and at its beginning.
        (400, "2.23", 3), (450, "2.24", 3), (500, "2.24", 4), (100, "2.15", 0), (104, "2.15", 0), (105, "2.16", 0),
        (175, "2.19", 0), (176, "2.19", 1), (384, "2.23", 2), (385, "2.23", 3), (406, "2.23", 3), (407, "2.24", 3),
        (489, "2.24", 3), (490, "2.24", 4), (5000, "2.26", 8),
    ],
)  # fmt: skip
def test_the_row_in_force_is_that_of_the_greatest_number_not_above_the_sample(n: int, k: str, outside: int) -> None:
    assert (in_force(rule().k, n), in_force(rule().outside_l2, n)) == (Decimal(k), outside)


def test_the_tables_go_up() -> None:
    for rows in (rule().k, rule().outside_l2):
        assert [one.figure for one in rows] == sorted(one.figure for one in rows)


def test_units_outside_follow_the_chance_that_thirty_hold_none() -> None:
    """The greatest c that n units stay within with a chance of a half at most (clause 5), as in the rows read."""
    from scipy.stats import binom

    p = 1 - 0.75 ** (1 / 30)
    for row in rule().outside_l2[1:]:
        below, at = (binom.cdf(int(row.figure), n, p) <= 0.5 for n in (row.from_units - 1, row.from_units))
        assert (bool(below), bool(at)) == (False, True), row


@pytest.mark.parametrize(("n", "verdict"), [(99, Verdict.TOO_FEW_UNITS), (100, Verdict.COMPLIES)])
def test_a_hundred_units_are_enough(n: int, verdict: Verdict) -> None:
    result = judged(["100"] * n)
    assert result.verdict is verdict
    if n == 99:
        assert all_words(result.reasons) == (
            "The rule is for samples of 100 units or more by a plan laid down beforehand; 99 were assayed. Ten or "
            "thirty units are judged by harmonised-udu.",
        )


# Without scatter AV = 98.5 - mean.
@pytest.mark.parametrize(
    ("value", "verdict"),
    [("83.5", Verdict.COMPLIES), ("83.451", Verdict.COMPLIES), ("83.45", Verdict.NOT_ASSESSED)],
    ids=["at L1", "rounded to it", "above it"],
)
def test_an_acceptance_value_above_l1_leaves_the_other_alternative_open(value: str, verdict: Verdict) -> None:
    result = judged([value] * 100)
    assert result.verdict is verdict
    if verdict is Verdict.NOT_ASSESSED:
        assert words(result.reasons[-1]) == ALTERNATIVE
        assert words(result.missing) == "the number c1 of units that alternative 2 allows outside 85 to 115 % of T"


@pytest.mark.parametrize(
    ("far", "verdict"), [(0, Verdict.COMPLIES), (1, Verdict.COMPLIES), (2, Verdict.DOES_NOT_COMPLY)]
)
def test_units_outside_l2_are_counted(far: int, verdict: Verdict) -> None:
    result = judged([*["100"] * (176 - far), *["70"] * far])
    assert (result.verdict, result.figures["outside_l2"]) == (verdict, far)


def test_units_at_l2_lie_inside_and_those_outside_about_m_alone_leave_it_open() -> None:
    assert judged([*["100"] * 98, "75", "125"]).figures["outside_l2"] == 0
    # M is 98.5, so that 124 lies outside 73.875 to 123.125 and inside 75 to 125 % of T.
    low = judged([*["95"] * 99, "124"])
    assert (low.verdict, low.figures["outside_l2"]) == (Verdict.NOT_ASSESSED, 1)


def test_it_is_judged_where_it_is_asked_for_by_name() -> None:
    units = tuple(Unit(name=str(n), mass_g=Decimal(2)) for n in range(1, 121))
    assays = tuple(Assay(unit=unit.name, active="drug", content_percent=Decimal(100)) for unit in units)
    drug = Active(name="drug", label_claim_mg=Decimal(100))
    batch = Batch(units=units, assays=assays, actives=(drug,), dosage_form="suppositories")
    named = judge_batch(batch, book=rule_book("ph-eur-2.9.47"))
    assert named.verdict is BatchVerdict.COMPLIES
    (test,) = (test for test in named.tests if test.id == "large-sample-uniformity")
    assert (test.n, test.figures["k"], named.basis) == (120, 2.17, Basis.MASS_AND_CONTENT)
    assert "ph-eur-2.9.47" not in {test.rule for test in judge_batch(batch, book=rule_book()).tests}
