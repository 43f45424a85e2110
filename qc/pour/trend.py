"""From a tested series to its trend: flag, size, fitted change, stretch, and what cannot be excluded."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from qc.pour.correction import Corrected
from qc.pour.diagnostics import not_excluded
from qc.pour.multiple_testing import CLEAR_LEVEL, FEWEST_UNITS, POSSIBLE_LEVEL, SeriesTest
from qc.results.messages import Message, message
from qc.results.pour import Trend, TrendFlag
from qc.stats.arrays import Floats
from qc.stats.drift import ChangeFit, averaged_change
from qc.stats.shapes import APART, BOTH_ENDS, EARLY, LATE, STEP, STRAIGHT

CONFIDENCE = 0.95
MOST, FEW = 0.8, 0.4
"""Most of a change, and the share of the units measured that it lies in where that is worth a word."""

Effect = tuple[float, float, float]
"""A change with its interval [% of mean]."""


def fitted_change(one: Corrected) -> ChangeFit | None:
    """The change along the pour, averaged over shapes; None where no degree of freedom is left."""
    return averaged_change(
        one.sized,
        one.series.along,
        levels=one.levels,
        confidence=CONFIDENCE,
        least_scatter=one.series.least_scatter,
    )


def trend_of(one: Corrected, test: SeriesTest | None, change: ChangeFit | None, *, important: float) -> Trend:
    """Put together what is known about one series along the pour.

    Parameters
    ----------
    one : Corrected
    test : SeriesTest or None
        None when there were too few units, or one place only, to test.
    change : ChangeFit or None
        As `fitted_change` gives it.
    important : float
        The change that matters [% of mean].

    Returns
    -------
    Trend
    """
    n, names = len(one.series.units), one.series.names
    values = _by_name(one, one.series.values)
    if test is None or change is None:
        return Trend(
            flag=TrendFlag.CANNOT_TELL, n=n, measure=one.series.measure, sentence=_not_tested(one), values=values
        )
    scale = 100 / float(one.series.values.mean())
    called = test.p_value <= POSSIBLE_LEVEL
    lone = test.lone if called else ()
    by_order = called and not lone
    whole = change.change, change.low, change.high
    effect, measured = (_effect(found, scale=scale, called=called) for found in (whole, change.measured))
    detectable, apart = (
        None if sd is None else sd * scale * change.scatter for sd in (test.detectable, test.detectable_end)
    )
    flag = _flag(test, detectable=detectable, important=important)
    shape = _shape(one, change) if by_order else ""
    # An interval of both ends that holds zero says nothing of a change that is called: the units it sets apart do.
    told_by_units = by_order and (change.shape in APART or measured[1] <= 0 <= measured[2])
    marked = np.flatnonzero(change.apart).tolist() if told_by_units else [at for at, _ in lone]
    stretch = tuple(names[at] for at in marked)
    distances = [_in_percent(away.away, *away.interval(confidence=CONFIDENCE), scale=scale) for _, away in lone]
    if told_by_units:
        distances = [_in_percent(*change.apart_by, scale=scale)]
    told = {**one.series.of, "p": test.p_value, "n": n}
    if by_order:
        size = _size(one, change, measured)
        if told_by_units:
            size = message("pour.apart", units=stretch, by=distances[0][0], ends=distances[0][1:])
        sentence = message("pour.changed", **told, clearly=flag is TrendFlag.CLEAR, size=size, shape=shape)
    elif lone:
        each = message("pour.each_apart", lone=[*zip(stretch, distances, strict=True)])
        whose = {"units": stretch, "alone": len(lone) == 1, "first": lone[0][0] == 0}
        sentence = message("pour.end_apart", **told, **whose, apart=each)
    else:
        sentence = _not_called(one, test, flag=flag, detectable=detectable, apart=apart, important=important)
    low, high = change.fitted - change.half_band, change.fitted + change.half_band
    return Trend(
        flag=flag,
        n=n,
        p_value=test.p_value,
        change_percent=effect[0],
        change_low_percent=effect[1],
        change_high_percent=effect[2],
        measured_percent=measured,
        detectable_percent=detectable,
        shape=shape,
        measure=one.series.measure,
        sentence=sentence,
        fitted=_by_name(one, change.fitted),
        band=tuple(zip(names, low.tolist(), high.tolist(), strict=True)),
        values=values,
        corrected=_by_name(one, one.sized - change.level_effects) if one.taken_out else (),
        correction=one.how,
        stretch=stretch,
        apart_percent=distances[0] if len(distances) == 1 else None,
        not_excluded=not_excluded(one, change.fitted if by_order else None),
    )


def _effect(found: Effect, *, scale: float, called: bool) -> Effect:
    """A change with its interval in % of the mean; an interval beside no call never excludes zero."""
    change, low, high = found
    return _in_percent(change, *((low, high) if called else (min(0.0, low), max(0.0, high))), scale=scale)


def _in_percent(change: float, low: float, high: float, *, scale: float) -> Effect:
    return scale * change, scale * low, scale * high


def _size(one: Corrected, change: ChangeFit, measured: Effect) -> Message:
    """The change between the first and the last unit measured; nothing is said of what lies beyond them."""
    names = one.series.names
    return message(
        "pour.size",
        measured=measured[0],
        interval=measured[1:],
        measured_ends=(names[0], names[-1]),
        most="" if change.shape else where_most_lies(change.fitted, names),
        moulds_included=bool(one.blocks),
    )


def where_most_lies(fitted: Floats, names: Sequence[str]) -> Message | str:
    """By or after which unit most of a change of no named shape lies, where these are few of the units measured."""
    moved = fitted[-1] - fitted[0]
    share = (fitted - fitted[0]) / moved if moved else np.linspace(0.0, 1.0, len(fitted))
    few = int(FEW * len(share))
    by, after = np.flatnonzero(share < MOST)[-1] + 1, np.flatnonzero(share > 1 - MOST)[0] - 1
    if by < few:
        return message("pour.most", unit=names[by], by=True)
    return message("pour.most", unit=names[after], by=False) if len(share) - 1 - after <= few else ""


def _not_called(
    one: Corrected,
    test: SeriesTest,
    *,
    flag: TrendFlag,
    detectable: float | None,
    apart: float | None,
    important: float,
) -> Message:
    """Why no change is called: none was seen, or none could be."""
    of, n = one.series.of, len(one.series.units)
    if flag is TrendFlag.NONE_SEEN:
        return message("pour.none_seen", **of, p=test.p_value, n=n, detectable=detectable, apart=apart)
    if test.p_adjusted <= POSSIBLE_LEVEL:
        return message("pour.made_by_places", **of, p=test.p_adjusted, moulds=bool(one.blocks))
    if detectable is None:
        return message("pour.too_few_to_show", **of, n=n)
    return message("pour.too_unsure", **of, n=n, detectable=detectable, important=important)


def _not_tested(one: Corrected) -> Message:
    of, n = one.series.of, len(one.series.units)
    if n == 0:
        return message("pour.no_places", **of)
    if n < FEWEST_UNITS:
        return message("pour.too_few_places", **of, n=n, needed=FEWEST_UNITS)
    if one.series.order[0] == one.series.order[-1]:
        return message("pour.one_place", **of)
    if (pours := len(set(one.series.order.tolist()))) < FEWEST_UNITS:
        return message("pour.few_pours", **of, pours=pours, needed=FEWEST_UNITS)
    if not one.series.values.any():
        return message("pour.zero_mean", **of)
    return message("pour.too_few_to_show", **of, n=n)


def _flag(test: SeriesTest, *, detectable: float | None, important: float) -> TrendFlag:
    if test.p_value <= POSSIBLE_LEVEL:
        # One unit cannot show that the pour changed, nor can one at each end.
        return TrendFlag.CLEAR if test.p_value <= CLEAR_LEVEL and not test.lone else TrendFlag.POSSIBLE
    if test.p_adjusted <= POSSIBLE_LEVEL or detectable is None or detectable > important:
        return TrendFlag.CANNOT_TELL
    return TrendFlag.NONE_SEEN


def _shape(one: Corrected, change: ChangeFit) -> Message | str:
    if change.shape == STEP:
        before, behind = one.series.units[change.after - 1 : change.after + 1]
        mould = None if before.mould == behind.mould else behind.mould
        return message("pour.step", after=before.name, mould=mould)
    if change.shape in (EARLY, LATE):
        return message("pour.bend", early=change.shape == EARLY)
    if change.shape == STRAIGHT:
        return message("pour.straight_drift")
    return message("pour.turning", ends=change.shape == BOTH_ENDS) if change.shape else ""


def _by_name(one: Corrected, values: Floats) -> tuple[tuple[str, float], ...]:
    return tuple(zip(one.series.names, values.tolist(), strict=True))
