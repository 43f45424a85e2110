"""Cavities, or whole moulds, hold different amounts: masses repeat from round to round, and base pours agree."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from msgspec.structs import replace

from qc.causes.background import Field
from qc.causes.evidence import Likelihood, even_shift
from qc.causes.facts import Facts
from qc.causes.model import CauseModel
from qc.causes.quantiles import middles
from qc.causes.rows import Floats, Kind
from qc.results.messages import Message, message
from qc.simulate.fault_sizes import drawn_about, unit_scatter

# What only a lesson needs is loaded by a lesson.
if TYPE_CHECKING:
    from qc.simulate.pouring import Pour
    from qc.simulate.recipe import Recipe

ID = "cavity-differences"
AMPLITUDES = 24


def likelihood(field: Field) -> tuple[Likelihood, ...]:
    """Every cavity on its own, whole moulds, or one cavity that is off."""
    priors = field.priors
    spread = priors.size(ID, "spread").quantile(field.strengths(column=2))
    moulds = priors.number(ID, "moulds") if field.moulds > 1 else 0.0
    shapes = _single_cavities(field)
    one_cavity = priors.number(ID, "one_cavity") if len(shapes) else 0.0
    ways = [Likelihood(weight=1.0 - moulds - one_cavity, added={"cavity": spread**2})]
    if moulds:
        ways.append(Likelihood(weight=moulds, added={"mould": spread**2}))
    if one_cavity:
        size = priors.size(ID, "one_cavity_shift").quantile(middles(AMPLITUDES))
        shift = even_shift(shapes, np.concatenate([size, -size]))
        ways.append(Likelihood(weight=one_cavity, shifts=(shift,)))
    return tuple(ways)


def _single_cavities(field: Field) -> Floats:
    rows = field.rows
    capacities = field.volumes | rows.of(Kind.BASE_POUR)
    names = sorted({row.cavity for row in rows.rows if row.cavity})
    return np.array([[float(row.cavity == name) for row in rows.rows] * capacities for name in names])


def spoil(pour: Pour, recipe: Recipe, strength: float, rng: np.random.Generator) -> Pour:
    """Give every cavity a size of its own."""
    holes = recipe.moulds * recipe.cavities
    spread = drawn_about(0.035, strength=strength, rng=rng)
    scatter = rng.standard_normal(holes)
    if holes > 1:
        scatter = unit_scatter(scatter)
    factor = np.exp(spread * scatter)
    hole = np.arange(recipe.units) % holes
    spoiled = replace(pour, capacity_g=pour.capacity_g * factor[hole], cavity_g=pour.cavity_g * factor)
    smallest, largest = (divmod(int(place), recipe.cavities) for place in (factor.argmin(), factor.argmax()))
    story = message("causes.cavities_differ", percent=100.0 * spread, smallest=smallest, largest=largest)
    return spoiled.with_story(story, physics={"cavity_spread_percent": 100.0 * spread})


def speak(facts: Facts) -> tuple[Message, ...]:
    """Whether masses repeat by cavity, and whether base pours agree."""
    said: list[Message] = []
    if facts.cavity_share is not None and facts.cavity_range_percent is not None:
        said.append(message("causes.share_between_cavities", percent=100.0 * facts.cavity_share))
        said.append(message("causes.cavity_range", percent=facts.cavity_range_percent))
    else:
        said.append(message("causes.filled_once") if facts.cavity_rounds else message("causes.no_cavities"))
    if facts.mould_range_percent is not None:
        said.append(message("causes.mould_range", percent=facts.mould_range_percent))
    if facts.base_agreement is not None:
        said.append(message("causes.base_agreement", correlation=facts.base_agreement))
    return tuple(said)


MODEL = CauseModel(
    id=ID,
    likelihood=likelihood,
    speak=speak,
    spoil=spoil,
)
