"""What to do now, decided from what the tests, the causes and the pour say."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from qc.judging.applicable import DOSE_UNKNOWN
from qc.judging.cannot_say import CONTENT_TESTS
from qc.results import BatchVerdict, CauseFound, Message, PourTrend, TestResult, Verdict, message

STATED_CHECK = "release-check"
LIKELY = 0.5
SETTLING = ("settling-in-unit", "settling-in-pour")


def next_steps(
    tests: Sequence[TestResult],
    *,
    verdict: BatchVerdict,
    to_assay: Sequence[str] = (),
    beside: Sequence[Message] = (),
) -> tuple[Message, ...]:
    """What to do now, the most pressing first.

    Parameters
    ----------
    tests : sequence of TestResult
    verdict : BatchVerdict
    to_assay : sequence of str
        Units drawn at random for a test of content.
    beside : sequence of Message
        What to look at before release although the tests are met.

    Returns
    -------
    tuple of Message
    """
    steps: list[Message] = []
    failed = verdict is BatchVerdict.DOES_NOT_COMPLY
    if failed:
        steps.append(message("advice.hold"))
    else:
        steps += [*_not_to_be_cleared(tests), *_further_units(tests)]
    lacking = [] if failed else _content_to_find(tests, to_assay=to_assay)
    steps += [*lacking, *_inputs_to_enter(tests)]
    if verdict is BatchVerdict.COMPLIES:
        steps += [message("advice.before_release", matter=matter, lacking=bool(lacking)) for matter in beside]
        if not lacking and not beside:
            steps.append(message("advice.nothing_more"))
    return tuple(steps)


def beside_the_tests(causes: Sequence[CauseFound], *, trend: PourTrend) -> tuple[Message, ...]:
    """What the pharmacist should look at before release although every test is met.

    Parameters
    ----------
    causes : sequence of CauseFound
    trend : PourTrend

    Returns
    -------
    tuple of Message
        Worded after "look at".
    """
    matters = [
        message("advice.settling", cause=cause.cause, probability=cause.probability)
        for cause in causes
        if cause.cause in SETTLING and cause.probability > LIKELY
    ]
    matters += [
        message("advice.clear_change", series="mass" if active is None else "content", active=active or "")
        for active in trend.clearly_changed
    ]
    return tuple(matters)


def _together(tests: Sequence[TestResult], key: Callable[[TestResult], object]) -> list[list[TestResult]]:
    """The tests that share a key, in the order in which the keys come up."""
    groups: dict[str, list[TestResult]] = {}
    for test in tests:
        # A message holds a mapping and has no hash; what it is made of tells it apart.
        groups.setdefault(repr(key(test)), []).append(test)
    return list(groups.values())


def _rules(tests: Sequence[TestResult]) -> list[str]:
    return list(dict.fromkeys(test.rule for test in tests))


def _further_units(tests: Sequence[TestResult]) -> list[Message]:
    """One step for each draw of further units, with every rule that it serves; the test that asks for most leads."""
    steps = []
    for group in _together([test for test in tests if test.more_units], lambda test: (test.active, test.next_units)):
        test = max(group, key=lambda one: one.more_units)
        steps.append(
            message(
                "advice.more_units",
                number=test.more_units,
                active=test.active,
                rules=_rules(group),
                several=len(group) > 1,
                units=test.next_units,
            )
        )
    return steps


def _not_to_be_cleared(tests: Sequence[TestResult]) -> list[Message]:
    """A second stage that is due and cannot be passed any more."""
    return [
        message("advice.cannot_be_cleared", active=test.active, rule=test.rule)
        for test in tests
        if test.verdict is Verdict.SECOND_STAGE and any(line.met is False for line in test.criteria)
    ]


def _content_to_find(tests: Sequence[TestResult], *, to_assay: Sequence[str]) -> list[Message]:
    """What a test of content lacks that the set asks for only where contents are there."""
    open_tests = [
        test
        for test in tests
        if test.id in CONTENT_TESTS and test.verdict is Verdict.NOT_ASSESSED and not test.required
    ]
    unknown = [test for test in open_tests if DOSE_UNKNOWN in test.reasons]
    if unknown:
        return [message("advice.enter_dose", reason=DOSE_UNKNOWN, rules=_rules(unknown))]
    lacking = [test for test in open_tests if test.missing]
    return [
        _content_step(group[0], rules=_rules(group), to_assay=to_assay)
        for group in _together(lacking, lambda test: (test.active, test.missing))
    ]


def _content_step(test: TestResult, *, rules: Sequence[str], to_assay: Sequence[str]) -> Message:
    missing = test.missing
    if not (isinstance(missing, Message) and missing.id == "advice.contents"):
        return message("advice.enter_for_content", active=test.active, missing=missing, rules=rules)
    drawn = to_assay if len(to_assay) == missing.values["number"] else ()
    return message("advice.assay", active=test.active, rules=rules, drawn=drawn, **missing.values)


def _inputs_to_enter(tests: Sequence[TestResult]) -> list[Message]:
    """One step for each thing that is missing, with every rule that asks for it."""
    lacking = [
        test
        for test in tests
        if (test.verdict is Verdict.NOT_ASSESSED and test.required)
        or (test.verdict is Verdict.TOO_FEW_UNITS and test.missing)
    ]
    steps = []
    for group in _together(lacking, lambda test: (test.missing, test.active)):
        rules = [test.rule for test in group]
        thing = {"missing": group[0].missing, "active": group[0].active}
        if rules == [STATED_CHECK]:
            steps.append(message("advice.enter_on_checks", **thing))
        else:
            steps.append(message("advice.enter", rules=rules, **thing))
    return steps
