"""A cause in one file, as a new one would be added: every assay reads too high by one factor."""

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
    from qc.simulate.pouring import FaultDraw
    from qc.simulate.record import Written


def likelihood(background: Background) -> tuple[Likelihood, ...]:
    """One factor of 5 to 20 % in all assays: shapes (1, rows)."""
    assayed = (background.rows.active >= 0).astype(np.float64)
    return (Likelihood(shifts=(even_shift(assayed[None], np.log(np.linspace(1.05, 1.20, 16))),)),)


def miswrite(written: Written, draw: FaultDraw) -> Written:
    """Write every content down too high, by about 12 % at strength 1."""
    from qc.simulate.record import content_read

    bias = draw.about(0.12)
    contents = [content_read(float(assay.content_mg) * (1.0 + bias)) for assay in written.assays]
    assays = tuple(replace(assay, content_mg=content) for assay, content in zip(written.assays, contents, strict=True))
    story = message("causes.nothing_went_wrong")
    return replace(written, assays=assays).with_story(story, physics={"bias_percent": 100.0 * bias})


def speak(facts: Facts) -> Iterator[Message]:
    """The mean content."""
    for active in facts.actives:
        yield from active.mean_of_label()


MODEL = CauseModel(id="assay-bias", likelihood=likelihood, speak=speak, miswrite=miswrite)
