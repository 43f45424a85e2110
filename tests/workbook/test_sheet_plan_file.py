"""A plan file is read strictly: every problem at once, each with its key and its mend."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest

from qc.batch import Base, Displacement, DisplacementConvention, State
from qc.problems import InputProblems
from qc.workbook.entry.plan import FillingOrder
from qc.workbook.entry.plan_file import read_plan

WHOLE = """
batch_number = "0042"
product = "Pessaries 500 mg / 100 mg"
dosage_form = "pessaries"
base = "water-soluble"
moulds = ["P", "Q"]
cavities = 6
units = 10
filling_order = "cavity by cavity"
nominal_mass_g = 3.00
balance_readability_g = 0.001
rules = "ph-eur"

[[active]]
name = "metronidazole"
label_claim_mg = 500
displacement_value = 1.70
state = "suspended"

[[active]]
name = "miconazole nitrate"
label_claim_mg = 100
displacement_factor = 0.625
"""


def plan_file(folder: Path, text: str) -> Path:
    path = folder / "plan.toml"
    path.write_text(text, encoding="utf-8")
    return path


def problems_of(path: Path) -> list[str]:
    with pytest.raises(InputProblems) as refusal:
        read_plan(path)
    return [str(problem) for problem in refusal.value.problems]


def test_a_whole_plan_is_read_exactly(tmp_path: Path) -> None:
    plan = read_plan(plan_file(tmp_path, WHOLE))
    assert (plan.batch_number, plan.dosage_form, plan.base, plan.rules) == (
        "0042",
        "pessaries",
        Base.WATER_SOLUBLE,
        "ph-eur",
    )
    assert (plan.moulds, plan.cavities, plan.unit_count) == (("P", "Q"), 6, 10)
    assert plan.filling_order is FillingOrder.CAVITY_BY_CAVITY
    assert str(plan.nominal_mass_g) == "3.00"
    assert plan.balance_repeatability_g is None
    first, second = plan.actives
    assert first.displacement == Displacement(given=Decimal("1.70"), convention=DisplacementConvention.VALUE)
    assert (first.state, second.state) == (State.SUSPENDED, None)
    assert second.displacement == Displacement(given=Decimal("0.625"), convention=DisplacementConvention.FACTOR)
    # 3.00 + 0.5 (1 - 1/1.70) + 0.1 (1 - 0.625)
    assert plan.planned_mass_g() == Decimal("3.2434")


def test_moulds_and_cavities_are_enough(tmp_path: Path) -> None:
    assert read_plan(plan_file(tmp_path, 'moulds = ["A"]\ncavities = 12')).unit_count == 12


def test_every_problem_is_named_at_once(tmp_path: Path) -> None:
    text = """
nominal_mas_g = 2.0
product = 5
base = "fat"
moulds = []
units = 2.5
balance_readability_g = "0.001 g"
balance_repeatability_g = 0

[[active]]
nam = "paracetamol"
label_claim_mg = 250
displacement_value = 1.4
displacement_factor = 0.7
state = "melted"

[[active]]
name = "codeine"
"""
    assert problems_of(plan_file(tmp_path, text)) == [
        "plan.toml, nominal_mas_g: this key is not known. Did you mean nominal_mass_g?",
        "plan.toml, active 1, nam: this key is not known. Did you mean name?",
        'plan.toml, active 1, state: "melted" is not known. Write suspended or dissolved.',
        'plan.toml, active 1, name: the active has no name. Add a line, for example name = "paracetamol".',
        "plan.toml, active 1, displacement_factor: displacement value and displacement factor are both given. "
        "Keep the one that your source gives; they are each other's inverse.",
        "plan.toml, active 2, label_claim_mg: the label claim is missing. "
        "Add a line, for example label_claim_mg = 250.",
        'plan.toml, moulds: [] is not a list of names. Name each mould, for example moulds = ["A", "B"].',
        "plan.toml, cavities: the plan does not say how many. Add a line, for example cavities = 12.",
        "plan.toml, units: 2.5 is not a whole number above nought. Type it in digits, for example units = 12.",
        'plan.toml, base: "fat" is not known. Write fatty or water-soluble.',
        'plan.toml, product: 5 is not text. Put it in quotation marks: "5".',
        'plan.toml, balance_readability_g: "0.001 g" is not a number. '
        "Type it in digits without quotation marks or unit.",
        "plan.toml, balance_repeatability_g: 0 is not above nought. Give the amount, or take the line out.",
    ]


def test_a_key_near_none_is_told_the_known_ones(tmp_path: Path) -> None:
    (problem,) = problems_of(
        plan_file(tmp_path, 'moulds = ["A"]\ncavities = 12\n[[active]]\nlabel_claim_mg = 1\nxyz = 1\nname = "a"')
    )
    assert problem == (
        "plan.toml, active 1, xyz: this key is not known. "
        "Known are name, label_claim_mg, displacement_value, displacement_factor, state."
    )


def test_a_plan_that_cannot_be_poured_is_refused(tmp_path: Path) -> None:
    text = """
moulds = ["A"]
cavities = 12
nominal_mass_g = 1
[[active]]
name = "a"
label_claim_mg = 500
displacement_value = 0.4
"""
    assert problems_of(plan_file(tmp_path, text)) == [
        "plan.toml: the doses would displace 1.25 g of base, but the cavity holds 1 g. "
        "Take a larger mould, or see whether the displacement number belongs to the other convention."
    ]


def test_two_moulds_of_one_name_are_refused(tmp_path: Path) -> None:
    assert problems_of(plan_file(tmp_path, 'moulds = ["A", "A"]\ncavities = 12')) == [
        "plan.toml: two moulds of the plan share a name (A, A). Name each mould once."
    ]


def test_a_missing_file_and_a_broken_one_are_refused(tmp_path: Path) -> None:
    assert problems_of(tmp_path / "plan.toml") == ["plan.toml: there is no such file. Look for a slip in its name."]
    (problem,) = problems_of(plan_file(tmp_path, "moulds = ["))
    assert problem.startswith("plan.toml: the file is not sound TOML: ")
    assert problem.endswith(" Mend the line it names.")
