"""Typed limits and results of checks as a sentence has them: "at most 30 min", "21 to 24 min"."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from qc.rules.kinds.check.typed_limits import Span
from qc.say.numbers import as_typed

MOST_LISTED = 6
"""Results that are told one by one: so many units are tested for disintegration or softening."""


def span(one: Span) -> str:
    """A range with its unit of measure.

    Examples
    --------
    >>> from qc.rules.kinds.check.typed_limits import read_limit
    >>> span(read_limit("90.0-110.0 % of label")), span(read_limit("not more than 30 min"))
    ('90.0 to 110.0 %', 'at most 30 min')
    """
    unit = f" {one.measure.shown}" if one.measure.shown else ""
    if one.low is not None and one.high is not None:
        low = "" if one.low == one.high else f"{as_typed(one.low.value)} to "
        return f"{low}{as_typed(one.high.value)}{unit}"
    if one.high is not None:
        return f"{'at most' if one.high.included else 'less than'} {as_typed(one.high.value)}{unit}"
    assert one.low is not None
    return f"{'at least' if one.low.included else 'more than'} {as_typed(one.low.value)}{unit}"


def spans(many: Sequence[Span]) -> str:
    """Several ranges one after the other."""
    return "; ".join(span(one) for one in many)


def reach(results: Sequence[Span]) -> str:
    """Results in short: the one figure, or the least and the greatest.

    Examples
    --------
    >>> from qc.rules.kinds.check.typed_limits import read_results
    >>> reach(read_results("24; 21; 22 min")), reach(read_results("21; 21 min"))
    ('21 to 24 min', '21 min')
    """
    ordered = sorted(results, key=_place)
    first, last = ordered[0], ordered[-1]
    if first == last:
        return span(first)
    if first.measure == last.measure and first.low == first.high and last.low == last.high:
        assert first.low is not None
        return f"{as_typed(first.low.value)} to {span(last)}"
    return f"{span(first)} to {span(last)}"


def every_one(results: Sequence[Span]) -> str:
    """Each of a few results in one unit, as they were entered; of more, or of ranges, the least and the greatest.

    Examples
    --------
    >>> from qc.rules.kinds.check.typed_limits import read_results
    >>> every_one(read_results("24; 21; 22 min")), every_one(read_results("21; 21 min"))
    ('24; 21; 22 min', '21; 21 min')
    """
    alone = all(one.low == one.high and one.measure == results[0].measure for one in results)
    if not alone or not 1 < len(results) <= MOST_LISTED:
        return reach(results)
    return "; ".join([*(as_typed(one.low.value) for one in results[:-1] if one.low), span(results[-1])])


def _place(one: Span) -> Fraction:
    end = one.high or one.low
    assert end is not None
    return Fraction(end.value) * one.measure.factor
