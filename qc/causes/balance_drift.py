"""The balance drifted while the units were weighed: masses wander smoothly, contents do not follow."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np

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
    from qc.simulate.recipe import Recipe
    from qc.simulate.record import Balance

Shape = Callable[[Floats], Floats]

ID = "balance-drift"
AMPLITUDES = 30

# Less to and fro than this is what masses do anyway.
LEAST_WANDERING = 0.012


# Straight, settling down, growing.
SMOOTH: tuple[Shape, ...] = (
    lambda place: place,
    lambda place: (1.0 - np.exp(-place / 0.25)) / (1.0 - np.exp(-4.0)),
    np.square,
)
# Smooth ones are twice as likely as a jump, or there and back.
SHAPES: tuple[Shape, ...] = (
    *SMOOTH,
    *SMOOTH,
    lambda place: (place > 0.3).astype(np.float64),
    lambda place: (place > 0.5).astype(np.float64),
    lambda place: (place > 0.7).astype(np.float64),
    lambda place: np.sin(np.pi * place),
)


def likelihood(field: Field) -> tuple[Likelihood, ...]:
    """A drift along the order of weighing: straight, settling down, growing, a jump, there and back."""
    rows = field.rows
    weighed = rows.of(Kind.MASS).astype(np.float64)
    size = field.priors.size(ID, "drift").quantile(middles(AMPLITUDES))
    places = [rows.weighing]
    if rows.ordered and not np.allclose(rows.weighing, rows.position):
        places.append(rows.position)
    shapes = np.array([shape(place) * weighed for place in places for shape in SHAPES])
    wandering = field.priors.number(ID, "wandering")
    reach = field.priors.number(ID, "reach_units")
    # To and fro: half of what a drift of that size covers.
    spread = np.maximum(0.5 * field.priors.size(ID, "drift").quantile(field.strengths(column=1)), LEAST_WANDERING)
    return (
        Likelihood(weight=1.0 - wandering, shifts=(even_shift(shapes, np.concatenate([size, -size])),)),
        Likelihood(weight=wandering, added={f"weighing-wandering:{reach}": spread**2}),
    )


def balance(recipe: Recipe, strength: float, rng: np.random.Generator) -> Balance:
    """A balance that drifts by about 5 % at strength 1 while the units are weighed."""
    total = drawn_about(0.05, strength=strength, rng=rng)
    total *= 1.0 if rng.uniform() < 0.5 else -1.0
    shape = SMOOTH[int(rng.integers(len(SMOOTH)))]
    from qc.simulate.record import Balance

    return Balance(
        indicated=1.0 + total * shape(np.linspace(0.0, 1.0, recipe.units)),
        story=(message("causes.drifted", percent=100.0 * total),),
        physics={"drift_percent": 100.0 * total},
    )


def speak(facts: Facts) -> tuple[Message, ...]:
    """Whether masses change smoothly while contents do not follow."""
    if facts.mass_change is None:
        return (message("causes.too_few_masses"),)
    return (
        facts.change_of(facts.mass_change),
        *(
            facts.change_of(active.content_change, series="content", active=active.name)
            for active in facts.actives
            if active.content_change is not None
        ),
    )


MODEL = CauseModel(
    id=ID,
    likelihood=likelihood,
    speak=speak,
    balance=balance,
)
