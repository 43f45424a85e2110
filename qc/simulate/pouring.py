"""The units of a batch as they truly are, and a sound pour of a recipe."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from msgspec import Struct, field
from msgspec.structs import replace

from qc.results.messages import Message
from qc.simulate.recipe import Recipe
from qc.simulate.settling import Floats


class Pour(Struct, frozen=True, kw_only=True):
    """The units as they truly are.

    Parameters
    ----------
    capacity_g : array (units,)
        Base that would fill each unit as it was filled [g].
    cavity_g : array (moulds * cavities,)
        Base that each cavity holds [g].
    concentration : array (actives, units)
        Active a volume over what was planned [-].
    parts : array (units, 3)
        Concentration of tip, middle and end over that of the unit, of suspended actives [-].
    used_displacements : tuple of float
        The displacement values somebody calculated with.
    physics : mapping
        What made it so, by name with its unit of measure.
    story : tuple of Message
        What happened.
    """

    capacity_g: Floats
    cavity_g: Floats
    concentration: Floats
    parts: Floats
    used_displacements: tuple[float, ...]
    physics: Mapping[str, float | str] = field(default_factory=dict)
    story: tuple[Message, ...] = ()

    def content_mg(self, recipe: Recipe) -> Floats:
        """True content of every active in every unit [mg], shape (actives, units)."""
        labels = np.array([one.label_mg for one in recipe.ingredients])
        return labels[:, None] * (self.capacity_g / recipe.base_g)[None, :] * self.concentration

    def mass_g(self, recipe: Recipe) -> Floats:
        """True mass of every unit [g]: the base it would hold, and what the actives add by their density."""
        gain = np.array([1.0 - 1.0 / one.displacement for one in recipe.ingredients])
        masses: Floats = self.capacity_g + (self.content_mg(recipe) / 1000.0 * gain[:, None]).sum(axis=0)
        return masses

    def with_story(self, story: Message, *, physics: Mapping[str, float | str]) -> Pour:
        """The same pour, with what was done to it."""
        return replace(self, story=(*self.story, story), physics={**self.physics, **physics})


def sound_pour(recipe: Recipe, rng: np.random.Generator) -> Pour:
    """Pour a recipe well."""
    holes = recipe.moulds * recipe.cavities
    cavity_g = recipe.base_g * np.exp(recipe.base * rng.standard_normal() + recipe.cavity * rng.standard_normal(holes))
    hole = np.arange(recipe.units) % holes
    fill = recipe.level * rng.standard_normal() + recipe.fill * rng.standard_normal(recipe.units)
    shape = (len(recipe.ingredients), recipe.units)
    mean = recipe.mean_content * rng.standard_normal((shape[0], 1))
    return Pour(
        capacity_g=cavity_g[hole] * np.exp(fill),
        cavity_g=cavity_g,
        concentration=np.exp(mean + recipe.mixing * rng.standard_normal(shape)),
        parts=np.exp(recipe.part * rng.standard_normal((recipe.units, 3))),
        used_displacements=tuple(one.displacement for one in recipe.ingredients),
    )
