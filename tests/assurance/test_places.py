"""Whether units are a random draw over the pour: against every draw of a small pour, against scipy, and plain cases."""

from __future__ import annotations

from collections import Counter
from itertools import combinations, pairwise

import numpy as np
import pytest
from scipy import stats

from qc.assurance.places import LEVEL, PlacesFound, places_found
from qc.batch import Batch, Unit


def batch(*orders: int | None) -> Batch:
    return Batch(units=tuple(Unit(name=str(name), pour_order=order) for name, order in enumerate(orders, start=1)))


def p_of(places: list[int], *, whole: int) -> float:
    found = places_found(batch(*range(1, whole + 1)), measured={str(place) for place in places}, whole=whole)
    assert found is not None
    return found.p_value


def longest(places: tuple[int, ...], *, whole: int) -> int:
    edges = (0, *places, whole + 1)
    return max(later - earlier - 1 for earlier, later in pairwise(edges))


def ends(places: tuple[int, ...], *, whole: int) -> int:
    return places[0] - 1 + whole - places[-1]


@pytest.mark.parametrize(("n", "whole"), [(1, 5), (2, 9), (3, 12), (4, 11), (6, 12)])
def test_stretches_are_as_likely_as_among_all_draws(n: int, whole: int) -> None:
    draws = list(combinations(range(1, whole + 1), n))
    stretches, outer = (Counter(of(draw, whole=whole) for draw in draws) for of in (longest, ends))
    for draw in draws:
        exact = (
            sum(many for count, many in counts.items() if count >= of(draw, whole=whole)) / len(draws)
            for of, counts in ((longest, stretches), (ends, outer))
        )
        rest = [place for place in range(1, whole + 1) if place not in draw]
        ranks = stats.mannwhitneyu(draw, rest, method="asymptotic").pvalue
        assert p_of(list(draw), whole=whole) == pytest.approx(min(1.0, 3 * min(*exact, ranks)), abs=1e-9)


def test_a_draw_is_random_above_the_level_alone() -> None:
    found = [PlacesFound(whole=24, unseen=(), p_value=p).random for p in (0.99 * LEVEL, LEVEL, 1.01 * LEVEL)]
    assert found == [False, False, True]


@pytest.mark.parametrize(("n", "whole"), [(3, 12), (10, 24), (10, 30), (30, 60), (20, 200)])
def test_random_draws_pass_for_random_ones(n: int, whole: int) -> None:
    lot = np.random.Generator(np.random.Philox(31))
    called = np.mean([p_of((lot.permutation(whole)[:n] + 1).tolist(), whole=whole) <= LEVEL for _ in range(1500)])
    assert called <= LEVEL + 4 * (LEVEL * (1 - LEVEL) / 1500) ** 0.5


@pytest.mark.parametrize(
    ("places", "whole", "unseen"),
    [
        (range(1, 11), 30, [(11, 30)]),
        (range(21, 31), 30, [(1, 20)]),
        ([*range(1, 6), *range(26, 31)], 30, [(6, 25)]),
        (range(11, 21), 30, [(1, 10), (21, 30)]),
        (range(6, 16), 30, [(16, 30)]),
        (range(1, 21, 2), 30, [(20, 30)]),
        (range(1, 4), 12, [(4, 12)]),
    ],
)
def test_the_beginning_the_ends_the_middle_and_one_side_are_seen_and_named(
    places: list[int], whole: int, unseen: list[tuple[int, int]]
) -> None:
    found = places_found(batch(*range(1, whole + 1)), measured={str(place) for place in places}, whole=whole)
    assert found is not None
    assert (found.random, list(found.unseen), found.whole) == (False, unseen, whole)


def test_units_at_even_distances_stand_for_the_whole() -> None:
    assert p_of(list(range(2, 30, 3)), whole=30) == 1.0
    assert p_of(list(range(1, 31)), whole=30) == 1.0


def test_units_that_are_not_listed_take_the_numbers_that_are_missing() -> None:
    first = places_found(batch(*range(1, 11)), measured={str(n) for n in range(1, 11)}, whole=30)
    assert first is not None
    assert (first.random, first.unseen) == (False, ((11, 30),))
    spread = places_found(batch(*range(2, 31, 3)), measured={str(n) for n in range(1, 11)}, whole=30)
    assert spread is not None
    assert spread.random


def test_of_units_poured_together_only_whole_groups_are_left_out() -> None:
    groups = [1] * 10 + [2] * 10 + [3] * 10
    of_the_first = places_found(batch(*groups), measured={str(n) for n in range(1, 11)}, whole=30)
    assert of_the_first is not None
    assert (of_the_first.random, of_the_first.unseen) == (False, ((2, 3),))
    of_each = places_found(batch(*groups), measured={"1", "2", "3", "11", "12", "13", "21", "22", "23"}, whole=30)
    assert of_each is not None
    assert (of_each.random, of_each.unseen) == (True, ())


def test_without_a_place_nothing_is_said() -> None:
    assert places_found(batch(1, 2, None), measured={"3"}, whole=3) is None
    assert places_found(batch(None, None), measured={"1"}, whole=None) is None
    assert places_found(batch(1, 2), measured={"elsewhere"}, whole=2) is None
