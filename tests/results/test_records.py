"""Records of results: what they say where nothing was found, which causes are named together, what follows."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from importlib import import_module
from pkgutil import iter_modules
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec import NODEFAULT, Struct
from msgspec.structs import fields, replace

import qc.results
from qc.batch import Active, Assay, Batch
from qc.results import (
    SOUND,
    Assurance,
    Basis,
    BatchVerdict,
    CauseFound,
    CauseGroup,
    JudgedBatch,
    Message,
    NextMeasurement,
    PackingChecklist,
    PackingLine,
    PourAnalysis,
    PourTrend,
    Remedied,
    TestResult,
    Trend,
    TrendFlag,
    UnitLedger,
    UnitRow,
    Verdict,
    VisualInspection,
    named_together,
)
from qc.show.sections.findings import assurance

# A unit belongs to the sample, a test to what is asked for, and a content is one assay, until something else is said.
SAID = {
    ("Outside", "in_sample", True),
    ("TestResult", "required", True),
    ("UnitContent", "in_sample", True),
    ("UnitContent", "determinations", 1),
}


def defaults() -> Iterator[tuple[str, str, Any]]:
    for module in iter_modules(qc.results.__path__):
        for kind in vars(import_module(f"qc.results.{module.name}")).values():
            if isinstance(kind, type) and issubclass(kind, Struct) and kind is not Struct:
                for one in fields(kind) if kind.__module__.startswith("qc.results") else ():
                    if one.default_factory is not NODEFAULT:
                        yield kind.__name__, one.name, one.default_factory()
                    elif one.default is not NODEFAULT:
                        yield kind.__name__, one.name, one.default


def test_a_record_says_nothing_of_what_was_not_found() -> None:
    """None, no text, no entry, not, or 0; whatever else a default says would be taken for a finding."""
    said = {one for one in defaults() if one[2] not in (None, "", (), {}, 0, (None, None))}
    assert said == SAID


FAULTS = ("settling", "uneven-fill", "balance-drift", "assay-bias", "leaking-mould", "poor-mixing")


@st.composite
def found_causes(draw: st.DrawFn) -> tuple[CauseFound, ...]:
    names = draw(st.permutations((SOUND, *FAULTS)))
    chances = st.sampled_from([0.0, 0.0099, 0.01, 0.0101, 0.1, 0.2, 0.4])
    pairs = draw(st.sets(st.tuples(st.sampled_from(names), st.sampled_from(names))))
    alike = {one: {b for a, b in pairs if a == one} | {a for a, b in pairs if b == one} for one in names}
    return tuple(
        CauseFound(cause=one, probability=draw(chances), alike=tuple(sorted(alike[one] - {one}))) for one in names
    )


@given(found_causes())
def test_causes_are_named_together_with_those_that_no_measurement_tells_from_the_likeliest(
    causes: tuple[CauseFound, ...],
) -> None:
    groups = named_together(causes)
    assert sorted(one for group in groups for one in group.ids) == sorted(one.cause for one in causes)
    assert [one.probability for one in groups] == sorted((one.probability for one in groups), reverse=True)
    by_name = {one.cause: one for one in causes}

    def alone(name: str) -> bool:
        return SOUND in (name, *by_name[name].alike) or by_name[name].probability < 0.01

    for group in groups:
        first, *others = group.causes
        chances = [one.probability for one in group.causes]
        assert chances == sorted(chances, reverse=True)
        assert all(one.cause in first.alike and not alone(one.cause) for one in others)
        assert not (others and alone(first.cause))
        # Whoever is alike to the first and named elsewhere is named with one that is as likely or likelier.
        for name in {*first.alike} - {*group.ids}:
            if not alone(name) and not alone(first.cause):
                (elsewhere,) = [one for one in groups if name in one.ids]
                assert elsewhere.causes[0].probability >= first.probability


def test_the_probability_of_a_group_is_never_above_one() -> None:
    group = CauseGroup(causes=tuple(CauseFound(cause=name, probability=0.35) for name in FAULTS[:3]))
    assert group.probability == 1.0
    assert CauseGroup(causes=group.causes[:2]).probability == 0.7


@pytest.mark.parametrize(("bits", "open_bits", "share"), [(0.3, 1.2, 0.25), (2.0, 1.0, 1.0), (0.0, 0.0, None)])
def test_what_a_measurement_settles_is_a_share_of_what_is_open(
    bits: float, open_bits: float, share: float | None
) -> None:
    between = ("settling", "sound")
    assert (
        NextMeasurement(what="", units=(), bits=bits, open_bits=open_bits, effort=1, between=between).settles == share
    )


@pytest.mark.parametrize(("low", "high", "worst"), [(-3.0, 2.0, 3.0), (-1.0, 5.0, 5.0), (1.0, 2.0, 2.0)])
def test_the_worst_that_a_remedy_may_leave_is_the_far_end(low: float, high: float, worst: float) -> None:
    one = Remedied(remedy="", cause="", figure="", before=9.0, after=1.0, low=low, high=high)
    assert one.worst == worst


def test_of_two_weighings_the_one_that_counts_is_taken() -> None:
    first, second = Decimal("2.01"), Decimal("2.02")
    row = UnitRow(unit="1", pour_order=1, mould=None, cavity=None, deviation_percent=None, mass_g=first)
    assert row.counting_g == first
    twice = replace(row, weighed_again_g=second, second_mass_counts=True)
    assert (twice.counting_g, replace(twice, second_mass_counts=False).counting_g) == (second, first)


def test_what_clearly_changed_is_the_mass_and_then_the_actives_in_their_order() -> None:
    clear, possible = (Trend(flag=flag, n=10) for flag in (TrendFlag.CLEAR, TrendFlag.POSSIBLE))
    changed = PourTrend(mass=clear, content={"b": clear, "c": possible, "a": clear}, concentration={"c": clear})
    assert changed.clearly_changed == (None, "b", "a")
    assert PourTrend(mass=possible).clearly_changed == ()


def test_a_batch_has_the_trends_of_its_pour_where_it_was_followed() -> None:
    trend = PourTrend(mass=Trend(flag=TrendFlag.CLEAR, n=10))
    judged = JudgedBatch(batch=Batch(units=()), rule_set="", verdict=BatchVerdict.COMPLIES, tests=())
    assert (judged.pour_trend, replace(judged, pour=PourAnalysis(trend=trend)).pour_trend) == (None, trend)


class TestBasis:
    """A verdict rests on contents only where each active was judged by them."""

    A, B = (Active(name=name, label_claim_mg=Decimal(100)) for name in "AB")

    def basis(self, batch: Batch, *tests: tuple[str, str | None, Verdict]) -> Basis:
        made = tuple(TestResult(id=id, rule="", active=active, verdict=verdict) for id, active, verdict in tests)
        return JudgedBatch(batch=batch, rule_set="", verdict=BatchVerdict.UNDECIDED, tests=made).basis

    @pytest.mark.parametrize("id", ["content-uniformity", "dosage-unit-uniformity", "large-sample-uniformity"])
    def test_each_active_must_have_a_test_of_content_that_was_assessed(self, id: str) -> None:
        batch = Batch(units=(), actives=(self.A, self.B))
        of_a, of_b = ((id, name, Verdict.DOES_NOT_COMPLY) for name in "AB")
        assert self.basis(batch, of_a, of_b) is Basis.MASS_AND_CONTENT
        assert self.basis(batch, of_a) is Basis.MASS_ALONE
        assert self.basis(batch, of_a, (id, "B", Verdict.NOT_ASSESSED)) is Basis.MASS_ALONE

    def test_a_test_of_masses_is_none_of_contents(self) -> None:
        assert self.basis(Batch(units=()), ("mass-uniformity", None, Verdict.COMPLIES)) is Basis.MASS_ALONE
        batch = Batch(units=(), actives=(self.A,))
        assert self.basis(batch, ("mass-uniformity", "A", Verdict.COMPLIES)) is Basis.MASS_ALONE

    def test_an_active_that_was_assayed_counts_where_none_is_named(self) -> None:
        batch = Batch(units=(), assays=(Assay(unit="1", active="A", content_mg=Decimal(99)),))
        assert self.basis(batch, ("content-uniformity", "A", Verdict.COMPLIES)) is Basis.MASS_AND_CONTENT
        assert self.basis(batch, ("content-uniformity", "B", Verdict.COMPLIES)) is Basis.MASS_ALONE


@pytest.mark.parametrize(("low", "said"), [(0.1, ", at least 10 %"), (0.0999, ""), (None, "")])
def test_a_bound_below_one_in_ten_says_nothing_and_is_not_said(low: float | None, said: str) -> None:
    one = Assurance(test="mass-uniformity", active=None, confidence=0.95, pass_chance=0.8, said=("told",))
    judged = JudgedBatch(
        batch=Batch(units=()),
        rule_set="",
        verdict=BatchVerdict.COMPLIES,
        tests=(),
        assurance=(replace(one, pass_chance_low=low),),
    )
    (section,) = assurance(judged)
    assert f"80 %{said}" in [cell.replace("\xa0", " ") for cell in section.pieces[0].rows[0]]  # type: ignore[union-attr]


def test_lines_of_the_packing_checklist_are_open_where_nobody_said_yes_or_no() -> None:
    answers = ("yes", "no", "not entered", "not readable", "not applicable")
    lines = tuple(PackingLine(item=answer, text="", answer=answer) for answer in answers)
    checklist = PackingChecklist(lines=lines, started=True)
    assert [line.answer for line in checklist.open_lines] == ["not entered", "not readable"]
    assert [line.answer for line in checklist.refused_lines] == ["no"]


def test_units_that_were_used_up_are_those_assayed_tested_rejected_and_kept() -> None:
    ledger = UnitLedger(
        whole=100, weighed_and_kept=20, assayed=10, other_tests=3, rejected=5, retained=2, left=60, released=None,
        released_at_most=80,
    )  # fmt: skip
    assert ledger.used == 20


def test_of_units_that_nobody_looked_at_nothing_is_known() -> None:
    seen = VisualInspection(lot=24, looked_at=0)
    assert (seen.defects, seen.classes, seen.unknown) == ((), (), {})
    assert Message(id="mass.none_weighed").values == {}
