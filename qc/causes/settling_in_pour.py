"""The active settles in the dish while the units are poured: the last units are rich, the first ones poor."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from msgspec.structs import asdict, replace
from numpy.typing import NDArray

from qc.causes.background import Field
from qc.causes.evidence import Likelihood, two_way_shift
from qc.causes.facts import Facts
from qc.causes.model import CauseModel
from qc.causes.profiles import profile_library, rise_of
from qc.causes.quantiles import middles
from qc.causes.rows import Floats
from qc.results.messages import Message, message
from qc.simulate.fault_sizes import coarseness, drawn_about, solids_of

# What only a lesson needs is loaded by a lesson.
if TYPE_CHECKING:
    from qc.simulate.pouring import Pour
    from qc.simulate.recipe import Recipe
    from qc.simulate.settling_melt import Melt

ID = "settling-in-pour"
# How far outside its interval the change of mass may lie and still agree with that of the concentration [% of mean].
MARGIN_PERCENT = 0.5
AMPLITUDES = 40
SPEEDS_TRIED = 14


def likelihood(field: Field) -> tuple[Likelihood, ...]:
    """Profiles of the melt and plain shapes along the pour; without an order, units that differ unseen."""
    rows, priors = field.rows, field.priors
    size = priors.size(ID, "rise")
    rises = size.quantile(middles(AMPLITUDES))
    loss = np.full(field.nodes, priors.number(ID, "loss") ** 2)
    settled = [active for active, one in enumerate(rows.substances) if one.suspended]
    if not settled:
        return (Likelihood(),)
    if not rows.ordered:
        spread = size.quantile(field.strengths(column=0)) / np.sqrt(12.0)
        return (Likelihood(added={"mixing": spread**2, "loss": loss}),)
    shares = sum((rows.concentration_share(active) for active in settled), np.zeros(len(rows.rows)))
    along = profile_library(rows.position)
    shift = two_way_shift(along * shares[None, :], rises, falling=priors.number(ID, "falling"))
    ends = priors.number(ID, "ends") * size.quantile(field.strengths(column=0))
    return (Likelihood(added={"loss": loss, "ends": ends**2}, shifts=(shift,)),)


def spoil(pour: Pour, recipe: Recipe, strength: float, rng: np.random.Generator) -> Pour:
    """Pour the same units from a melt that settles."""
    from qc.simulate.settling_melt import pour_settling_melt

    melt = melt_that_settles(recipe, strength=strength, rng=rng)
    poured = pour_settling_melt(melt, units=recipe.units)
    suspended = np.array([one.suspended for one in recipe.ingredients])
    concentration = np.where(suspended[:, None], pour.concentration * poured.relative[None, :], pour.concentration)
    spoiled = replace(pour, concentration=concentration)
    left = _share_left(spoiled, recipe, suspended=suspended)
    story = message(
        "causes.settled_in_pour",
        stood_min=melt.minutes_since_stir,
        poured_min=melt.pour_minutes,
        particle_um=melt.particle_um,
        left_percent=100.0 * left,
    )
    return spoiled.with_story(story, physics={**asdict(melt), "share_left_in_dish": left})


def _share_left(pour: Pour, recipe: Recipe, *, suspended: NDArray[np.bool_]) -> float:
    """What of the suspended actives weighed is not in the units, fill and strength of this very pour included [-]."""
    weighed = float(np.array(recipe.weighed_mg())[suspended].sum())
    return 1.0 - float(pour.content_mg(recipe)[suspended].sum()) / weighed if weighed > 0.0 else 0.0


def melt_that_settles(recipe: Recipe, *, strength: float, rng: np.random.Generator) -> Melt:
    """A melt drawn at random whose particles are as coarse as the strength asks: a rise of about 28 % at strength 1."""
    from qc.simulate.settling_melt import Melt, pour_settling_melt

    wanted = drawn_about(0.28, strength=strength, rng=rng)
    melt = Melt(
        particle_spread=float(rng.uniform(1.3, 1.9)),
        particle_density_g_cm3=float(rng.uniform(1.25, 1.7)),
        viscosity_mpas=float(rng.uniform(30.0, 70.0)),
        depth_mm=float(rng.uniform(25.0, 60.0)),
        minutes_since_stir=float(rng.uniform(0.1, 1.2)),
        pour_minutes=float(rng.uniform(5.0, 14.0)),
        solids_fraction=solids_of(recipe),
        stirring=_stirring(rng),
        scraped=float(rng.uniform(0.05, 0.5)),
        scraping_units=int(rng.integers(3, 9)),
        excess=recipe.excess,
    )

    def rise(particle_um: float) -> float:
        return _rise(pour_settling_melt(replace(melt, particle_um=particle_um), units=recipe.units).relative)

    return replace(melt, particle_um=coarseness(rise, wanted=wanted, coarsest_um=150.0, tries=SPEEDS_TRIED))


def _stirring(rng: np.random.Generator) -> float:
    """One melt in four stands still while it is poured; the others are stirred a little now and then."""
    still, share = rng.uniform() < 0.25, float(rng.uniform(0.05, 0.35))
    return 0.0 if still else share


def _rise(relative: Floats) -> float:
    return rise_of(np.log(np.maximum(relative, 0.05)))


def speak(facts: Facts) -> tuple[Message, ...]:
    """Whether concentration rises along the pour, and whether the masses agree with that."""
    said: list[Message] = []
    mass = facts.mass_change
    for active in facts.actives:
        if not active.suspended:
            said.append(message("causes.dissolved", active=active.name))
        change = active.concentration_change
        if change is None:
            continue
        said.append(facts.change_of(change, series=active.measure, active=active.name))
        if mass is not None and not active.displacement_stated:
            said.append(message("causes.no_displacement", active=active.name))
        elif mass is not None:
            told = active.mass_share * change.percent
            agrees = mass.includes(told, margin=MARGIN_PERCENT)
            said.append(facts.change_of(mass))
            said.append(message("causes.mass_agrees", agrees=agrees, percent=told, displacement=active.displacement))
    if not facts.ordered:
        said.append(message("causes.no_order"))
    elif mass is not None and not any(active.concentration_change for active in facts.actives):
        said += [facts.change_of(mass), message("causes.too_few_assays")]
    return tuple(said)


MODEL = CauseModel(
    id=ID,
    likelihood=likelihood,
    speak=speak,
    spoil=spoil,
)
