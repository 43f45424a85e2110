"""A cause in one file, as a new one would be added: the mould is cold at the first unit, which comes out heavy."""

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


def likelihood(background: Background) -> tuple[Likelihood, ...]:
    """The first unit holds 8 to 20 % more than the others: shape (1, rows)."""
    first = background.volumes & (background.rows.position == 0.0)
    return (Likelihood(shifts=(even_shift(first[None].astype(np.float64), np.log(np.linspace(1.08, 1.20, 16))),)),)


def spoil(pour: Pour, draw: FaultDraw) -> Pour:
    """Fill the first unit too well, by about 12 % at strength 1 [g]."""
    more = draw.about(0.12)
    capacity = pour.capacity_g * np.where(np.arange(pour.capacity_g.size) == 0, 1.0 + more, 1.0)
    story = message("causes.nothing_went_wrong")
    return replace(pour, capacity_g=capacity).with_story(story, physics={"more_percent": 100.0 * more})


def speak(facts: Facts) -> Iterator[Message]:
    """The scatter of the masses."""
    yield from facts.masses_scatter()


MODEL = CauseModel(id="chilled-mould", likelihood=likelihood, speak=speak, spoil=spoil)
