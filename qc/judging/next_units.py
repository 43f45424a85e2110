"""Which further units to take for a test that is not decided, drawn at random with a recorded seed."""

from __future__ import annotations

import random
from collections.abc import Sequence

from msgspec.structs import replace

from qc.batch import Batch
from qc.results import BatchVerdict, TestResult


def with_next_units(test: TestResult, *, batch: Batch, verdict: BatchVerdict, seed: int) -> TestResult:
    """A test that asks for more units, with the units to take drawn from those not yet measured for it.

    Where the batch does not comply already, no further unit could change that, and none is asked for.
    """
    if verdict is BatchVerdict.DOES_NOT_COMPLY or not test.more_units:
        return replace(test, more_units=0)
    measured = {one.unit for one in batch.assays if one.active == test.active}
    if test.active is None:
        measured = {unit.name for unit in batch.weighed}
    candidates = [unit.name for unit in batch.units if unit.name not in measured | batch.lost]
    return replace(test, next_units=draw(candidates, test.more_units, seed=seed, label=test.active or ""))


def draw(candidates: Sequence[str], wanted: int, *, seed: int, label: str = "") -> tuple[str, ...]:
    """Units drawn at random without replacement, in the order they were entered; all of them where too few remain."""
    if len(candidates) <= wanted:
        return tuple(candidates)
    drawn = set(random.Random(f"{seed} {label}").sample(range(len(candidates)), wanted))
    return tuple(unit for place, unit in enumerate(candidates) if place in drawn)
