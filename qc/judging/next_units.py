"""Which further units to take for a test that is not decided, drawn at random with a recorded seed."""

from __future__ import annotations

from msgspec.structs import replace

from qc.batch import Batch
from qc.pour.lots import drawn_order
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
    gone = measured | batch.lost
    lot = [name for name in drawn_order(batch, seed=seed) if name not in gone][: test.more_units]
    return replace(test, next_units=tuple(unit.name for unit in batch.units if unit.name in lot))
