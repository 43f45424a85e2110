"""The melt thickened while it was poured: cavities fill less and less, contents with masses, evenly concentrated."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np
from msgspec.structs import replace

from qc.causes.background import Background
from qc.causes.evidence import Likelihood
from qc.causes.facts import Facts
from qc.causes.model import CauseModel
from qc.causes.shifts import even_shift
from qc.results.messages import Message, message

if TYPE_CHECKING:
    from qc.simulate.pouring import FaultDraw, Pour

ID = "melt-thickening"
STEP = 0.0125
# The fill follows a power of the place in the pour: it falls early, evenly, or late.
POWERS = (0.6, 1.0, 1.6, 2.5)


def likelihood(background: Background) -> tuple[Likelihood, ...]:
    """Volumes that fall along the pour: shapes (powers, rows), amplitudes ln(last over first) [-].

    Without an order of pouring, units whose fill differs unseen.
    """
    rows = background.rows
    if not rows.ordered:
        # A straight fall of 1 has a standard deviation of 1 over the root of 12.
        return (Likelihood(added={"fill": background.spreads(ID, "fall", column=1) ** 2 / 12.0}),)
    shapes = np.array([rows.position**power for power in POWERS]) * background.volumes
    logs, weights = background.priors.size(ID, "fall").shifts(sign=-1.0, step=STEP)
    return (Likelihood(shifts=(even_shift(shapes, logs, weights=weights),)),)


def spoil(pour: Pour, draw: FaultDraw) -> Pour:
    """Fill each unit (units,) less than the one before, the last by about 9 % at strength 1 [g]."""
    fall = min(0.9, draw.about(0.09))
    place = np.linspace(0.0, 1.0, pour.capacity_g.size) ** draw.rng.uniform(0.8, 2.0)
    story = message("causes.thickened", percent=100.0 * fall)
    spoiled = replace(pour, capacity_g=pour.capacity_g * (1.0 - fall * place))
    return spoiled.with_story(story, physics={"fall_percent": 100.0 * fall})


def speak(facts: Facts) -> Iterator[Message]:
    """Whether masses fall along the pour, and contents with them."""
    if not facts.rows.ordered:
        yield message("causes.no_order")
        return
    if facts.mass_change is not None:
        yield facts.change_of(facts.mass_change)
    for active in facts.actives:
        if active.content_change is not None:
            yield facts.change_of(active.content_change, series="content", active=active.name)
        yield from facts.concentration_change_of(active)


MODEL = CauseModel(id=ID, likelihood=likelihood, speak=speak, spoil=spoil)
