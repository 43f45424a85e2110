"""One decision over all series of a batch: which p-value each series gets, and what it could have shown.

Series of the same units are permuted together; groups of different units share the decision by weighted Bonferroni.
Where moulds were poured one after the other, a second test that no difference between moulds can fool has to agree.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from qc.pour.correction import Corrected
from qc.pour.series import SeriesKind
from qc.stats.detectable import detectable_changes, normal_critical_value
from qc.stats.drift import centred_by_level, fit_change, straight
from qc.stats.order_test import Monotone, OrderTest, Places, joint_order_tests, monotone_share
from qc.stats.permutations import generator, permutations, share_at_least

FEWEST_UNITS = 3
PERMUTATIONS = 9_999
# Series that a first look finds far from any call are not looked at further: their p-value has a standard error of
# 0.01 at most, and no call hangs on it.
FIRST_LOOK = 1_999
FAR_FROM_A_CALL = 0.15
# Very long series are permuted less often, so that no batch takes seconds; never less often than at the first look.
MOST_VALUES_PERMUTED = 2_000_000
# Masses are many and scatter little: they can spare most of the false-alarm rate for the few assays.
MASS_SHARE = 0.25
POWER_SHOWN = 0.90
POSSIBLE_LEVEL = 0.05
CLEAR_LEVEL = 0.01

# Streams of the seed, one for each use of chance.
_PERMUTE, _DETECT, _WITHIN_MOULDS = 1, 2, 3


class SeriesTest(Struct, frozen=True, kw_only=True):
    """What the tests say of one series.

    Parameters
    ----------
    p_alone : float
        p-value of the series by itself [-].
    p_adjusted : float
        Adjusted for all series: is there any order pattern, whatever its cause [-]?
    p_value : float
        The one to be called by: the larger of `p_adjusted` and, where moulds follow one another, the p-value of the
        test that differences between moulds cannot fool [-].
    detectable : float or None
        Straight change from first to last unit that would have been called with 90 % power, in standard deviations.
    share : float
        The part of the false-alarm rate that its group of series may use up [-].
    """

    p_alone: float
    p_adjusted: float
    p_value: float
    detectable: float | None
    share: float


def order_tests_of_batch(
    prepared: Sequence[Corrected], *, seed: int, rising_contents: bool, draws: int = PERMUTATIONS
) -> list[SeriesTest | None]:
    """Test all series of a batch as one decision.

    Parameters
    ----------
    prepared : sequence of Corrected
        Every series of the batch.
    seed : int
    rising_contents : bool
        Look for later units richer only, as stated beforehand by the person who poured.
    draws : int
        Permutations drawn where not all are looked at.

    Returns
    -------
    list of SeriesTest or None
        In the order of `prepared`; p-values [-], adjusted over all of them. None for a series of too few units, of one
        place only, or without a mean to take a percentage of.

    References
    ----------
    Joint permutation of series of the same units: Westfall and Young, Resampling-Based Multiple Testing (1993), chapter
    2; weighted Bonferroni over groups: Rosenthal and Rubin, Multiple contrasts and ordered Bonferroni procedures,
    Journal of Educational Psychology 76 (1984) 1028-1034 (both from memory).
    """
    groups: dict[tuple[tuple[str, ...], tuple[int, ...]], list[int]] = {}
    for index, one in enumerate(prepared):
        if _testable(one):
            groups.setdefault((one.series.names, one.levels), []).append(index)
    shares = _shares_of_level([prepared[members[0]].series.kind for members in groups.values()])
    found: dict[int, SeriesTest] = {}
    for number, (members, share) in enumerate(zip(groups.values(), shares, strict=True)):
        group = [prepared[index] for index in members]
        tests = _group_tests(group, share=share, seed=seed, number=number, rising=rising_contents, draws=draws)
        found |= zip(members, tests, strict=True)
    for index in sorted(found):
        if prepared[index].blocks and found[index].p_adjusted <= POSSIBLE_LEVEL:
            second = _unfooled_by_moulds(index, prepared, found, seed=seed, draws=draws)
            found[index] = replace(found[index], p_value=max(found[index].p_adjusted, second))
    return [found.get(index) for index in range(len(prepared))]


def _testable(one: Corrected) -> bool:
    """Whether there is an order to compare, and a mean to take a percentage of."""
    order, values = one.series.order, one.series.values
    return len(order) >= FEWEST_UNITS and bool(order[0] < order[-1]) and bool(values.mean() > 0)


def _shares_of_level(kinds: Sequence[SeriesKind]) -> list[float]:
    """How groups of series share the false-alarm rate: contents, which are doses, get three quarters where both are."""
    masses = sum(kind is SeriesKind.MASS for kind in kinds)
    others = len(kinds) - masses
    if not masses or not others:
        return [1 / len(kinds) for _ in kinds]
    return [MASS_SHARE / masses if kind is SeriesKind.MASS else (1 - MASS_SHARE) / others for kind in kinds]


def _group_tests(
    group: Sequence[Corrected], *, share: float, seed: int, number: int, rising: bool, draws: int
) -> list[SeriesTest]:
    """The tests of series of the same units, with the straight change that each would have called."""
    levels, places = group[0].levels, Places.of(group[0].series.order)
    directions = [
        Monotone.RISING if rising and one.series.kind is not SeriesKind.MASS else Monotone.EITHER for one in group
    ]
    tests: tuple[OrderTest, ...] = ()
    most = min(draws, max(FIRST_LOOK, MOST_VALUES_PERMUTED // len(levels)))
    for number_drawn in sorted({min(FIRST_LOOK, most), most}):
        tests = joint_order_tests(
            [one.tested for one in group],
            places,
            permutations(levels, draws=number_drawn, random=generator(seed, stream=_PERMUTE + 10 * number)),
            directions=directions,
            share_of_level=share,
            level=POSSIBLE_LEVEL,
        )
        if all(test.p_value > FAR_FROM_A_CALL for test in tests):
            break
    critical = [test.critical_value for test in tests]
    if not all(np.ptp(one.tested) for one in group):
        # Equal values hold no scatter to permute; what other values would have shown is a normal series'.
        of_normal = normal_critical_value(places, level=POSSIBLE_LEVEL * share, random=generator(seed, stream=_DETECT))
        critical = [known if np.ptp(one.tested) else of_normal for one, known in zip(group, critical, strict=True)]
    detectable = detectable_changes(
        group[0].series.along,
        places,
        levels=levels,
        critical_values=critical,
        power=POWER_SHOWN,
        random=generator(seed, stream=_DETECT),
    )
    return [
        SeriesTest(p_alone=test.p_alone, p_adjusted=test.p_value, p_value=test.p_value, detectable=change, share=share)
        for test, change in zip(tests, detectable, strict=True)
    ]


def _unfooled_by_moulds(
    index: int, prepared: Sequence[Corrected], found: dict[int, SeriesTest], *, seed: int, draws: int
) -> float:
    """The p-value of a test that holds whatever the moulds differ by.

    A mould changes a content through its fill alone; so where concentrations are known, they decide. Elsewhere a
    straight line through the means of the moulds, or a pattern that comes back inside the moulds, decides.
    """
    one = prepared[index]
    for other_index in found:
        other = prepared[other_index]
        same = other.series.active == one.series.active and other.series.names == one.series.names
        if one.series.kind is SeriesKind.CONTENT and other.series.kind is SeriesKind.CONCENTRATION and same:
            return found[other_index].p_value
    across = _across_moulds(one)
    within = _within_moulds(one, seed=seed, draws=draws)
    return min(1.0, 2 * min(across, within) / found[index].share)


def _across_moulds(one: Corrected) -> float:
    blocks = np.asarray(one.blocks)
    names = sorted(set(one.blocks))
    middles = np.array([one.series.order[blocks == block].mean() for block in names])
    means = np.array([one.tested[blocks == block].mean() for block in names])
    if len(names) < 3:
        return 1.0
    line = fit_change(means, straight((middles - middles[0]) / np.ptp(middles)), levels=[0] * len(names))
    return line.p_value if line else 1.0


def _within_moulds(one: Corrected, *, seed: int, draws: int) -> float:
    """p-value of a pattern that comes back in every mould, its units lined up by their place inside their mould."""
    blocks = np.asarray(one.blocks)
    first = {block: one.series.order[blocks == block].min() for block in one.blocks}
    inside = one.series.order - np.array([first[block] for block in one.blocks])
    lined_up = np.argsort(inside, kind="stable")
    rows = permutations(one.blocks, draws=draws, random=generator(seed, stream=_WITHIN_MOULDS))
    centred = centred_by_level(one.tested, one.blocks)
    shares = monotone_share(centred[rows][:, lined_up], Places.of(inside[lined_up]))
    return float(share_at_least(shares)[0])
