"""A planned batch: what is known before the pour, so that the sheet comes with its units, cavities and planned mass."""

from __future__ import annotations

from enum import StrEnum

from msgspec import Struct
from msgspec.structs import replace

from qc.batch import Batch, Unit
from qc.fields.sheets import USUAL_MASS_G
from qc.judging.applicable import asked_tests
from qc.pour.planned_mass import PlannedUnit, doses_of, planned_mass
from qc.quantities import rounded
from qc.results import Message, message
from qc.rules.forms import find_form, usual_mass_g
from qc.rules.kinds import kind_of
from qc.rules.rule_books import rule_book

# Planned masses are written to a tenth of a milligram: finer than any balance that weighs units.
PLANNED_DECIMALS = 4

# More than any batch that is poured by hand; beyond it a spreadsheet is the wrong place.
MOST_UNITS = 10_000


class FillingOrder(StrEnum):
    """In which order the cavities of several moulds are filled."""

    MOULD_BY_MOULD = "mould by mould"
    CAVITY_BY_CAVITY = "cavity by cavity"


class Plan(Struct, frozen=True, kw_only=True):
    """What is known of a batch before it is poured.

    Parameters
    ----------
    moulds : tuple of str
        Names of the moulds in the order they are filled.
    cavities : int
        Cavities of each mould [-].
    units : int or None
        Units to pour [-]; None fills every cavity once. More than there are cavities begins with the first mould anew.
    filling_order : FillingOrder
        Mould by mould, or the first cavity of every mould before the second.
    batch : Batch
        Its actives and facts, as they shall stand on the sheets; it has no units yet.

    Raises
    ------
    ValueError
        When the plan cannot be poured: no mould, no cavity, a mould named twice, a cavity that no unit of the form
        fits, doses that do not fit the cavity.
    """

    moulds: tuple[str, ...]
    cavities: int
    units: int | None = None
    filling_order: FillingOrder = FillingOrder.MOULD_BY_MOULD
    batch: Batch = Batch(units=())

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
        nominal_g, form = self.batch.nominal_mass_g, self.batch.dosage_form
        least, most = usual_mass_g(form) or (USUAL_MASS_G.floor, USUAL_MASS_G.ceiling)
        if nominal_g is not None and not least <= nominal_g <= most:
            raise ValueError(
                f"a cavity for {form or 'moulded units'} that holds {nominal_g} g of base is not plausible, "
                f"{least} to {most} g is: give the nominal mass in grams, for example 2.00"
            )
        # A plan whose doses do not fit the cavity is refused here, before anything is made of it.
        self.planned_unit()

    @property
    def unit_count(self) -> int:
        """Units to pour [-]."""
        return len(self.moulds) * self.cavities if self.units is None else self.units

    def planned_unit(self) -> PlannedUnit | None:
        """The planned mass of a unit; None where the capacity, a claim or a displacement number is not known."""
        nominal_g, doses = self.batch.nominal_mass_g, doses_of(self.batch)
        if nominal_g is None or len(doses) < len(self.batch.actives):
            return None
        return planned_mass(nominal_g, doses)

    def places(self) -> tuple[tuple[str, str], ...]:
        """Mould and cavity of each unit, in pour order.

        Examples
        --------
        >>> Plan(moulds=("A", "B"), cavities=2, filling_order=FillingOrder.CAVITY_BY_CAVITY).places()
        (('A', '1'), ('B', '1'), ('A', '2'), ('B', '2'))
        """
        cavities = [str(number) for number in range(1, self.cavities + 1)]
        if self.filling_order is FillingOrder.MOULD_BY_MOULD:
            one_round = [(mould, cavity) for mould in self.moulds for cavity in cavities]
        else:
            one_round = [(mould, cavity) for cavity in cavities for mould in self.moulds]
        return tuple(one_round[place % len(one_round)] for place in range(self.unit_count))

    def planned_batch(self) -> Batch:
        """The batch with units that have a name, an order and a cavity, and no mass yet; its planned mass [g]."""
        unit = self.planned_unit()
        return replace(
            self.batch,
            units=tuple(
                Unit(name=str(order), pour_order=order, mould=mould, cavity=cavity)
                for order, (mould, cavity) in enumerate(self.places(), start=1)
            ),
            units_poured=self.unit_count,
            planned_mass_g=None if unit is None else rounded(unit.mass_g, decimals=PLANNED_DECIMALS),
        )


def few_for_a_second_stage(plan: Plan) -> Message | None:
    """What to know of a plan that pours fewer units than a second stage of its content tests takes; else None."""
    batch = plan.planned_batch()
    form = find_form(batch.dosage_form) if batch.dosage_form else None
    asked = asked_tests(batch, form=form.name if form else "", actives=batch.actives, book=rule_book(batch.rules))
    needed = {one.rule.id: sum(kind_of(one.rule).sizes(one.rule)) for one in asked if kind_of(one.rule).per_active}
    rules = [rule for rule, units in needed.items() if units > plan.unit_count]
    if not rules:
        return None
    most = max(needed.values())
    return message("advice.few_poured", units=plan.unit_count, rules=rules, needed=most)
