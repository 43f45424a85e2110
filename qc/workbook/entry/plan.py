"""A planned batch: what is known before the pour, so that the sheet comes with its units, cavities and planned mass."""

from __future__ import annotations

from decimal import Decimal
from enum import StrEnum

from msgspec import Struct

from qc.batch import Active, Base, Batch, Displacement, State, Unit
from qc.pour.planned_mass import Dose, PlannedUnit, planned_mass
from qc.quantities import rounded

# Planned masses are written to a tenth of a milligram: finer than any balance that weighs units.
PLANNED_DECIMALS = 4

# More than any batch that is poured by hand; beyond it a spreadsheet is the wrong place.
MOST_UNITS = 10_000


class FillingOrder(StrEnum):
    """In which order the cavities of several moulds are filled."""

    MOULD_BY_MOULD = "mould by mould"
    CAVITY_BY_CAVITY = "cavity by cavity"


class PlannedActive(Struct, frozen=True, kw_only=True):
    """One active as planned: claim, displacement number with its convention, state in the base."""

    name: str
    label_claim_mg: Decimal
    displacement: Displacement | None = None
    state: State | None = None


class Plan(Struct, frozen=True, kw_only=True):
    """What is known of a batch before it is poured.

    Parameters
    ----------
    dosage_form, product, batch_number : str
        As they shall stand on the sheet Batch; empty where not known.
    base : Base or None
        What the units are cast in.
    actives : tuple of PlannedActive
        Every active of the unit.
    moulds : tuple of str
        Names of the moulds in the order they are filled.
    cavities : int
        Cavities of each mould [-].
    units : int or None
        Units to pour [-]; None fills every cavity once. More than there are cavities begins with the first mould anew.
    nominal_mass_g : Decimal or None
        What a cavity holds in plain base [g].
    balance_readability_g, balance_repeatability_g : Decimal or None
        Of the balance that will be used [g].
    filling_order : FillingOrder
        Mould by mould, or the first cavity of every mould before the second.
    rules : str
        The rule set to judge by; empty for the default.

    Raises
    ------
    ValueError
        When the plan cannot be poured: no mould, no cavity, a mould named twice, doses that do not fit the cavity.
    """

    moulds: tuple[str, ...]
    cavities: int
    dosage_form: str = ""
    product: str = ""
    batch_number: str = ""
    base: Base | None = None
    actives: tuple[PlannedActive, ...] = ()
    units: int | None = None
    nominal_mass_g: Decimal | None = None
    balance_readability_g: Decimal | None = None
    balance_repeatability_g: Decimal | None = None
    filling_order: FillingOrder = FillingOrder.MOULD_BY_MOULD
    rules: str = ""

    def __post_init__(self) -> None:
        if not self.moulds:
            raise ValueError("the plan names no mould: name at least one, for example A")
        if len(set(self.moulds)) < len(self.moulds):
            raise ValueError(f"two moulds of the plan share a name ({', '.join(self.moulds)}): name each mould once")
        if self.cavities < 1:
            raise ValueError(f"a mould of {self.cavities} cavities holds nothing: give how many it has, for example 12")
        if self.units is not None and self.units < 1:
            raise ValueError(f"a batch of {self.units} units cannot be planned: give how many are poured, at least 1")
        if self.unit_count > MOST_UNITS:
            raise ValueError(
                f"a plan of {self.unit_count} units is more than one sheet holds: plan at most {MOST_UNITS}, "
                "and split the batch"
            )
        # A plan whose doses do not fit the cavity is refused here, before anything is made of it.
        self.planned_unit()

    @property
    def unit_count(self) -> int:
        """Units to pour [-]."""
        return len(self.moulds) * self.cavities if self.units is None else self.units

    def planned_unit(self) -> PlannedUnit | None:
        """The planned mass of a unit; None where the capacity or a displacement number is not known."""
        if self.nominal_mass_g is None:
            return None
        doses = []
        for active in self.actives:
            if active.displacement is None:
                return None
            doses.append(Dose(active=active.name, dose_mg=active.label_claim_mg, displacement=active.displacement))
        return planned_mass(self.nominal_mass_g, doses)

    def planned_mass_g(self) -> Decimal | None:
        """The planned mass to a tenth of a milligram [g]; None where it cannot be worked out."""
        unit = self.planned_unit()
        return None if unit is None else rounded(unit.mass_g, decimals=PLANNED_DECIMALS)


def places(plan: Plan) -> tuple[tuple[str, str], ...]:
    """Mould and cavity of each unit, in pour order.

    Examples
    --------
    >>> places(Plan(moulds=("A", "B"), cavities=2, filling_order=FillingOrder.CAVITY_BY_CAVITY))
    (('A', '1'), ('B', '1'), ('A', '2'), ('B', '2'))
    """
    cavities = [str(number) for number in range(1, plan.cavities + 1)]
    if plan.filling_order is FillingOrder.MOULD_BY_MOULD:
        one_round = [(mould, cavity) for mould in plan.moulds for cavity in cavities]
    else:
        one_round = [(mould, cavity) for cavity in cavities for mould in plan.moulds]
    return tuple(one_round[place % len(one_round)] for place in range(plan.unit_count))


def planned_batch(plan: Plan) -> Batch:
    """The plan as a batch whose units have a name, an order and a cavity, and no mass yet."""
    units = tuple(
        Unit(name=str(order), pour_order=order, mould=mould, cavity=cavity)
        for order, (mould, cavity) in enumerate(places(plan), start=1)
    )
    actives = tuple(
        Active(
            name=active.name,
            label_claim_mg=active.label_claim_mg,
            displacement=active.displacement,
            state=active.state,
        )
        for active in plan.actives
    )
    return Batch(
        units=units,
        actives=actives,
        number=plan.batch_number or None,
        product=plan.product or None,
        dosage_form=plan.dosage_form or None,
        base=plan.base,
        units_poured=plan.unit_count,
        nominal_mass_g=plan.nominal_mass_g,
        planned_mass_g=plan.planned_mass_g(),
        balance_readability_g=plan.balance_readability_g,
        balance_repeatability_g=plan.balance_repeatability_g,
        rules=plan.rules or None,
    )
