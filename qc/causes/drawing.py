"""Draw a batch that went wrong in a known way: the truth, and the record that was kept of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from msgspec import Struct

from qc.batch import Batch
from qc.causes.model import cause
from qc.causes.priors import Priors
from qc.results.messages import Message, message
from qc.simulate.pouring import FaultDraw, Ingredient, Pour, Recipe, sound_pour
from qc.simulate.record import Written, batch_on_record, write_down


class Drawn(Struct, frozen=True, kw_only=True):
    """A batch with its answer: what is on record, how it truly is, what happened and by which physics."""

    batch: Batch
    recipe: Recipe
    pour: Pour
    written: Written
    story: tuple[Message, ...]
    physics: Mapping[str, float | str]


def draw_batch(
    causes: Sequence[str],
    *,
    recipe: Recipe,
    seed: int,
    strength: float = 1.0,
    physics: Mapping[str, float] | None = None,
) -> Drawn:
    """Make a batch, let the causes named happen to it, and write down what would be measured.

    Parameters
    ----------
    causes : sequence of str
        Cause ids; `sound` does nothing.
    recipe : Recipe
        What is made and what is measured of it.
    seed : int
        The same seed gives the same batch.
    strength : float
        1 is the usual strength of each cause, 0.5 half of it [-].
    physics : mapping of str to float, optional
        What of a suspension is set and not drawn, by the names of `qc.simulate.melt.Melt`.

    Returns
    -------
    Drawn
        The record and the truth.

    Raises
    ------
    UnknownCause
        When a cause is not in the catalogue.
    ValueError
        When `physics` names what the suspension has not.
    """
    models = [cause(id) for id in causes]
    # Each step has its own source of chance, so that a fault in one leaves the others as they are.
    streams = [np.random.default_rng([seed, step]) for step in range(5)]
    spoiling, weighing, writing = (
        FaultDraw(recipe=recipe, strength=strength, rng=streams[at], physics=physics or {}) for at in (1, 2, 4)
    )
    pour = sound_pour(recipe, streams[0])
    for model in models:
        pour = model.spoil(pour, spoiling)
    for model in models:
        pour = model.weigh(pour, weighing)
    written = write_down(pour, recipe, streams[3])
    for model in models:
        written = model.miswrite(written, writing)
    return Drawn(
        batch=batch_on_record(written, pour, recipe),
        recipe=recipe,
        pour=pour,
        written=written,
        story=(*pour.story, *written.story) or (message("causes.nothing_went_wrong"),),
        physics={**pour.physics, **written.physics},
    )


def random_recipe(
    rng: np.random.Generator,
    *,
    priors: Priors,
    units: int = 24,
    assays: int = 10,
    cut_units: int = 3,
    base_pours: int = 2,
) -> Recipe:
    """A recipe with a dose, a displacement value, moulds and background spreads drawn at random.

    The background spreads come from the priors; a wider choice of doses would only add batches whose dose is too small
    to move any mass.
    """
    moulds, cavities = ((1, 6), (2, 6), (1, 12), (4, 6), (3, 4))[int(rng.integers(5))]
    base_g = float(rng.choice([1.0, 2.0, 3.0]))
    loading = float(rng.uniform(0.08, 0.25))
    displacement = float(np.round(np.exp(rng.uniform(np.log(1.1), np.log(3.0))), 2))

    def spread(name: str) -> float:
        return float(priors.size("background", name).quantile(np.array([rng.uniform(0.02, 0.98)]))[0])

    return Recipe(
        units=units,
        moulds=moulds,
        cavities=cavities,
        base_g=base_g,
        ingredients=(Ingredient(label_mg=float(round(1000 * loading * base_g / 10) * 10), displacement=displacement),),
        fill=spread("fill"),
        mixing=spread("mixing"),
        cavity=spread("cavity"),
        part=spread("part"),
        level=priors.number("background", "level"),
        mean_content=priors.number("background", "mean_content"),
        base=priors.number("background", "base"),
        assay=round(spread("assay"), 4),
        assays=assays,
        cut_units=cut_units,
        base_pours=base_pours,
    )
