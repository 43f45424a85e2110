"""Every assay of an active is off by one factor: the method reads high or low, or the label claim is another's."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from msgspec.structs import replace

from qc.causes.background import Background
from qc.causes.evidence import Likelihood
from qc.causes.model import CauseModel
from qc.causes.models.active_lost import speak
from qc.causes.shifts import either_way
from qc.results.messages import message

if TYPE_CHECKING:
    from qc.simulate.pouring import FaultDraw
    from qc.simulate.record import Written

ID = "assay-bias"
STEP = 0.025


def likelihood(background: Background) -> tuple[Likelihood, ...]:
    """One factor in all assays of one active, or of all; no mass follows: amplitudes ln(read over held) [-]."""
    assayed = [background.rows.active == active for active in range(len(background.rows.substances))]
    if not np.any(assayed):
        return (Likelihood(),)
    shapes = np.array([*assayed, np.any(assayed, axis=0)] if len(assayed) > 1 else assayed, dtype=np.float64)
    return (Likelihood(shifts=(either_way(shapes, background.priors.size(ID, "bias").shifts(sign=1.0, step=STEP)),)),)


def miswrite(written: Written, draw: FaultDraw) -> Written:
    """Read every content of the first active too high or too low, by about 12 % at strength 1."""
    from qc.simulate.record import content_read

    name = draw.recipe.ingredients[0].name
    bias = float(np.exp(draw.sign() * draw.about(0.12)) - 1.0)
    assays = tuple(
        one if one.active else replace(one, content_mg=content_read(float(one.content_mg) * (1.0 + bias)))
        for one in written.assays
    )
    story = message("causes.assayed_off", active=name, percent=100.0 * bias)
    return replace(written, assays=assays).with_story(story, physics={"bias_percent": 100.0 * bias})


MODEL = CauseModel(id=ID, likelihood=likelihood, speak=speak, miswrite=miswrite)
