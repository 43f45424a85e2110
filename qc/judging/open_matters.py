"""What stays open before release whatever the tests say, each with the act that closes it: common practice."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from msgspec.structs import replace

from qc.batch import Batch
from qc.judging.weighed_again import second_counts
from qc.results import OF_THE_RECORD, UNCHECKED, BatchVerdict, Message, TestResult, Verdict, message
from qc.rules.records import Mark, Rule


def with_unchecked(test: TestResult, rule: Rule) -> TestResult:
    """A test that was judged by a limit from memory says so last among its reasons.

    A limit that the record states is that of the record.
    """
    stated = test.criteria and all(limit.clause == OF_THE_RECORD for limit in test.criteria)
    if rule.reference.mark is not Mark.FROM_MEMORY or test.verdict is Verdict.NOT_ASSESSED or stated:
        return test
    return replace(test, reasons=(*test.reasons, UNCHECKED))


def open_matters(
    batch: Batch,
    tests: Sequence[TestResult],
    *,
    verdict: BatchVerdict,
    cannot_say: Sequence[Message],
) -> Iterator[Message]:
    """Usual tests that were not done, limits from memory, and what the record lacks.

    Parameters
    ----------
    batch : Batch
    tests : sequence of TestResult
    verdict : BatchVerdict
    cannot_say : sequence of Message
        What the data cannot say, the usual tests of which nothing was entered among it.
    """
    happened = {
        "failed": verdict is BatchVerdict.DOES_NOT_COMPLY,
        "left_out": any(unit.left_out_because for unit in batch.units),
        "weighed_again": any(second_counts(batch, unit) for unit in batch.units),
    }
    if any(happened.values()) and not batch.deviation:
        yield message("advice.deviation", happened=[name for name, so in happened.items() if so])
    yield from (message("advice.usual_checks", **one.values) for one in cannot_say if one.id == "advice.not_entered")
    if unchecked := [test for test in tests if test.unchecked]:
        ids, rules = (list(dict.fromkeys(getattr(test, name) for test in unchecked)) for name in ("id", "rule"))
        # A batch is not rejected by a limit that nobody read either.
        failed = any(test.verdict is Verdict.DOES_NOT_COMPLY for test in unchecked)
        limits = [limit for test in unchecked for limit in test.criteria if limit.what == "check_result"]
        of_checks = limits if len(limits) == len(unchecked) else ()
        yield message("advice.unchecked", tests=ids, rules=rules, failed=failed, of_checks=of_checks)
    for limit in (one for test in tests for one in test.criteria if one.what == "melt_unaccounted" and not one.bound):
        yield message("advice.melt_unaccounted", percent=limit.figure)
    if lacking := [name for name in ("product", "number") if not getattr(batch, name)]:
        yield message("advice.name_it", facts=lacking)
    if batch.units_poured is None and batch.units_obtained is None:
        yield message("advice.record_lacks")
    for one in cannot_say:
        if one.id == "advice.how_drawn" and one.values["unsaid"]:
            yield message("advice.say_how_drawn", samples=one.values["unsaid"])
