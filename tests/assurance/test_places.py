"""Whether units are a random draw over the pour: against every draw of a small pour, against scipy, and plain cases."""

from __future__ import annotations

from collections import Counter
from itertools import combinations, pairwise

import numpy as np
import pytest
from msgspec.structs import replace
from scipy import stats

from qc.assurance.places import LEVEL, PlacesFound, draw_found, places_found
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


@pytest.mark.parametrize(("first", "unseen"), [(1, ((2, 5),)), (2, ((3, 6),)), (3, ((1, 2), (4, 7)))])
def test_stretches_half_as_long_as_the_longest_are_named(first: int, unseen: tuple[tuple[int, int], ...]) -> None:
    taken = {str(place) for place in (first, *range(first + 5, 13))}
    found = places_found(batch(*range(1, 13)), measured=taken, whole=12)
    assert found is not None
    assert found.unseen == unseen


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


def in_moulds(units: int, *, moulds: int, by_turns: bool = True, ordered: bool = True, cavities: bool = True) -> Batch:
    """Units poured into several moulds, one after the other by turns or mould by mould."""
    each = units // moulds
    places = [(at % moulds, at // moulds) if by_turns else (at // each, at % each) for at in range(units)]
    return Batch(
        units=tuple(
            Unit(
                name=str(at + 1),
                pour_order=at + 1 if ordered else None,
                mould="ABCDEFGH"[mould],
                cavity=str(cavity + 1) if cavities else None,
            )
            for at, (mould, cavity) in enumerate(places)
        )
    )


@pytest.mark.parametrize("ordered", [True, False])
@pytest.mark.parametrize(("moulds", "unseen"), [(2, ("B",)), (3, ("B", "C"))])
def test_a_draw_from_one_mould_is_seen_though_its_places_lie_over_the_pour(
    moulds: int, unseen: tuple[str, ...], ordered: bool
) -> None:
    pour = in_moulds(30, moulds=moulds, ordered=ordered)
    of_one = [unit.name for unit in pour.units if unit.mould == "A"]
    of_the_first = [of_one[at * len(of_one) // 10] for at in range(10)]
    found = draw_found(pour, measured=of_the_first, whole=30)
    assert found is not None
    assert (found.random, found.way, found.scarce, found.among) == (False, "mould", unseen, 0)


def test_a_mould_of_which_one_unit_was_taken_is_named_with_it() -> None:
    pour = in_moulds(40, moulds=2)
    of_the_first = [unit.name for unit in pour.units if unit.mould == "A"]
    found = draw_found(pour, measured=[*of_the_first[::2][:9], "2"], whole=40)
    assert found is not None
    assert (found.random, found.scarce, found.among) == (False, ("B",), 1)


def test_a_draw_from_the_first_cavities_of_every_mould_is_seen() -> None:
    pour = in_moulds(48, moulds=4)
    found = draw_found(pour, measured=[unit.name for unit in pour.units if int(unit.cavity or 0) <= 3][:10], whole=48)
    assert found is not None
    assert not found.random
    alone = replace(pour, units=tuple(replace(unit, pour_order=None, mould=None) for unit in pour.units))
    found = draw_found(alone, measured=[unit.name for unit in pour.units if int(unit.cavity or 0) <= 3], whole=48)
    assert found is not None
    assert (found.random, found.way, found.scarce) == (False, "cavity", tuple(str(n) for n in range(4, 13)))


@pytest.mark.parametrize(("moulds", "by_turns"), [(2, True), (2, False), (3, True), (4, False)])
def test_random_draws_from_moulds_pass_for_random_ones(moulds: int, by_turns: bool) -> None:
    lot, pour = np.random.Generator(np.random.Philox(32)), in_moulds(24, moulds=moulds, by_turns=by_turns)
    found = [
        draw_found(pour, measured={str(place + 1) for place in lot.permutation(24)[:10]}, whole=24) for _ in range(600)
    ]
    called = np.mean([one is not None and not one.random for one in found])
    assert called <= LEVEL + 4 * (LEVEL * (1 - LEVEL) / 600) ** 0.5


def test_units_whose_mould_is_not_known_are_held_against_the_pour_alone() -> None:
    pour = in_moulds(30, moulds=2, cavities=False)
    without = replace(pour, units=(replace(pour.units[0], mould=None), *pour.units[1:]))
    of_the_first = {unit.name for unit in pour.units if unit.mould == "A"}
    found = draw_found(without, measured=of_the_first, whole=30)
    assert found == places_found(without, measured=of_the_first, whole=30)
    assert draw_found(batch(None, None), measured={"1"}, whole=None) is None


@pytest.mark.parametrize("ordered", [True, False])
def test_one_of_three_moulds_that_was_left_out_is_named_whatever_the_level(ordered: bool) -> None:
    pour = in_moulds(30, moulds=3, ordered=ordered, cavities=False)
    of_two = [unit.name for unit in pour.units if unit.mould != "C"]
    found = draw_found(pour, measured=[of_two[2 * at + at % 2] for at in range(10)], whole=30)
    assert found is not None
    assert (found.random, found.way, found.scarce) == (False, "mould", ("C",))
    assert found.left_out == pytest.approx(float(stats.hypergeom(30, 10, 10).pmf(0)))


@pytest.mark.parametrize("first", [True, False])
def test_a_third_of_the_pour_at_an_end_that_was_left_out_is_named(first: bool) -> None:
    places = [place + (10 if first else 0) for place in (1, 3, 6, 8, 10, 12, 13, 15, 18, 20)]
    found = places_found(batch(*range(1, 31)), measured={str(place) for place in places}, whole=30)
    assert found is not None
    assert found.p_value > LEVEL
    assert not found.random
    assert found.left_out == pytest.approx(float(stats.hypergeom(30, 10, 10).pmf(0)))
    assert ((1, 10) if first else (21, 30)) in found.unseen


def test_the_units_on_which_the_lot_fell_are_a_random_draw_however_they_lie() -> None:
    pour, lot = in_moulds(30, moulds=2), [*map(str, range(1, 31))]
    found = draw_found(pour, measured=lot[:10], whole=30, lot=lot)
    assert found is not None
    assert (found.random, found.by_lot, found.whole) == (True, True, 30)
    for measured in (lot[:9] + lot[10:11], lot[10:20]):
        other = draw_found(pour, measured=measured, whole=30, lot=lot)
        assert other is not None
        assert not other.by_lot
        assert other == draw_found(pour, measured=measured, whole=30)
