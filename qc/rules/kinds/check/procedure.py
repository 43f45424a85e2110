"""Other tests of finished units: the results entered for one check against its limits, exactly, unit by unit."""

from __future__ import annotations

import re
from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction

from msgspec import Struct
from msgspec.structs import replace

from qc.batch import Base, Check
from qc.quantities import rounded
from qc.results import OF_THE_RECORD, Limit, Message, TestResult, Verdict, message
from qc.rules.kinds.check import CheckRule, Direction
from qc.rules.kinds.check.typed_limits import (
    Bound,
    Measure,
    Span,
    UnreadableError,
    Worded,
    read_limit,
    read_results,
    span_of,
    with_unit_of_name,
    within,
)
from qc.rules.kinds.stated_check import StatedCheckRule

# Names of figures carry the unit of measure; one that is not known here goes without.
_UNIT_IN_NAMES = {"s": "_s", "min": "_min", "h": "_h", "mg": "_mg", "g": "_g", "kg": "_kg", "%": "_percent", "N": "_n"}


class _Asked(Struct, frozen=True, kw_only=True):
    """A limit that every result of a check must meet, who asks for it, and which results meet it.

    `met` holds an answer a result; None where the result lies partly inside.
    """

    span: Span
    asked_by: str
    met: tuple[bool | None, ...] = ()

    @property
    def answer(self) -> bool | None:
        """Whether every result meets it; a failure counts whatever else is open."""
        return False if False in self.met else None if None in self.met else True


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


def _span(rule: CheckRule, limit: Decimal) -> Span:
    at_least = rule.direction is Direction.AT_LEAST
    return span_of(rule.unit, low=limit if at_least else None, high=None if at_least else limit)


def judge_check(
    check: Check,
    *,
    blank: TestResult,
    words: StatedCheckRule,
    rule: CheckRule | None = None,
    of_the_rule: Span | None = None,
    quantity: str = "result",
) -> TestResult:
    """Judge the results entered for one check against the limit of its rule and the limit entered beside them.

    Parameters
    ----------
    check : Check
        The row of the Checks sheet.
    blank : TestResult
        With the test, the id of the rule record, the name of the check, and the active if it is about one.
    words : StatedCheckRule
        The words that say a limit was met, or was not.
    rule : CheckRule, optional
        The rule of the check: how an entered limit without a word is read, and how many results it asks for. A single
        result stands for the last of all units.
    of_the_rule : Span, optional
        The limit that the rule has for this batch; a limit entered is met besides it.
    quantity : str
        What is measured, for the words.

    Returns
    -------
    TestResult
        Named by the row in `subject`. "not-assessed" names in `missing` what to type.
    """
    name = check.name
    limit: Span | Worded | None = None
    if check.limit is not None:
        try:
            limit = read_limit(check.limit, bare=None if rule is None else rule.direction)
        except UnreadableError as fault:
            return _unreadable(blank, fault, thing="limit")
    asked = [] if of_the_rule is None else [_Asked(span=of_the_rule, asked_by=blank.rule)]
    if isinstance(limit, Span):
        span = with_unit_of_name(limit, name=name)
        # A limit that says what the rule says, or is stricter, leaves nothing to the rule, and somebody entered it.
        same = of_the_rule is not None and span.measure.kind == of_the_rule.measure.kind
        stricter = same and of_the_rule is not None and within(span, of_the_rule)
        asked = [*([] if stricter else asked), _Asked(span=span, asked_by=OF_THE_RECORD)]
    due = bool(asked) or check.limit is not None
    if check.result is None:
        reason = message("checks.not_entered", name=name, due=due)
        return unassessed(blank, reason, missing=f'the result of "{name}"', required=due)
    try:
        results = read_results(check.result)
    except UnreadableError as fault:
        worded = Worded(text=" ".join(check.result.casefold().split()))
        # Words with a figure in them beside a limit in words are for the person who signs.
        if not isinstance(limit, Worded) and not _says(worded.text, words.fails_words):
            return _unreadable(blank, fault, thing="result", required=due)
        results = worded
    if isinstance(results, Worded):
        spans = tuple(one.span for one in asked)
        return _in_words(check, results, blank=blank, agrees=results == limit, spans=spans, words=words)
    if not asked:
        reason = message("checks.without_limit", name=name, result=check.result, limit=check.limit)
        return unassessed(blank, reason, missing=f'a limit for "{name}"', required=False)
    results = tuple(with_unit_of_name(result, name=name) for result in results)
    sample_size = 0 if rule is None else rule.sample_size
    return _compared(results, blank=blank, asked=asked, quantity=quantity, sample_size=sample_size)


def unassessed(blank: TestResult, reason: Message, *, missing: str, required: bool = True) -> TestResult:
    """A check that cannot be judged, with the reason and the one thing that is missing."""
    return replace(blank, verdict=Verdict.NOT_ASSESSED, missing=missing, reasons=(reason,), required=required)


def _unreadable(blank: TestResult, fault: UnreadableError, *, thing: str, required: bool = True) -> TestResult:
    reason = message("checks.unreadable", name=blank.subject, why=str(fault), mend=fault.mend)
    return unassessed(blank, reason, missing=f'a {thing} of "{blank.subject}" that can be read', required=required)


def _says(text: str, phrases: Sequence[str]) -> bool:
    """Whether a text begins with one of some phrases: "does not comply, unit 7 is light"."""
    return any(re.match(rf"{re.escape(phrase)}(?!\w)", text) for phrase in phrases)


def _in_words(
    check: Check,
    result: Worded,
    *,
    blank: TestResult,
    agrees: bool,
    spans: tuple[Span, ...],
    words: StatedCheckRule,
) -> TestResult:
    """A result in words: one that says complies or not decides, the rest is for the person who signs."""
    said = {"name": check.name, "result": check.result}
    met = not _says(result.text, words.fails_words)
    if agrees or not met or result.text in words.complies_words:
        values = said | {"spans": spans, "limit": check.limit}
        return replace(
            blank,
            verdict=Verdict.COMPLIES if met else Verdict.DOES_NOT_COMPLY,
            reasons=(message("checks.decided_in_words", **said, done_by=check.done_by),),
            criteria=(Limit(what="check_in_words", figure=None, met=met, values=values),),
        )
    if spans:
        reason = message("checks.figure_wanted", **said, limit=spans[0])
        return unassessed(blank, reason, missing=f'a figure for "{check.name}"')
    reason = message("checks.left_to_person", **said, limit=check.limit)
    missing = f'the word "complies" or "does not comply" as the result of "{check.name}"'
    return unassessed(blank, reason, missing=missing, required=False)


def _compared(
    results: Sequence[Span], *, blank: TestResult, asked: Sequence[_Asked], quantity: str, sample_size: int
) -> TestResult:
    name = blank.subject
    apart = [
        message("checks.units_differ", name=name, found=span.measure, wanted=one.span.measure)
        for one in asked
        for span in results
        if span.measure.kind != one.span.measure.kind
    ]
    # Two figures of which neither has a unit are compared as they stand.
    laid = [
        replace(one, met=tuple(within(result, one.span) for result in results))
        for one in asked
        if all(span.measure.kind == one.span.measure.kind for span in results)
    ]
    answers = {one.answer for one in laid}
    if apart and False not in answers:
        return unassessed(blank, apart[0], missing=f'the unit of measure of "{name}"')
    reasons = [_reason(name, one, results) for one in laid]
    verdict: Verdict = Verdict.COMPLIES
    missing: Message | str = ""
    if False in answers:
        verdict = Verdict.DOES_NOT_COMPLY
    elif None in answers:
        verdict, missing = Verdict.NOT_ASSESSED, f'exact figures for "{name}"'
    elif 1 < len(results) < sample_size:
        verdict = Verdict.TOO_FEW_UNITS
        missing = message("checks.more_results", name=name, more=sample_size - len(results))
        reasons.append(message("checks.too_few", asked=sample_size, entered=len(results)))
    reasons += apart[:1]
    if len(results) == 1 < sample_size:
        reasons.append(message("checks.stands_for_all", quantity=quantity, units=sample_size))
    return replace(
        blank,
        verdict=verdict,
        n=len(results),
        figures=_figures(results, laid),
        criteria=tuple(_limit(one, results, quantity=quantity) for one in laid),
        reasons=tuple(reasons),
        missing=missing,
        working=tuple(_working(one, results) for one in laid),
    )


def _limit(asked: _Asked, results: Sequence[Span], *, quantity: str) -> Limit:
    """The line of the results beside one limit; its figure is the greatest result, the least under a lower limit."""
    measure, low, high = asked.span.measure, asked.span.low, asked.span.high
    ends = _ends(results, measure)
    return Limit(
        what="check_result",
        figure=min(ends) if high is None else max(ends),
        bound=(None if low is None else low.value, None if high is None else high.value),
        met=asked.answer,
        unit=measure.shown,
        clause=asked.asked_by,
        values={"quantity": quantity, "results": results, "span": asked.span},
    )


def _reason(name: str, asked: _Asked, results: Sequence[Span]) -> Message:
    """What is said of the results of a check against one limit."""
    said = {"name": name, "limit": asked.span, "asked_by": asked.asked_by}
    deciding = tuple(result for result, met in zip(results, asked.met, strict=True) if met is asked.answer)
    if asked.answer is None:
        return message("checks.unclear", **said, results=deciding)
    if asked.answer:
        return message("checks.within", **said, results=deciding)
    return message("checks.beyond", **said, results=deciding, decimals=_decimals_that_hide_it(deciding, asked.span))


def _decimals_that_hide_it(outside: Sequence[Span], limit: Span) -> int | None:
    """The decimals of the limit, where every result rounded to them would lie inside; the comparison is unrounded."""
    ends = [end for end in (limit.low, limit.high) if end is not None]
    decimals = max(max(0, -int(end.value.as_tuple().exponent)) for end in ends)
    for result in outside:
        figure = _single(result, limit.measure)
        if figure is None:
            return None
        end = Bound(value=rounded(figure, decimals=decimals))
        if within(Span(low=end, high=end, measure=limit.measure), limit) is not True:
            return None
    return decimals


def _single(result: Span, measure: Measure) -> Fraction | None:
    """The figure of a result in this unit of measure; None where it is a range."""
    return result.exact(measure)[0] if result.low == result.high else None


def _figures(results: Sequence[Span], asked: Sequence[_Asked]) -> dict[str, float | int | None]:
    """The least and the greatest result and limit, in the unit of the first limit, which the names carry."""
    measure = asked[0].span.measure
    name, ends = _UNIT_IN_NAMES.get(measure.shown, ""), _ends(results, measure)
    lows, highs = zip(*(one.span.exact(measure) for one in asked), strict=True)
    return {
        f"least{name}": min(ends),
        f"greatest{name}": max(ends),
        f"at_least{name}": max((float(low) for low in lows if low is not None), default=None),
        f"at_most{name}": min((float(high) for high in highs if high is not None), default=None),
    }


def _ends(results: Sequence[Span], measure: Measure) -> list[float]:
    """Every end of the results, in this unit of measure."""
    return [float(end) for result in results for end in result.exact(measure) if end is not None]


def _working(asked: _Asked, results: Sequence[Span]) -> Message:
    """The results against one limit, converted where they are in another unit."""
    measure = asked.span.measure
    converted = [_single(result, measure) if result.measure != measure else None for result in results]
    return message("checks.working", results=results, converted=converted, limit=asked.span, asked_by=asked.asked_by)
