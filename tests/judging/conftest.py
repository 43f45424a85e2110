"""Batches made by hand: enough units and assays for every test, changed where a test needs it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from decimal import Decimal
from typing import Any

import pytest
from msgspec.structs import replace

from qc.batch import Active, Assay, Batch, Unit
from qc.causes.weigh import CausesWeighed
from qc.judging.judge import judge_batch
from qc.results import JudgedBatch, TestResult
from qc.rules.rule_books import rule_book

SOUND = ("2.000",) * 24
DRUG = Active(name="drug", label_claim_mg=Decimal(100))


def build(
    masses: Sequence[str] = SOUND,
    contents: Sequence[str] = (),
    *,
    unit: str = "percent",
    stages: Sequence[int | None] | None = None,
    active: Active | None = DRUG,
    units: Mapping[str, Mapping[str, Any]] | None = None,
    **facts: Any,
) -> Batch:
    """A batch of suppositories: units 1, 2, ... with these masses [g], the first ones assayed with these contents."""
    count = max(len(masses), len(contents))
    made = tuple(
        Unit(name=str(n), mass_g=Decimal(masses[n - 1]) if n <= len(masses) else None) for n in range(1, count + 1)
    )
    for name, changes in (units or {}).items():
        made = tuple(replace(one, **changes) if one.name == name else one for one in made)
    assays = tuple(
        Assay(
            unit=str(n),
            active="drug",
            stage=None if stages is None else stages[n - 1],
            content_percent=Decimal(content) if unit == "percent" else None,
            content_mg=Decimal(content) if unit == "mg" else None,
        )
        for n, content in enumerate(contents, 1)
    )
    return Batch(
        units=made,
        assays=facts.pop("assays", assays),
        actives=facts.pop("actives", (active,) if active is not None else ()),
        dosage_form=facts.pop("dosage_form", "suppositories"),
        **facts,
    )


@pytest.fixture(autouse=True)
def no_causes(monkeypatch: pytest.MonkeyPatch) -> None:
    """Causes are weighed for the reader and never for a verdict; their own tests look at them, here they take time."""

    def weigh_nothing(batch: Batch, **asked: object) -> CausesWeighed:
        return CausesWeighed(causes=())

    monkeypatch.setattr("qc.judging.judge.weigh_causes", weigh_nothing)


@pytest.fixture
def make_batch() -> Callable[..., Batch]:
    return build


@pytest.fixture
def judge() -> Callable[..., JudgedBatch]:
    def judge_by(batch: Batch, rules: str | None = None) -> JudgedBatch:
        return judge_batch(batch, book=rule_book(rules))

    return judge_by


@pytest.fixture
def find_test() -> Callable[..., TestResult]:
    def find(judged: JudgedBatch, id: str, active: str | None = None) -> TestResult:
        found = [test for test in judged.tests if test.id == id and (active is None or test.active == active)]
        assert len(found) == 1, f"{len(found)} tests {id}"
        return found[0]

    return find
