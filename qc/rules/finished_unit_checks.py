"""Other tests of finished units: the results entered for one check against its limits, exactly, unit by unit."""

from __future__ import annotations

from collections.abc import Sequence

from msgspec.structs import replace

from qc.batch import Base, Check
from qc.results import Criterion, TestResult, Verdict
from qc.rules.check_figures import AskedLimit, figure_of, figures_of, sentence_on, what_was_measured, working_of
from qc.rules.display import counted
from qc.rules.limit_comparison import within
from qc.rules.records import CheckRule, Direction, StatedCheckRule
from qc.rules.typed_limits import (
    Measure,
    Span,
    UnreadableError,
    Worded,
    read_limit,
    read_results,
    with_unit_of_name,
)


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
    limit: Span | Worded | None = None
    if check.limit is not None:
        try:
            limit = read_limit(check.limit, bare=bare)
        except UnreadableError as fault:
            return _unreadable(blank, fault, thing="limit")
        limit = with_unit_of_name(limit, name=check.name) if isinstance(limit, Span) else limit
    asked = tuple(
        AskedLimit(span=span, asked_by=by)
        for span, by in ((of_the_rule, rule), (limit, "the record"))
        # A limit that says what the rule says is one limit.
        if isinstance(span, Span) and not (by != rule and span == of_the_rule)
    )
    due = bool(asked) or check.limit is not None
    if check.result is None:
        reason = "No result was entered; a check with a limit is due." if due else "Neither a result nor a limit."
        return replace(
            blank, missing=f'the result of "{check.name}"', reasons=(f'"{check.name}": {reason}',), required=due
        )
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
        return _without_limit(check, blank=blank, limit=limit)
    results = tuple(with_unit_of_name(result, name=check.name) for result in results)
    return _compared(check, results, blank=blank, asked=asked, quantity=quantity, sample_size=sample_size)


def _unreadable(blank: TestResult, fault: UnreadableError, *, thing: str, required: bool = True) -> TestResult:
    return replace(
        blank,
        missing=f'a {thing} of "{blank.subject}" that can be read',
        reasons=(f'"{blank.subject}": {fault}. {fault.mend}.',),
        required=required,
    )


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
    by = f" by {check.done_by}" if check.done_by else ""
    agrees = isinstance(limit, Worded) and limit.text == result.text
    if result.text in words.fails_words or result.text in words.complies_words or agrees:
        met = result.text not in words.fails_words
        asks = "; ".join(one.span.in_words() for one in asked) or (check.limit or "")
        return replace(
            blank,
            verdict=Verdict.COMPLIES if met else Verdict.DOES_NOT_COMPLY,
            reasons=(f'"{check.name}" was entered as "{check.result}"{by}; no figure was compared.',),
            criteria=(Criterion(what=check.name, figure=str(check.result), limit=asks or "as entered", met=met),),
        )
    if asked:
        return replace(
            blank,
            missing=f'a figure for "{check.name}"',
            reasons=(
                f'"{check.name}": the result "{check.result}" is in words and the limit is {asked[0].span.in_words()}. '
                'Type the figures with their unit, or "complies" or "does not comply".',
            ),
        )
    beside = f' The limit is "{check.limit}".' if check.limit else ""
    return replace(
        blank,
        missing=f'the word "complies" or "does not comply" as the result of "{check.name}"',
        reasons=(
            f'"{check.name}" was found: "{check.result}".{beside} Words are not compared here; the person who signs '
            "judges them.",
        ),
        required=False,
    )


def _without_limit(check: Check, *, blank: TestResult, limit: Span | Worded | None) -> TestResult:
    lacks = "has no limit" if limit is None else f'has the limit "{check.limit}", which is in words'
    return replace(
        blank,
        missing=f'a limit for "{check.name}"',
        reasons=(
            f'"{check.name}" was found: {check.result}. It {lacks}. For a comparison type one beside it, for example: '
            "at most 30 min.",
        ),
        required=False,
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
        _units_differ(check, span.measure, one.span.measure, blank=blank)
        for one in asked
        for span in results
        if span.measure.kind != one.span.measure.kind
    ]
    # Two figures of which neither has a unit are compared as they stand; a failure counts whatever else is open.
    asked = [one for one in asked if all(span.measure.kind == one.span.measure.kind for span in results)]
    met = [[within(result, one.span) for result in results] for one in asked]
    if apart and not any(False in row for row in met):
        return apart[0]
    criteria = tuple(
        Criterion(
            what=what_was_measured(quantity, len(results)),
            figure=figure_of(results),
            limit=one.span.in_words(),
            met=False if False in row else None if None in row else True,
            clause=one.asked_by,
        )
        for one, row in zip(asked, met, strict=True)
    )
    answers = [answer for row in met for answer in row]
    short = max(0, sample_size - len(results)) if len(results) > 1 else 0
    verdict, missing = Verdict.COMPLIES, ""
    if False in answers:
        verdict = Verdict.DOES_NOT_COMPLY
    elif None in answers:
        verdict, missing = Verdict.NOT_ASSESSED, f'exact figures for "{check.name}"'
    elif short:
        verdict, missing = Verdict.TOO_FEW_UNITS, f'{counted(short, "more result")} of "{check.name}"'
    reasons = [sentence_on(check, one, row, results) for one, row in zip(asked, met, strict=True)]
    if short and verdict is Verdict.TOO_FEW_UNITS:
        reasons.append(f"The test asks for {sample_size} units and {len(results)} results were entered.")
    reasons += apart[0].reasons if apart else ()
    if len(results) == 1 and sample_size > 1:
        reasons.append(f"The one {quantity} entered is read as that of the last of {sample_size} units.")
    return replace(
        blank,
        verdict=verdict,
        n=len(results),
        figures=figures_of(results, asked),
        criteria=criteria,
        reasons=tuple(reasons),
        missing=missing,
        working=tuple(working_of(one, results) for one in asked),
    )


def _units_differ(check: Check, found: Measure, wanted: Measure, *, blank: TestResult) -> TestResult:
    has = f'is in "{found.shown}"' if found.shown else "has no unit of measure"
    limit = f'the limit is in "{wanted.shown}"' if wanted.shown else "the limit has no unit of measure"
    example = f"Type the result in {wanted.shown}" if wanted.shown else "Type the unit of measure behind the limit"
    return replace(
        blank,
        missing=f'the unit of measure of "{check.name}"',
        reasons=(f'"{check.name}": the result {has} and {limit}; they cannot be compared. {example}.',),
    )
