"""The balance drifted while the units were weighed: masses wander smoothly, contents do not follow."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

import numpy as np
from msgspec.structs import replace

from qc.causes.background import Background
from qc.causes.evidence import Likelihood
from qc.causes.facts import Facts
from qc.causes.model import CauseModel
from qc.causes.rows import Flags, Floats, RowKind
from qc.causes.shifts import Shift, even_shift, steps
from qc.results.messages import Message, message

if TYPE_CHECKING:
    from qc.simulate.pouring import FaultDraw, Pour

Shape = Callable[[Floats], Floats]

ID = "balance-drift"
AMPLITUDES = 20

# Less to and fro than this is what masses do anyway.
LEAST_WANDERING = 0.012


# Straight, settling down, growing.
SMOOTH: tuple[Shape, ...] = (
    lambda place: place,
    lambda place: (1.0 - np.exp(-place / 0.25)) / (1.0 - np.exp(-4.0)),
    np.square,
)
# Each smooth one, there and back, and all jumps: it was levelled, or set to zero, somewhere in the weighing.
SHARE_SMOOTH, SHARE_BACK, SHARE_JUMPS = 0.2, 0.1, 0.3


def likelihood(background: Background) -> tuple[Likelihood, ...]:
    """A drift along the order of weighing: straight, settling down, growing, a jump, there and back; or to and fro.

    With neither order a drift looks like a sound batch.
    """
    rows, priors = background.rows, background.priors
    if not (rows.weighed_in_order or rows.ordered):
        return (Likelihood(),)
    shift = along_the_weighing(background, rows.of(RowKind.MASS))
    wandering, reach = priors.number(ID, "wandering"), priors.number(ID, "reach_units")
    # To and fro: half of what a drift of that size covers.
    spread = np.maximum(0.5 * background.spreads(ID, "drift", column=1), LEAST_WANDERING)
    return (
        Likelihood(weight=1.0 - wandering, shifts=(shift,)),
        Likelihood(weight=wandering, added={f"weighing-wandering:{reach}": spread**2}),
    )


def along_the_weighing(background: Background, moved: Flags) -> Shift:
    """Masses that change along the order of weighing, of the rows that are moved.

    Units whose weighing order is not on record were weighed as they were poured. Shapes (shapes, rows): the change of
    ln(mass) for one of 1 from the first weighing to the last [-].
    """
    rows, size = background.rows, background.priors.size(ID, "drift").equally_likely(AMPLITUDES)
    in_order = rows.weighed_in_order
    place = rows.weighing if in_order else rows.position
    jumps = steps(place, units=rows.weighed_at if in_order else rows.places)
    shapes = np.vstack([*(shape(place) for shape in SMOOTH), np.sin(np.pi * place), jumps]) * moved
    shares = np.array([SHARE_SMOOTH] * len(SMOOTH) + [SHARE_BACK] + [SHARE_JUMPS / len(jumps)] * len(jumps))
    return even_shift(shapes, np.concatenate([size, -size]), shape_weights=shares)


def weigh(pour: Pour, draw: FaultDraw) -> Pour:
    """A balance that drifts by about 5 % at strength 1 while the units (units,) are weighed [-]."""
    total = draw.about(0.05) * draw.sign()
    shape = SMOOTH[int(draw.rng.integers(len(SMOOTH)))]
    indicated = pour.indicated + total * shape(np.linspace(0.0, 1.0, pour.indicated.size))
    story = message("causes.drifted", percent=100.0 * total)
    return replace(pour, indicated=indicated).with_story(story, physics={"drift_percent": 100.0 * total})


def speak(facts: Facts) -> Iterator[Message]:
    """Whether masses change smoothly while contents do not follow."""
    if not (facts.rows.ordered or facts.rows.weighed_in_order):
        yield message("causes.no_order_at_all")
        return
    change = facts.weighing_change or facts.mass_change
    if change is None:
        yield message("causes.too_few_masses")
        return
    yield facts.change_of(change)
    for active in facts.actives:
        if active.content_change is not None:
            yield facts.change_of(active.content_change, series="content", active=active.name)


MODEL = CauseModel(id=ID, likelihood=likelihood, speak=speak, weigh=weigh)
