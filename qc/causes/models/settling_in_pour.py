"""The active settles in the dish while the units are poured: the last units are rich, the first ones poor.

The concentration takes one of many shapes along the pour, each scaled to a fitted rise of 1: a library of profiles of
the melt model (qc/simulate/melt.py) worked out beforehand, and plain shapes: a straight rise, late and early ones, and
steps where a pour was interrupted.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from msgspec.structs import asdict, replace

from qc.causes.background import Background
from qc.causes.evidence import Likelihood
from qc.causes.facts import Facts
from qc.causes.model import CauseModel
from qc.causes.rows import Floats
from qc.causes.shifts import even_shift
from qc.results.messages import Message, message

if TYPE_CHECKING:
    from qc.simulate.melt import Melt
    from qc.simulate.pouring import FaultDraw, Pour

Shape = Callable[[Floats], Floats]

ID = "settling-in-pour"
# How far outside its interval the change of mass may lie and still agree with that of the concentration [% of mean].
MARGIN_PERCENT = 0.5
AMPLITUDES = 32
SPEEDS_TRIED = 14
# So many suspended actives are tried with speeds of their own: the work grows with their number.
SEVERAL = (2, 3)

# What of the active stays in the dish beside what a plain shape leaves there, for a rise of 1 [-].
LEFT_IN_DISH = (0.0, 0.25)

# A plain table: as TOML, a thousand figures take longer to read than the causes take to weigh.
STORED_PROFILES = Path(__file__).parents[1] / "data" / "settling_profiles.csv"

# Beside the straight line: late, early, a step, faster and faster, slower and slower, a step at a quarter of the pour.
BENT: tuple[Shape, ...] = (
    lambda at: np.exp((at - 1.0) / 0.15),
    lambda at: -np.exp(-at / 0.15),
    lambda at: (at > 0.5).astype(np.float64),
    lambda at: at**2,
    lambda at: at**0.5,
    lambda at: (at > 0.25).astype(np.float64),
    lambda at: (at > 0.75).astype(np.float64),
)


def likelihood(background: Background) -> tuple[Likelihood, ...]:
    """Profiles of the melt and plain shapes along the pour; without an order, units that differ unseen.

    Shapes (profiles, rows) of the suspended actives together, amplitudes ln(last concentration over first) [-]; first
    and last units that follow no profile, as a variance (nodes,).
    """
    rows, priors = background.rows, background.priors
    settled = background.suspended
    if not settled:
        return (Likelihood(),)
    if not rows.ordered:
        # A straight rise of 1 has a standard deviation of 1 over the root of 12.
        return (Likelihood(added={"lumps": background.spreads(ID, "rise", column=0) ** 2 / 12.0}),)
    shares = np.array([rows.concentration_share(active) for active in settled])
    size = priors.size(ID, "rise")
    shapes, weights = profile_library(rows.position, falling=priors.number(ID, "falling"), greatest=size.most)
    # All powders settle alike, or one of a few twice as fast as the others.
    several = len(settled) in SEVERAL
    speeds = [np.ones(len(settled)), *(0.5 + 0.5 * np.eye(len(settled)) if several else [])]
    each = np.array([1.0] if not several else [0.5, *[0.5 / len(settled)] * len(settled)])
    shift = even_shift(
        np.vstack([shapes * (speed @ shares) for speed in speeds]),
        size.equally_likely(AMPLITUDES),
        shape_weights=np.outer(each, weights).ravel(),
    )
    return (Likelihood(added=ends(background), shifts=(shift,)),)


def ends(background: Background) -> dict[str, Floats]:
    """The variance of the first and the last units, which follow no profile."""
    share = background.priors.number(ID, "ends")
    return {"ends": (share * background.spreads(ID, "rise", column=0)) ** 2}


def profile_library(position: Floats, *, falling: float, greatest: float) -> tuple[Floats, Floats]:
    """Every shape at the given places in the pour, and the probability of each.

    Parameters
    ----------
    position : array
        Place in the pour, 0 first, 1 last [-].
    falling : float
        Probability that the concentration falls along the pour [-].
    greatest : float
        The greatest amplitude that the shapes are taken by.

    Returns
    -------
    array of shape (shapes, rows)
        Logarithm of the concentration over that of an even melt, for a fitted rise of 1, or a fall of 1 [-].
    array of shape (shapes,)
        They add up to 1.

    Notes
    -----
    Settling moves the active and makes none: each shape lies so low that the units together hold no more than an even
    melt would have given them, at every amplitude up to the greatest. What they lack stayed in the dish: as much as the
    melt model says, or for a plain shape one of the shares of `LEFT_IN_DISH`.
    """
    even = np.linspace(0.0, 1.0, 101)
    stored = [np.interp(position, np.linspace(0.0, 1.0, one.size), one) for one in _stored()]
    lowered = [shape - _made(one, greatest) for shape, one in zip(stored, _stored(), strict=True)]
    plain = list(zip(plain_shapes(position), plain_shapes(even), strict=True))
    rising, turned = (
        [sign * shape - _made(sign * whole, greatest) - left for shape, whole in plain for left in LEFT_IN_DISH]
        for sign in (1.0, -1.0)
    )
    # The plain shapes together weigh as much as the stored profiles: nobody pours quite like the model.
    shares = ((lowered, (1.0 - falling) / 2.0), (rising, (1.0 - falling) / 2.0), (turned, falling))
    return np.array(lowered + rising + turned), np.concatenate([np.full(len(of), by / len(of)) for of, by in shares])


def _made(logarithms: Floats, greatest: float) -> float:
    """By how much a shape must be lowered so that it makes no active; the mean of exponentials is convex in them."""
    return max(0.0, float(np.log(np.exp(greatest * logarithms).mean())) / greatest)


@cache
def _stored() -> tuple[Floats, ...]:
    lines = STORED_PROFILES.read_text(encoding="utf-8").splitlines()
    return tuple(np.array(line.split(","), dtype=np.float64) for line in lines if not line.startswith("#"))


def plain_shapes(position: Floats) -> tuple[Floats, ...]:
    """A straight line and the bent ones at the given places in the pour, each for a fitted rise of 1 [-]."""
    even = [shape(np.linspace(0.0, 1.0, 101)) for shape in BENT]
    bent = ((shape(position) - one.mean()) / rise_of(one) for shape, one in zip(BENT, even, strict=True))
    return (position - 0.5, *bent)


def rise_of(logarithms: Floats) -> float:
    """Rise from first to last of a straight line fitted to equally spaced values.

    Examples
    --------
    >>> round(rise_of(np.array([0.0, 0.1, 0.2])), 12)
    0.2
    """
    place = np.linspace(-0.5, 0.5, logarithms.size)
    return float((place * logarithms).sum() / (place**2).sum())


def spoil(pour: Pour, draw: FaultDraw) -> Pour:
    """Pour the same units from a melt that settles: concentration (actives, units) of the suspended actives [-]."""
    from qc.simulate.melt import pour_settling_melt

    recipe = draw.recipe
    melt = melt_that_settles(draw)
    relative = pour_settling_melt(melt, units=recipe.units).relative
    suspended = np.array([one.suspended for one in recipe.ingredients])
    spoiled = replace(pour, concentration=pour.concentration * np.where(suspended[:, None], relative[None, :], 1.0))
    weighed = float(np.array(recipe.weighed_mg())[suspended].sum())
    # What of the suspended actives weighed is not in the units, fill and strength of this very pour included.
    left = 1.0 - float(spoiled.content_mg(recipe)[suspended].sum()) / weighed if weighed > 0.0 else 0.0
    story = message(
        "causes.settled_in_pour",
        stood_min=melt.minutes_since_stir,
        poured_min=melt.pour_minutes,
        particle_um=melt.particle_um,
        left_percent=100.0 * left,
    )
    return spoiled.with_story(story, physics={**asdict(melt), "share_left_in_dish": left})


def melt_that_settles(draw: FaultDraw) -> Melt:
    """A melt drawn at random whose particles are as coarse as the strength asks: a rise of about 28 % at strength 1.

    One melt in four stands still while it is poured; the others are stirred a little now and then. What the draw sets
    is not drawn, and where it sets the particle size the rise is what the physics makes of it.
    """
    from qc.simulate.melt import Melt, pour_settling_melt
    from qc.simulate.pouring import suspended_in
    from qc.simulate.settling import COARSEST_UM, as_coarse

    rng, units = draw.rng, draw.recipe.units
    wanted = draw.about(0.28)
    usual = Melt(
        particle_spread=rng.uniform(1.3, 1.9),
        viscosity_mpas=rng.uniform(30.0, 70.0),
        depth_mm=rng.uniform(25.0, 60.0),
        minutes_since_stir=rng.uniform(0.1, 1.2),
        pour_minutes=rng.uniform(5.0, 14.0),
        solids_fraction=draw.recipe.solids_fraction,
        stirring=float(rng.uniform() >= 0.25) * rng.uniform(0.05, 0.35),
        scraped=rng.uniform(0.05, 0.5),
        scraping_units=int(rng.integers(3, 9)),
        excess=draw.recipe.excess,
    )
    melt = suspended_in(usual, draw)
    if "particle_um" in draw.physics:
        return melt
    return as_coarse(
        melt,
        lambda one: rise_of(np.log(np.maximum(pour_settling_melt(one, units=units).relative, 0.05))),
        wanted=wanted,
        coarsest_um=COARSEST_UM,
        tries=SPEEDS_TRIED,
    )


def speak(facts: Facts) -> Iterator[Message]:
    """Whether concentration rises along the pour, and whether the masses agree with that."""
    mass = facts.mass_change
    for active in facts.actives:
        substance, change = active.substance, active.concentration_change
        if not substance.suspended:
            yield message("causes.dissolved", active=active.name)
        yield from facts.concentration_change_of(active)
        if change is None or mass is None:
            continue
        if not substance.displacement_stated:
            yield message("causes.no_displacement", active=active.name)
            continue
        percent = substance.mass_share * change.percent
        agrees = mass.includes(percent, margin=MARGIN_PERCENT)
        yield facts.change_of(mass)
        yield message("causes.mass_agrees", agrees=agrees, percent=percent, displacement=substance.displacement)
    if not facts.rows.ordered:
        yield message("causes.no_order")
    elif mass is not None and not any(active.concentration_change for active in facts.actives):
        yield facts.change_of(mass)
        yield message("causes.too_few_assays")


MODEL = CauseModel(id=ID, likelihood=likelihood, speak=speak, spoil=spoil)
