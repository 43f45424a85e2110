"""What to do now: one advice, from the verdict, the tests, the causes, what else was found, and what is possible."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from decimal import Decimal
from typing import Any

from qc.judging.closing import acts_before_release, is_act
from qc.results import (
    BATCH_ASSAY,
    CONTENT_TESTS,
    SOUND,
    BatchVerdict,
    CauseFound,
    CauseGroup,
    Message,
    NextMeasurement,
    PourTrend,
    TestResult,
    UnitLedger,
    Verdict,
    message,
    named_together,
)

STATED_CHECK, SECOND_WEIGHING = "release-check", "tests.second_weighing"
SLIP = "slip-of-pen"
CORRECTED = "record.corrected_input"
LIKELY = 0.5
SUSPECTED = 0.2
"""From which probability on a print-out is looked at, which takes a minute: common practice."""
OPEN_FINDINGS = (
    "assay.differ",
    "packing.count_differs",
    "pour.one_side",
    "reconciliation.more_came_out",
    "reconciliation.more_used",
    "record.calibration_over",
    "record.expiry",
    "record.one_person",
    "record.out_of_order",
    "remarks.marks_passed_over",
    "remarks.other_form",
    "remarks.unlike_plan",
    "tests.pooled_would_fail",
    "visual.beside_appearance",
    "visual.unknown_word",
)
"""What keeps a batch whose tests are met from being told to go on, besides likely causes and clear changes."""
OF_EVERY_RECORD = ("advice.name_it", "advice.record_lacks", "advice.deviation", "advice.say_how_drawn")
"""What a batch that is held has to have on record too."""
_ASSAYED = {"advice.more_units": "units", "advice.assay": "drawn", "advice.assay_ends": "units"}
"""Steps that use up units, by the value that names these."""
_BY_NAME = _ASSAYED | {"advice.weigh_again": "units"}
"""Steps for which units have to be at hand."""
_MEASURED = ("mass-uniformity", "mean-mass", BATCH_ASSAY, *CONTENT_TESTS)


def next_steps(
    tests: Sequence[TestResult],
    *,
    verdict: BatchVerdict,
    to_assay: Sequence[str] = (),
    causes: Sequence[CauseFound] = (),
    trend: PourTrend | None = None,
    findings: Sequence[Message | str] = (),
    ledger: UnitLedger | None = None,
    measurements: Sequence[NextMeasurement] = (),
    inner_percent: Decimal | None = None,
    agree_within_g: Callable[[int], Decimal | None] = lambda units: None,
    open_matters: Sequence[Message] = (),
) -> tuple[Message, ...]:
    """What to do now, the most pressing first; nothing that the batch cannot give, and no step against another.

    Parameters
    ----------
    tests : sequence of TestResult
    verdict : BatchVerdict
    to_assay : sequence of str
        Units drawn at random for a test of content.
    causes : sequence of CauseFound
    trend : PourTrend, optional
    findings : sequence of Message
        What else was found; those of `OPEN_FINDINGS` are to be cleared up before release.
    ledger : UnitLedger, optional
        How many units the batch has, and how many of them could be released.
    measurements : sequence of NextMeasurement
        What would tell the causes apart, the most telling first.
    inner_percent : Decimal, optional
        How far one content may lie from the mean by the content test [% of the mean].
    agree_within_g : callable, optional
        How far the two masses of so many units may lie apart by chance [g].
    open_matters : sequence of Message
        What stays open before release whatever the tests say; of a batch that is held, or of which no unit is left to
        release, only what every record has to hold.

    Returns
    -------
    tuple of Message
    """
    likely = [one for one in named_together(causes) if one.probability > LIKELY and one.ids[0] not in (SOUND, SLIP)]
    print_outs = [
        message("advice.print_out", **evidence.values)
        for one in causes
        if one.cause == SLIP and one.probability >= SUSPECTED
        for evidence in one.evidence
        if isinstance(evidence, Message) and evidence.id == "causes.outlier"
    ]
    found = [one for one in findings if isinstance(one, Message) and one.id in OPEN_FINDINGS]
    left = [
        message("checks.left_to_signer", reasons=test.reasons)
        for test in tests
        if test.verdict is Verdict.NOT_ASSESSED
        and not test.required
        and test.subject
        # What stands among the open findings is told there.
        and (verdict is BatchVerdict.DOES_NOT_COMPLY or not any(reason in found for reason in test.reasons))
    ]
    # What is to be done with a file that does not stand goes before all that may be done with its numbers.
    corrected = [
        message("record.judge_corrected", **test.missing.values)
        for test in tests
        if isinstance(test.missing, Message) and _lacks(test) == CORRECTED
    ]
    of_record = [one for one in open_matters if one.id in OF_EVERY_RECORD or one.values.get("failed") is True]
    if verdict is BatchVerdict.DOES_NOT_COMPLY:
        hold = _hold(tests, likely=likely, measurements=measurements)
        return (*corrected, *print_outs, hold, *of_record, *left)
    drawn = [
        *_further_units(tests, ledger),
        *_content_to_find(tests, to_assay=to_assay, whole=None if ledger is None else ledger.whole),
    ]
    # Where more were used up than there are, a count is wrong, and how many are left is not known.
    counted = ledger is not None and ledger.used <= ledger.whole
    never = _not_to_be_supplied(tests)
    release = not never and (not counted or ledger is None or ledger.released_at_most > _how_many(drawn))
    matters = [
        message("advice.cause", closing=release, **_of_cause(one, measurements, closing=release)) for one in likely
    ]
    changed = trend.clearly_changed if trend is not None else ()
    matters += [
        message("advice.clear_change", series="mass" if active is None else "content", active=active or "")
        for active in changed
    ]
    none_left = [] if release or verdict is not BatchVerdict.COMPLIES else [message("advice.none_left")]
    steps = [*corrected, *print_outs, *never, *drawn, *_inputs_to_enter(tests)]
    if matters and release:
        causes_named = [id for one in likely for id in one.ids]
        first, *further = acts_before_release(
            causes_named,
            changed=bool(changed),
            measurements=measurements,
            ledger=ledger,
            inner_percent=inner_percent,
            agree_within_g=agree_within_g,
        )
        # Each act has a box of its own.
        steps.append(message("advice.look_into", matters=matters, acts=(first,)))
        steps += [message("advice.act_too", acts=(act,)) for act in further]
    elif matters:
        steps.append(message("advice.look_into", matters=matters, release=release))
    steps += [*(message("advice.open_finding", finding=one, release=release) for one in found)]
    assays = [test for test in tests if test.id == BATCH_ASSAY and not test.required and test.active]
    unlimited = tuple(test.active for test in assays if test.verdict is Verdict.NOT_ASSESSED)
    steps += [message("advice.mean_content", unlimited=unlimited)] if unlimited and release else []
    steps += [*left, *(open_matters if release else of_record), *none_left]
    if verdict is BatchVerdict.COMPLIES and not steps:
        steps.append(message("advice.nothing_more"))
    return tuple(steps)


def acts_of(steps: Sequence[Message | str]) -> tuple[Message, ...]:
    """The acts that steps name to close what is open."""
    return tuple(act for step in steps if isinstance(step, Message) for act in step.values.get("acts", ()))


def names_units(steps: Sequence[Message | str]) -> bool:
    """Whether steps ask for units by their names."""
    every = (step for step in (*steps, *acts_of(steps)) if isinstance(step, Message))
    return any(step.values.get(_BY_NAME.get(step.id, "")) for step in every)


def units_asked_for(steps: Sequence[Message]) -> tuple[frozenset[str], int]:
    """The units that the assays of steps would use up, each once, and how many more of which none is named."""
    named, more = set[str](), 0
    for step in (*steps, *acts_of(steps)):
        units = step.values.get(_ASSAYED[step.id], ()) if step.id in _ASSAYED else ()
        if step.id != "advice.more_units" or step.values["active"] is not None:
            named |= {*units}
            more = max(more, step.values.get("number", 0) - len(units))
    return frozenset(named), more


def _how_many(steps: Sequence[Message]) -> int:
    named, more = units_asked_for(steps)
    return len(named) + more


def _of_cause(one: CauseGroup, measurements: Sequence[NextMeasurement], *, closing: bool = False) -> dict[str, Any]:
    """A likely cause; of several that look alike, the measurement that would tell them apart, where there is one.

    One that is an act that closes the matter stands there.
    """
    first = next((found for found in measurements if {*found.between} <= {*one.ids}), None)
    apart = "" if first is None or (closing and is_act(first)) else first.what
    return {"causes": one.ids, "probabilities": one.probabilities, "apart": apart}


def _hold(
    tests: Sequence[TestResult], *, likely: Sequence[CauseGroup], measurements: Sequence[NextMeasurement]
) -> Message:
    """Hold the batch: for the cause where something measured fails, else until the papers are put right."""
    failed = [test for test in tests if test.verdict is Verdict.DOES_NOT_COMPLY]
    if failed and not any(test.id in _MEASURED for test in failed):
        ids = tuple(dict.fromkeys(test.id for test in failed))
        return message("advice.hold_for", tests=ids, reasons=tuple(one for test in failed for one in test.reasons[:1]))
    named = _of_cause(likely[0], measurements) if likely else {"causes": (), "probabilities": ()}
    return message("advice.hold", **named)


def _together(tests: Sequence[TestResult], key: Callable[[TestResult], object]) -> list[list[TestResult]]:
    """The tests that share a key, in the order in which the keys come up."""
    groups: dict[str, list[TestResult]] = {}
    for test in tests:
        # A message holds a mapping and has no hash; what it is made of tells it apart.
        groups.setdefault(repr(key(test)), []).append(test)
    return list(groups.values())


def _rules(tests: Sequence[TestResult]) -> list[str]:
    return list(dict.fromkeys(test.rule for test in tests))


def _further_units(tests: Sequence[TestResult], ledger: UnitLedger | None) -> list[Message]:
    """One step for each draw of further units, with every rule that it serves; the test that asks for most leads."""
    draws = _together([test for test in tests if test.more_units], lambda test: (test.active, test.next_units))
    return [
        message(
            "advice.more_units",
            number=max(test.more_units for test in group),
            active=group[0].active,
            rules=_rules(group),
            several=len(group) > 1,
            units=group[0].next_units,
            # An assay destroys its unit.
            last=group[0].active is not None
            and ledger is not None
            and ledger.released_at_most <= len(group[0].next_units),
        )
        for group in draws
    ]


def _not_to_be_supplied(tests: Sequence[TestResult]) -> list[Message]:
    """Tests for which too few units are left, each with since when that was so."""
    short = [test for test in tests if _short_of(test)]
    return [
        message("advice.cannot_be_shown", active=group[0].active, rules=_rules(group), **_short_of(group[0]))
        for group in _together(short, lambda test: (test.active, test.missing))
    ]


def _lacks(test: TestResult) -> str:
    """Which message says what a test lacks; "" where it is plain words, or nothing."""
    return test.missing.id if isinstance(test.missing, Message) else ""


def _short_of(test: TestResult) -> Mapping[str, Any]:
    """How many units a test is short of; nothing where it is not."""
    missing = test.missing
    return missing.values if isinstance(missing, Message) and missing.id == "advice.too_few_left" else {}


def _content_to_find(tests: Sequence[TestResult], *, to_assay: Sequence[str], whole: int | None) -> list[Message]:
    """What the tests of content lack: contents to assay, and what tests need that the set does not require."""
    open_tests = [
        test
        for test in tests
        if test.id in CONTENT_TESTS
        and test.verdict is Verdict.NOT_ASSESSED
        and not (test.required and _lacks(test) != "advice.contents")
    ]
    lacking = [test for test in open_tests if test.missing]
    return [
        _content_step(group[0], rules=_rules(group), to_assay=to_assay, whole=whole)
        for group in _together(lacking, lambda test: (test.active, test.missing))
    ]


def _content_step(test: TestResult, *, rules: Sequence[str], to_assay: Sequence[str], whole: int | None) -> Message:
    missing = test.missing
    if not isinstance(missing, Message) or missing.id != "advice.contents":
        return message("advice.enter_for_content", active=test.active, missing=missing, rules=rules)
    asked = missing.values["number"]
    if whole is not None and whole < asked and not missing.values["mass_route"]:
        short = {"asked": asked, "left": whole, "whole": whole, "total": asked}
        return message("advice.cannot_be_shown", active=test.active, rules=rules, **short)
    drawn = to_assay if len(to_assay) == asked else ()
    return message("advice.assay", active=test.active, rules=rules, drawn=drawn, **missing.values)


def _inputs_to_enter(tests: Sequence[TestResult]) -> list[Message]:
    """One step for each thing that is missing, with every rule that asks for it."""
    told = ("advice.contents", CORRECTED)
    lacking = [
        test
        for test in tests
        if (test.verdict is Verdict.NOT_ASSESSED and test.required and _lacks(test) not in told)
        or (test.verdict is Verdict.TOO_FEW_UNITS and test.missing and not _short_of(test))
    ]
    steps = []
    for group in _together(lacking, lambda test: (test.missing, test.active)):
        rules = [test.rule for test in group]
        missing, thing = group[0].missing, {"missing": group[0].missing, "active": group[0].active}
        if isinstance(missing, Message) and missing.id == "packing.answers":
            steps.append(message("packing.to_tick", **missing.values))
        elif isinstance(missing, Message) and missing.id == SECOND_WEIGHING:
            steps.append(message("advice.enter_for_second", **thing))
        elif rules == [STATED_CHECK]:
            steps.append(message("advice.enter_on_checks", **thing))
        else:
            steps.append(message("advice.enter", rules=rules, **thing))
    return steps
