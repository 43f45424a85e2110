"""The base was calculated with a wrong displacement value: mean mass and mean content are off the plan together."""

from __future__ import annotations

from collections.abc import Iterator
from math import exp
from typing import TYPE_CHECKING

import numpy as np
from msgspec.structs import replace

from qc.causes.background import Background
from qc.causes.evidence import Likelihood
from qc.causes.facts import Facts
from qc.causes.model import CauseModel
from qc.causes.rows import Floats, RowKind
from qc.causes.shifts import even_shift
from qc.results.messages import Message, message

if TYPE_CHECKING:
    from qc.simulate.pouring import FaultDraw, Pour

ID = "wrong-displacement"
# An active that moves the mass by less than this share of it is said to hardly show there [-].
LITTLE_SHARE = 0.02
AMPLITUDES = 32


def likelihood(background: Background) -> tuple[Likelihood, ...]:
    """Base for the wrong volume: mass and content off alike. Or topped up to the mark: mass off, content right.

    Shapes (2, rows), or (1, rows) without assays; amplitudes ln(planned volume over true volume) [-].
    """
    changes = _log_volume_changes(background)
    if not changes.size:
        return (Likelihood(),)
    contents = background.rows.of(RowKind.CONTENT, RowKind.PART)
    topped_up = background.priors.number(ID, "topped_up") if contents.any() else 0.0
    # A unit of the true volume, topped up to the mark, is as much heavier than planned as the other is lighter.
    shapes, weights = [background.volumes], [1.0]
    if topped_up:
        shapes, weights = [background.volumes, background.masses], [1.0 - topped_up, topped_up]
    shift = even_shift(np.array(shapes, dtype=np.float64), changes, shape_weights=np.array(weights))
    return (Likelihood(shifts=(shift,)),)


def _log_volume_changes(background: Background) -> Floats:
    """ln(planned volume over true volume) for the displacement values that may have been the true ones."""
    ratio = background.priors.size(ID, "ratio").equally_likely(AMPLITUDES)
    inverted = background.priors.number(ID, "inverted")
    copies = max(1, round(inverted / (1.0 - inverted) * 2 * AMPLITUDES))
    changes: list[float] = []
    for substance in background.rows.substances:
        if substance.label_mg is not None:
            used = substance.displacement
            true = np.concatenate([used / ratio, used * ratio, np.full(copies, 1.0 / used)])
            swelling = substance.loading * (1.0 / true - 1.0 / used)
            changes.extend((-np.log1p(np.maximum(swelling, -0.6))).tolist())
    return np.array(changes)


def spoil(pour: Pour, draw: FaultDraw) -> Pour:
    """Calculate the base with another displacement value than the true one of the first active.

    The concentration of every active (actives, units) [-] moves with the volume.
    """
    first = draw.recipe.ingredients[0]
    used = _used_displacement(draw)
    swelling = first.label_mg / 1000.0 / draw.recipe.base_g * (1.0 / first.displacement - 1.0 / used)
    factor = 1.0 / (1.0 + swelling)
    displacements = (used, *pour.used_displacements[1:])
    spoiled = replace(pour, concentration=pour.concentration * factor, used_displacements=displacements)
    story = message("causes.displaced_wrongly", used=used, true=first.displacement, percent=100.0 * (factor - 1.0))
    return spoiled.with_story(story, physics={"used_displacement": used, "true_displacement": first.displacement})


def _used_displacement(draw: FaultDraw) -> float:
    """A wrong value that moves the volume by about 7 % at strength 1, as far as that dose can [g active a g base]."""
    first = draw.recipe.ingredients[0]
    loading = first.label_mg / 1000.0 / draw.recipe.base_g
    wanted, sign = draw.about(0.07), draw.sign()
    for direction in (sign, -sign):
        inverse = 1.0 / first.displacement + direction * wanted / loading
        if 1.0 / 5.0 <= inverse <= 1.0 / 0.5:
            return round(1.0 / inverse, 2)
    return round(1.0 / first.displacement, 2)


def speak(facts: Facts) -> Iterator[Message]:
    """Whether mean mass and mean content are off their plan together."""
    yield from facts.masses_of_plan() if facts.mean_mass_percent is not None else [message("causes.no_plan")]
    for active in facts.actives:
        yield from active.mean_of_label()
        if active.mean_concentration_percent is not None:
            percent = active.mean_concentration_percent
            yield message("causes.mean_concentration", active=active.name, percent=percent)
        displacement, share = active.substance.displacement, active.substance.mass_share
        if active.substance.displacement_stated and abs(share) < LITTLE_SHARE:
            yield message("causes.little_moved", active=active.name, displacement=displacement, percent=100.0 * share)
    pours = facts.rows.value[facts.rows.of(RowKind.BASE_POUR) & facts.rows.measured]
    if pours.size and facts.rows.base_known:
        yield message("causes.base_pours", percent=100.0 * exp(float(pours.mean())))


MODEL = CauseModel(id=ID, likelihood=likelihood, speak=speak, spoil=spoil)
