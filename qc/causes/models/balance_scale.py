"""The balance showed every mass too high or too low alike: masses are off their plan, contents are not."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np
from msgspec.structs import replace

from qc.causes.background import Background
from qc.causes.evidence import Likelihood
from qc.causes.facts import Facts
from qc.causes.model import CauseModel
from qc.causes.rows import RowKind
from qc.causes.shifts import either_way
from qc.results.messages import Message, message

if TYPE_CHECKING:
    from qc.simulate.pouring import FaultDraw, Pour

ID = "balance-scale"
STEP = 0.0125


def likelihood(background: Background) -> tuple[Likelihood, ...]:
    """All masses of the first weighing off by one factor: shape (1, rows), amplitudes ln(shown over true) [-].

    Units weigh so nearly the same that a constant number of grams cannot be told from a factor. A second weighing and
    base pours stand for another day or another balance.
    """
    weighed = background.rows.of(RowKind.MASS).astype(np.float64)
    offset = background.priors.size(ID, "offset").shifts(sign=1.0, step=STEP)
    return (Likelihood(shifts=(either_way(weighed[None], offset),)),)


def weigh(pour: Pour, draw: FaultDraw) -> Pour:
    """A balance that is off by about 5 % at strength 1 while the units (units,) are weighed [-]."""
    off = draw.about(0.05) * draw.sign()
    story = message("causes.weighed_off", percent=100.0 * off)
    return replace(pour, indicated=pour.indicated + off).with_story(story, physics={"offset_percent": 100.0 * off})


def speak(facts: Facts) -> Iterator[Message]:
    """Whether the mean mass is off its plan while the mean content is not."""
    yield from facts.masses_of_plan() if facts.mean_mass_percent is not None else [message("causes.no_plan")]
    for active in facts.actives:
        yield from active.mean_of_label()


MODEL = CauseModel(id=ID, likelihood=likelihood, speak=speak, weigh=weigh)
