"""The base was calculated with a wrong displacement value: mean mass and mean content are off the plan together."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from msgspec.structs import replace

from qc.causes.background import Field
from qc.causes.evidence import Likelihood, even_shift
from qc.causes.facts import Facts
from qc.causes.model import CauseModel
from qc.causes.quantiles import middles
from qc.causes.rows import Floats, Kind
from qc.results.messages import Message, message
from qc.simulate.fault_sizes import drawn_about

# What only a lesson needs is loaded by a lesson.
if TYPE_CHECKING:
    from qc.simulate.pouring import Pour
    from qc.simulate.recipe import Recipe

ID = "wrong-displacement"
# An active that moves the mass by less than this share of it is said to hardly show there [-].
LITTLE_SHARE = 0.02
AMPLITUDES = 32


def likelihood(field: Field) -> tuple[Likelihood, ...]:
    """Base for the wrong volume: mass and content off alike. Or topped up to the mark: mass off, content right."""
    rows, priors = field.rows, field.priors
    changes = log_volume_changes(field)
    if not changes.size:
        return (Likelihood(),)
    contents = rows.of(Kind.CONTENT) | rows.of(Kind.PART)
    # Parts are compared by concentration, which a wrong volume leaves as it was planned.
    both = field.volumes.astype(np.float64)
    mass_only = field.masses.astype(np.float64)
    topped_up = priors.number(ID, "topped_up") if contents.any() else 0.0
    # A unit of the true volume, topped up to the mark, is as much heavier than planned as the other is lighter.
    shapes = np.array([both, mass_only]) if topped_up else np.array([both])
    weights = np.array([1.0 - topped_up, topped_up]) if topped_up else np.array([1.0])
    return (Likelihood(shifts=(even_shift(shapes, changes, shape_weights=weights),)),)


def log_volume_changes(field: Field) -> Floats:
    """ln(planned volume over true volume) for the displacement values that may have been the true ones."""
    ratio = field.priors.size(ID, "ratio").quantile(middles(AMPLITUDES))
    inverted = field.priors.number(ID, "inverted")
    changes: list[float] = []
    for substance in field.rows.substances:
        if substance.label_mg is None:
            continue
        used = substance.displacement
        true = np.concatenate([used / ratio, used * ratio])
        copies = max(1, round(inverted / (1.0 - inverted) * true.size))
        true = np.concatenate([true, np.full(copies, 1.0 / used)])
        swelling = substance.loading * (1.0 / true - 1.0 / used)
        changes.extend((-np.log1p(np.maximum(swelling, -0.6))).tolist())
    return np.array(changes)


def spoil(pour: Pour, recipe: Recipe, strength: float, rng: np.random.Generator) -> Pour:
    """Calculate the base with another displacement value than the true one of the first active."""
    first = recipe.ingredients[0]
    used = used_displacement(recipe, strength=strength, rng=rng)
    swelling = first.label_mg / 1000.0 / recipe.base_g * (1.0 / first.displacement - 1.0 / used)
    factor = 1.0 / (1.0 + swelling)
    spoiled = replace(
        pour,
        concentration=pour.concentration * factor,
        used_displacements=(used, *pour.used_displacements[1:]),
    )
    story = message("causes.displaced_wrongly", used=used, true=first.displacement, percent=100.0 * (factor - 1.0))
    return spoiled.with_story(story, physics={"used_displacement": used, "true_displacement": first.displacement})


def used_displacement(recipe: Recipe, *, strength: float, rng: np.random.Generator) -> float:
    """A wrong value that moves the volume by about 7 % at strength 1, as far as that dose can."""
    first = recipe.ingredients[0]
    loading = first.label_mg / 1000.0 / recipe.base_g
    wanted = drawn_about(0.07, strength=strength, rng=rng)
    sign = 1.0 if rng.uniform() < 0.5 else -1.0
    for direction in (sign, -sign):
        inverse = 1.0 / first.displacement + direction * wanted / loading
        if 1.0 / 5.0 <= inverse <= 1.0 / 0.5:
            return round(1.0 / inverse, 2)
    return round(1.0 / first.displacement, 2)


def speak(facts: Facts) -> tuple[Message, ...]:
    """Whether mean mass and mean content are off their plan together."""
    said = facts.masses_of_plan() or [message("causes.no_plan")]
    for active in facts.actives:
        said += active.mean_of_label()
        if active.mean_concentration_percent is not None:
            percent = active.mean_concentration_percent
            said.append(message("causes.mean_concentration", active=active.name, percent=percent))
        if active.displacement_stated and abs(active.mass_share) < LITTLE_SHARE:
            said.append(
                message(
                    "causes.little_moved",
                    active=active.name,
                    displacement=active.displacement,
                    percent=100.0 * active.mass_share,
                )
            )
    if facts.base_mean_percent is not None:
        said.append(message("causes.base_pours", percent=facts.base_mean_percent))
    return tuple(said)


MODEL = CauseModel(
    id=ID,
    likelihood=likelihood,
    speak=speak,
    spoil=spoil,
)
