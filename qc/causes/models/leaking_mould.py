"""A cavity, or a mould, lets melt run out before it sets: its units are light and its base pours are not."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from msgspec.structs import replace

from qc.causes.background import Background
from qc.causes.evidence import Likelihood, even_shift
from qc.causes.model import CauseModel
from qc.causes.models.cavity_differences import speak
from qc.results.messages import message

if TYPE_CHECKING:
    from qc.simulate.pouring import FaultDraw, Pour

ID = "leaking-mould"
STEP = 0.0125


def likelihood(background: Background) -> tuple[Likelihood, ...]:
    """One cavity, or one mould, short: shapes (cavities and moulds, rows), amplitudes ln(1 - leak) [-].

    Base pours are taken to be older than the leak. Where nobody named a cavity or a mould it is not seen.
    """
    rows = background.rows
    places = [[one == name for one in of] for of in (rows.cavities, rows.moulds) for name in sorted({*of} - {""})]
    cavities = len({*rows.cavities} - {""})
    moulds = len(places) - cavities
    # The only mould is all there is: nothing would tell its leak from units that are all light.
    if moulds < 2:
        places, moulds = places[:cavities], 0
    if not places:
        return (Likelihood(),)
    share = background.priors.number(ID, "moulds") if moulds and cavities else float(moulds > 0)
    weights = np.repeat([(1.0 - share) / max(cavities, 1), share / max(moulds, 1)], [cavities, moulds])
    logs, by_size = background.priors.size(ID, "leak").shifts(sign=-1.0, step=STEP)
    shift = even_shift(np.array(places) * background.volumes, logs, shape_weights=weights, weights=by_size)
    return (Likelihood(shifts=(shift,)),)


def spoil(pour: Pour, draw: FaultDraw) -> Pour:
    """Let a cavity leak, or the last mould where there are several: about 9 % of each unit (units,) at strength 1."""
    recipe = draw.recipe
    places = [recipe.place(unit) for unit in range(recipe.units)]
    cavity = int(draw.rng.integers(recipe.cavities))
    whole_mould = len({mould for mould, _ in places}) > 1 and draw.rng.uniform() < 0.5
    leaks = np.array([mould == 0 and (whole_mould or place == cavity) for mould, place in places])
    leak = min(0.9, draw.about(0.09)) * draw.rng.uniform(0.7, 1.0, recipe.units)
    spoiled = replace(pour, capacity_g=pour.capacity_g * (1.0 - leaks * leak))
    if whole_mould:
        story = message("causes.mould_leaks", mould=1, percent=100.0 * float(leak.mean()))
    else:
        story = message("causes.cavity_leaks", mould=1, cavity=cavity + 1, percent=100.0 * float(leak.mean()))
    return spoiled.with_story(story, physics={"leak_percent": 100.0 * float(leak.mean())})


MODEL = CauseModel(id=ID, likelihood=likelihood, speak=speak, spoil=spoil)
