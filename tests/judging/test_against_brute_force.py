"""Whole batches judged a second time from the bare table, in whole milligrams and tenths of a per cent."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from decimal import Decimal
from math import comb

import pytest
from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from qc.batch import Active, Assay, Batch, Unit
from qc.results import BatchVerdict, JudgedBatch, TestResult, Verdict

Judge = Callable[..., JudgedBatch]
FindTest = Callable[..., TestResult]

# Mass [mg], mark of the test sample, content [tenths of % of label] or none, stage.
Row = tuple[int, bool | None, int | None, int | None]
# A batch is drawn calm, at the limits or wild, so that every verdict is met often.
MASSES = (st.integers(1950, 2050), st.sampled_from([2000] * 7 + [1900, 2100, 1890, 2110]), st.integers(1780, 2220))
CONTENTS = (
    st.integers(930, 1070),
    st.sampled_from([1000] * 5 + [850, 1150, 840, 1160, 750]),
    st.integers(740, 1260),
    st.just(0),
)


@st.composite
def tables(draw: st.DrawFn) -> list[Row]:
    masses, contents = draw(st.sampled_from(MASSES)), draw(st.sampled_from((*CONTENTS, st.just(0))))
    marks = draw(st.sampled_from([st.none(), st.none(), st.booleans(), st.sampled_from([True, True, True, None])]))
    with_stages, assayed = draw(st.booleans()), draw(st.integers(9, 36))
    made: list[Row] = []
    for place in range(draw(st.integers(18, 36))):
        stage = None if not with_stages else 1 if place < 10 else 2
        content = draw(contents) if place < assayed else None
        made.append((draw(masses), draw(marks), content, stage))
    return made


def batch_of(table: Sequence[Row]) -> Batch:
    units = tuple(
        Unit(name=str(n), mass_g=Decimal(mass).scaleb(-3), test_sample=mark)
        for n, (mass, mark, _, _) in enumerate(table)
    )
    assays = tuple(
        Assay(unit=str(n), active="drug", content_percent=Decimal(content).scaleb(-1), stage=stage)
        for n, (_, _, content, stage) in enumerate(table)
        if content is not None
    )
    active = Active(name="drug", label_claim_mg=Decimal(100))
    return Batch(units=units, assays=assays, actives=(active,), dosage_form="suppositories")


def beyond(value: int, sample: Sequence[int], percent: int) -> bool:
    """Whether a value lies more than so many per cent from the mean of a sample, without division."""
    return abs(len(sample) * value - sum(sample)) * 100 > percent * sum(sample)


def mass_verdict(table: Sequence[Row]) -> Verdict:
    marked = any(mark for _, mark, _, _ in table)
    sample = [mass for mass, mark, _, _ in table if (mark if marked else mark is not False)]
    # Fewer marks than the mass test asks for are those of a test of content where each such unit was assayed.
    rest = [content for _, mark, content, _ in table if (mark if marked else mark is not False)]
    if not sample or (len(sample) < 20 and None not in rest):
        sample = [mass for mass, _, _, _ in table]
    if len(sample) < 20:
        missing, total = 20 - len(sample), sum(sample)
        least, room = 2000 - 90 * missing, 2000 - 110 * missing
        fails = [mass * least < 90 * total or 0 < 110 * total < mass * room for mass, _, _, _ in table]
        return Verdict.DOES_NOT_COMPLY if any(fails) else Verdict.TOO_FEW_UNITS
    if any(beyond(mass, sample, 10) for mass, _, _, _ in table):
        return Verdict.DOES_NOT_COMPLY
    outside, spare = sum(beyond(mass, sample, 5) for mass in sample), len(sample) - 20
    if outside > 2:
        return Verdict.DOES_NOT_COMPLY if outside - spare > 2 else Verdict.NOT_ASSESSED
    every = [mass for mass, _, _, _ in table]
    if len(every) == len(sample):
        return Verdict.COMPLIES
    light, far = (sum(beyond(mass, every, limit) for mass in every) for limit in (5, 10))
    samples = sum(comb(light - far, drawn) * comb(len(every) - light, 20 - drawn) for drawn in range(3))
    return Verdict.COMPLIES if 20 * samples >= comb(len(every), 20) else Verdict.NOT_ASSESSED


def content_verdict(table: Sequence[Row]) -> Verdict:
    found = [(content, stage) for _, _, content, stage in table if content is not None]
    if not found:
        return Verdict.NOT_ASSESSED
    marked = any(stage for _, stage in found)
    if marked:
        first = [content for content, stage in found if stage == 1]
        second = [content for content, stage in found if stage == 2]
        rest: list[int] = []
        if len(first) > 10 or len(second) > 20:
            return Verdict.NOT_ASSESSED
        if not first:
            return Verdict.TOO_FEW_UNITS
    else:
        by_mark = {mark for _, mark, _, _ in table}
        picked = [one for one in table if (one[1] if True in by_mark else one[1] is not False)]
        chosen = [content for _, _, content, _ in picked if content is not None]
        values = [content for content, _ in found]
        together = values if len(values) == 30 else chosen if len(values) > 10 and len(chosen) == 30 else []
        if together:
            rest = list((Counter(values) - Counter(together)).elements())
            if not any(together):
                return Verdict.DOES_NOT_COMPLY
            outer = any(beyond(value, together, 25) for value in together + rest)
            return (
                Verdict.DOES_NOT_COMPLY
                if outer or sum(beyond(value, together, 15) for value in together) > 3
                else Verdict.COMPLIES
            )
        if len(values) > 10 and len(chosen) != 10:
            return Verdict.NOT_ASSESSED
        first = values if len(values) <= 10 else chosen
        second, rest = [], list((Counter(values) - Counter(first)).elements())
    if not any(first):
        return Verdict.DOES_NOT_COMPLY
    if len(first) < 10:
        return Verdict.TOO_FEW_UNITS
    outside = sum(beyond(value, first, 15) for value in first)
    if any(beyond(value, first, 25) for value in first) or outside > 3:
        return Verdict.DOES_NOT_COMPLY
    if outside <= 1:
        hidden = any(beyond(value, first, 25) for value in second + rest)
        return Verdict.DOES_NOT_COMPLY if hidden else Verdict.COMPLIES
    if len(second) < 20:
        return Verdict.SECOND_STAGE
    pool = first + second
    if any(beyond(value, pool, 25) for value in pool + rest):
        return Verdict.DOES_NOT_COMPLY
    return Verdict.COMPLIES if sum(beyond(value, pool, 15) for value in pool) <= 3 else Verdict.DOES_NOT_COMPLY


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=40)
@given(table=tables())
def test_mass_and_content_verdicts_equal_those_reckoned_from_the_bare_table(
    table: list[Row], judge: Judge, find_test: FindTest
) -> None:
    judged = judge(batch_of(table))
    event(f"mass {mass_verdict(table)}")
    event(f"content {content_verdict(table)}")
    assert find_test(judged, "mass-uniformity").verdict is mass_verdict(table)
    assert find_test(judged, "content-uniformity").verdict is content_verdict(table)
    dosage = find_test(judged, "dosage-unit-uniformity").verdict
    verdicts = {mass_verdict(table), content_verdict(table), dosage}
    if Verdict.DOES_NOT_COMPLY in verdicts:
        assert judged.verdict is BatchVerdict.DOES_NOT_COMPLY
    elif (
        verdicts & {Verdict.SECOND_STAGE, Verdict.TOO_FEW_UNITS}
        or (
            Verdict.NOT_ASSESSED in {mass_verdict(table), content_verdict(table)}
            and any(one[2] is not None for one in table)
        )
        or Verdict.COMPLIES not in verdicts
    ):
        assert judged.verdict is BatchVerdict.UNDECIDED
    else:
        assert judged.verdict is BatchVerdict.COMPLIES


# A limit beside the figure of the result that says the same.
SAME = {
    "units_weighed": "n",
    "units_assayed": "n",
    "beyond_limit": "beyond_limit",
    "beyond_double": "beyond_double",
    "greatest_deviation": "greatest_deviation_percent",
    "beyond_inner": "beyond_inner",
    "beyond_outer": "beyond_outer",
    "acceptance_value": "acceptance_value_rounded",
    "mean_of_label": "mean_percent",
    "mean_against_plan": "difference_percent",
}
# Limits that no sentence of a book sets: what is our own caution, for information, or follows without saying.
OF_NO_CLAUSE = {
    *("greatest_deviation", "mean_content"),
    *("beyond_limit_of_all", "samples_that_comply"),
}


@pytest.mark.parametrize(
    ("rules", "form"),
    [
        (None, "suppositories"),
        (None, "transdermal patches"),
        ("int-ph", "suppositories"),
        ("harmonised", "suppositories"),
    ],
)
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=25)
@given(table=tables(), planned=st.sampled_from(["1.9", "2", "2.06"]))
def test_a_test_fails_by_a_limit_of_its_own_and_its_figures_stand_beside_them(
    rules: str | None, form: str, table: list[Row], planned: str, judge: Judge
) -> None:
    batch = replace(batch_of(table), dosage_form=form, planned_mass_g=Decimal(planned))
    for test in judge(batch, rules).tests:
        event(f"{test.id} {test.verdict}")
        met = {limit.met for limit in test.criteria}
        if test.verdict is Verdict.DOES_NOT_COMPLY:
            assert False in met, test
        if test.verdict is Verdict.COMPLIES:
            assert met
            assert False not in met, test
        for limit in test.criteria:
            assert (limit.what in OF_NO_CLAUSE) == (not limit.clause), limit
            if limit.what in SAME:
                figures = {"n": test.n, **test.figures}
                assert limit.figure is not None
                assert float(limit.figure) == figures[SAME[limit.what]], limit
