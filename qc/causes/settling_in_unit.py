"""The active settles inside each unit before it sets: the tip is rich, the end poor, the whole unit as it should be."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from msgspec.structs import asdict, replace

from qc.batch import Part
from qc.causes.background import Field
from qc.causes.evidence import Likelihood, two_way_shift
from qc.causes.facts import Facts
from qc.causes.model import CauseModel
from qc.causes.quantiles import middles
from qc.causes.rows import Kind
from qc.results.messages import Message, message
from qc.simulate.fault_sizes import coarseness, drawn_about, solids_of

# What only a lesson needs is loaded by a lesson.
if TYPE_CHECKING:
    from qc.simulate.pouring import Pour
    from qc.simulate.recipe import Recipe
    from qc.simulate.settling_unit import PartsOfUnit, SettingUnit

ID = "settling-in-unit"
AMPLITUDES = 40
SPEEDS_TRIED = 30

# Logarithm of the concentration of tip, middle and end for ln(tip / end) = 1: evenly graded, gathered in the tip, and
# cleared at the end.
GRADES = ((0.5, 0.0, -0.5), (0.62, -0.15, -0.38), (0.38, 0.05, -0.62))


def likelihood(field: Field) -> tuple[Likelihood, ...]:
    """Tip against end; without assays of parts there is nothing to see."""
    rows, priors = field.rows, field.priors
    parts = rows.of(Kind.PART)
    settles = np.array([active >= 0 and rows.substances[active].suspended for active in rows.active])
    if not (parts & settles).any():
        return (Likelihood(),)
    names = np.array([row.part.value for row in rows.rows])
    shapes = []
    for tip, middle, end in GRADES:
        shape = np.select([names == Part.TIP, names == Part.MIDDLE, names == Part.END], [tip, middle, end], 0.0)
        shapes.append(shape * (parts & settles))
    rises = priors.size(ID, "rise").quantile(middles(AMPLITUDES))
    shift = two_way_shift(np.array(shapes), rises, falling=priors.number(ID, "falling"))
    return (Likelihood(shifts=(shift,)),)


def spoil(pour: Pour, recipe: Recipe, strength: float, rng: np.random.Generator) -> Pour:
    """Let every unit settle before it sets."""
    unit, parts = unit_that_settles(recipe, strength=strength, rng=rng)
    relative = np.array([parts.tip, parts.middle, parts.end])
    spoiled = replace(pour, parts=pour.parts * relative[None, :])
    story = message(
        "causes.settled_in_unit",
        set_min=unit.minutes_to_set,
        particle_um=unit.particle_um,
        tip_percent=100.0 * parts.tip,
        end_percent=100.0 * parts.end,
    )
    physics: dict[str, float | str] = {**asdict(unit), "tip": parts.tip, "middle": parts.middle, "end": parts.end}
    return spoiled.with_story(story, physics=physics)


def unit_that_settles(recipe: Recipe, *, strength: float, rng: np.random.Generator) -> tuple[SettingUnit, PartsOfUnit]:
    """A unit whose particles are as coarse as the strength asks: ln(tip / end) of about 0.28 at strength 1."""
    from qc.simulate.settling_unit import SettingUnit, settle_in_unit

    wanted = drawn_about(0.28, strength=strength, rng=rng)
    unit = SettingUnit(
        particle_spread=float(rng.uniform(1.3, 1.9)),
        particle_density_g_cm3=float(rng.uniform(1.25, 1.7)),
        viscosity_mpas=float(rng.uniform(45.0, 100.0)),
        length_mm=float(rng.uniform(22.0, 34.0)),
        minutes_to_set=float(rng.uniform(2.0, 7.0)),
        solids_fraction=solids_of(recipe),
    )

    def grading(particle_um: float) -> float:
        parts = settle_in_unit(replace(unit, particle_um=particle_um))
        return float(np.log(parts.tip / max(parts.end, 1e-3)))

    size_um = coarseness(grading, wanted=wanted, coarsest_um=200.0, tries=SPEEDS_TRIED)
    chosen = replace(unit, particle_um=size_um)
    return chosen, settle_in_unit(chosen)


def speak(facts: Facts) -> tuple[Message, ...]:
    """Whether the tip is richer than the end."""
    said = [
        message("causes.tip_end", active=active.name, ratio=active.tip_end, n=active.cut_units)
        for active in facts.actives
        if active.tip_end is not None
    ]
    return tuple(said) or (message("causes.not_cut"),)


MODEL = CauseModel(
    id=ID,
    likelihood=likelihood,
    speak=speak,
    spoil=spoil,
)
