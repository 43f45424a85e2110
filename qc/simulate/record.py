"""Weighing, assaying and cutting what was poured, and the record that is kept of it."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

import numpy as np
from msgspec import Struct

from qc.batch import Active, Assay, Base, Batch, CavityPour, Displacement, DisplacementConvention, Part, State, Unit
from qc.quantities import shown_decimal
from qc.simulate.pouring import Happened, Pour, Recipe

PARTS = (Part.TIP, Part.MIDDLE, Part.END)
MILLIGRAM, HUNDREDTH = Decimal("0.001"), Decimal("0.01")


class WrittenAssay(Struct, frozen=True, kw_only=True):
    """One determination as it was written down."""

    unit: int
    active: int
    part: Part
    content_mg: Decimal
    part_mass_g: Decimal | None = None


class Written(Happened, frozen=True, kw_only=True):
    """What was written down of a pour."""

    masses_g: tuple[Decimal, ...]
    assays: tuple[WrittenAssay, ...]
    base_pours_g: tuple[tuple[int, Decimal], ...]


def write_down(pour: Pour, recipe: Recipe, rng: np.random.Generator, *, cut: Sequence[int] | None = None) -> Written:
    """Weigh, assay and cut a pour, and write it all down as it is read off.

    Parameters
    ----------
    pour, recipe : Pour, Recipe
        What was poured, and the balance it is weighed on.
    rng : numpy Generator
        Source of the measuring errors: normal of a weighing, log-normal of an assay.
    cut : sequence of int, optional
        Places of the units cut, where the recipe does not say.
    """
    true_g, true_mg = pour.mass_g(recipe), pour.content_mg(recipe)
    step = shown_decimal(recipe.readability_g)
    weighed = true_g * pour.indicated + recipe.repeatability_g * rng.standard_normal(recipe.units)
    assays = []
    for unit in assayed_units(recipe):
        for active in range(len(recipe.ingredients)):
            found = true_mg[active, unit] * np.exp(recipe.assay * rng.standard_normal())
            assays.append(WrittenAssay(unit=unit, active=active, part=Part.WHOLE, content_mg=content_read(found)))
    for unit in cut_units(recipe) if cut is None else cut:
        shares = rng.dirichlet(np.array([300.0, 400.0, 300.0]))
        for place, part in enumerate(PARTS):
            part_g = as_read(true_g[unit] * shares[place], step=step)
            for active, one in enumerate(recipe.ingredients):
                relative = float(pour.parts[unit, place]) if one.suspended else 1.0
                found = true_mg[active, unit] * shares[place] * relative * np.exp(recipe.assay * rng.standard_normal())
                content = content_read(found)
                assays.append(WrittenAssay(unit=unit, active=active, part=part, content_mg=content, part_mass_g=part_g))
    pours = [
        (hole, as_read(pour.cavity_g[hole] * np.exp(recipe.fill * rng.standard_normal()), step=step))
        for hole in range(recipe.holes)
        for _ in range(recipe.base_pours)
    ]
    masses = tuple(as_read(mass, step=step) for mass in weighed)
    return Written(masses_g=masses, assays=tuple(assays), base_pours_g=tuple(pours))


def batch_on_record(written: Written, pour: Pour, recipe: Recipe) -> Batch:
    """What is on record of a pour; the planned mass and the displacement values are those somebody calculated with."""
    step, (assays, pours) = shown_decimal(recipe.readability_g), on_record(written, recipe)
    holes = [(str(mould + 1), str(cavity + 1)) for mould, cavity in map(recipe.place, range(recipe.units))]
    return Batch(
        units=tuple(
            Unit(name=str(at), pour_order=at, weighing_order=at, mould=mould, cavity=cavity, mass_g=mass)
            for at, (mass, (mould, cavity)) in enumerate(zip(written.masses_g, holes, strict=True), start=1)
        ),
        assays=assays,
        actives=tuple(
            Active(
                name=one.name,
                label_claim_mg=shown_decimal(one.label_mg),
                displacement=Displacement(given=as_read(used, step=HUNDREDTH), convention=DisplacementConvention.VALUE),
                state=State.SUSPENDED if one.suspended else State.DISSOLVED,
                amount_weighed_g=as_read(weighed / 1000.0, step=MILLIGRAM),
                assay_repeatability_percent=as_read(100 * recipe.assay, step=HUNDREDTH),
            )
            for one, used, weighed in zip(recipe.ingredients, pour.used_displacements, recipe.weighed_mg(), strict=True)
        ),
        cavity_pours=pours,
        dosage_form="suppositories",
        base=Base.FATTY,
        units_poured=recipe.units,
        nominal_mass_g=as_read(recipe.base_g, step=step),
        planned_mass_g=as_read(recipe.planned_g(pour.used_displacements), step=step),
        balance_readability_g=step,
        balance_repeatability_g=shown_decimal(recipe.repeatability_g),
    )


def on_record(written: Written, recipe: Recipe) -> tuple[tuple[Assay, ...], tuple[CavityPour, ...]]:
    """Assays and base-only pours as they stand in a batch, in the order in which they were written down."""
    assays = tuple(
        Assay(
            unit=str(assay.unit + 1),
            active=recipe.ingredients[assay.active].name,
            part=assay.part,
            content_mg=assay.content_mg,
            part_mass_g=assay.part_mass_g,
        )
        for assay in written.assays
    )
    places = ((*recipe.place(hole), mass) for hole, mass in written.base_pours_g)
    return assays, tuple(
        CavityPour(mould=str(mould + 1), cavity=str(cavity + 1), base_mass_g=mass) for mould, cavity, mass in places
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
    return as_read(found_mg, step=Decimal(1).scaleb(-decimals))


def as_read(number: float, *, step: Decimal) -> Decimal:
    """A number as it is read off, to the nearest step.

    Examples
    --------
    >>> as_read(2.0714, step=Decimal("0.01"))
    Decimal('2.07')
    """
    return Decimal(number).quantize(step)
