"""A batch as it is truly made: a recipe, a sound pour of it, and what is written down of the pour.

The same kitchen serves the teaching batches and the studies of how often the causes are found.
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

import numpy as np
from msgspec import Struct, field
from msgspec.structs import replace

from qc.batch import Part
from qc.causes.rows import Floats

PARTS = (Part.TIP, Part.MIDDLE, Part.END)


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
        The displacement values somebody reckoned with.
    physics : mapping
        What made it so, by name with its unit of measure.
    story : str
        What happened, one sentence.
    """

    capacity_g: Floats
    cavity_g: Floats
    concentration: Floats
    parts: Floats
    used_displacements: tuple[float, ...]
    physics: Mapping[str, float | str] = field(default_factory=dict)
    story: str = ""

    def content_mg(self, recipe: Recipe) -> Floats:
        """True content of every active in every unit [mg], shape (actives, units)."""
        labels = np.array([one.label_mg for one in recipe.ingredients])
        return labels[:, None] * (self.capacity_g / recipe.base_g)[None, :] * self.concentration

    def mass_g(self, recipe: Recipe) -> Floats:
        """True mass of every unit [g]: the base it would hold, and what the actives add by their density."""
        gain = np.array([1.0 - 1.0 / one.displacement for one in recipe.ingredients])
        masses: Floats = self.capacity_g + (self.content_mg(recipe) / 1000.0 * gain[:, None]).sum(axis=0)
        return masses

    def with_story(self, story: str, *, physics: Mapping[str, float | str]) -> Pour:
        """The same pour, with what was done to it."""
        return replace(self, story=story, physics={**self.physics, **physics})


class WrittenAssay(Struct, frozen=True, kw_only=True):
    """One determination as it was written down."""

    unit: int
    active: int
    part: Part
    content_mg: Decimal
    part_mass_g: Decimal | None = None


class Written(Struct, frozen=True, kw_only=True):
    """What was written down of a pour."""

    masses_g: tuple[Decimal, ...]
    assays: tuple[WrittenAssay, ...]
    base_pours_g: tuple[tuple[int, Decimal], ...]
    story: str = ""
    physics: Mapping[str, float | str] = field(default_factory=dict)


class Balance(Struct, frozen=True, kw_only=True):
    """What the balance shows of each true mass, in the order of weighing [-]; and why, where it is not right."""

    indicated: Floats
    story: str = ""
    physics: Mapping[str, float | str] = field(default_factory=dict)


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


def write_down(pour: Pour, recipe: Recipe, rng: np.random.Generator, *, balance: Balance) -> Written:
    """Weigh, assay and cut a pour, and write it all down as it is read off.

    Parameters
    ----------
    pour, recipe : Pour, Recipe
        What was poured.
    rng : numpy Generator
        Source of the measuring errors.
    balance : Balance
        What the masses were weighed on.
    """
    true_g, true_mg = pour.mass_g(recipe), pour.content_mg(recipe)
    decimals = decimals_of(recipe.readability_g)
    weighed = true_g * balance.indicated + recipe.repeatability_g * rng.standard_normal(recipe.units)
    assays = []
    for unit in assayed_units(recipe):
        for active in range(len(recipe.ingredients)):
            found = true_mg[active, unit] * np.exp(recipe.assay * rng.standard_normal())
            assays.append(WrittenAssay(unit=unit, active=active, part=Part.WHOLE, content_mg=content_read(found)))
    for unit in cut_units(recipe):
        shares = rng.dirichlet(np.array([300.0, 400.0, 300.0]))
        for place, part in enumerate(PARTS):
            part_g = float(true_g[unit] * shares[place])
            for active, one in enumerate(recipe.ingredients):
                relative = float(pour.parts[unit, place]) if one.suspended else 1.0
                found = true_mg[active, unit] * shares[place] * relative * np.exp(recipe.assay * rng.standard_normal())
                assays.append(
                    WrittenAssay(
                        unit=unit,
                        active=active,
                        part=part,
                        content_mg=content_read(float(found)),
                        part_mass_g=as_read(part_g, decimals=decimals),
                    )
                )
    pours = []
    for hole in range(recipe.moulds * recipe.cavities):
        for _ in range(recipe.base_pours):
            mass = pour.cavity_g[hole] * np.exp(recipe.fill * rng.standard_normal())
            pours.append((hole, as_read(float(mass), decimals=decimals)))
    return Written(
        masses_g=tuple(as_read(float(mass), decimals=decimals) for mass in weighed),
        assays=tuple(assays),
        base_pours_g=tuple(pours),
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


def content_read(found_mg: float) -> Decimal:
    """A content as a laboratory writes it: four figures."""
    decimals = max(0, 3 - int(np.floor(np.log10(max(found_mg, 1e-9)))))
    return as_read(found_mg, decimals=decimals)


def as_read(number: float, *, decimals: int) -> Decimal:
    """A number with so many decimals, as it is read off."""
    return Decimal(f"{number:.{decimals}f}")


def decimals_of(readability_g: float) -> int:
    """How many decimals a balance of that readability shows."""
    return max(0, -Decimal(str(readability_g)).normalize().as_tuple().exponent)  # type: ignore[operator]
