"""Settling inside one unit: toward the tip, nothing lost."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc.simulate.settling import PartsOfUnit, SettingUnit, settle_in_unit


@given(
    particle_um=st.floats(1.0, 300.0),
    density=st.floats(0.6, 3.0),
    minutes=st.floats(0.0, 60.0),
    solids=st.floats(0.0, 0.5),
)
def test_the_active_is_moved_never_lost(particle_um: float, density: float, minutes: float, solids: float) -> None:
    unit = SettingUnit(
        particle_um=particle_um, particle_density_g_cm3=density, minutes_to_set=minutes, solids_fraction=solids
    )
    parts = settle_in_unit(unit)
    assert (parts.tip + parts.middle + parts.end) / 3.0 == pytest.approx(1.0, abs=1e-12)


def test_a_unit_that_sets_at_once_is_even() -> None:
    assert settle_in_unit(SettingUnit(minutes_to_set=0.0)) == PartsOfUnit(tip=1.0, middle=1.0, end=1.0)


def test_everything_settled_lies_in_the_tip() -> None:
    parts = settle_in_unit(SettingUnit(particle_um=500.0, particle_spread=1.0, minutes_to_set=120.0))
    assert (parts.tip, parts.middle, parts.end) == pytest.approx((3.0, 0.0, 0.0))


def test_what_rises_gathers_at_the_end() -> None:
    parts = settle_in_unit(SettingUnit(particle_density_g_cm3=0.7))
    assert parts.end > 1.0 > parts.tip


def test_a_third_cleared_of_one_size_empties_the_end() -> None:
    # One size whose front has fallen by just a third of the length: the end is clear, the tip holds twice its share.
    speed_mm_min = (1400 - 900) * 9.80665 * (40e-6) ** 2 / (18 * 0.060) * 60e3
    unit = SettingUnit(
        particle_um=40.0, particle_spread=1.0, solids_fraction=0.0, length_mm=30.0, minutes_to_set=10.0 / speed_mm_min
    )
    parts = settle_in_unit(unit)
    assert (parts.tip, parts.middle, parts.end) == pytest.approx((2.0, 1.0, 0.0), abs=1e-9)
