"""Some of the active never reached the units: the mean content is low, by the same share in all of them."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np
from msgspec.structs import replace

from qc.causes.background import Background
from qc.causes.evidence import Likelihood
from qc.causes.facts import Facts
from qc.causes.model import CauseModel
from qc.causes.priors import LogNormal
from qc.causes.shifts import even_shift
from qc.results.messages import Message, message

if TYPE_CHECKING:
    from qc.simulate.pouring import FaultDraw, Pour

ID = "active-lost"
# Of the logarithm of the share that reached the units.
STEP = 0.025


def likelihood(background: Background) -> tuple[Likelihood, ...]:
    """Any one active, or all of them, are short by one share."""
    return off_by_one_share(background, background.priors.size(ID, "lost"), sign=-1.0)


def off_by_one_share(background: Background, size: LogNormal, *, sign: float) -> tuple[Likelihood, ...]:
    """Any one active, or all of them, off by one share: a shape (rows,) for each share, each to be taken as it is.

    Contents follow the share; a mass moves by what the active moves it, which is no power of the share.

    Parameters
    ----------
    background : Background
    size : LogNormal
        The share [-].
    sign : float
        1 where there is more than planned, -1 where there is less.
    """
    rows = background.rows
    shown = [rows.concentration_share(active) for active in range(len(rows.substances))]
    if not shown:
        return (Likelihood(),)
    logs, weights = size.shifts(sign=sign, step=STEP)
    contents = (rows.active >= 0).astype(np.float64)
    each = [*shown, np.sum(shown, axis=0)] if len(shown) > 1 else shown
    shapes = [
        np.where(contents, one * logs[:, None], np.log1p(np.maximum(one * np.expm1(logs)[:, None], -0.9)))
        for one in each
    ]
    shift = even_shift(np.concatenate(shapes), np.ones(1), shape_weights=np.tile(weights, len(each)))
    return (Likelihood(shifts=(shift,)),)


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
