"""The active is not evenly mixed: units differ in concentration, in no order or in streaks."""

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

ID = "poor-mixing"


def likelihood(field: Field) -> tuple[Likelihood, ...]:
    """Lumps: each unit on its own. Streaks: neighbours in the pour are alike."""
    priors = field.priors
    spread = priors.size(ID, "spread").quantile(field.strengths(column=0))
    streaks = priors.number(ID, "streaks")
    reach = priors.number(ID, "reach_units")
    return (
        Likelihood(weight=1.0 - streaks, added={"mixing": spread**2}),
        Likelihood(weight=streaks, added={f"mixing-streaks:{reach}": spread**2}),
    )


def spoil(pour: Pour, recipe: Recipe, strength: float, rng: np.random.Generator) -> Pour:
    """Scatter the concentration of every active."""
    spread = drawn_about(0.08, strength=strength, rng=rng)
    scatter = scatter_along_pour((len(recipe.ingredients), recipe.units), alike=0.67, rng=rng)
    spoiled = replace(pour, concentration=pour.concentration * np.exp(spread * scatter))
    story = message("causes.mixed_unevenly", percent=100.0 * spread)
    return spoiled.with_story(story, physics={"concentration_spread_percent": 100.0 * spread})


def speak(facts: Facts) -> tuple[Message, ...]:
    """Whether concentration scatters without an order."""
    said: list[Message] = []
    for active in facts.actives:
        said += active.scatter()
        if active.concentration_change is not None:
            said.append(facts.change_of(active.concentration_change, series=active.measure, active=active.name))
    said += facts.masses_scatter()
    if not any(active.n for active in facts.actives):
        said.append(message("causes.no_assay_mixing"))
    return tuple(said)


MODEL = CauseModel(
    id=ID,
    likelihood=likelihood,
    speak=speak,
    spoil=spoil,
)
