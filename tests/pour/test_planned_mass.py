"""Planned mass and melt, against published worked examples and against what the arithmetic promises."""

from __future__ import annotations

import json
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc.batch import Displacement, DisplacementConvention
from qc.pour.planned_mass import Dose, PlannedUnit, planned_mass
from qc.quantities import rounded
from qc.say.messages import words

EXAMPLES: list[dict[str, Any]] = json.loads(
    (Path(__file__).parents[1] / "reference" / "displacement" / "examples.json").read_text(encoding="utf-8")
)
CONVENTIONS = {"value": DisplacementConvention.VALUE, "factor": DisplacementConvention.FACTOR}


def dose(mg: str, number: str, convention: str = "value", active: str = "active") -> Dose:
    return Dose(
        active=active,
        dose_mg=Decimal(mg),
        displacement=Displacement(given=Decimal(number), convention=CONVENTIONS[convention]),
    )


def worked(example: dict[str, Any]) -> dict[str, Fraction]:
    doses = [
        dose(mg, number, example["convention"], active=f"active {place}")
        for place, (mg, number) in enumerate(zip(example["doses_mg"], example["numbers"], strict=True), start=1)
    ]
    unit: PlannedUnit = planned_mass(Decimal(example["nominal_g"]), doses)
    units = example["units"] + example["excess"]
    return {
        "base_g": units * unit.base_g - Fraction(example.get("base_at_hand_g", "0")),
        "total_g": units * unit.mass_g,
        "displaced_g": units * unit.displaced_g,
        "mass_g": unit.mass_g,
        "actives_g": units * sum((one.dose_g for one in doses), Fraction(0)),
    }


def to_its_digits(value: Fraction, digits: str) -> Decimal:
    return rounded(value, decimals=len(digits.partition(".")[2]))


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda example: str(example["id"]))
def test_published_example_is_met_to_the_digits_of_the_unrounded_result(example: dict[str, Any]) -> None:
    found = worked(example)
    assert example["exact"]
    for name, digits in example["exact"].items():
        assert to_its_digits(found[name], digits) == Decimal(digits), name


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda example: str(example["id"]))
def test_a_printed_figure_that_differs_has_its_reason(example: dict[str, Any]) -> None:
    found = worked(example)
    differs = [
        name for name, digits in example["printed"].items() if to_its_digits(found[name], digits) != Decimal(digits)
    ]
    assert bool(differs) == bool(example["why_different"])
    assert bool(differs) == (example["id"] in {"menthol-15", "two-actives-as-asked"})


def test_a_displacement_value_and_its_inverse_factor_plan_the_same_unit() -> None:
    by_value = planned_mass(Decimal("2.00"), [dose("250", "1.25", "value")])
    by_factor = planned_mass(Decimal("2.00"), [dose("250", "0.8", "factor")])
    assert by_value.mass_g == by_factor.mass_g == Fraction("2.05")


def test_the_working_states_the_convention_of_each_number() -> None:
    unit = planned_mass(
        Decimal("2.00"), [dose("250", "1.25", "value", "paracetamol"), dose("20", "0.8", "factor", "codeine phosphate")]
    )
    assert words(unit.working) == (
        "2.00 g base + paracetamol 0.25 g x (1 - 1/1.25) + codeine phosphate 0.02 g x (1 - 0.8) = 2.054 g "
        "(paracetamol: displacement value, 1.25 g of active displaces 1 g of base; "
        "codeine phosphate: displacement factor, 1 g of active displaces 0.8 g of base)"
    )


def test_a_plain_unit_weighs_what_the_cavity_holds() -> None:
    unit = planned_mass(Decimal("2.00"), [])
    assert (unit.mass_g, unit.base_g, words(unit.working)) == (2, 2, "2.00 g base = 2 g")


@pytest.mark.parametrize(
    ("nominal", "mg", "number", "message"),
    [
        ("0", "250", "1.5", "a cavity cannot hold 0 g of base: give what it holds, for example 2.00"),
        ("2", "0", "1.5", "active: a dose of 0 mg cannot be poured: give the label claim, for example 250"),
        ("2", "250", "0", "active: a displacement number of 0 has no meaning: give one above zero, for example 1.5"),
        (
            "1",
            "500",
            "0.4",
            "the doses would displace 1.25 g of base, but the cavity holds 1 g: take a larger mould, "
            "or see whether the displacement number belongs to the other convention",
        ),
    ],
)
def test_what_cannot_be_poured_is_refused_with_its_mend(nominal: str, mg: str, number: str, message: str) -> None:
    with pytest.raises(ValueError) as refusal:
        planned_mass(Decimal(nominal), [dose(mg, number)])
    assert str(refusal.value) == message


def test_a_dose_that_displaces_just_all_the_base_is_planned() -> None:
    assert planned_mass(Decimal("1"), [dose("400", "0.4")]).base_g == 0


masses = st.decimals(min_value="0.5", max_value="5", places=3)
small_doses = st.decimals(min_value="0.1", max_value="150", places=1)
numbers = st.decimals(min_value="0.5", max_value="6", places=2)


@given(nominal=masses, mg=small_doses, number=numbers)
def test_nothing_is_lost_base_and_dose_make_the_unit(nominal: Decimal, mg: Decimal, number: Decimal) -> None:
    plan = [dose(str(mg), str(number))]
    unit = planned_mass(nominal, plan)
    assert unit.base_g + Fraction(mg) / 1000 == unit.mass_g
    assert unit.base_g + unit.displaced_g == nominal


@given(nominal=masses, mg=small_doses, number=numbers)
def test_an_active_denser_than_the_base_makes_the_unit_heavier(nominal: Decimal, mg: Decimal, number: Decimal) -> None:
    mass_g = planned_mass(nominal, [dose(str(mg), str(number))]).mass_g
    assert (mass_g > nominal) == (number > 1)
    assert (mass_g < nominal) == (number < 1)


@given(first=small_doses, second=small_doses, number=numbers)
def test_the_order_of_the_actives_does_not_matter(first: Decimal, second: Decimal, number: Decimal) -> None:
    one, other = dose(str(first), str(number)), dose(str(second), "1.5", "value")
    assert planned_mass(Decimal(2), [one, other]).mass_g == planned_mass(Decimal(2), [other, one]).mass_g
