"""More of the active reached the melt than was planned: the mean content is high, by the same share in all units."""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec.structs import replace

from qc.causes.background import Background
from qc.causes.evidence import Likelihood
from qc.causes.model import CauseModel
from qc.causes.models.active_lost import off_by_one_share, speak
from qc.results.messages import message

if TYPE_CHECKING:
    from qc.simulate.pouring import FaultDraw, Pour

ID = "active-excess"


def likelihood(background: Background) -> tuple[Likelihood, ...]:
    """Any one active, or all of them, exceed by one share."""
    return off_by_one_share(background, background.priors.size(ID, "excess"), sign=1.0)


def spoil(pour: Pour, draw: FaultDraw) -> Pour:
    """Weigh too much of the first active, about 14 % at strength 1: its concentration (units,) [-]."""
    excess = draw.about(0.14)
    concentration = pour.concentration.copy()
    concentration[0] *= 1.0 + excess
    grams = excess * draw.recipe.weighed_mg()[0] / 1000.0
    story = message("causes.in_excess", active=draw.recipe.ingredients[0].name, percent=100.0 * excess, grams=grams)
    return replace(pour, concentration=concentration).with_story(story, physics={"excess_percent": 100.0 * excess})


MODEL = CauseModel(id=ID, likelihood=likelihood, speak=speak, spoil=spoil)
