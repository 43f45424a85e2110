"""From a tested series to its trend: flag, size, fitted change, stretch, and what cannot be excluded."""

from __future__ import annotations

import numpy as np

from qc.pour.correction import Corrected
from qc.pour.diagnostics import FEWEST_UNITS, autocorrelated, coarse, end_apart, influential_unit, monotone_steps
from qc.pour.multiple_testing import CLEAR_LEVEL, POSSIBLE_LEVEL, SeriesTest
from qc.pour.wording import Size, not_excluded, picture_sentence, ranks_sentence, subject, trend_sentence
from qc.results.pour import Trend, TrendFlag
from qc.stats.drift import Change, best_shape, fit_change, fits_decisively_better, other_shapes, straight
from qc.stats.isotonic import Floats
from qc.stats.kendall import median_slope, score, tail

CONFIDENCE = 0.95
# A shape other than the straight line is taken only where the data speak for it at odds that a straight drift reaches
# less than once in a hundred batches (own simulation, tests/benchmarks), so that the interval keeps its coverage.
DECISIVE = 12.0
FEWEST_FOR_A_SHAPE = 10
# The exact distribution of Kendall's S takes a second or more beyond this, for a description only.
MOST_FOR_RANKS = 60


def trend_of(
    one: Corrected,
    test: SeriesTest | None,
    *,
    span: tuple[float, float],
    ends: tuple[str, str],
    important: float,
    seed: int,
) -> Trend:
    """Put together what is known about one series along the pour.

    Parameters
    ----------
    one : Corrected
    test : SeriesTest or None
        None when there were too few units, or one place only, to test.
    span : (float, float)
        First and last place of the whole pour.
    ends : (str, str)
        The units at these places, by name.
    important : float
        The change that matters [% of mean].
    seed : int

    Returns
    -------
    Trend
    """
    n, values = len(one.series.units), one.sized
    if test is None:
        return Trend(
            flag=TrendFlag.CANNOT_TELL,
            n=n,
            measure=one.series.measure,
            sentence=f"{subject(one)}: cannot tell. {_too_few(one)}",
            values=_by_name(one, one.series.values),
        )
    middle = float(one.series.values.mean())
    called = test.p_value <= POSSIBLE_LEVEL
    change = fitted_change(one, span=span, may_bend=test.p_value <= CLEAR_LEVEL)
    size = _size(one, change, span=span, ends=ends) if change else None
    detectable = None
    if change and test.detectable is not None:
        detectable = 100 * test.detectable * change.scatter / middle
    flag = _flag(one, test, detectable=detectable, important=important)
    steps = monotone_steps(one)
    shape = _shape_in_words(one, change) if change else ""
    stretch = _stretch(one, change) if called and change else ()
    first, last = float(one.series.order[0]), float(one.series.order[-1])
    return Trend(
        flag=flag,
        n=n,
        p_value=test.p_value,
        p_alone=test.p_alone,
        change_percent=size.change if size else None,
        change_low_percent=size.low if size else None,
        change_high_percent=size.high if size else None,
        detectable_percent=detectable,
        shape=shape,
        measure=one.series.measure,
        direction=_direction(steps.rising if called or not change else change.change > 0, values),
        sentence=trend_sentence(
            one,
            flag=flag,
            p_value=test.p_value,
            p_adjusted=test.p_adjusted,
            shape=shape,
            size=size,
            detectable=detectable,
            important=important,
        ),
        fitted=_by_name(one, change.fitted) if change else (),
        band=_band(one, change) if change else (),
        steps=_by_name(one, steps.fitted),
        values=_by_name(one, one.series.values),
        corrected=_by_name(one, _without_cavities(one, change)) if one.taken_out else (),
        correction=one.how,
        stretch=stretch,
        not_excluded=tuple(
            not_excluded(
                one,
                called=called,
                influential_unit=influential_unit(one, steps, seed=seed) if called else "",
                end_apart="" if called else end_apart(one),
                alike_neighbours=autocorrelated(one, steps.fitted) if called else False,
                coarse=coarse(one),
                span_missing=1 - (last - first) / (span[1] - span[0]),
            )
        ),
        ranks=_ranks(one, span=span),
        picture=picture_sentence(one, flag=flag, shape=shape, stretch=stretch),
    )


def _size(one: Corrected, change: Change, *, span: tuple[float, float], ends: tuple[str, str]) -> Size:
    """The change in % of the mean, over the whole pour and over the units of the series."""
    scale = 100 / float(one.series.values.mean())
    column, names, order = change.shape.column, one.series.names, one.series.order
    return Size(
        change=scale * change.change,
        low=scale * change.low,
        high=scale * change.high,
        # Units poured together with the first or the last one reach the end of the pour as well as it does.
        first=names[0] if order[0] == span[0] else ends[0],
        last=names[-1] if order[-1] == span[1] else ends[1],
        measured=scale * change.change * float(column[-1] - column[0]),
        measured_first=names[0],
        measured_last=names[-1],
    )


def _too_few(one: Corrected) -> str:
    n = len(one.series.units)
    if n == 0:
        return "No measured unit has a place in the pour."
    if n < FEWEST_UNITS:
        return (
            f"Only {n} of the units measured {'has' if n == 1 else 'have'} a place in the pour; at least 3 are needed."
        )
    if one.series.order[0] == one.series.order[-1]:
        return "All units measured were poured together, so there is no order to compare."
    return "The mean is nought, so a change in % of it has no meaning."


def _direction(rising: bool, values: Floats) -> str:
    if not np.ptp(values):
        return ""
    return "rising" if rising else "falling"


def _flag(one: Corrected, test: SeriesTest, *, detectable: float | None, important: float) -> TrendFlag:
    if test.p_value <= CLEAR_LEVEL:
        return TrendFlag.CLEAR
    if test.p_value <= POSSIBLE_LEVEL:
        return TrendFlag.POSSIBLE
    if test.p_adjusted <= POSSIBLE_LEVEL or detectable is None or detectable > important:
        return TrendFlag.CANNOT_TELL
    return TrendFlag.NONE_SEEN


def fitted_change(one: Corrected, *, span: tuple[float, float], may_bend: bool) -> Change | None:
    """The straight change; another shape only where a called change decidedly has it.

    Parameters
    ----------
    one : Corrected
    span : (float, float)
        First and last place of the whole pour.
    may_bend : bool
        Whether a change was clearly called, so that its shape may be looked for.

    Returns
    -------
    Change or None
        None when no degree of freedom is left.
    """
    order, least = one.series.order, one.series.least_scatter
    line = fit_change(
        one.sized,
        straight(order, first=span[0], last=span[1]),
        levels=one.size_levels,
        confidence=CONFIDENCE,
        least_scatter=least,
    )
    if line is None or not may_bend or len(one.series.units) < FEWEST_FOR_A_SHAPE:
        return line
    shape = best_shape(one.sized, other_shapes(order, first=span[0], last=span[1]), levels=one.size_levels)
    best = (
        fit_change(one.sized, shape, levels=one.size_levels, confidence=CONFIDENCE, least_scatter=least)
        if shape
        else None
    )
    if best is None:
        return line
    decisive = fits_decisively_better(best, line, values=len(one.series.units), threshold=DECISIVE)
    return best if decisive else line


def _shape_in_words(one: Corrected, change: Change) -> str:
    if change.shape.after:
        return f"a step after unit {one.series.names[change.shape.after - 1]}"
    return {"straight drift": "a straight drift"}.get(change.shape.name, f"a {change.shape.name}")


def _stretch(one: Corrected, change: Change) -> tuple[str, ...]:
    """The units that a change sets apart from the rest; none of a straight drift, which goes through all of them."""
    names, shape = one.series.names, change.shape
    if shape.after:
        return names[: shape.after] if shape.after <= len(names) / 2 else names[shape.after :]
    if shape.name == "straight drift":
        return ()
    # Of an early or late curve, the units in which the greater part of the change happens.
    early = shape.column[len(names) // 2] > 1 / 2
    inside = shape.column < 2 / 3 if early else shape.column > 1 / 3
    return tuple(name for name, marked in zip(names, inside, strict=True) if marked)


def _without_cavities(one: Corrected, change: Change | None) -> Floats:
    if change is None or len(set(one.size_levels)) == 1:
        return one.sized
    levels = np.searchsorted(sorted(set(one.size_levels)), one.size_levels)
    corrected: Floats = one.sized - change.level_effects[levels]
    return corrected


def _ranks(one: Corrected, *, span: tuple[float, float]) -> str:
    """Kendall's S with exact p-value and the median slope; "" for long series and where units were poured together."""
    values = [float(value) for value in one.tested]
    if len(set(one.series.order)) < len(values) or len(values) > MOST_FOR_RANKS:
        return ""
    slope = median_slope([float(place) for place in one.series.order], values)
    if slope is None:
        return ""
    scale = 100 * (span[1] - span[0]) / float(one.series.values.mean())
    return ranks_sentence(
        score(values),
        float(tail(values)),
        (scale * slope.slope, scale * slope.low, scale * slope.high),
    )


def _by_name(one: Corrected, values: Floats) -> tuple[tuple[str, float], ...]:
    return tuple(zip(one.series.names, (float(value) for value in values), strict=True))


def _band(one: Corrected, change: Change) -> tuple[tuple[str, float, float], ...]:
    return tuple(
        (name, float(middle - half), float(middle + half))
        for name, middle, half in zip(one.series.names, change.fitted, change.half_band, strict=True)
    )
