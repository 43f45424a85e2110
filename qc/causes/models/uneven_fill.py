"""The units are filled or trimmed unevenly: masses scatter, contents follow them, the concentration is steady."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import groupby
from typing import TYPE_CHECKING

import numpy as np
from msgspec.structs import replace

from qc.causes.background import Background
from qc.causes.evidence import Likelihood, scattered
from qc.causes.facts import Facts
from qc.causes.model import CauseModel
from qc.causes.rows import RowKind, Rows
from qc.causes.shifts import even_shift, steps
from qc.results.messages import Message, message

if TYPE_CHECKING:
    from qc.simulate.pouring import FaultDraw, Pour

ID = "uneven-fill"
AMPLITUDES = 16


def likelihood(background: Background) -> tuple[Likelihood, ...]:
    """Log-normal spread of ln(volume) [-]. Each unit on its own, a fill that wanders along the pour, or moulds.

    Or a step of ln(volume) by one size somewhere in the pour, either way: shapes (steps, rows).
    """
    rows, priors = background.rows, background.priors
    others = []
    if len({*rows.moulds} - {""}) > 1:
        added = {"fill-mould": background.spreads(ID, "spread", column=1) ** 2}
        others.append(Likelihood(weight=priors.number(ID, "moulds"), added=added))
    if rows.ordered:
        size = priors.size(ID, "step").equally_likely(AMPLITUDES)
        # Somebody else took over the pouring, and fills to another height.
        taken_over = steps(rows.position, units=rows.places) * background.volumes
        shift = even_shift(taken_over, np.concatenate([size, -size]))
        others.append(Likelihood(weight=priors.number(ID, "steps"), shifts=(shift,)))
    left = 1.0 - sum(way.weight for way in others)
    ways = scattered(background, ID, kernel="fill", alike="wandering", column=1)
    return (*(replace(way, weight=left * way.weight) for way in ways), *others)


def spoil(pour: Pour, draw: FaultDraw) -> Pour:
    """Scatter the fill of the units (units,) [g], by about 4 % at strength 1."""
    spread = draw.about(0.04)
    scatter = draw.scatter_along_pour(pour.capacity_g.shape, alike=0.82)
    spoiled = replace(pour, capacity_g=pour.capacity_g * np.exp(spread * scatter))
    story = message("causes.filled_unevenly", percent=100.0 * spread)
    return spoiled.with_story(story, physics={"fill_spread_percent": 100.0 * spread})


def speak(facts: Facts) -> Iterator[Message]:
    """Whether masses scatter and the concentration does not."""
    yield from facts.masses_scatter()
    for active in facts.actives:
        contents, concentrations = active.content_rsd, active.concentration_rsd
        if active.measure == "concentration" and contents is not None and concentrations is not None:
            yield message(
                "causes.contents_and_concentrations",
                active=active.name,
                content_rsd=contents,
                concentration_rsd=concentrations,
            )
    yield from facts.share_between_cavities()
    if _moulds_in_turn(facts.rows):
        yield message("causes.moulds_in_turn")


def _moulds_in_turn(rows: Rows) -> bool:
    """Whether several moulds were poured one after the other."""
    masses = rows.of(RowKind.MASS)
    poured = sorted((rows.position[at], rows.moulds[at]) for at in np.flatnonzero(masses) if rows.moulds[at])
    moulds = [mould for mould, _ in groupby(mould for _, mould in poured)]
    return rows.ordered and 1 < len(moulds) == len(set(moulds))


MODEL = CauseModel(id=ID, likelihood=likelihood, speak=speak, spoil=spoil)
