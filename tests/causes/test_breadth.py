"""A cause is known in more than one layout, and what is on no list has its share where a listed one looks the same."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal

import numpy as np
import pytest
from msgspec.structs import replace

from qc.batch import Assay, Batch, Part
from qc.causes.background import Background
from qc.causes.drawing import Drawn
from qc.causes.model import CAUSE_IDS, SOMETHING_ELSE, cause
from qc.causes.priors import builtin_priors
from qc.causes.rows import Floats, rows_of
from qc.causes.weigh import weigh_causes
from qc.results import SOUND, named_together
from qc.say.messages import all_words
from qc.simulate.pouring import Recipe

Draw = Callable[..., Drawn]


def first(batch: Batch) -> tuple[str, ...]:
    return named_together(weigh_causes(batch).causes)[0].ids


def times(value: Decimal | None, factor: float) -> Decimal:
    assert value is not None
    return (value * Decimal(factor)).quantize(value)


def by_unit(batch: Batch, *, masses: Floats, contents: Floats) -> Batch:
    """Masses and contents by a factor a unit."""
    at = {unit.name: place for place, unit in enumerate(batch.units)}
    units = [replace(unit, mass_g=times(unit.mass_g, masses[at[unit.name]])) for unit in batch.units]
    assays = [replace(one, content_mg=times(one.content_mg, contents[at[one.unit]])) for one in batch.assays]
    return replace(batch, units=tuple(units), assays=tuple(assays))


def from_unit(batch: Batch, after: float, *, masses: float, contents: float) -> Batch:
    """The units poured after a share of the pour, their masses and contents by a factor."""
    late = np.arange(len(batch.units)) / len(batch.units) > after
    return by_unit(batch, masses=np.where(late, masses, 1.0), contents=np.where(late, contents, 1.0))


@pytest.mark.parametrize("after", [0.2, 0.42, 0.6, 0.83])
def test_a_jump_of_the_balance_is_known_wherever_it_is(draw: Draw, after: float) -> None:
    whole = draw("sound").batch
    assert "balance-drift" in first(from_unit(whole, after, masses=1.05, contents=1.0))


@pytest.mark.parametrize("after", [0.2, 0.42, 0.6, 0.83])
def test_a_fill_of_another_height_from_some_unit_on_is_no_drift_of_the_balance(draw: Draw, after: float) -> None:
    whole = draw("sound").batch
    named = first(from_unit(whole, after, masses=1.05, contents=1.05))
    assert "uneven-fill" in named
    assert "balance-drift" not in named


def test_lumps_that_lie_within_a_unit_are_poor_mixing(draw: Draw) -> None:
    mixed = draw("poor-mixing").batch
    rng = np.random.default_rng(3)
    parts = [
        replace(one, content_mg=times(one.content_mg, 1.0 + 0.05 * rng.standard_normal()))
        if one.part is not Part.WHOLE
        else one
        for one in mixed.assays
    ]
    assert any(one.part is not Part.WHOLE for one in parts)
    assert "poor-mixing" in first(replace(mixed, assays=tuple(parts)))


def test_what_two_analysts_read_apart_is_not_poor_mixing_alone(draw: Draw) -> None:
    """Every other assay 8 % higher: the masses say nothing against either."""
    whole = draw("sound").batch

    def apart(at: int, one: Assay) -> Assay:
        return replace(one, content_mg=times(one.content_mg, 1.08)) if at % 2 else one

    read = replace(whole, assays=tuple(apart(at, one) for at, one in enumerate(whole.assays)))
    chances = {one.cause: one.probability for one in weigh_causes(read).causes}
    assert chances["poor-mixing"] < 0.95
    assert chances["poor-mixing"] + chances[SOMETHING_ELSE] > 0.8


def test_neighbours_that_are_filled_alike_are_no_fault(draw: Draw) -> None:
    """A spread of 1.5 % that wanders: correlation of neighbours 0.8."""
    whole = draw("sound").batch
    wandering = np.random.default_rng(0).standard_normal(len(whole.units))
    for unit in range(1, len(wandering)):
        wandering[unit] = 0.8 * wandering[unit - 1] + 0.6 * wandering[unit]
    fill = np.exp(0.015 * wandering)
    assert first(by_unit(whole, masses=fill, contents=fill)) == (SOUND,)


def test_first_units_that_alone_are_poor_are_not_settling(draw: Draw) -> None:
    whole = draw("sound").batch
    poor = 1.0 - 0.4 * np.exp(-np.arange(len(whole.units)) / 2.0)
    assert first(by_unit(whole, masses=np.ones(len(poor)), contents=poor)) == (SOMETHING_ELSE,)


PLACE = np.arange(24) / 23.0
TIPS = 1.0 - 0.07 * (PLACE > 0.5) * (np.arange(24) % 3 > 0)


@pytest.mark.parametrize(
    ("form", "masses", "contents", "blamed"),
    [
        ("masses that change along the weighing while contents do not", 1.0 + 0.05 * PLACE**0.5, 1.0, "balance-drift"),
        ("moulds that hold another volume than they are said to", 1.06, 1.06, "wrong-displacement"),
        ("units of one mould or cavity that are short", TIPS, TIPS, "leaking-mould"),
        ("volumes that change along the pour", 0.95 + 0.1 * PLACE, 0.95 + 0.1 * PLACE, "balance-drift"),
        ("first units rich or poor by themselves", 1.0, 1.0 - 0.4 * np.exp(-np.arange(24) / 2.0), "settling-in-pour"),
        (
            "one or two numbers or units off by themselves",
            1.0,
            1.0 - 0.23 * np.isin(PLACE, PLACE[[4, 15]]),
            "slip-of-pen",
        ),
    ],
)
def test_what_has_the_shape_of_a_listed_cause_and_another_reason_has_a_share(
    draw: Draw, recipe: Recipe, form: str, masses: Floats | float, contents: Floats | float, blamed: str
) -> None:
    whole = draw("sound", recipe=replace(recipe, units=24, moulds=2, cavities=12, assays=24, base_pours=0)).batch
    causes = weigh_causes(by_unit(whole, masses=masses * np.ones(24), contents=contents * np.ones(24))).causes
    found = {one.cause: one for one in causes}
    assert found[blamed].probability < 0.9
    assert found[SOMETHING_ELSE].probability > 0.1
    assert f"(nearest: {form})" in " ".join(all_words(found[SOMETHING_ELSE].evidence))


@pytest.mark.parametrize("size", [0.94, 1.06])
def test_a_mould_of_another_size_than_the_one_calibrated_is_among_the_differences_of_cavities(
    draw: Draw, recipe: Recipe, size: float
) -> None:
    whole = draw("sound", recipe=replace(recipe, moulds=4, cavities=6)).batch
    other = np.array([size if unit.mould == "2" else 1.0 for unit in whole.units])
    assert whole.cavity_pours
    assert "cavity-differences" in first(by_unit(whole, masses=other, contents=other))


@pytest.mark.parametrize("id", CAUSE_IDS)
def test_the_ways_of_a_cause_share_one_probability(draw: Draw, id: str) -> None:
    background = Background(rows=rows_of(draw("poor-mixing").batch), priors=builtin_priors())
    assert sum(way.weight for way in cause(id).likelihood(background)) == pytest.approx(1.0, abs=1e-9)
