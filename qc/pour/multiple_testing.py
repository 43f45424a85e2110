"""One decision over all series of a batch: which p-value each series gets, and what it could have shown.

Physics names the series that decide. A content is a mass times a concentration: whatever changes it along the pour
changes one of the two. So masses and concentrations share the decision, by weighted Holm, and a content is called by
its own p-value once one of them is called. Where moulds were poured one after the other, or each cavity was filled too
seldom, a second test that no difference between them can fool has to agree.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from qc.pour.correction import Corrected
from qc.pour.series import SeriesKind
from qc.stats.arrays import Floats
from qc.stats.detectable import detectable_change, detectable_end
from qc.stats.drift import centred_by_level
from qc.stats.end_value import EndTest, end_test
from qc.stats.order_test import Monotone, Places, order_p_value
from qc.stats.student import two_sided_p

FEWEST_UNITS = 3
# Masses are many and scatter little: they can spare most of the false-alarm rate for the few assays.
MASS_SHARE = 0.2
# The part of each series' false-alarm rate with which a first or last unit is called that lies apart: enough for one
# at 5 standard deviations to be called in 95 of 100 batches of 24 units.
END_SHARE = 0.3
# Without end units that lie apart a change is looked for that goes on as they do; it may be another, with the rest.
GOING_ON = 0.8
POWER_SHOWN = 0.90
POSSIBLE_LEVEL = 0.05
CLEAR_LEVEL = 0.01


class SeriesTest(Struct, frozen=True, kw_only=True):
    """What the tests say of one series.

    Parameters
    ----------
    p_alone : float
        p-value of the series by itself, by its order or by one of its ends [-].
    p_adjusted : float
        Adjusted for all series: is there any order pattern, whatever its cause [-]?
    p_value : float
        The one to be called by: the larger of `p_adjusted` and, where moulds or cavities could make the same pattern,
        the p-value of the test that differences between them cannot fool [-].
    lone : tuple of (int, EndTest)
        The end units without which nothing would be called, by their places in the series, and how far each lies from
        all others; empty where others carry the change too.
    detectable, detectable_end : float or None
        Straight change from first to last unit, and distance of a first or last unit from the others, that would have
        been called with 90 % power, in standard deviations.
    """

    p_alone: float
    p_adjusted: float = 1.0
    p_value: float = 1.0
    lone: tuple[tuple[int, EndTest], ...] = ()
    detectable: float | None = None
    detectable_end: float | None = None


def order_tests_of_batch(prepared: Sequence[Corrected], *, rising_contents: bool) -> list[SeriesTest | None]:
    """Test all series of a batch as one decision.

    Parameters
    ----------
    prepared : sequence of Corrected
        Every series of the batch.
    rising_contents : bool
        Look for later units richer only, as stated beforehand by the person who poured.

    Returns
    -------
    list of SeriesTest or None
        In the order of `prepared`; p-values [-], adjusted over all of them. None for a series of too few units, of one
        place only, or without a mean to take a percentage of.

    References
    ----------
    Holm, A simple sequentially rejective multiple test procedure, Scandinavian Journal of Statistics 6 (1979) 65-70,
    section 4 (with weights); a hypothesis that is tested once one of its causes is rejected: Dmitrienko, Offen and
    Westfall, Gatekeeping strategies for clinical trials, Statistics in Medicine 22 (2003) 2387-2400 (from memory).
    """
    testable = [at for at, one in enumerate(prepared) if _testable(one)]
    share, following = _roles(prepared, testable)
    own = {at: _own_test(prepared[at], share=share[at], rising=rising_contents) for at in testable}
    adjusted = _holm({at: own[at].p_alone for at in testable if at not in following}, share)
    for at, first in following.items():
        gates = (p for one, p in adjusted.items() if one == first or prepared[one].series.kind is SeriesKind.MASS)
        adjusted[at] = max(own[at].p_alone, min(gates))
    found: dict[int, SeriesTest] = {}
    for at, test in own.items():
        one, other = prepared[at], 0.0
        if (one.blocks or one.loose_cavities) and adjusted[at] <= POSSIBLE_LEVEL:
            # A mould or a cavity changes a content through its fill alone: the concentration decides where it is known.
            other = adjusted[following[at]] if at in following else _unfooled(one) / share[at]
        p_value = min(1.0, max(adjusted[at], other))
        found[at] = replace(test, p_adjusted=adjusted[at], p_value=p_value)
    return [found.get(at) for at in range(len(prepared))]


def _testable(one: Corrected) -> bool:
    """Whether there is an order to compare, and a mean to take a percentage of."""
    order, values = one.series.order, one.series.values
    return len(order) >= FEWEST_UNITS and bool(order[0] < order[-1]) and bool(values.mean() > 0)


def _roles(prepared: Sequence[Corrected], testable: Sequence[int]) -> tuple[dict[int, float], dict[int, int]]:
    """Each series' share of the false-alarm rate, and which series a content waits for that shares none.

    A content waits for the concentration of the same active and the same units; it has that one's share in what it
    could have shown.
    """

    def of(kind: SeriesKind) -> dict[tuple[str, tuple[str, ...]], int]:
        every = ((at, prepared[at].series) for at in testable)
        return {(series.active, series.names): at for at, series in every if series.kind is kind}

    known = of(SeriesKind.CONCENTRATION)
    following = {at: known[key] for key, at in of(SeriesKind.CONTENT).items() if key in known}
    masses = tuple(of(SeriesKind.MASS).values())
    others = [at for at in testable if at not in following and at not in masses]
    of_masses = MASS_SHARE if masses and others else 1.0
    share = dict.fromkeys(masses, of_masses) | {at: (1 - of_masses if masses else 1.0) / len(others) for at in others}
    return share | {at: share[first] for at, first in following.items()}, following


def _own_test(one: Corrected, *, share: float, rising: bool) -> SeriesTest:
    """What one series says by itself, and what it could have shown."""
    levels, places, level = one.levels, Places.of(one.series.order), POSSIBLE_LEVEL * share
    direction = Monotone.RISING if rising and one.series.kind is not SeriesKind.MASS else Monotone.EITHER
    p_alone = _alone(one, direction=direction, share=share)
    return SeriesTest(
        p_alone=p_alone,
        lone=_lone_ends(one, direction=direction) if p_alone <= POSSIBLE_LEVEL else (),
        detectable=detectable_change(
            one.series.along,
            places,
            levels=levels,
            level=level * (1 - END_SHARE),
            power=POWER_SHOWN,
            direction=direction,
        ),
        detectable_end=detectable_end(len(levels), levels=len(set(levels)), level=level * END_SHARE, power=POWER_SHOWN),
    )


def _lone_ends(one: Corrected, *, direction: Monotone) -> tuple[tuple[int, EndTest], ...]:
    """The end units that lie apart from the others by themselves, where nothing is left to be called without them.

    One at each end; and its neighbour too where that lies apart on the other side, so that it does not bear it out.

    References
    ----------
    The decision without them: Cook and Weisberg, Residuals and Influence in Regression (1982), chapter 3 (from memory).
    """
    order, count = one.series.order, len(one.levels)
    lone: list[int] = []
    for end, inward in ((0, 1), (count - 1, -1)):
        side = 0.0
        for at in (end, end + inward):
            # The unit at the other end may be apart as well, and is no measure of the scatter.
            found = _beside(one, at, [other for other in range(1, count - 1) if (other - at) * inward > 0])
            single = order[at] != order[at + inward]
            if not single or found.p_value > POSSIBLE_LEVEL / 2 or found.away * side > 0:
                break
            lone.append(at)
            side = found.away
    if not lone:
        return ()
    others = [at for at in range(count) if at not in lone]
    kept = slice(others[0], others[-1] + 1)
    apart = tuple((at, _beside(one, at, others)) for at in sorted(lone))
    rising = {(found.away > 0) is (at > count / 2) for at, found in apart}
    shares = {direction: 1.0}
    if direction is Monotone.EITHER and len(rising) == 1:
        on, back = (Monotone.RISING, Monotone.FALLING) if True in rising else (Monotone.FALLING, Monotone.RISING)
        shares = {on: GOING_ON, back: 1 - GOING_ON}
    left = min(_alone(one, kept=kept, direction=way, share=part) / part for way, part in shares.items())
    return apart if left > POSSIBLE_LEVEL else ()


def _beside(one: Corrected, at: int, others: Sequence[int]) -> EndTest:
    """How far a unit lies from others."""
    units = [at, *others]
    levels = [one.levels[unit] for unit in units]
    return end_test(one.tested[units], levels=levels, ends=(0,), least_scatter=_least_scatter(one))


def _least_scatter(one: Corrected) -> float:
    """A step of the balance is no distance."""
    return max(one.series.least_scatter, one.series.step / 2)


def _alone(
    one: Corrected,
    *,
    direction: Monotone,
    kept: slice = slice(None),
    share: float = 1.0,
) -> float:
    """The p-value of a series, or of the units kept of it, by its order or by its ends.

    Decisions turn at both levels, and at the share of them that the series has.
    """
    values, levels, order = one.exchangeable[kept], one.levels[kept], one.series.order[kept]
    least, shares = _least_scatter(one), {share, 1.0}
    return _order_or_ends(values, order, levels, least_scatter=least, shares=shares, direction=direction)


def _holm(alone: Mapping[int, float], share: Mapping[int, float]) -> dict[int, float]:
    """p-values adjusted for all of them, each with its share of the false-alarm rate."""
    adjusted: dict[int, float] = {}
    left, so_far = sum(share[at] for at in alone), 0.0
    for at in sorted(alone, key=lambda one: alone[one] / share[one]):
        so_far = adjusted[at] = min(1.0, max(so_far, left * alone[at] / share[at]))
        left -= share[at]
    return adjusted


def _unfooled(one: Corrected) -> float:
    """The p-value of a test that holds whatever the moulds or the cavities differ by.

    A pattern among the fillings of the same cavities, or a straight line through the means of the moulds; a pattern
    that comes back inside the moulds, where that cannot be their cavities.
    """
    if one.loose_cavities and not one.blocks:
        return _within(one, one.loose_cavities, one.series.order)
    across = _across_moulds(one)
    if one.loose_cavities:
        return across
    first = {block: float(one.series.order[np.asarray(one.blocks) == block].min()) for block in one.blocks}
    inside = one.series.order - np.array([first[block] for block in one.blocks])
    return min(1.0, 2 * min(across, _within(one, one.blocks, inside)))


def _within(one: Corrected, groups: Sequence[int], order: Floats) -> float:
    """p-value of a pattern by an order, or of an end of it, values compared within their groups only."""
    lined_up = np.argsort(order, kind="stable")
    labels, along = tuple(np.asarray(groups)[lined_up].tolist()), order[lined_up]
    centred = centred_by_level(one.tested[lined_up], labels)
    return _order_or_ends(centred, along, labels, least_scatter=_least_scatter(one), shares={1.0})


def _order_or_ends(
    values: Floats,
    order: Floats,
    levels: Sequence[int],
    *,
    least_scatter: float,
    shares: Collection[float],
    direction: Monotone = Monotone.EITHER,
) -> float:
    """p-value of values in an order, by their pattern or by an end that lies apart.

    Decisions turn at both levels, and at these shares of them.
    """
    thresholds = [(1 - END_SHARE) * level * share for level in (CLEAR_LEVEL, POSSIBLE_LEVEL) for share in shares]
    # Units poured together are no single end.
    single = [end for end, beside in ((0, 1), (-1, -2)) if order[end] != order[beside]]
    p_order = order_p_value(values, Places.of(order), levels=levels, direction=direction, thresholds=thresholds)
    ends = end_test(values, levels=levels, ends=single, least_scatter=least_scatter, direction=direction)
    return min(1.0, p_order / (1 - END_SHARE), ends.p_value / END_SHARE)


def _across_moulds(one: Corrected) -> float:
    """p-value of a straight line through the means of the moulds, by the t-test of its slope."""
    blocks = np.asarray(one.blocks)
    middles = np.array([one.series.order[blocks == block].mean() for block in sorted(set(one.blocks))])
    means = np.array([one.tested[blocks == block].mean() for block in sorted(set(one.blocks))])
    df, away = len(means) - 2, middles - middles.mean()
    if df < 1:
        return 1.0
    slope = float(away @ means) / float(away @ away)
    residuals = means - means.mean() - slope * away
    error = math.sqrt(float(residuals @ residuals) / df / float(away @ away))
    return two_sided_p(slope / error, df=df) if error > 0 else float(slope == 0)
