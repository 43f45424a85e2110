"""Drawn batches: the same seed gives the same batch, active is conserved, each cause does what it says and no more."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from msgspec.structs import replace

from qc.batch import Part
from qc.causes.drawing import Drawn, draw_batch
from qc.causes.model import CAUSE_IDS, TAUGHT, UnknownCause, cause
from qc.say.names import CAUSE, CAUSE_EFFECT
from qc.simulate.pouring import Recipe
from qc.simulate.record import assayed_units, cut_units

Draw = Callable[..., Drawn]


@pytest.mark.parametrize("id", TAUGHT)
def test_the_same_seed_gives_the_same_batch(id: str, draw: Draw) -> None:
    assert draw(id, seed=9).batch == draw(id, seed=9).batch
    assert draw(id, seed=9).batch != draw(id, seed=10).batch


@pytest.mark.parametrize("id", TAUGHT)
def test_the_record_looks_the_same_whatever_went_wrong(id: str, draw: Draw) -> None:
    sound, faulty = draw("sound").batch, draw(id).batch
    assert [(unit.name, unit.pour_order, unit.mould, unit.cavity) for unit in faulty.units] == [
        (unit.name, unit.pour_order, unit.mould, unit.cavity) for unit in sound.units
    ]
    assert [(assay.unit, assay.active, assay.part) for assay in faulty.assays] == [
        (assay.unit, assay.active, assay.part) for assay in sound.assays
    ]
    assert len(faulty.cavity_pours) == len(sound.cavity_pours)
    same = ("number", "product", "dosage_form", "nominal_mass_g", "balance_readability_g", "note")
    assert [getattr(faulty, name) for name in same] == [getattr(sound, name) for name in same]


@pytest.mark.parametrize("id", TAUGHT)
@pytest.mark.parametrize("seed", range(5))
def test_no_more_active_is_poured_than_was_weighed(id: str, seed: int, draw: Draw) -> None:
    drawn = draw(id, seed=seed)
    poured = float(drawn.pour.content_mg(drawn.recipe)[0].sum())
    in_excess = 1.0 + float(drawn.physics.get("excess_percent", 0.0)) / 100.0
    assert poured < drawn.recipe.weighed_mg()[0] * in_excess or id == "wrong-displacement"


def test_settling_raises_the_last_units_and_leaves_some_in_the_dish(draw: Draw) -> None:
    drawn, sound = draw("settling-in-pour"), draw("sound")
    ratio = drawn.pour.concentration[0] / sound.pour.concentration[0]
    assert ratio[-1] > 1.0 > ratio[0]
    assert float(ratio.mean()) < 1.0
    assert drawn.physics["share_left_in_dish"] > 0.05


def test_settling_in_the_unit_leaves_whole_units_alone(draw: Draw) -> None:
    drawn, sound = draw("settling-in-unit"), draw("sound")
    assert np.array_equal(drawn.pour.content_mg(drawn.recipe), sound.pour.content_mg(sound.recipe))
    assert (drawn.pour.parts[:, 0] > drawn.pour.parts[:, 2]).all()


def test_uneven_filling_leaves_the_concentration_alone(draw: Draw) -> None:
    drawn, sound = draw("uneven-fill"), draw("sound")
    assert np.array_equal(drawn.pour.concentration, sound.pour.concentration)
    assert float(drawn.pour.mass_g(drawn.recipe).std()) > 2 * float(sound.pour.mass_g(sound.recipe).std())


def test_a_wrong_displacement_value_moves_mass_and_content_alike(draw: Draw) -> None:
    drawn, sound = draw("wrong-displacement"), draw("sound")
    content = float((drawn.pour.content_mg(drawn.recipe) / sound.pour.content_mg(sound.recipe)).mean())
    plan = drawn.recipe.planned_g(drawn.pour.used_displacements)
    mass = float(drawn.pour.mass_g(drawn.recipe).mean()) / plan
    sound_mass = float(sound.pour.mass_g(sound.recipe).mean()) / sound.recipe.planned_g()
    assert abs(content - 1.0) > 0.03
    assert mass / sound_mass == pytest.approx(content, rel=0.01)


def test_a_drifting_balance_leaves_the_units_alone(draw: Draw) -> None:
    drawn, sound = draw("balance-drift"), draw("sound")
    assert np.array_equal(drawn.pour.mass_g(drawn.recipe), sound.pour.mass_g(sound.recipe))
    assert drawn.written.assays == sound.written.assays
    assert drawn.written.masses_g != sound.written.masses_g


def test_a_slip_changes_one_number(draw: Draw) -> None:
    drawn, sound = draw("slip-of-pen"), draw("sound")
    masses = sum(one != two for one, two in zip(drawn.written.masses_g, sound.written.masses_g, strict=True))
    assays = sum(one != two for one, two in zip(drawn.written.assays, sound.written.assays, strict=True))
    assert masses + assays == 1


def test_strength_makes_it_stronger(draw: Draw) -> None:
    weak, strong = draw("settling-in-pour", strength=0.5), draw("settling-in-pour", strength=2.0)
    assert float(np.ptp(strong.pour.concentration[0])) > 2 * float(np.ptp(weak.pour.concentration[0]))


def test_a_cut_unit_is_not_assayed_whole(recipe: Recipe) -> None:
    assert not set(cut_units(recipe)) & set(assayed_units(recipe))
    assert {0, recipe.units - 1} <= set(assayed_units(recipe))
    assert cut_units(replace(recipe, cut_units=0)) == ()


def test_parts_of_a_unit_add_up_to_the_unit(draw: Draw) -> None:
    drawn = draw("settling-in-unit")
    cut = cut_units(drawn.recipe)
    assert cut
    for unit in cut:
        parts = [assay for assay in drawn.written.assays if assay.unit == unit and assay.part is not Part.WHOLE]
        assert len(parts) >= 2
        masses = sum(float(assay.part_mass_g or 0) for assay in parts)
        assert masses == pytest.approx(float(drawn.pour.mass_g(drawn.recipe)[unit]), abs=0.003)


def test_an_unknown_cause_names_the_nearest() -> None:
    with pytest.raises(UnknownCause) as refusal:
        cause("poor-mixng")
    assert str(refusal.value) == (
        '"poor-mixng" is not a known cause. Did you mean poor-mixing? Known are: sound, settling-in-pour, '
        "settling-in-unit, poor-mixing, uneven-fill, cavity-differences, wrong-displacement, active-lost, "
        "active-excess, assay-bias, balance-drift, balance-scale, leaking-mould, melt-thickening, slip-of-pen, "
        "something-else."
    )


def test_every_cause_has_a_name_and_an_effect_in_words() -> None:
    assert list(CAUSE) == list(CAUSE_EFFECT) == list(CAUSE_IDS)
    assert all(effect.endswith(".") for effect in CAUSE_EFFECT.values())


def test_two_causes_at_once_do_both() -> None:
    drawn = draw_batch(["active-lost", "slip-of-pen"], recipe=Recipe(), seed=3)
    assert [one.id for one in drawn.story] == ["causes.lost", "causes.miswritten"]


def test_two_causes_of_one_pour_are_both_told() -> None:
    drawn = draw_batch(["active-lost", "uneven-fill"], recipe=Recipe(), seed=3)
    assert [one.id for one in drawn.story] == ["causes.lost", "causes.filled_unevenly"]
    assert set(drawn.physics) == {"lost_percent", "fill_spread_percent"}
