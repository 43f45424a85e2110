"""One decision over the series of a batch: how they share the 5 %, and which of them wait for others."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc.batch import Batch, Unit
from qc.pour.correction import Corrected, corrected_masses
from qc.pour.multiple_testing import (
    END_SHARE,
    MASS_SHARE,
    POSSIBLE_LEVEL,
    SeriesTest,
    _holm,
    order_tests_of_batch,
)
from qc.pour.series import Series, SeriesKind, mass_series
from qc.stats.arrays import Floats
from qc.stats.permutations import generator


def series(kind: SeriesKind, values: Floats, *, active: str = "", units: Sequence[int] | None = None) -> Corrected:
    numbers = range(len(values)) if units is None else units
    made = Series(
        kind=kind,
        active=active,
        measure="g",
        units=tuple(Unit(name=str(number)) for number in numbers),
        values=values + 50,
        order=np.array(numbers, dtype=float),
        along=np.arange(float(len(values))) / (len(values) - 1),
        step=0.0,
        least_scatter=0.0,
    )
    return Corrected(series=made, tested=made.values, levels=(0,) * len(values), sized=made.values)


def decided(*prepared: Corrected) -> list[SeriesTest]:
    found = order_tests_of_batch(prepared, rising_contents=False)
    assert None not in found
    return [one for one in found if one is not None]


def noise(stream: int, n: int = 12) -> Floats:
    return generator(21, stream=stream).standard_normal(n)


RISING = np.arange(12.0) / 2


def test_masses_have_a_fifth_and_the_actives_share_the_rest() -> None:
    prepared = [
        series(SeriesKind.MASS, noise(1) + RISING),
        *(series(SeriesKind.CONCENTRATION, noise(at), active=str(at)) for at in (2, 3)),
    ]
    mass, *others = decided(*prepared)
    assert mass.p_adjusted == pytest.approx(mass.p_alone / MASS_SHARE)
    # Once the masses are called, their share goes to the others.
    least = min(one.p_alone for one in others)
    assert min(one.p_adjusted for one in others) == pytest.approx(min(1.0, least * 2))
    (alone,) = decided(prepared[0])
    assert alone.p_adjusted == alone.p_alone
    assert alone.p_alone < 0.002


def test_a_content_is_called_by_its_own_p_once_its_concentration_or_the_mass_is() -> None:
    content = series(SeriesKind.CONTENT, noise(4) + RISING, active="A")
    still = series(SeriesKind.CONCENTRATION, noise(5), active="A")
    moving = series(SeriesKind.CONCENTRATION, noise(5) + RISING, active="A")
    quiet, heavier = series(SeriesKind.MASS, noise(6)), series(SeriesKind.MASS, noise(6) + RISING)
    gate_shut = decided(quiet, content, still)
    assert gate_shut[1].p_alone < 0.01
    assert gate_shut[1].p_adjusted == min(gate_shut[0].p_adjusted, gate_shut[2].p_adjusted) > POSSIBLE_LEVEL
    for first, last in ((quiet, moving), (heavier, still)):
        mass, of_content, concentration = decided(first, content, last)
        gate = min(mass.p_adjusted, concentration.p_adjusted)
        assert gate < POSSIBLE_LEVEL
        assert of_content.p_adjusted == max(of_content.p_alone, gate)


def test_a_content_waits_for_no_concentration_of_other_units_or_of_another_active() -> None:
    content = series(SeriesKind.CONTENT, noise(4) + RISING, active="A")
    for other in (
        series(SeriesKind.CONCENTRATION, noise(5, n=11), active="A", units=range(11)),
        series(SeriesKind.CONCENTRATION, noise(5), active="B"),
    ):
        found = decided(content, other)
        assert found[0].p_adjusted == pytest.approx(2 * found[0].p_alone)


def test_the_shares_of_order_and_of_end_units_add_up_to_the_level() -> None:
    values = noise(7)
    values[-1] += 20
    (found,) = decided(series(SeriesKind.MASS, values))
    assert [at for at, _ in found.lone] == [11]
    assert found.p_alone < 1e-4
    (order,) = decided(series(SeriesKind.MASS, RISING + noise(8) / 10))
    assert order.lone == ()
    assert order.p_alone == pytest.approx(1 / 2_000 / (1 - END_SHARE))


@given(
    alone=st.lists(st.floats(0.0001, 1.0), min_size=1, max_size=4),
    weights=st.lists(st.integers(1, 5), min_size=4, max_size=4),
)
def test_weighted_holm_is_the_closed_test_of_weighted_bonferroni(alone: list[float], weights: list[int]) -> None:
    """Holm (1979), section 4: a hypothesis falls where every intersection that holds it does."""
    share = {at: weights[at] / sum(weights[: len(alone)]) for at in range(len(alone))}
    found = _holm(dict(enumerate(alone)), share)
    for at in share:
        sets = [one for size in range(1, len(alone) + 1) for one in itertools.combinations(share, size) if at in one]
        worst = max(min(1.0, min(alone[k] * sum(share[j] for j in one) / share[k] for k in one)) for one in sets)
        assert found[at] == pytest.approx(worst)


@pytest.mark.parametrize(("away", "least"), [(0.07, 18), (0.035, 5)])
def test_a_last_unit_that_lies_apart_is_called_where_its_cavity_was_filled_once_before(away: float, least: int) -> None:
    """Two rounds of twelve cavities that differ: the same cavity was normal in the first round."""
    lot, called = np.random.Generator(np.random.Philox(96)), 0
    for _ in range(20):
        fill = np.tile(0.007 * lot.normal(size=12), 2) + 0.007 * lot.normal(size=24)
        fill[-1] += away
        units = tuple(
            Unit(
                name=str(at + 1),
                pour_order=at + 1,
                mould="A",
                cavity=str(at % 12 + 1),
                mass_g=Decimal(f"{2 * (1 + share):.3f}"),
            )
            for at, share in enumerate(fill.tolist())
        )
        batch = Batch(units=units)
        (test,) = order_tests_of_batch([corrected_masses(mass_series(batch), batch)], rising_contents=False)
        called += test is not None and test.p_value <= 0.05 and [at for at, _ in test.lone] == [23]
    assert called >= least
