"""The results of a check beside its limits: figures, sentences and working."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from msgspec import Struct

from qc.batch import Check
from qc.quantities import rounded
from qc.rules.display import counted, shown
from qc.rules.limit_comparison import within
from qc.rules.typed_limits import Bound, Measure, Span

# Names of figures carry the unit of measure; one that is not known here goes without.
_UNIT_IN_NAMES = {"s": "_s", "min": "_min", "h": "_h", "mg": "_mg", "g": "_g", "kg": "_kg", "%": "_percent", "N": "_n"}


class AskedLimit(Struct, frozen=True, kw_only=True):
    """A limit that every result of a check must meet, and who asks for it."""

    span: Span
    asked_by: str


def what_was_measured(quantity: str, n: int) -> str:
    """The quantity with the number of results, where there are several."""
    return quantity if n == 1 else f"{quantity}, {n} results"


def _sorted(results: Sequence[Span]) -> list[Span]:
    def place(span: Span) -> Fraction:
        bound = span.high or span.low
        assert bound is not None
        return Fraction(bound.value) * span.measure.factor

    return sorted(results, key=place)


def figure_of(results: Sequence[Span]) -> str:
    """Results in short: the one figure, or the least and the greatest."""
    ordered = _sorted(results)
    first, last = ordered[0], ordered[-1]
    if first == last:
        return first.in_words()
    if first.measure == last.measure and first.low == first.high and last.low == last.high:
        assert first.low is not None
        return f"{first.low.value:f} to {last.in_words()}"
    return f"{first.in_words()} to {last.in_words()}"


def sentence_on(check: Check, asked: AskedLimit, row: Sequence[bool | None], results: Sequence[Span]) -> str:
    """What is said of the results of a check against one limit.

    Parameters
    ----------
    check : Check
    asked : AskedLimit
    row : sequence of bool or None
        For each result whether it meets the limit; None where it lies partly inside.
    results : sequence of Span
    """
    by = "" if asked.asked_by == "the record" else f" of {asked.asked_by}"
    limit = f"the limit{by}, {asked.span.in_words()}"
    outside = [result for result, met in zip(results, row, strict=True) if met is False]
    unclear = [result for result, met in zip(results, row, strict=True) if met is None]
    if not outside and unclear:
        listed = "; ".join(result.in_words() for result in unclear)
        return f'"{check.name}": {listed} does not say whether {limit}, is met. Type the figure itself.'
    if not outside:
        verb = "meets" if len(results) == 1 else "all meet"
        return f'"{check.name}": {figure_of(results)} {verb} {limit}.'
    listed = "; ".join(result.in_words() for result in outside)
    verb = "does" if len(outside) == 1 else "do"
    return f'"{check.name}": {listed} {verb} not meet {limit}.{_if_rounded(outside, asked.span)}'


def _if_rounded(outside: Sequence[Span], limit: Span) -> str:
    """A remark where rounding to the decimals of the limit would change the answer; the comparison is unrounded."""
    for result in outside:
        if result.low is None or result.low != result.high:
            return ""
        value = Fraction(result.low.value) * result.measure.factor / limit.measure.factor
        ends = [end for end in (limit.low, limit.high) if end is not None]
        decimals = max(max(0, -int(end.value.as_tuple().exponent)) for end in ends)
        end = Bound(value=rounded(value, decimals=decimals))
        if within(Span(low=end, high=end, measure=limit.measure), limit) is not True:
            return ""
    places = counted(decimals, "decimal") if decimals else "whole numbers"
    return f" Rounded to {places}, as the limit is written, it would; results are compared unrounded here."


def figures_of(results: Sequence[Span], asked: Sequence[AskedLimit]) -> dict[str, float | int | None]:
    """The least and the greatest result and limit, in the unit of the first limit, which the names carry."""
    measure = asked[0].span.measure
    name = _UNIT_IN_NAMES.get(measure.shown, "")
    ends = [
        float(Fraction(end.value) * result.measure.factor / measure.factor)
        for result in results
        for end in (result.low, result.high)
        if end is not None
    ]
    lows = [float(_scaled(one.span.low, one.span, measure)) for one in asked if one.span.low is not None]
    highs = [float(_scaled(one.span.high, one.span, measure)) for one in asked if one.span.high is not None]
    return {
        f"least{name}": min(ends),
        f"greatest{name}": max(ends),
        f"at_least{name}": max(lows) if lows else None,
        f"at_most{name}": min(highs) if highs else None,
    }


def _scaled(bound: Bound, span: Span, measure: Measure) -> Fraction:
    return Fraction(bound.value) * span.measure.factor / measure.factor


def working_of(asked: AskedLimit, results: Sequence[Span]) -> str:
    """The results against one limit in one line, converted where they are in another unit."""
    measure = asked.span.measure
    figures = []
    for result in results:
        text = result.in_words()
        if result.measure != measure and result.low == result.high and result.low is not None:
            text += f" = {shown(_scaled(result.low, result, measure), decimals=4)} {measure.shown}"
        figures.append(text)
    return f"{'; '.join(figures)} against {asked.span.in_words()} ({asked.asked_by})."
