"""Weighing, assaying and cutting what was poured, and the record that is kept of it."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

import numpy as np
from msgspec import Struct, field

from qc.batch import Active, Assay, Base, Batch, CavityPour, Displacement, DisplacementConvention, Part, State, Unit
from qc.results.messages import Message
from qc.simulate.pouring import Pour
from qc.simulate.recipe import Recipe, assayed_units, cut_units
from qc.simulate.settling import Floats

PARTS = (Part.TIP, Part.MIDDLE, Part.END)


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
    story: tuple[Message, ...] = ()
    physics: Mapping[str, float | str] = field(default_factory=dict)


class Balance(Struct, frozen=True, kw_only=True):
    """What the balance shows of each true mass, in the order of weighing [-]; and why, where it is not right."""

    indicated: Floats
    story: tuple[Message, ...] = ()
    physics: Mapping[str, float | str] = field(default_factory=dict)


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


def batch_on_record(written: Written, pour: Pour, recipe: Recipe) -> Batch:
    """What is on record of a pour; the planned mass and the displacement values are those somebody calculated with."""
    decimals = decimals_of(recipe.readability_g)
    holes = [recipe.place(unit) for unit in range(recipe.units)]
    return Batch(
        units=tuple(
            Unit(
                name=str(unit + 1),
                pour_order=unit + 1,
                mould=str(holes[unit][0] + 1),
                cavity=str(holes[unit][1] + 1),
                mass_g=mass,
            )
            for unit, mass in enumerate(written.masses_g)
        ),
        assays=tuple(
            Assay(
                unit=str(assay.unit + 1),
                active=recipe.ingredients[assay.active].name,
                part=assay.part,
                content_mg=assay.content_mg,
                part_mass_g=assay.part_mass_g,
            )
            for assay in written.assays
        ),
        actives=tuple(
            Active(
                name=one.name,
                label_claim_mg=Decimal(f"{one.label_mg:g}"),
                displacement=Displacement(given=Decimal(f"{used:.2f}"), convention=DisplacementConvention.VALUE),
                state=State.SUSPENDED if one.suspended else State.DISSOLVED,
                amount_weighed_g=as_read(weighed / 1000.0, decimals=3),
                assay_repeatability_percent=Decimal(f"{100 * recipe.assay:.2f}"),
            )
            for one, used, weighed in zip(recipe.ingredients, pour.used_displacements, recipe.weighed_mg(), strict=True)
        ),
        cavity_pours=tuple(
            CavityPour(mould=str(hole // recipe.cavities + 1), cavity=str(hole % recipe.cavities + 1), base_mass_g=mass)
            for hole, mass in written.base_pours_g
        ),
        dosage_form="suppositories",
        base=Base.FATTY,
        units_poured=recipe.units,
        nominal_mass_g=Decimal(f"{recipe.base_g:.{decimals}f}"),
        planned_mass_g=as_read(recipe.planned_g(pour.used_displacements), decimals=decimals),
        balance_readability_g=Decimal(f"{recipe.readability_g:g}"),
        balance_repeatability_g=Decimal(f"{recipe.repeatability_g:g}"),
    )


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
