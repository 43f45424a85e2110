"""What is to be made, in which moulds, how a sound pour of it varies, and what is to be measured."""

from __future__ import annotations

import numpy as np
from msgspec import Struct


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
        hole = unit % (self.moulds * self.cavities)
        return hole // self.cavities, hole % self.cavities

    def weighed_mg(self) -> tuple[float, ...]:
        """How much of each active is weighed for the whole melt [mg]."""
        return tuple(round(self.units * (1.0 + self.excess) * one.label_mg, 0) for one in self.ingredients)

    def planned_g(self, displacements: tuple[float, ...] | None = None) -> float:
        """Planned mass of a unit, by the true displacement values or by those somebody used [g]."""
        used = displacements or tuple(one.displacement for one in self.ingredients)
        return self.base_g + sum(
            one.label_mg / 1000.0 * (1.0 - 1.0 / value) for one, value in zip(self.ingredients, used, strict=True)
        )


def assayed_units(recipe: Recipe) -> tuple[int, ...]:
    """Places of the units assayed whole: spread evenly over the pour, the first and the last among them."""
    count = min(recipe.assays, recipe.units)
    return tuple(sorted({int(place) for place in np.linspace(0, recipe.units - 1, count).round()}))


def cut_units(recipe: Recipe) -> tuple[int, ...]:
    """Places of the units cut into tip, middle and end: none that is assayed whole, as far as there are others."""
    whole = set(assayed_units(recipe))
    free = [place for place in range(recipe.units) if place not in whole]
    count = min(recipe.cut_units, len(free))
    return tuple(free[int(step)] for step in np.linspace(0, len(free) - 1, count + 2).round()[1:-1]) if count else ()
