"""From a tested series to its trend: flag, size, fitted change, stretch, and what cannot be excluded."""

from __future__ import annotations

from functools import partial

from qc.pour.correction import Corrected
from qc.pour.diagnostics import not_excluded
from qc.pour.multiple_testing import CLEAR_LEVEL, FEWEST_UNITS, POSSIBLE_LEVEL, SeriesTest
from qc.results.messages import Message, message
from qc.results.pour import Trend, TrendFlag
from qc.stats.drift import (
    EARLY,
    STRAIGHT,
    DriftFit,
    best_shape,
    fit_change,
    fits_decisively_better,
    other_shapes,
    straight,
)
from qc.stats.isotonic import Floats

CONFIDENCE = 0.95
# A shape other than the straight line is taken only where it is likelier by so much that a straight drift reaches it
# less than once in a hundred batches (own simulation, tests/benchmarks), so that the interval keeps its coverage.
DECISIVE = 12.0
FEWEST_FOR_A_SHAPE = 10

Effect = tuple[float, float, float]
"""A change with its interval, from the first place of the pour to the last [% of mean]."""


def trend_of(one: Corrected, test: SeriesTest | None, *, important: float, seed: int) -> Trend:
    """Put together what is known about one series along the pour.

    Parameters
    ----------
    one : Corrected
    test : SeriesTest or None
        None when there were too few units, or one place only, to test.
    important : float
        The change that matters [% of mean].
    seed : int

    Returns
    -------
    Trend
    """
    n = len(one.series.units)
    if test is None:
        return Trend(
            flag=TrendFlag.CANNOT_TELL,
            n=n,
            measure=one.series.measure,
            sentence=_not_tested(one),
            values=_by_name(one, one.series.values),
        )
    middle = float(one.series.values.mean())
    called = test.p_value <= POSSIBLE_LEVEL
    change = fitted_change(one, may_bend=test.p_value <= CLEAR_LEVEL)
    scale = 100 / middle
    effect = (scale * change.change, scale * change.low, scale * change.high) if change else None
    percent, low, high = effect or (None, None, None)
    detectable = scale * test.detectable * change.scatter if change and test.detectable is not None else None
    flag = _flag(test, detectable=detectable, important=important)
    shape = _shape(one, change) if change else ""
    stretch = _stretch(one, change) if called and change else ()
    if called:
        size = _size(one, change, effect) if change and effect else ""
        sentence = message(
            "pour.changed",
            **one.series.of,
            clearly=flag is TrendFlag.CLEAR,
            shape=shape,
            size=size,
            p=test.p_value,
            n=n,
        )
    else:
        sentence = _not_called(one, test, flag=flag, detectable=detectable, important=important, effect=effect)
    return Trend(
        flag=flag,
        n=n,
        p_value=test.p_value,
        change_percent=percent,
        change_low_percent=low,
        change_high_percent=high,
        detectable_percent=detectable,
        shape=shape,
        measure=one.series.measure,
        sentence=sentence,
        fitted=_by_name(one, change.fitted) if change else (),
        band=_band(one, change) if change else (),
        values=_by_name(one, one.series.values),
        corrected=_by_name(one, one.sized - change.level_effects if change else one.sized) if one.taken_out else (),
        correction=one.how,
        stretch=stretch,
        not_excluded=not_excluded(one, called=called, seed=seed),
    )


def _size(one: Corrected, change: DriftFit, effect: Effect) -> Message:
    """The change over the whole pour and over the units of the series, and the units at the ends of both."""
    column, names, along, ends = change.shape.column, one.series.names, one.series.along, one.series.ends
    measured = names[0], names[-1]
    # Units poured together with the first or the last one reach the end of the pour as well as it does.
    whole = (names[0] if along[0] == 0 else ends[0], names[-1] if along[-1] == 1 else ends[1])
    return message(
        "pour.size",
        extent_percent=abs(effect[0]),
        interval=effect[1:],
        ends=None if whole == measured else whole,
        measured=100 / float(one.series.values.mean()) * change.change * float(column[-1] - column[0]),
        measured_ends=measured,
        moulds_included=bool(one.blocks),
    )


def _not_called(
    one: Corrected,
    test: SeriesTest,
    *,
    flag: TrendFlag,
    detectable: float | None,
    important: float,
    effect: Effect | None,
) -> Message:
    """Why no change is called: none was seen, or none could be."""
    of, n = one.series.of, len(one.series.units)
    straight = effect[1:] if effect and (effect[1] > 0 or effect[2] < 0) else None
    if flag is TrendFlag.NONE_SEEN:
        return message("pour.none_seen", **of, p=test.p_value, n=n, detectable=detectable, straight=straight)
    if one.blocks and test.p_adjusted <= POSSIBLE_LEVEL:
        return message("pour.moulds_in_order", **of, p=test.p_adjusted)
    if detectable is None:
        return message("pour.too_few_to_show", **of, n=n)
    return message("pour.too_unsure", **of, n=n, detectable=detectable, important=important, straight=straight)


def _not_tested(one: Corrected) -> Message:
    of, n = one.series.of, len(one.series.units)
    if n == 0:
        return message("pour.no_places", **of)
    if n < FEWEST_UNITS:
        return message("pour.too_few_places", **of, n=n, needed=FEWEST_UNITS)
    if one.series.order[0] == one.series.order[-1]:
        return message("pour.one_place", **of)
    return message("pour.zero_mean", **of)


def _flag(test: SeriesTest, *, detectable: float | None, important: float) -> TrendFlag:
    if test.p_value <= CLEAR_LEVEL:
        return TrendFlag.CLEAR
    if test.p_value <= POSSIBLE_LEVEL:
        return TrendFlag.POSSIBLE
    if test.p_adjusted <= POSSIBLE_LEVEL or detectable is None or detectable > important:
        return TrendFlag.CANNOT_TELL
    return TrendFlag.NONE_SEEN


def fitted_change(one: Corrected, *, may_bend: bool) -> DriftFit | None:
    """The straight change; another shape only where a called change decidedly has it.

    Parameters
    ----------
    one : Corrected
    may_bend : bool
        Whether a change was clearly called, so that its shape may be looked for.

    Returns
    -------
    Change or None
        None when no degree of freedom is left.
    """
    along, values = one.series.along, len(one.series.units)
    fit = partial(
        fit_change, one.sized, levels=one.levels, confidence=CONFIDENCE, least_scatter=one.series.least_scatter
    )
    line = fit(straight(along))
    if line is None or not may_bend or values < FEWEST_FOR_A_SHAPE:
        return line
    shape = best_shape(one.sized, other_shapes(along), levels=one.levels)
    best = fit(shape) if shape is not None else None
    decisive = best is not None and fits_decisively_better(best, line, values=values, threshold=DECISIVE)
    return best if decisive else line


def _shape(one: Corrected, change: DriftFit) -> Message:
    if change.shape.after:
        return message("pour.step", after=one.series.names[change.shape.after - 1])
    if change.shape.name == STRAIGHT:
        return message("pour.straight_drift")
    return message("pour.bend", early=change.shape.name == EARLY)


def _stretch(one: Corrected, change: DriftFit) -> tuple[str, ...]:
    """The units that a change sets apart from the rest; none of a straight drift, which goes through all of them."""
    names, shape = one.series.names, change.shape
    if shape.after:
        return names[: shape.after] if shape.after <= len(names) / 2 else names[shape.after :]
    if shape.name == STRAIGHT:
        return ()
    # Of an early or late curve, the units in which the greater part of the change happens.
    early = shape.column[len(names) // 2] > 1 / 2
    inside = shape.column < 2 / 3 if early else shape.column > 1 / 3
    return tuple(name for name, marked in zip(names, inside, strict=True) if marked)


def _by_name(one: Corrected, values: Floats) -> tuple[tuple[str, float], ...]:
    return tuple(zip(one.series.names, values.tolist(), strict=True))


def _band(one: Corrected, change: DriftFit) -> tuple[tuple[str, float, float], ...]:
    low, high = change.fitted - change.half_band, change.fitted + change.half_band
    return tuple(zip(one.series.names, low.tolist(), high.tolist(), strict=True))
