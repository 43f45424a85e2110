"""Some of the active never reached the units: the mean content is low, by the same share in all of them."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np
from msgspec.structs import replace

from qc.causes.background import Background
from qc.causes.evidence import Likelihood, even_shift
from qc.causes.facts import Facts
from qc.causes.model import CauseModel
from qc.results.messages import Message, message

if TYPE_CHECKING:
    from qc.simulate.pouring import FaultDraw, Pour

ID = "active-lost"
AMPLITUDES = 40


def likelihood(background: Background) -> tuple[Likelihood, ...]:
    """Any one active, or all of them, are short by one share: shapes (actives + 1, rows), amplitudes ln(1 - lost)."""
    shares = [background.rows.concentration_share(active) for active in range(len(background.rows.substances))]
    if not shares:
        return (Likelihood(),)
    shapes = np.array([*shares, np.sum(shares, axis=0)] if len(shares) > 1 else shares)
    lost = background.priors.size(ID, "lost").equally_likely(AMPLITUDES)
    return (Likelihood(shifts=(even_shift(shapes, np.log1p(-lost)),)),)


def spoil(pour: Pour, draw: FaultDraw) -> Pour:
    """Lose some of the first active before it is mixed in, about 11 % at strength 1: its concentration (units,) [-]."""
    lost = min(0.9, draw.about(0.11))
    concentration = pour.concentration.copy()
    concentration[0] *= 1.0 - lost
    grams = lost * draw.recipe.weighed_mg()[0] / 1000.0
    story = message("causes.lost", active=draw.recipe.ingredients[0].name, percent=100.0 * lost, grams=grams)
    return replace(pour, concentration=concentration).with_story(story, physics={"lost_percent": 100.0 * lost})


def speak(facts: Facts) -> Iterator[Message]:
    """Whether the mean content is low and level."""
    labelled = [active for active in facts.actives if active.substance.label_mg is not None]
    compared = [(active, active.mean_percent) for active in labelled if active.mean_percent is not None]
    for active, mean_percent in compared:
        yield from active.mean_of_label()
        yield from facts.concentration_change_of(active)
        if facts.mean_mass_percent is not None:
            yield from facts.masses_of_plan()
            yield message("causes.mass_of_loss", percent=active.substance.mass_share * (mean_percent - 100.0))
    if not compared:
        yield message("causes.no_label")


MODEL = CauseModel(id=ID, likelihood=likelihood, speak=speak, spoil=spoil)
