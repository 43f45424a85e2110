"""A planned batch: places in pour order, planned mass, and what cannot be planned."""

from __future__ import annotations

from decimal import Decimal

import pytest

from qc.batch import Active, Base, Batch, Displacement, DisplacementConvention, State
from qc.workbook.entry.plan import FillingOrder, Plan

PARACETAMOL = Active(
    name="paracetamol",
    label_claim_mg=Decimal(250),
    displacement=Displacement(given=Decimal("1.25"), convention=DisplacementConvention.VALUE),
    state=State.SUSPENDED,
)


def planned(*actives: Active, nominal_mass_g: Decimal | None) -> Plan:
    batch = Batch(units=(), actives=actives, nominal_mass_g=nominal_mass_g)
    return Plan(moulds=("A",), cavities=6, batch=batch)


def test_mould_by_mould_fills_a_mould_before_the_next() -> None:
    plan = Plan(moulds=("A", "B"), cavities=2)
    assert plan.places() == (("A", "1"), ("A", "2"), ("B", "1"), ("B", "2"))


def test_cavity_by_cavity_goes_across_the_moulds() -> None:
    plan = Plan(moulds=("A", "B"), cavities=2, filling_order=FillingOrder.CAVITY_BY_CAVITY)
    assert plan.places() == (("A", "1"), ("B", "1"), ("A", "2"), ("B", "2"))


def test_more_units_than_cavities_begin_with_the_first_mould_anew() -> None:
    assert Plan(moulds=("A",), cavities=2, units=3).places() == (("A", "1"), ("A", "2"), ("A", "1"))


def test_fewer_units_than_cavities_leave_the_last_cavities_empty() -> None:
    assert Plan(moulds=("A", "B"), cavities=2, units=3).places()[-1] == ("B", "1")


def test_the_planned_batch_holds_what_was_planned_and_no_mass() -> None:
    plan = Plan(
        moulds=("A", "B"),
        cavities=6,
        batch=Batch(
            units=(),
            dosage_form="suppositories",
            base=Base.FATTY,
            actives=(PARACETAMOL,),
            nominal_mass_g=Decimal("2.00"),
        ),
    )
    batch = plan.planned_batch()
    assert batch.planned_mass_g == Decimal("2.0500")
    assert batch.units_poured == 12
    assert [unit.pour_order for unit in batch.units] == list(range(1, 13))
    assert batch.weighed == ()
    assert batch.number is None
    assert batch.actives[0].displacement == PARACETAMOL.displacement


def test_doses_that_do_not_fit_the_cavity_are_refused_with_the_plan() -> None:
    with pytest.raises(ValueError) as refusal:
        planned(PARACETAMOL, nominal_mass_g=Decimal("0.10"))
    assert str(refusal.value) == (
        "the doses would displace 0.2 g of base, but the cavity holds 0.10 g: take a larger mould, "
        "or see whether the displacement number belongs to the other convention"
    )


@pytest.mark.parametrize(("form", "nominal"), [("suppositories", "2000"), ("suppositories", "0.1"), (None, "25.1")])
def test_a_cavity_that_no_unit_fits_is_refused_with_what_one_holds(form: str | None, nominal: str) -> None:
    with pytest.raises(ValueError) as refusal:
        Plan(moulds=("A",), cavities=6, batch=Batch(units=(), dosage_form=form, nominal_mass_g=Decimal(nominal)))
    plausible = "0.2 to 6.0 g" if form else "0.03 to 25 g"
    assert str(refusal.value) == (
        f"a cavity for {form or 'moulded units'} that holds {nominal} g of base is not plausible, {plausible} is: give "
        "the nominal mass in grams, for example 2.00"
    )


def test_ten_thousand_units_are_still_planned() -> None:
    assert Plan(moulds=("A",), cavities=6, units=10_000).unit_count == 10_000


def test_without_capacity_or_displacement_no_mass_is_planned() -> None:
    bare = Active(name="paracetamol", label_claim_mg=Decimal(250))
    assert planned(PARACETAMOL, nominal_mass_g=None).planned_unit() is None
    assert planned(bare, nominal_mass_g=Decimal(2)).planned_unit() is None


def test_a_plain_unit_weighs_what_the_cavity_holds() -> None:
    assert planned(nominal_mass_g=Decimal(2)).planned_batch().planned_mass_g == 2


@pytest.mark.parametrize(
    ("moulds", "cavities", "units", "message"),
    [
        ((), 6, None, "the plan names no mould: name at least one, for example A"),
        (("A", "A"), 6, None, "two moulds of the plan share a name (A, A): name each mould once"),
        (("A",), 0, None, "a mould of 0 cavities holds nothing: give how many it has, for example 12"),
        (("A",), 6, 0, "a batch of 0 units cannot be planned: give how many are poured, at least 1"),
        (
            ("A",),
            6,
            10_001,
            "a plan of 10001 units is more than one sheet holds: plan at most 10000, and split the batch",
        ),
    ],
)
def test_what_cannot_be_planned_is_refused_with_its_mend(
    moulds: tuple[str, ...], cavities: int, units: int | None, message: str
) -> None:
    with pytest.raises(ValueError) as refusal:
        Plan(moulds=moulds, cavities=cavities, units=units)
    assert str(refusal.value) == message
