"""The units are filled or trimmed unevenly: masses scatter, contents follow them, the concentration is steady."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from msgspec.structs import replace

from qc.causes.background import Field
from qc.causes.evidence import Likelihood
from qc.causes.facts import Facts
from qc.causes.model import CauseModel
from qc.results.messages import Message, message
from qc.simulate.fault_sizes import drawn_about, scatter_along_pour

# What only a lesson needs is loaded by a lesson.
if TYPE_CHECKING:
    from qc.simulate.pouring import Pour
    from qc.simulate.recipe import Recipe

ID = "uneven-fill"


def likelihood(field: Field) -> tuple[Likelihood, ...]:
    """Each unit on its own, or a fill that wanders along the pour."""
    priors = field.priors
    spread = priors.size(ID, "spread").quantile(field.strengths(column=1))
    wandering = priors.number(ID, "wandering")
    reach = priors.number(ID, "reach_units")
    return (
        Likelihood(weight=1.0 - wandering, added={"fill": spread**2}),
        Likelihood(weight=wandering, added={f"fill-wandering:{reach}": spread**2}),
    )


def spoil(pour: Pour, recipe: Recipe, strength: float, rng: np.random.Generator) -> Pour:
    """Scatter the fill of the units."""
    spread = drawn_about(0.04, strength=strength, rng=rng)
    scatter = scatter_along_pour((recipe.units,), alike=0.82, rng=rng)
    spoiled = replace(pour, capacity_g=pour.capacity_g * np.exp(spread * scatter))
    story = message("causes.filled_unevenly", percent=100.0 * spread)
    return spoiled.with_story(story, physics={"fill_spread_percent": 100.0 * spread})


def speak(facts: Facts) -> tuple[Message, ...]:
    """Whether masses scatter and the concentration does not."""
    said = facts.masses_scatter()
    for active in facts.actives:
        content_rsd, concentration_rsd = active.content_rsd, active.concentration_rsd
        if active.measure == "concentration" and content_rsd is not None and concentration_rsd is not None:
            said.append(
                message(
                    "causes.contents_and_concentrations",
                    active=active.name,
                    content_rsd=content_rsd,
                    concentration_rsd=concentration_rsd,
                )
            )
    if facts.cavity_share is not None:
        said.append(message("causes.share_between_cavities", percent=100.0 * facts.cavity_share))
    return tuple(said)


MODEL = CauseModel(
    id=ID,
    likelihood=likelihood,
    speak=speak,
    spoil=spoil,
)
