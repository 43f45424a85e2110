"""What stays open before release whatever the tests say, each with the act that closes it: common practice."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from qc.batch import Batch
from qc.judging.weighed_again import second_counts
from qc.results import BatchVerdict, Message, RuleUsed, TestResult, Verdict, message
from qc.rules.records import Mark


def open_matters(
    batch: Batch,
    tests: Sequence[TestResult],
    *,
    verdict: BatchVerdict,
    rules_used: Sequence[RuleUsed],
    cannot_say: Sequence[Message],
) -> Iterator[Message]:
    """Usual tests that were not done, limits from memory, and what the record lacks.

    Parameters
    ----------
    batch : Batch
    tests : sequence of TestResult
    verdict : BatchVerdict
    rules_used : sequence of RuleUsed
        For how each rule is known.
    cannot_say : sequence of Message
        What the data cannot say, the usual tests of which nothing was entered among it.
    """
    yield from (message("advice.usual_checks", **one.values) for one in cannot_say if one.id == "advice.not_entered")
    from_memory = {rule.id for rule in rules_used if rule.mark == Mark.FROM_MEMORY}
    unchecked = [test for test in tests if test.rule in from_memory and test.verdict is not Verdict.NOT_ASSESSED]
    if unchecked:
        ids, rules = (list(dict.fromkeys(getattr(test, name) for test in unchecked)) for name in ("id", "rule"))
        yield message("advice.unchecked", tests=ids, rules=rules)
    lacking = [name for name in ("product", "number") if not getattr(batch, name)]
    poured = batch.units_poured is not None or batch.units_obtained is not None
    if lacking or not poured:
        yield message("advice.record_lacks", facts=[*lacking, *([] if poured else ["units_poured"])])
    happened = {
        "failed": verdict is BatchVerdict.DOES_NOT_COMPLY,
        "left_out": any(unit.left_out_because for unit in batch.units),
        "weighed_again": any(second_counts(batch, unit) for unit in batch.units),
    }
    if any(happened.values()) and not batch.deviation:
        yield message("advice.deviation", happened=[name for name, so in happened.items() if so])
