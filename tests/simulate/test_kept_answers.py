"""Melts, units and pours as they are drawn, in `kept_answers.json`: our own answers, to see what a change moves.

What confirms the physics stands in the other tests of this room. After a change that is meant,
`python tests/simulate/test_kept_answers.py` writes them anew.
"""

from __future__ import annotations

import functools
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from msgspec.structs import replace

from qc.simulate.melt import Melt, pour_settling_melt
from qc.simulate.pouring import FaultDraw, Ingredient, Recipe, sound_pour, suspended_in, unit_scatter
from qc.simulate.record import as_read, assayed_units, batch_on_record, content_read, cut_units, write_down
from qc.simulate.settling import (
    COARSEST_UM,
    SettingUnit,
    as_coarse,
    hindered_velocity,
    settle_in_unit,
    size_classes,
    stokes_velocity,
)
from tests.shared.kept import differences, kept_in, plain, write_anew

FILE = Path(__file__).parent / "kept_answers.json"
MELT = Melt(particle_um=60.0)
UNIT = SettingUnit(particle_um=60.0)
MELTS: dict[str, dict[str, Any]] = {
    "as it is": {},
    "finer": {"particle_um": 20.0},
    "coarse": {"particle_um": 300.0},
    "of one size": {"particle_spread": 1.0},
    "lighter than the base": {"particle_density_g_cm3": 0.7},
    "stirred": {"stirring": 0.4},
    "stirred every fourth unit": {"stirring": 0.4, "stir_every": 4},
    "stirred wholly": {"stirring": 1.0},
    "scraped": {"scraped": 0.5, "scraping_units": 3},
    "scraped by more units than there are": {"scraped": 1.0, "scraping_units": 50},
    "scraped by none": {"scraped": 0.3, "scraping_units": 0},
    "poured at once": {"pour_minutes": 0.0, "minutes_since_stir": 0.0},
    "stood for long": {"minutes_since_stir": 60.0},
    "much of it solid": {"solids_fraction": 0.45},
    "no excess": {"excess": 0.0},
    "thick and deep": {"viscosity_mpas": 200.0, "depth_mm": 90.0},
}
UNITS: dict[str, dict[str, Any]] = {
    "as it is": {},
    "coarse": {"particle_um": 250.0},
    "lighter than the base": {"particle_density_g_cm3": 0.7},
    "of one size": {"particle_spread": 1.0},
    "much of it solid": {"solids_fraction": 0.5},
}
RECIPES = {
    "usual": Recipe(),
    "two actives": Recipe(
        units=10, moulds=2, cavities=3, assays=4, cut_units=1, base_pours=2,
        ingredients=(Ingredient(name="A", displacement=1.2), Ingredient(name="B", label_mg=80.0, suspended=False)),
    ),
    "one cavity": Recipe(units=5, moulds=1, cavities=1, assays=3, cut_units=2, readability_g=0.01),
    "all assayed": Recipe(units=4, assays=4, cut_units=0, base_pours=0, assay=0.03),
    "dissolved": Recipe(units=6, ingredients=(Ingredient(suspended=False, displacement=0.8),), assays=1, cut_units=1),
}  # fmt: skip


def of_melt(**changes: Any) -> list[Any]:
    melt = replace(MELT, **changes)
    return [melt.speeds(), *(pour_settling_melt(melt, units=units) for units in (1, 2, 7))]


def of_unit(**changes: Any) -> list[Any]:
    unit = replace(UNIT, **changes)
    return [settle_in_unit(unit), unit]


def coarse() -> list[Any]:
    def rise(one: Melt) -> float:
        return float(np.log(pour_settling_melt(one, units=6).relative[[0, -1]]) @ np.array([-1.0, 1.0]))

    wanted = [
        as_coarse(MELT, rise, wanted=one, coarsest_um=COARSEST_UM, tries=8).particle_um for one in (0.05, 0.3, 9.0)
    ]
    tips = [
        as_coarse(UNIT, lambda one: settle_in_unit(one).tip - 1.0, wanted=0.2, coarsest_um=90.0, tries=5).particle_um,
        as_coarse(MELT, rise, wanted=-1.0, coarsest_um=COARSEST_UM, tries=4).particle_um,
    ]
    return [wanted, tips]


def speeds() -> list[Any]:
    return [
        [
            stokes_velocity(diameter * 1e-6, particle_density=density, melt_density=0.9e3, viscosity=0.05)
            for diameter in (1.0, 40.0, 150.0)
            for density in (700.0, 900.0, 1600.0)
        ],
        [float(hindered_velocity(np.array(1e-4), solids_fraction=np.array(share))) for share in (0.0, 0.05, 0.5)],
        [size_classes(50.0, geometric_sd=sd, classes=count) for sd, count in ((1.0, 12), (1.6, 12), (2.2, 5))],
    ]


def poured(recipe: Recipe) -> list[Any]:
    """A sound pour with its record, and what of a recipe is worked out."""
    pour = sound_pour(recipe, np.random.default_rng(3))
    written = write_down(pour, recipe, np.random.default_rng(4))
    batch = batch_on_record(written, pour, recipe)
    draw = FaultDraw(recipe=recipe, strength=1.3, rng=np.random.default_rng(5), physics={"viscosity_mpas": 77.0})
    numbers = [
        recipe.holes,
        recipe.solids_fraction,
        recipe.weighed_mg(),
        recipe.planned_g(),
        recipe.planned_g((2.0,) * len(recipe.ingredients)),
    ]
    return [
        pour, pour.mass_g(recipe), pour.content_mg(recipe), written, batch.cavity_pours, batch.units[-1],
        replace(batch, units=(), assays=(), cavity_pours=()), assayed_units(recipe), cut_units(recipe),
        numbers, [recipe.place(unit) for unit in range(recipe.units)], recipe.particle_density_g_cm3(0.9),
        [draw.about(0.1), draw.sign(), draw.sign(), draw.scatter_along_pour((4,), alike=0.0)],
        draw.scatter_along_pour((2, recipe.units), alike=1.0), suspended_in(MELT, draw), suspended_in(UNIT, draw),
    ]  # fmt: skip


ANSWERS: dict[str, Callable[[], Any]] = {
    **{f"melt: {name}": functools.partial(of_melt, **changes) for name, changes in MELTS.items()},
    **{f"unit: {name}": functools.partial(of_unit, **changes) for name, changes in UNITS.items()},
    **{f"poured: {name}": functools.partial(poured, recipe) for name, recipe in RECIPES.items()},
    "coarse": coarse,
    "speeds": speeds,
}


@pytest.mark.parametrize("name", ANSWERS)
def test_a_kept_answer_has_not_changed(name: str) -> None:
    assert list(differences(plain(ANSWERS[name]()), kept_in(FILE).get(name))) == []


def test_no_answer_is_kept_that_nobody_asks_for() -> None:
    assert list(kept_in(FILE)) == list(ANSWERS)


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"stir_every": 0}, "the melt cannot be stirred every 0 units; give 1 or more, and stirring 0 for never"),
        ({"stirring": 1.01}, "stirring 1.01 is not a share between 0 and 1"),
        ({"scraped": -0.01}, "scraped -0.01 is not a share between 0 and 1"),
        ({"solids_fraction": 1.2}, "solids_fraction 1.2 is not a share between 0 and 1"),
    ],
)
def test_a_melt_that_cannot_be_is_refused(changes: dict[str, Any], said: str) -> None:
    with pytest.raises(ValueError) as refused:
        pour_settling_melt(replace(MELT, **changes), units=3)
    assert str(refused.value) == said
    with pytest.raises(ValueError, match="0 units cannot be poured; pour at least one"):
        pour_settling_melt(MELT, units=0)


@pytest.mark.parametrize("seed", range(8))
def test_neighbours_are_alike_one_time_in_four(seed: int) -> None:
    """A sum of what the unit before had and of news, so that the variance stays; by two of these seeds."""
    draw = FaultDraw(recipe=RECIPES["usual"], strength=1.0, rng=np.random.default_rng(seed))
    found = draw.scatter_along_pour((2, 9), alike=0.9)
    rng = np.random.default_rng(seed)
    expected = rng.standard_normal((2, 9))
    if rng.uniform() < 0.25:
        for unit in range(1, 9):
            expected[:, unit] = 0.9 * expected[:, unit - 1] + 0.19**0.5 * expected[:, unit]
    expected -= expected.mean(axis=1, keepdims=True)
    assert found == pytest.approx(expected / expected.std(axis=1, keepdims=True), rel=1e-9)


def test_scatter_over_units_has_a_mean_of_nothing_and_a_deviation_of_one() -> None:
    found = unit_scatter(np.array([3.0, 5.0, 4.0, 9.0]))
    assert [float(found.mean()), float(found.std())] == pytest.approx([0.0, 1.0])


def test_balance_and_assay_are_read_to_their_last_digit() -> None:
    assert str(as_read(2.00449, step=Decimal("0.001"))) == "2.004"
    assert str(as_read(2.0045, step=Decimal("0.01"))) == "2.00"
    read = {0.012344: "0.01234", 123.456: "123.5", 1234.5: "1234", 98765.4: "98765"}
    assert {found: str(content_read(found)) for found in read} == read


if __name__ == "__main__":
    write_anew(FILE, ANSWERS)
