"""The active is not evenly mixed: units differ in concentration, in no order or in streaks."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np
from msgspec.structs import replace

from qc.causes.background import Background
from qc.causes.evidence import Likelihood, scattered
from qc.causes.facts import Facts
from qc.causes.model import CauseModel
from qc.causes.rows import RowKind
from qc.results.messages import Message, message

if TYPE_CHECKING:
    from qc.simulate.pouring import FaultDraw, Pour

ID = "poor-mixing"


def likelihood(background: Background) -> tuple[Likelihood, ...]:
    """Log-normal spread of ln(concentration) [-]. Lumps: each unit on its own. Streaks: neighbours are alike.

    Where units were cut, the parts of one may differ by the lumps as well, each on its own.
    """
    lumps, streaks = scattered(background, ID, kernel="lumps", alike="streaks", column=0)
    if not (background.rows.of(RowKind.PART) & background.rows.measured).any():
        return lumps, streaks
    within = background.priors.number(ID, "within_units") * lumps.weight
    apart = {"lumps-parts": (0.5 * background.spreads(ID, "spread", column=0)) ** 2}
    in_parts = replace(lumps, weight=within, added={**lumps.added, **apart})
    return replace(lumps, weight=lumps.weight - within), in_parts, streaks


def spoil(pour: Pour, draw: FaultDraw) -> Pour:
    """Scatter the concentration (actives, units) [-] of what is suspended, or of all, by about 8 % at strength 1."""
    spread = draw.about(0.08)
    scatter = draw.scatter_along_pour(pour.concentration.shape, alike=0.67)
    suspended = np.array([one.suspended for one in draw.recipe.ingredients])
    scatter *= (suspended | ~suspended.any())[:, None]
    spoiled = replace(pour, concentration=pour.concentration * np.exp(spread * scatter))
    story = message("causes.mixed_unevenly", percent=100.0 * spread)
    return spoiled.with_story(story, physics={"concentration_spread_percent": 100.0 * spread})


def speak(facts: Facts) -> Iterator[Message]:
    """Whether concentration scatters without an order."""
    for active in facts.actives:
        yield from active.scatter()
        yield from facts.concentration_change_of(active)
    yield from facts.masses_scatter()
    if not any(active.n for active in facts.actives):
        yield message("causes.no_assay_mixing")


MODEL = CauseModel(id=ID, likelihood=likelihood, speak=speak, spoil=spoil)
