"""Units poured together: one value a pour for the tests of order, and what is found told of the units."""

from __future__ import annotations

from decimal import Decimal

import numpy as np
import pytest

from qc.batch import Batch, Unit
from qc.pour.analysis import analyse_pour
from qc.pour.correction import corrected_masses
from qc.pour.multiple_testing import order_tests_of_batch
from qc.pour.series import mass_series
from qc.pour.together import one_value_a_pour, pour_of_each
from qc.results.pour import Trend, TrendFlag
from qc.say.messages import words
from qc.stats.arrays import Floats


def in_pours(masses: Floats, of: int, *, moulds: str = "") -> Batch:
    """Units that were poured so many at a time."""
    units = (
        Unit(
            name=str(at + 1),
            pour_order=at // of + 1,
            mass_g=Decimal(f"{mass:.4f}"),
            mould=moulds[at // of] if moulds else None,
        )
        for at, mass in enumerate(masses.tolist())
    )
    return Batch(units=tuple(units))


def mass_of(batch: Batch) -> Trend:
    return analyse_pour(batch, seed=1).trend.mass


def shared(lot: np.random.Generator, *, pours: int, of: int, own: float) -> Floats:
    """Masses of units that share half a per cent and more with those of their pour [g]."""
    return 2.0 + 0.02 * np.repeat(lot.normal(size=pours), of) + own * lot.normal(size=pours * of)


@pytest.mark.parametrize(("of", "own"), [(2, 0.02), (3, 0.01), (4, 0.002)])
def test_pours_that_differ_without_an_order_are_called_no_more_often_than_single_units(of: int, own: float) -> None:
    lot, called = np.random.Generator(np.random.Philox(91)), {True: 0, False: 0}
    for _ in range(200):
        plain = corrected_masses(mass_series(in_pours(shared(lot, pours=8, of=of, own=own), of)), Batch(units=()))
        for grouped in called:
            (test,) = order_tests_of_batch([one_value_a_pour(plain) if grouped else plain], rising_contents=False)
            called[grouped] += test is not None and test.p_value <= 0.05
    assert called[True] <= 200 * 0.05 + 4 * (200 * 0.05 * 0.95) ** 0.5
    assert called[False] > 200 * 0.12


def test_a_change_through_pours_of_two_is_seen_and_told_of_the_units() -> None:
    lot = np.random.Generator(np.random.Philox(92))
    masses = 2.0 + np.repeat(np.linspace(0.0, 0.12, 12), 2) + 0.01 * lot.normal(size=24)
    found = mass_of(in_pours(masses, 2))
    assert (found.flag, found.n) == (TrendFlag.CLEAR, 24)
    assert [name for name, _ in found.fitted] == [str(at) for at in range(1, 25)]
    heights = [value for _, value in found.fitted]
    assert heights[0] == heights[1] < heights[2] == heights[3]
    assert found.change_low_percent is not None
    assert found.change_high_percent is not None
    assert found.change_low_percent < 100 * 0.12 / 2.06 < found.change_high_percent


def test_a_step_stands_behind_the_last_unit_of_its_pour() -> None:
    lot = np.random.Generator(np.random.Philox(93))
    found = mass_of(in_pours(2.0 + 0.1 * (np.arange(24) >= 15) + 0.005 * lot.normal(size=24), 3))
    assert words(found.shape) == "a step after unit 15"
    assert found.stretch == tuple(str(at) for at in range(16, 25))


def test_a_last_pour_that_lies_apart_has_both_of_its_units_named() -> None:
    lot = np.random.Generator(np.random.Philox(94))
    found = mass_of(in_pours(2.0 + 0.4 * (np.arange(24) >= 22) + 0.01 * lot.normal(size=24), 2))
    assert found.flag is TrendFlag.POSSIBLE
    assert found.stretch == ("23", "24")


def test_two_pours_cannot_be_told_from_what_pours_differ_by() -> None:
    found = mass_of(in_pours(2.0 + 0.1 * (np.arange(24) >= 12) + 0.005 * np.sin(np.arange(24)), 12))
    assert found.flag is TrendFlag.CANNOT_TELL
    assert words(found.sentence) == (
        "Mass: inconclusive. The units measured were poured together in 2 pours; at least 3 are needed to tell a "
        "change from what pours differ by anyway."
    )


def test_units_poured_one_by_one_are_tested_as_they_are() -> None:
    one = corrected_masses(mass_series(in_pours(2.0 + 0.01 * np.sin(np.arange(12)), 1)), Batch(units=()))
    assert one_value_a_pour(one) is one
    nothing = corrected_masses(mass_series(Batch(units=())), Batch(units=()))
    assert one_value_a_pour(nothing) is nothing
    assert pour_of_each(nothing).tolist() == []


def test_pours_of_the_same_cavities_are_alike_and_those_of_one_mould_stay_in_it() -> None:
    masses = 2.0 + 0.01 * np.sin(np.arange(24))
    found = one_value_a_pour(corrected_masses(mass_series(in_pours(masses, 2, moulds="AAAABBBBCCCC")), Batch(units=())))
    assert found.blocks == (0, 0, 0, 0, 1, 1, 1, 1, 2, 2, 2, 2)
    assert found.series.values.tolist() == pytest.approx(masses.reshape(12, 2).mean(axis=1).round(6), abs=1e-4)


def test_a_pour_of_fewer_units_than_the_others_is_drawn_toward_them_and_seen_where_it_is_far_away() -> None:
    masses = np.concatenate([2.0 + 0.001 * np.sin(np.arange(24)), [2.3]])
    found = one_value_a_pour(corrected_masses(mass_series(in_pours(masses, 2)), Batch(units=())))
    assert found.sizes == (2,) * 12 + (1,)
    middle = found.tested.mean()
    assert found.exchangeable[-1] == pytest.approx(middle + (2.3 - middle) / 2**0.5)
    assert found.exchangeable[:-1].tolist() == pytest.approx(found.tested[:-1].tolist())
    trend = mass_of(in_pours(masses, 2))
    assert (trend.flag, trend.stretch) == (TrendFlag.POSSIBLE, ("25",))
    assert trend.apart_percent is not None
    assert trend.apart_percent[0] == pytest.approx(100 * 0.3 / masses.mean(), abs=0.2)


def test_a_last_unit_of_its_own_behind_pours_of_two_is_called_by_chance_no_more_often() -> None:
    lot, called = np.random.Generator(np.random.Philox(95)), 0
    for _ in range(300):
        plain = corrected_masses(mass_series(in_pours(2.0 + 0.02 * lot.normal(size=21), 2)), Batch(units=()))
        (test,) = order_tests_of_batch([one_value_a_pour(plain)], rising_contents=False)
        called += test is not None and test.p_value <= 0.05
    assert called <= 300 * 0.05 + 4 * (300 * 0.05 * 0.95) ** 0.5
