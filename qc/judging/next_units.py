"""Which further units to take for a test that is not decided, drawn at random with a recorded seed."""

from __future__ import annotations

import random
from collections.abc import Sequence

from msgspec.structs import replace

from qc.batch import Batch, Part
from qc.results import TestResult


def with_next_units(test: TestResult, *, batch: Batch, seed: int) -> TestResult:
    """A test that asks for more units, with the units to take drawn from those not yet measured for it."""
    if not test.more_units:
        return test
    candidates = _not_yet_assayed(batch, active=test.active) if test.active is not None else _not_yet_weighed(batch)
    return replace(test, next_units=draw(candidates, test.more_units, seed=seed, label=test.active or ""))


def without_a_draw(test: TestResult) -> TestResult:
    """A test of a batch that does not comply already: no further unit could change that, so none is asked for."""
    return replace(test, more_units=0, next_units=()) if test.more_units else test


def draw(candidates: Sequence[str], wanted: int, *, seed: int, label: str = "") -> tuple[str, ...]:
    """Units drawn at random without replacement, in the order they were entered; all of them where too few remain."""
    if len(candidates) <= wanted:
        return tuple(candidates)
    drawn = set(random.Random(f"{seed} {label}").sample(range(len(candidates)), wanted))
    return tuple(unit for place, unit in enumerate(candidates) if place in drawn)


def _not_yet_assayed(batch: Batch, *, active: str) -> tuple[str, ...]:
    assayed = {assay.unit for assay in batch.assays if assay.active == active}
    return tuple(unit.name for unit in batch.units if unit.name not in assayed and not unit.left_out_because)


def _not_yet_weighed(batch: Batch) -> tuple[str, ...]:
    return tuple(unit.name for unit in batch.units if unit.mass_g is None and not unit.left_out_because)


def whole_assays(batch: Batch) -> bool:
    """Whether any whole unit was assayed."""
    return any(assay.part is Part.WHOLE for assay in batch.assays)
