"""Which further units to take for a test that is not decided, drawn at random with a recorded seed."""

from __future__ import annotations

from collections.abc import Iterator

from msgspec.structs import replace

from qc.batch import Batch
from qc.pour.lots import drawn_order
from qc.results import BatchVerdict, Message, TestResult, UnitLedger, Verdict, message
from qc.rules.kinds.content.record import ContentRule
from qc.rules.kinds.dosage_units.record import DosageUnitRule
from qc.rules.records import Rule


def with_next_units(
    test: TestResult,
    *,
    batch: Batch,
    verdict: BatchVerdict,
    seed: int,
    ledger: UnitLedger | None = None,
    rule: Rule | None = None,
) -> TestResult:
    """A test that asks for more units, with the units to take drawn from those not yet measured for it.

    Its last reason says what the units of both stages have to keep, where its rule has two.

    Where the batch does not comply already, no further unit could change that, and none is asked for; nor where fewer
    are left than the test asks for. Without the number of units poured, more may be left than are entered.
    """
    if verdict is BatchVerdict.DOES_NOT_COMPLY or not test.more_units:
        return replace(test, more_units=0)
    gone = {one.unit for one in batch.assays} | batch.lost
    if not any(one.active == test.active for one in batch.assays):
        gone |= {unit.name for unit in batch.weighed}
    if ledger is not None:
        whole, asked = ledger.whole, test.more_units
        # What other tests used up was weighed perhaps, but was not assayed.
        used = ledger.other_tests if test.active is not None else 0
        left = max(whole - len(gone) - used, 0)
        if left < asked:
            said = {"asked": asked, "left": left, "whole": whole, "total": test.n + asked}
            return replace(test, more_units=0, missing=message("advice.too_few_left", **said))
    lot = [name for name in drawn_order(batch, seed=seed) if name not in gone][: test.more_units]
    taken = tuple(unit.name for unit in batch.units if unit.name in lot)
    return replace(test, next_units=taken, reasons=(*test.reasons, *_of_both_stages(test, rule)))


def _of_both_stages(test: TestResult, rule: Rule | None) -> Iterator[Message]:
    """The limits of the second stage, which holds for all units of both."""
    if test.verdict is Verdict.SECOND_STAGE and isinstance(rule, ContentRule):
        limits = {"allowed": rule.second_passes_with, "inner": rule.inner_percent, "outer": rule.outer_percent}
        yield message("tests.both_stages", of=rule.first_size + rule.second_size, **limits)
    if test.verdict is Verdict.SECOND_STAGE and isinstance(rule, DosageUnitRule):
        bounds = {"l1": rule.l1_percent, "l2": rule.l2_percent}
        yield message("tests.both_stages_dose", of=rule.first_size + rule.second_size, **bounds)
