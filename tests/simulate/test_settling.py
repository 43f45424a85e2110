"""Settling speeds against published exercises, and sizes and viscosity in their limits."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from qc.simulate.settling import hindered_velocity, size_classes, stokes_velocity

VALUES = {
    entry["id"]: entry
    for entry in json.loads((Path(__file__).parents[1] / "reference" / "settling" / "values.json").read_text())
}


def free_speed(inputs: dict[str, Any]) -> float:
    return float(
        stokes_velocity(
            inputs["d"],
            particle_density=inputs["rho_p"],
            melt_density=inputs["rho_f"],
            viscosity=inputs["eta"],
            gravity=inputs["g"],
        )
    )


def test_ash_in_air_sinks_as_the_textbook_prints() -> None:
    entry = VALUES["ash-in-air"]
    assert free_speed(entry["inputs"]) == pytest.approx(entry["expected"]["v"], rel=1e-8)
    assert free_speed(entry["inputs"]) == pytest.approx(entry["expected"]["printed"], rel=0.005)


def test_sand_in_water_in_cgs_units() -> None:
    entry = VALUES["sand-in-water"]
    assert free_speed(entry["inputs"]) == pytest.approx(entry["expected"]["v"], rel=1e-9)


def test_hindered_exercise_gives_the_printed_free_speed_back() -> None:
    entry = VALUES["hindered-exercise"]
    inputs = entry["inputs"]
    slowed = float(hindered_velocity(1.0, solids_fraction=inputs["phi"], exponent=inputs["n"]))
    assert inputs["v_h"] / slowed == pytest.approx(entry["expected"]["printed"], abs=0.05)


def test_glass_beads_at_the_fraction_that_slows_them_tenfold() -> None:
    entry = VALUES["glass-in-glycol"]
    phi, exponent = entry["expected"]["phi"], entry["inputs"]["n"]
    assert float(hindered_velocity(17.0, solids_fraction=phi, exponent=exponent)) == pytest.approx(1.7, rel=1e-6)


@pytest.mark.parametrize("id", [id for id in VALUES if id.startswith("melt-")])
def test_particles_in_a_fat_melt(id: str) -> None:
    entry = VALUES[id]
    inputs, expected = entry["inputs"], entry["expected"]
    speed = free_speed(inputs)
    assert speed == pytest.approx(expected["v_m_per_s"], rel=1e-9)
    slowed = float(hindered_velocity(speed, solids_fraction=inputs["phi"]))
    assert slowed * 60e3 == pytest.approx(expected["v_hindered_mm_per_min"], rel=1e-9)
    if "Re" in expected:
        reynolds = inputs["rho_f"] * abs(speed) * inputs["d"] / inputs["eta"]
        assert reynolds == pytest.approx(expected["Re"], rel=1e-9)


def test_a_particle_lighter_than_the_melt_rises() -> None:
    assert float(stokes_velocity(5e-5, particle_density=800.0, melt_density=900.0, viscosity=0.04)) < 0.0


def test_size_classes_keep_the_median_and_the_mass() -> None:
    sizes, shares = size_classes(40e-6, geometric_sd=1.8, classes=13)
    assert float(sizes[6]) == pytest.approx(40e-6, rel=1e-12)
    assert float(shares.sum()) == pytest.approx(1.0, abs=1e-15)
    assert (np.diff(sizes) > 0).all()


def test_a_spread_below_one_is_refused() -> None:
    with pytest.raises(ValueError, match=r"^a geometric standard deviation of 0\.9 is below 1, the least there is$"):
        size_classes(40e-6, geometric_sd=0.9)
