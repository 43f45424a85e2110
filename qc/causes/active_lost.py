"""Some of the active never reached the units: the mean content is low, by the same share in all of them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from msgspec.structs import replace

from qc.causes.background import Field
from qc.causes.evidence import Likelihood, even_shift
from qc.causes.facts import Facts
from qc.causes.model import CauseModel
from qc.causes.quantiles import middles
from qc.results.messages import Message, message
from qc.simulate.fault_sizes import drawn_about

# What only a lesson needs is loaded by a lesson.
if TYPE_CHECKING:
    from qc.simulate.pouring import Pour
    from qc.simulate.recipe import Recipe

ID = "active-lost"
AMPLITUDES = 40


def likelihood(field: Field) -> tuple[Likelihood, ...]:
    """Any one active, or all of them, are short by one share."""
    rows = field.rows
    if not rows.substances:
        return (Likelihood(),)
    shares = [rows.concentration_share(active) for active in range(len(rows.substances))]
    shapes = np.array([*shares, sum(shares, np.zeros(len(rows.rows)))] if len(shares) > 1 else shares)
    lost = field.priors.size(ID, "lost").quantile(middles(AMPLITUDES))
    return (Likelihood(shifts=(even_shift(shapes, np.log1p(-lost)),)),)


def spoil(pour: Pour, recipe: Recipe, strength: float, rng: np.random.Generator) -> Pour:
    """Lose some of the first active before it is mixed in."""
    lost = min(0.9, drawn_about(0.11, strength=strength, rng=rng))
    concentration = pour.concentration.copy()
    concentration[0] *= 1.0 - lost
    first = recipe.ingredients[0]
    grams = lost * recipe.weighed_mg()[0] / 1000.0
    story = message("causes.lost", active=first.name, percent=100.0 * lost, grams=grams)
    return replace(pour, concentration=concentration).with_story(story, physics={"lost_percent": 100.0 * lost})


def speak(facts: Facts) -> tuple[Message, ...]:
    """Whether the mean content is low and level."""
    said: list[Message] = []
    for active in facts.actives:
        if active.mean_percent is None or not active.labelled:
            continue
        said += active.mean_of_label()
        if active.concentration_change is not None:
            said.append(facts.change_of(active.concentration_change, series=active.measure, active=active.name))
        if facts.mean_mass_percent is not None:
            said += facts.masses_of_plan()
            said.append(message("causes.mass_of_loss", percent=active.mass_share * (active.mean_percent - 100.0)))
    return tuple(said) or (message("causes.no_label"),)


MODEL = CauseModel(
    id=ID,
    likelihood=likelihood,
    speak=speak,
    spoil=spoil,
)
