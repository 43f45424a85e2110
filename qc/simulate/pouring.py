"""What is to be made and measured, the units of a batch as they truly are, a sound pour, and how a fault is drawn."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Self

import numpy as np
from msgspec import Struct, field
from msgspec.structs import replace

from qc.results.messages import Message
from qc.simulate.settling import SomeSuspension
from qc.stats.arrays import Floats


class Ingredient(Struct, frozen=True, kw_only=True):
    """One active of a recipe: label claim [mg], true displacement value, whether it is suspended."""

    name: str = "Active A"
    label_mg: float = 250.0
    displacement: float = 1.6
    suspended: bool = True


class Recipe(Struct, frozen=True, kw_only=True):
    """What is to be made, in which moulds, and what is to be measured of it.

    Parameters
    ----------
    units, moulds, cavities : int
        Units poured; moulds, and cavities a mould. Moulds are filled one after the other, again from the first.
    base_g : float
        What a cavity is said to hold in plain base [g].
    ingredients : tuple of Ingredient
        The actives.
    fill, mixing, cavity, part, level, mean_content, base : float
        Spreads of a sound pour, standard deviations of logarithms.
    assay : float
        Repeatability of the assay, relative.
    readability_g, repeatability_g : float
        Of the balance [g].
    assays, cut_units, base_pours : int
        Whole units assayed, units cut into parts, base-only pours a cavity.
    """

    units: int = 24
    moulds: int = 1
    cavities: int = 6
    base_g: float = 2.0
    ingredients: tuple[Ingredient, ...] = (Ingredient(),)
    fill: float = 0.009
    mixing: float = 0.009
    cavity: float = 0.003
    part: float = 0.012
    level: float = 0.006
    mean_content: float = 0.010
    base: float = 0.004
    assay: float = 0.010
    readability_g: float = 0.001
    repeatability_g: float = 0.001
    assays: int = 10
    cut_units: int = 3
    base_pours: int = 2
    excess: float = 0.10
    """Melt made beyond what the units need, as a share of it."""

    def place(self, unit: int) -> tuple[int, int]:
        """Mould and cavity of the unit poured at a place, both counted from 0."""
        return divmod(unit % self.holes, self.cavities)

    @property
    def holes(self) -> int:
        """Cavities of all moulds."""
        return self.moulds * self.cavities

    @property
    def solids_fraction(self) -> float:
        """Share of the volume that suspended actives take up: dose over displacement value, over the base [-]."""
        displaced_g = sum(one.label_mg / one.displacement for one in self.ingredients if one.suspended) / 1000.0
        return min(0.5, displaced_g / self.base_g)

    def particle_density_g_cm3(self, melt_density_g_cm3: float) -> float:
        """Density of the first suspended active: its displacement value is its density over that of the base [g/cm3].

        Source: the definition of the displacement value, g of active that take the place of 1 g of base.
        """
        first = next((one for one in self.ingredients if one.suspended), self.ingredients[0])
        return first.displacement * melt_density_g_cm3

    def weighed_mg(self) -> tuple[float, ...]:
        """How much of each active is weighed for the whole melt [mg]."""
        return tuple(round(self.units * (1.0 + self.excess) * one.label_mg, 0) for one in self.ingredients)

    def planned_g(self, displacements: tuple[float, ...] | None = None) -> float:
        """Planned mass of a unit, by the true displacement values or by those somebody used [g]."""
        used = displacements or tuple(one.displacement for one in self.ingredients)
        return self.base_g + sum(
            one.label_mg / 1000.0 * (1.0 - 1.0 / value) for one, value in zip(self.ingredients, used, strict=True)
        )


class Happened(Struct, frozen=True, kw_only=True):
    """What has happened to something: a story, and what made it so, by name with its unit of measure."""

    story: tuple[Message, ...] = ()
    physics: Mapping[str, float | str] = field(default_factory=dict)

    def with_story(self, story: Message, *, physics: Mapping[str, float | str]) -> Self:
        """The same, with what was done to it."""
        return replace(self, story=(*self.story, story), physics={**self.physics, **physics})


class Pour(Happened, frozen=True, kw_only=True):
    """The units as they truly are, and the balance they are weighed on.

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
    indicated : array (units,)
        What the balance shows over the true mass, in the order of weighing [-].
    """

    capacity_g: Floats
    cavity_g: Floats
    concentration: Floats
    parts: Floats
    used_displacements: tuple[float, ...]
    indicated: Floats

    def content_mg(self, recipe: Recipe) -> Floats:
        """True content of every active in every unit [mg], shape (actives, units)."""
        labels = np.array([one.label_mg for one in recipe.ingredients])
        return labels[:, None] * (self.capacity_g / recipe.base_g)[None, :] * self.concentration

    def mass_g(self, recipe: Recipe) -> Floats:
        """True mass of every unit [g]: the base it would hold, and what the actives add by their density."""
        gain = np.array([1.0 - 1.0 / one.displacement for one in recipe.ingredients])
        masses: Floats = self.capacity_g + (self.content_mg(recipe) / 1000.0 * gain[:, None]).sum(axis=0)
        return masses


def sound_pour(recipe: Recipe, rng: np.random.Generator) -> Pour:
    """Pour a recipe well: every spread is that of its recipe, log-normal."""
    cavity_g = recipe.base_g * np.exp(
        recipe.base * rng.standard_normal() + recipe.cavity * rng.standard_normal(recipe.holes)
    )
    fill = recipe.level * rng.standard_normal() + recipe.fill * rng.standard_normal(recipe.units)
    shape = (len(recipe.ingredients), recipe.units)
    mean = recipe.mean_content * rng.standard_normal((shape[0], 1))
    return Pour(
        capacity_g=cavity_g[np.arange(recipe.units) % recipe.holes] * np.exp(fill),
        cavity_g=cavity_g,
        concentration=np.exp(mean + recipe.mixing * rng.standard_normal(shape)),
        parts=np.exp(recipe.part * rng.standard_normal((recipe.units, 3))),
        used_displacements=tuple(one.displacement for one in recipe.ingredients),
        indicated=np.ones(recipe.units),
    )


class FaultDraw(Struct, frozen=True, kw_only=True):
    """How a fault is drawn: the recipe it happens to, how strong it is (1 for usual) [-], and the source of chance."""

    recipe: Recipe
    strength: float
    rng: np.random.Generator
    physics: Mapping[str, float] = field(default_factory=dict)
    """Particle size, viscosity, times and the like that are set and not drawn, by the names of `Melt`."""

    def about(self, usual: float) -> float:
        """A size near `usual` times the strength, in the same unit: log-normal, 15 % either way, cut at twice that."""
        return usual * self.strength * float(np.exp(0.15 * np.clip(self.rng.standard_normal(), -2.0, 2.0)))

    def sign(self) -> float:
        """1 or -1, equally likely."""
        return 1.0 if self.rng.uniform() < 0.5 else -1.0

    def scatter_along_pour(self, shape: tuple[int, ...], *, alike: float) -> Floats:
        """Scatter of units along the last axis, mean 0 and standard deviation 1; one time in four neighbours are alike.

        Parameters
        ----------
        shape : tuple of int
            Units last.
        alike : float
            Correlation of neighbours where they are alike [-].
        """
        scatter = self.rng.standard_normal(shape)
        if self.rng.uniform() < 0.25:
            for unit in range(1, shape[-1]):
                scatter[..., unit] = alike * scatter[..., unit - 1] + np.sqrt(1.0 - alike**2) * scatter[..., unit]
        return unit_scatter(scatter)


def suspended_in(suspension: SomeSuspension, draw: FaultDraw) -> SomeSuspension:
    """The suspension with the density that the recipe's displacement value gives its active, and with what is set.

    Raises
    ------
    ValueError
        When a name is set that such a suspension has not; the message lists those it has.
    """
    known = suspension.__struct_fields__
    if unknown := sorted(set(draw.physics) - set(known)):
        raise ValueError(f'"{unknown[0]}" cannot be set here; known are: {", ".join(known)}')
    whole = {name: int(value) for name, value in draw.physics.items() if isinstance(getattr(suspension, name), int)}
    asked = replace(suspension, **{**draw.physics, **whole})
    tied = draw.recipe.particle_density_g_cm3(asked.melt_density_g_cm3)
    return asked if "particle_density_g_cm3" in draw.physics else replace(asked, particle_density_g_cm3=tied)


def unit_scatter(scatter: Floats) -> Floats:
    """Scatter along the last axis with mean 0 and standard deviation 1 [-]."""
    centred: Floats = scatter - scatter.mean(axis=-1, keepdims=True)
    scaled: Floats = centred / np.maximum(centred.std(axis=-1, keepdims=True), 1e-9)
    return scaled
