"""A cavity, or a mould, lets melt run out before it sets: its units are light and its base pours are not."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from msgspec.structs import replace

from qc.causes.background import Background
from qc.causes.evidence import Likelihood
from qc.causes.model import CauseModel
from qc.causes.models.cavity_differences import places_of, speak
from qc.causes.shifts import even_shift
from qc.results.messages import message

if TYPE_CHECKING:
    from qc.simulate.pouring import FaultDraw, Pour

ID = "leaking-mould"
STEP = 0.0125


def likelihood(background: Background) -> tuple[Likelihood, ...]:
    """One cavity short, or one mould; of a single mould, one half of its cavities: amplitudes ln(1 - leak) [-].

    Each unit of a mould loses another amount: shapes (places, rows), and the fill of its units scatters, variance
    (nodes,). Base pours are taken to be older than the leak. Where nobody named a cavity or a mould it is not seen.
    """
    rows, priors = background.rows, background.priors
    single, whole = places_of(rows)
    if not len(single) and not len(whole):
        return (Likelihood(),)
    logs, weights = priors.size(ID, "leak").shifts(sign=-1.0, step=STEP)
    rounds = background.spreads(ID, "rounds", column=1) ** 2
    many = priors.number(ID, "moulds" if len({*rows.moulds} - {""}) > 1 else "halves")
    share = many if len(single) and len(whole) else float(len(whole) > 0)
    ways = [
        Likelihood(
            weight=share / len(whole),
            added={background.fill_of(place): rounds},
            shifts=(even_shift(place[None, :] * background.volumes, logs, weights=weights),),
        )
        for place in whole
    ]
    if len(single):
        shift = even_shift(single.astype(np.float64) * background.volumes, logs, weights=weights)
        ways.append(Likelihood(weight=1.0 - share, shifts=(shift,)))
    return tuple(ways)


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
