"""Other tests of finished units: the results entered for one check against its limits, exactly, unit by unit."""

from __future__ import annotations

from collections.abc import Sequence

from msgspec.structs import replace

from qc.batch import Base, Check
from qc.results import Limit, Message, TestResult, Verdict, message
from qc.rules.kinds.check import CheckRule, Direction
from qc.rules.kinds.check.comparison import within
from qc.rules.kinds.check.figures import OF_THE_RECORD, AskedLimit, figures_of, limit_of, reason_of, working_of
from qc.rules.kinds.check.typed_limits import (
    Span,
    UnreadableError,
    Worded,
    read_limit,
    read_results,
    with_unit_of_name,
)
from qc.rules.kinds.stated_check import StatedCheckRule


def limits_of(rule: CheckRule, *, form: str, base: Base | None) -> tuple[Span | None, ...]:
    """The limits that a rule may have for a form: one, or two where they go by a base that is not known.

    Parameters
    ----------
    rule : CheckRule
    form : str
        Name of the dosage form; empty when it is not known.
    base : Base or None

    Returns
    -------
    tuple of Span or None
        None stands for a case without a limit in the rule.
    """
    bases = tuple(Base) if base is None else (base,)
    found: list[Span | None] = []
    for one in bases:
        rows = [row for row in rule.limits if form in row.forms and row.base in (None, one)]
        found.append(_span(rule, rows[0].limit) if rows else None)
    return tuple(dict.fromkeys(found))


def _span(rule: CheckRule, limit: object) -> Span:
    span = read_limit(f"{limit} {rule.unit}", bare=rule.direction)
    assert isinstance(span, Span)
    return span


def judge_check(
    check: Check,
    *,
    test: str,
    rule: str,
    words: StatedCheckRule,
    of_the_rule: Span | None = None,
    bare: Direction | None = None,
    quantity: str = "result",
    sample_size: int = 0,
) -> TestResult:
    """Judge the results entered for one check against the limit of its rule and the limit entered beside them.

    Parameters
    ----------
    check : Check
        The row of the Checks sheet.
    test, rule : str
        Id of the test and of the rule record.
    words : StatedCheckRule
        The words that say a limit was met, or was not.
    of_the_rule : Span, optional
        The limit that the rule has for this batch; a limit entered is met besides it.
    bare : Direction, optional
        How an entered limit without a word is read.
    quantity : str
        What is measured, for the words.
    sample_size : int
        How many results the rule asks for; 0 where it does not say. A single result stands for the last of all units.

    Returns
    -------
    TestResult
        Named by the row in `subject`. "not-assessed" names in `missing` what to type.
    """
    blank = TestResult(id=test, rule=rule, subject=check.name, verdict=Verdict.NOT_ASSESSED)
    name = check.name
    limit: Span | Worded | None = None
    if check.limit is not None:
        try:
            limit = read_limit(check.limit, bare=bare)
        except UnreadableError as fault:
            return _unreadable(blank, fault, thing="limit")
        limit = with_unit_of_name(limit, name=name) if isinstance(limit, Span) else limit
    asked = tuple(
        AskedLimit(span=span, asked_by=by)
        for span, by in ((of_the_rule, rule), (limit, OF_THE_RECORD))
        # A limit that says what the rule says is one limit.
        if isinstance(span, Span) and not (by != rule and span == of_the_rule)
    )
    due = bool(asked) or check.limit is not None
    if check.result is None:
        reason = message("checks.not_entered", name=name, due=due)
        return unassessed(blank, reason, missing=f'the result of "{name}"', required=due)
    try:
        results = read_results(check.result)
    except UnreadableError as fault:
        # Words with a figure in them beside a limit in words are for the person who signs.
        if not isinstance(limit, Worded):
            return _unreadable(blank, fault, thing="result", required=due)
        results = Worded(text=" ".join(check.result.casefold().split()))
    if isinstance(results, Worded):
        return _in_words(check, results, blank=blank, limit=limit, asked=asked, words=words)
    if not asked:
        reason = message("checks.without_limit", name=name, result=check.result, limit=check.limit)
        return unassessed(blank, reason, missing=f'a limit for "{name}"', required=False)
    results = tuple(with_unit_of_name(result, name=name) for result in results)
    return _compared(check, results, blank=blank, asked=asked, quantity=quantity, sample_size=sample_size)


def unassessed(blank: TestResult, reason: Message, *, missing: str, required: bool = True) -> TestResult:
    """A check that cannot be judged, with the reason and the one thing that is missing."""
    return replace(blank, verdict=Verdict.NOT_ASSESSED, missing=missing, reasons=(reason,), required=required)


def _unreadable(blank: TestResult, fault: UnreadableError, *, thing: str, required: bool = True) -> TestResult:
    reason = message("checks.unreadable", name=blank.subject, why=str(fault), mend=fault.mend)
    return unassessed(blank, reason, missing=f'a {thing} of "{blank.subject}" that can be read', required=required)


def _in_words(
    check: Check,
    result: Worded,
    *,
    blank: TestResult,
    limit: Span | Worded | None,
    asked: Sequence[AskedLimit],
    words: StatedCheckRule,
) -> TestResult:
    """A result in words: one that says complies or not decides, the rest is for the person who signs."""
    agrees = isinstance(limit, Worded) and limit.text == result.text
    said = {"name": check.name, "result": check.result}
    if result.text in words.fails_words or result.text in words.complies_words or agrees:
        met = result.text not in words.fails_words
        spans = tuple(one.span for one in asked)
        return replace(
            blank,
            verdict=Verdict.COMPLIES if met else Verdict.DOES_NOT_COMPLY,
            reasons=(message("checks.decided_in_words", **said, done_by=check.done_by),),
            criteria=(
                Limit(
                    what="check_in_words",
                    figure=None,
                    met=met,
                    values=said | {"spans": spans, "limit": check.limit},
                ),
            ),
        )
    if asked:
        reason = message("checks.figure_wanted", **said, limit=asked[0].span)
        return unassessed(blank, reason, missing=f'a figure for "{check.name}"')
    missing = f'the word "complies" or "does not comply" as the result of "{check.name}"'
    return unassessed(
        blank, message("checks.left_to_person", **said, limit=check.limit), missing=missing, required=False
    )


def _compared(
    check: Check,
    results: Sequence[Span],
    *,
    blank: TestResult,
    asked: Sequence[AskedLimit],
    quantity: str,
    sample_size: int,
) -> TestResult:
    apart = [
        (span.measure, one.span.measure)
        for one in asked
        for span in results
        if span.measure.kind != one.span.measure.kind
    ]
    units_differ = [
        message("checks.units_differ", name=check.name, found=found, wanted=wanted) for found, wanted in apart
    ]
    # Two figures of which neither has a unit are compared as they stand; a failure counts whatever else is open.
    asked = [one for one in asked if all(span.measure.kind == one.span.measure.kind for span in results)]
    met = [[within(result, one.span) for result in results] for one in asked]
    answers = [answer for row in met for answer in row]
    if apart and False not in answers:
        return unassessed(blank, units_differ[0], missing=f'the unit of measure of "{check.name}"')
    short = max(0, sample_size - len(results)) if len(results) > 1 else 0
    verdict: Verdict = Verdict.COMPLIES
    missing: Message | str = ""
    if False in answers:
        verdict = Verdict.DOES_NOT_COMPLY
    elif None in answers:
        verdict, missing = Verdict.NOT_ASSESSED, f'exact figures for "{check.name}"'
    elif short:
        verdict, missing = Verdict.TOO_FEW_UNITS, message("checks.more_results", name=check.name, more=short)
    reasons = [reason_of(check, one, row, results) for one, row in zip(asked, met, strict=True)]
    if verdict is Verdict.TOO_FEW_UNITS:
        reasons.append(message("checks.too_few", asked=sample_size, entered=len(results)))
    reasons += units_differ[:1]
    if len(results) == 1 and sample_size > 1:
        reasons.append(message("checks.stands_for_all", quantity=quantity, units=sample_size))
    return replace(
        blank,
        verdict=verdict,
        n=len(results),
        figures=figures_of(results, asked),
        criteria=tuple(limit_of(one, row, results, quantity=quantity) for one, row in zip(asked, met, strict=True)),
        reasons=tuple(reasons),
        missing=missing,
        working=tuple(working_of(one, results) for one in asked),
    )
