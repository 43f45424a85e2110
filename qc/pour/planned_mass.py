"""What a finished unit should weigh: base capacity of the cavity, plus each dose, less the base it displaces.

Two inverse numbers are in use for the same fact. The displacement value is the mass of active that takes the place of
1 g of base; the displacement factor is the mass of base displaced by 1 g of active. Every line of working says which.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction

from msgspec import Struct

from qc.batch import Batch, Displacement, DisplacementConvention
from qc.quantities import rounded
from qc.results.messages import Message, message


class Dose(Struct, frozen=True, kw_only=True):
    """One active in one unit: how much of it, and how it displaces base.

    Parameters
    ----------
    active : str
        Name of the active.
    dose_mg : Decimal
        Label claim of one unit [mg].
    displacement : Displacement
        The number with the convention it was given in.
    """

    active: str
    dose_mg: Decimal
    displacement: Displacement

    @property
    def dose_g(self) -> Fraction:
        """Dose of one unit [g]."""
        return Fraction(self.dose_mg) / 1000

    @property
    def displaced_g(self) -> Fraction:
        """Base that the dose displaces in one unit [g]."""
        return self.dose_g * self.displacement.factor


class PlannedUnit(Struct, frozen=True, kw_only=True):
    """The planned mass of one unit with its parts, all exact.

    Parameters
    ----------
    mass_g : Fraction
        What the finished unit should weigh [g].
    base_g, displaced_g : Fraction
        Base in the unit, and base that the doses displaced [g].
    working : Message
        The arithmetic in one line, with the convention of every displacement number.
    """

    mass_g: Fraction
    base_g: Fraction
    displaced_g: Fraction
    working: Message


def base_displaced(doses: Sequence[Dose]) -> Fraction:
    """Base that all doses of one unit displace together [g], exact."""
    return sum((dose.displaced_g for dose in doses), Fraction(0))


def planned_mass(nominal_mass_g: Decimal, doses: Sequence[Dose]) -> PlannedUnit:
    """The mass that a unit should have: base capacity plus the sum of d (1 - 1/f) over the doses.

    Parameters
    ----------
    nominal_mass_g : Decimal
        What the cavity holds when it is filled with plain base [g of base].
    doses : sequence of Dose
        Every active of the unit; none for a plain unit.

    Returns
    -------
    PlannedUnit
        Masses exact [g].

    Raises
    ------
    ValueError
        When the capacity, a dose or a displacement number is not greater than zero, or when the doses would displace
        more base than the cavity holds.

    Notes
    -----
    d is the dose [g] and f the displacement value [g of active that displaces 1 g of base]; with the displacement
    factor, its inverse, the term reads d (1 - factor). The volumes are taken to add, which holds for a suspended
    active; for a dissolved one the number must have been found in the same base at a like strength.

    References
    ----------
    The base of one unit is E - f A in the notation of the trade's German tables, f in g of base for 1 g of active:
    PTA-Forum, "Rezeptur gegen den Mangel", page 2 (read); the unit is this base and the dose together.

    Examples
    --------
    >>> number = Displacement(given=Decimal("0.72"), convention=DisplacementConvention.FACTOR)
    >>> unit = planned_mass(Decimal("1.11"), [Dose(active="paracetamol", dose_mg=Decimal(125), displacement=number)])
    >>> float(unit.mass_g), float(unit.base_g)
    (1.145, 1.02)
    """
    if nominal_mass_g <= 0:
        raise ValueError(f"a cavity cannot hold {nominal_mass_g} g of base: give what it holds, for example 2.00")
    for dose in doses:
        if dose.dose_mg <= 0:
            raise ValueError(
                f"{dose.active}: a dose of {dose.dose_mg} mg cannot be poured: give the label claim, for example 250"
            )
        if dose.displacement.given <= 0:
            raise ValueError(
                f"{dose.active}: a displacement number of {dose.displacement.given} has no meaning: "
                "give one above zero, for example 1.5"
            )
    displaced_g = base_displaced(doses)
    base_g = Fraction(nominal_mass_g) - displaced_g
    if base_g < 0:
        raise ValueError(
            f"the doses would displace {float(rounded(displaced_g, decimals=4))} g of base, "
            f"but the cavity holds {nominal_mass_g} g: "
            "take a larger mould, or see whether the displacement number belongs to the other convention"
        )
    mass_g = base_g + sum((dose.dose_g for dose in doses), Fraction(0))
    working = message(
        "pour.planned_unit",
        nominal_g=nominal_mass_g,
        doses=[
            (
                dose.active,
                dose.dose_g,
                dose.displacement.given,
                dose.displacement.convention is DisplacementConvention.VALUE,
            )
            for dose in doses
        ],
        mass_g=mass_g,
    )
    return PlannedUnit(mass_g=mass_g, base_g=base_g, displaced_g=displaced_g, working=working)


def doses_of(batch: Batch) -> tuple[Dose, ...]:
    """The dose of every active; none where the claim or displacement number of one of them is missing."""
    doses = tuple(
        Dose(active=active.name, dose_mg=active.label_claim_mg, displacement=active.displacement)
        for active in batch.actives
        if active.label_claim_mg is not None and active.displacement is not None
    )
    return doses if len(doses) == len(batch.actives) else ()


def overfull(batch: Batch) -> bool:
    """Whether the doses would displace more base than a cavity holds, so that no plan can be worked out."""
    return batch.nominal_mass_g is not None and base_displaced(doses_of(batch)) > Fraction(batch.nominal_mass_g)


def worked_out(batch: Batch) -> PlannedUnit | None:
    """The unit that nominal mass, doses and displacement numbers ask for; None where one is missing, or overfull."""
    doses = doses_of(batch)
    if batch.nominal_mass_g is None or not doses or overfull(batch):
        return None
    return planned_mass(batch.nominal_mass_g, doses)


def unlike_plan(batch: Batch) -> Fraction | None:
    """The planned mass worked out [g], where the one entered differs from it by more than rounding; else None.

    Each number may be off by half of its last digit, or half a hundredth where it is given to fewer decimals: a
    spreadsheet keeps no zeros at the end.
    """
    unit, entered_g, nominal_g = worked_out(batch), batch.planned_mass_g, batch.nominal_mass_g
    if unit is None or entered_g is None or nominal_g is None:
        return None
    off = _half_a_digit(entered_g) + _half_a_digit(nominal_g)
    for dose in doses_of(batch):
        given, factor = dose.displacement.given, dose.displacement.factor
        of_factor = dose.displacement.convention is DisplacementConvention.FACTOR
        off += dose.dose_g * _half_a_digit(given) * (1 if of_factor else factor**2)
    return unit.mass_g if abs(unit.mass_g - Fraction(entered_g)) > off else None


def _half_a_digit(number: Decimal) -> Fraction:
    return Fraction(1, 2 * 10 ** max(2, -int(number.as_tuple().exponent)))
