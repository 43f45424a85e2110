"""The results of a check beside its limits: the line, the reason, the figures and the working."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from msgspec import Struct

from qc.batch import Check
from qc.quantities import rounded
from qc.results import Limit, Message, message
from qc.rules.kinds.check.comparison import within
from qc.rules.kinds.check.typed_limits import Bound, Measure, Span

OF_THE_RECORD = "the record"
# Names of figures carry the unit of measure; one that is not known here goes without.
_UNIT_IN_NAMES = {"s": "_s", "min": "_min", "h": "_h", "mg": "_mg", "g": "_g", "kg": "_kg", "%": "_percent", "N": "_n"}


class AskedLimit(Struct, frozen=True, kw_only=True):
    """A limit that every result of a check must meet, and who asks for it."""

    span: Span
    asked_by: str


def limit_of(asked: AskedLimit, row: Sequence[bool | None], results: Sequence[Span], *, quantity: str) -> Limit:
    """The line of the results beside one limit; its figure is the greatest result, the least under a lower limit.

    Parameters
    ----------
    asked : AskedLimit
    row : sequence of bool or None
        For each result whether it meets the limit; None where it lies partly inside.
    results : sequence of Span
    quantity : str
        What was measured.
    """
    measure, low, high = asked.span.measure, asked.span.low, asked.span.high
    ends = _ends(results, measure)
    return Limit(
        what="check_result",
        figure=min(ends) if high is None else max(ends),
        bound=(None if low is None else low.value, None if high is None else high.value),
        met=False if False in row else None if None in row else True,
        unit=measure.shown,
        clause=asked.asked_by,
        values={"quantity": quantity, "results": results, "span": asked.span},
    )


def reason_of(check: Check, asked: AskedLimit, row: Sequence[bool | None], results: Sequence[Span]) -> Message:
    """What is said of the results of a check against one limit; `row` as for `limit_of`."""
    said = {"name": check.name, "limit": asked.span, "asked_by": asked.asked_by}
    outside = tuple(result for result, met in zip(results, row, strict=True) if met is False)
    if outside:
        return message("checks.beyond", **said, results=outside, decimals=_decimals_that_hide_it(outside, asked.span))
    unclear = tuple(result for result, met in zip(results, row, strict=True) if met is None)
    if unclear:
        return message("checks.unclear", **said, results=unclear)
    return message("checks.within", **said, results=results)


def _decimals_that_hide_it(outside: Sequence[Span], limit: Span) -> int | None:
    """The decimals of the limit, where every result rounded to them would lie inside; the comparison is unrounded."""
    ends = [end for end in (limit.low, limit.high) if end is not None]
    decimals = max(max(0, -int(end.value.as_tuple().exponent)) for end in ends)
    for result in outside:
        if result.low is None or result.low != result.high:
            return None
        end = Bound(value=rounded(result.low.exact(result.measure, limit.measure), decimals=decimals))
        if within(Span(low=end, high=end, measure=limit.measure), limit) is not True:
            return None
    return decimals


def figures_of(results: Sequence[Span], asked: Sequence[AskedLimit]) -> dict[str, float | int | None]:
    """The least and the greatest result and limit, in the unit of the first limit, which the names carry."""
    measure = asked[0].span.measure
    name = _UNIT_IN_NAMES.get(measure.shown, "")
    ends = _ends(results, measure)
    lows = [float(one.span.low.exact(one.span.measure, measure)) for one in asked if one.span.low is not None]
    highs = [float(one.span.high.exact(one.span.measure, measure)) for one in asked if one.span.high is not None]
    return {
        f"least{name}": min(ends),
        f"greatest{name}": max(ends),
        f"at_least{name}": max(lows, default=None),
        f"at_most{name}": min(highs, default=None),
    }


def _ends(results: Sequence[Span], measure: Measure) -> list[float]:
    """Every end of the results, in this unit of measure."""
    return [
        float(end.exact(result.measure, measure))
        for result in results
        for end in (result.low, result.high)
        if end is not None
    ]


def working_of(asked: AskedLimit, results: Sequence[Span]) -> Message:
    """The results against one limit, converted where they are in another unit."""
    measure = asked.span.measure
    converted: list[Fraction | None] = [
        result.low.exact(result.measure, measure)
        if result.measure != measure and result.low == result.high and result.low is not None
        else None
        for result in results
    ]
    return message("checks.working", results=results, converted=converted, limit=asked.span, asked_by=asked.asked_by)
