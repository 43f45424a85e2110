"""Whether a result meets a limit, decided on exact fractions."""

from __future__ import annotations

from fractions import Fraction

from qc.rules.kinds.check.typed_limits import Bound, Span

_End = tuple[Fraction, bool]


def within(result: Span, limit: Span) -> bool | None:
    """Whether a result meets a limit; None where a result that is itself a range lies partly inside.

    Decided on exact fractions; a result equal to a limit meets it, unless the limit says less than or more than.
    """
    low, high = _exact(result.low, result), _exact(result.high, result)
    least, most = _exact(limit.low, limit), _exact(limit.high, limit)
    answers: list[bool | None] = []
    if least is not None:
        answers.append(_above(low, high, least))
    if most is not None:
        answers.append(_above(_mirror(high), _mirror(low), (-most[0], most[1])))
    return False if False in answers else None if None in answers else True


def _above(low: _End | None, high: _End | None, limit: _End) -> bool | None:
    """Whether a range lies above a lower limit: wholly (True), not at all (False), or in part (None)."""
    if low is not None and (low[0] > limit[0] or (low[0] == limit[0] and (limit[1] or not low[1]))):
        return True
    if high is not None and (high[0] < limit[0] or (high[0] == limit[0] and not (limit[1] and high[1]))):
        return False
    return None


def _mirror(end: _End | None) -> _End | None:
    return None if end is None else (-end[0], end[1])


def _exact(bound: Bound | None, span: Span) -> _End | None:
    return None if bound is None else (Fraction(bound.value) * span.measure.factor, bound.included)
