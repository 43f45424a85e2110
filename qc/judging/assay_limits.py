"""The assay of the batch: a pooled sample and the mean of single units, beside their limits and beside each other."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction

from msgspec.structs import replace

from qc.quantities import mean, rounded, sample_variance
from qc.results import OF_THE_RECORD, Limit, TestResult, Verdict, message
from qc.rules.kinds.assay import AssayRule
from qc.rules.kinds.check.typed_limits import Span, span_of, within
from qc.stats.mean_interval import half_width

CONFIDENCE = 0.95
DIFFERENT_CONFIDENCE = 0.99
"""Two assays of one batch are called different where chance makes so much once in a hundred: common practice."""


def judge_assay(
    blank: TestResult,
    *,
    pooled: Decimal | None,
    contents: Sequence[Fraction],
    limits: Sequence[Span],
    rule: AssayRule,
    repeatability_percent: Decimal,
    stricter: bool,
    random: bool,
) -> TestResult:
    """Judge the assay of one active; without a limit nothing is decided, and the figures stand there all the same.

    Parameters
    ----------
    blank : TestResult
        With the test, the rule, and the active.
    pooled : Decimal or None
        The assay of a pooled sample [% of label].
    contents : sequence of Fraction
        Of the units assayed one by one [% of label]; none where there is a pooled assay alone.
    limits : sequence of Span
        Every one is met by both.
    rule : AssayRule
    repeatability_percent : Decimal
        Of one determination [% RSD].
    stricter : bool
        Whether the limits are the record's, in place of wider ones of the rule.
    random : bool
        Whether the units are a random draw, as far as their places tell; else their mean has no interval.

    Returns
    -------
    TestResult
        `figures`: pooled_percent, mean_percent, mean_low_percent, mean_high_percent.
    """
    n, average = len(contents), mean(contents) if contents else None
    half = half_width(contents, confidence=CONFIDENCE) if random else None
    ends = None if half is None or average is None else (float(average) - half, float(average) + half)
    found = (("pooled_assay", pooled, 1, None), ("mean_of_units", average, n, ends))
    against: Sequence[Span | None] = limits or [None]
    lines = [
        _line(what, Fraction(value), limit, rule=rule, stricter=stricter, n=units, interval=interval)
        for what, value, units, interval in found
        if value is not None
        for limit in against
    ]
    failed = [line for line in lines if line.met is False]
    reasons = [message("assay.beside_limit", limit=line) for line in failed or lines]
    if pooled is not None and average is not None and n > 1:
        # The pool is taken to hold as many units as were assayed, so that their spread counts once more.
        of_pool = (Fraction(repeatability_percent) / 100 * Fraction(pooled)) ** 2 + sample_variance(contents) / n
        most = half_width(contents, confidence=DIFFERENT_CONFIDENCE, added_variance=of_pool)
        if most is not None and abs(Fraction(pooled) - average) > most:
            reasons.append(message("assay.differ", pooled=pooled, mean=average, n=n, most=most))
    verdict: Verdict = Verdict.DOES_NOT_COMPLY if failed else Verdict.COMPLIES
    return replace(
        blank,
        verdict=verdict if limits else Verdict.NOT_ASSESSED,
        n=n,
        figures={
            "pooled_percent": None if pooled is None else float(pooled),
            "mean_percent": None if average is None else float(average),
            "mean_low_percent": ends and ends[0],
            "mean_high_percent": ends and ends[1],
        },
        criteria=tuple(lines),
        reasons=tuple(reasons),
        missing="" if limits else message("assay.limits"),
        required=bool(limits),
    )


def _line(
    what: str,
    value: Fraction,
    limit: Span | None,
    *,
    rule: AssayRule,
    stricter: bool,
    n: int,
    interval: tuple[float, float] | None,
) -> Limit:
    """A figure, rounded once as the limit is written, beside the limit; unrounded among the values."""
    ends = (None, None) if limit is None else (limit.low, limit.high)
    low, high = (None if end is None else end.value for end in ends)
    written = (-int(end.as_tuple().exponent) for end in (low, high) if end is not None)
    figure = rounded(value, decimals=max([rule.rounding_decimals, *written]))
    return Limit(
        what=what,
        figure=figure,
        bound=None if limit is None else (low, high),
        met=None if limit is None else within(span_of("%", low=figure, high=figure), limit),
        unit="%",
        clause=OF_THE_RECORD if stricter else rule.clause_of(what),
        values={"unrounded": value, "n": n, "interval": interval, "against": limit},
    )
