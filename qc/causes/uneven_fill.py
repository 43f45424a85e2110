"""The units are filled or trimmed unevenly: masses scatter, contents follow them, the concentration is steady."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from msgspec.structs import replace

from qc.causes.background import Field
from qc.causes.evidence import Likelihood
from qc.causes.facts import Facts
from qc.causes.model import CauseModel

# What only a lesson needs is loaded by a lesson.
if TYPE_CHECKING:
    from qc.causes.kitchen import Pour, Recipe

ID = "uneven-fill"


def likelihood(field: Field) -> tuple[Likelihood, ...]:
    """Each unit on its own, or a fill that wanders along the pour."""
    priors = field.priors
    spread = priors.size(ID, "spread").quantile(field.strengths(column=1))
    wandering = priors.number(ID, "wandering")
    reach = priors.number(ID, "reach_units")
    return (
        Likelihood(weight=1.0 - wandering, added={"fill": spread**2}),
        Likelihood(weight=wandering, added={f"fill-wandering:{reach:g}": spread**2}),
    )


def spoil(pour: Pour, recipe: Recipe, strength: float, rng: np.random.Generator) -> Pour:
    """Scatter the fill of the units."""
    spread = 0.04 * strength * float(np.exp(0.15 * np.clip(rng.standard_normal(), -2.0, 2.0)))
    scatter = rng.standard_normal(recipe.units)
    if rng.uniform() < 0.25:
        for unit in range(1, recipe.units):
            scatter[unit] = 0.82 * scatter[unit - 1] + np.sqrt(1.0 - 0.82**2) * scatter[unit]
    scatter = (scatter - scatter.mean()) / max(float(scatter.std()), 1e-9)
    spoiled = replace(pour, capacity_g=pour.capacity_g * np.exp(spread * scatter))
    story = f"The cavities were filled and trimmed unevenly: the fill varies by {100 * spread:.1f} % between units."
    return spoiled.with_story(story, physics={"fill_spread_percent": 100.0 * spread})


def speak(facts: Facts) -> tuple[str, ...]:
    """Whether masses scatter and the concentration does not."""
    said = []
    if facts.mass_rsd is not None:
        said.append(f"masses vary by {facts.mass_rsd:.1f} % (RSD; 0.5 to 2 % is usual)")
    for active in facts.actives:
        if (
            active.measure == "concentration"
            and active.concentration_rsd is not None
            and active.content_rsd is not None
        ):
            said.append(
                f"contents of {active.name} vary by {active.content_rsd:.1f} %, its concentration by "
                f"{active.concentration_rsd:.1f} %"
            )
    if facts.cavity_share is not None:
        said.append(f"{100.0 * facts.cavity_share:.0f} % of the variance of the masses lies between cavities")
    return tuple(said)


MODEL = CauseModel(
    id=ID,
    title="uneven filling or trimming",
    does="Masses scatter and contents scatter with them; the concentration is steady.",
    likelihood=likelihood,
    speak=speak,
    spoil=spoil,
)
