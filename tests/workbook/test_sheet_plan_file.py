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
    batch = plan.planned_batch()
    assert (batch.number, batch.dosage_form, batch.base, batch.rules) == (
        "0042",
        "pessaries",
        Base.WATER_SOLUBLE,
        "ph-eur",
    )
    assert (plan.moulds, plan.cavities, plan.unit_count) == (("P", "Q"), 6, 10)
    assert plan.filling_order is FillingOrder.CAVITY_BY_CAVITY
    assert str(batch.nominal_mass_g) == "3.00"
    assert batch.balance_repeatability_g is None
    first, second = batch.actives
    assert first.displacement == Displacement(given=Decimal("1.70"), convention=DisplacementConvention.VALUE)
    assert (first.state, second.state) == (State.SUSPENDED, None)
    assert second.displacement == Displacement(given=Decimal("0.625"), convention=DisplacementConvention.FACTOR)
    # 3.00 + 0.5 (1 - 1/1.70) + 0.1 (1 - 0.625)
    assert batch.planned_mass_g == Decimal("3.2434")


def test_moulds_and_cavities_are_enough(tmp_path: Path) -> None:
    assert read_plan(plan_file(tmp_path, 'moulds = ["A"]\ncavities = 12')).unit_count == 12


def test_every_problem_is_named_at_once(tmp_path: Path) -> None:
    text = """
nominal_mas_g = 2.0
product = true
base = "fat"
moulds = []
units = 2.5
balance_readability_g = "about 1"

[[active]]
nam = "paracetamol"
label_claim_mg = 0
state = "melted"

[[active]]
name = "codeine"
displacement_value = 1.4
displacement_factor = 1.4
"""
    assert problems_of(plan_file(tmp_path, text)) == [
        "plan.toml, nominal_mas_g: this key is not known. Did you mean nominal_mass_g?",
        "plan.toml, product: True is neither text nor a number. Write one of the two.",
        'plan.toml, moulds: this is missing. Add a line, for example moulds = ["A", "B"].',
        "plan.toml, cavities: this is missing. Add a line, for example cavities = 12.",
        "plan.toml, nam of active 1: this key is not known. Did you mean name?",
        "plan.toml, label_claim_mg of active 2: this is missing. Add a line, for example label_claim_mg = 125.",
        'plan.toml, balance_readability_g: balance readability "about 1" is not a number '
        '(it begins with the word "about"). Type it in digits, for example 0.001.',
        "plan.toml, units: units 2.5 is not a whole number from 1 up. Type a whole number, for example 24.",
        "plan.toml, label_claim_mg of active 1: label claim is 0. "
        "Type the label claim, for example 125, or leave the cell empty.",
        'plan.toml, base: base "fat" is not known. Type fatty or water-soluble; did you mean fatty?',
        'plan.toml, state of active 1: state "melted" is not known. Type suspended or dissolved.',
        'plan.toml, name of active 1: the row has no active, but "0" stands in label_claim_mg of active 1. '
        "Type the name of the active, or clear the row.",
        "plan.toml, displacement_value of active 2: the displacement value 1.4 and the displacement factor 1.4 in "
        "displacement_factor of active 2 are not each other's inverse (1 / 1.4 is 0.7143). "
        "Keep the one whose convention your source states, and clear the other.",
    ]


def test_a_plan_may_say_what_a_workbook_may(tmp_path: Path) -> None:
    """A unit of measure behind its number, a batch number in digits, both displacement numbers where they agree."""
    text = """
moulds = "A"
cavities = 2
batch_number = 42
balance_readability_g = "0.001 g"
balance_repeatability_g = 0
[[active]]
name = "paracetamol"
label_claim_mg = 250
displacement_value = 1.4
displacement_factor = 0.7
"""
    batch = read_plan(plan_file(tmp_path, text)).planned_batch()
    assert [unit.mould for unit in batch.units] == ["A", "A"]
    assert (batch.number, batch.balance_readability_g, batch.balance_repeatability_g) == ("42", Decimal("0.001"), 0)
    displacement = Displacement(given=Decimal("1.4"), convention=DisplacementConvention.VALUE)
    assert batch.actives[0].displacement == displacement


def test_a_key_near_none_is_told_the_known_ones(tmp_path: Path) -> None:
    (problem,) = problems_of(
        plan_file(tmp_path, 'moulds = ["A"]\ncavities = 12\n[[active]]\nlabel_claim_mg = 1\nxyz = 1\nname = "a"')
    )
    assert problem == (
        "plan.toml, xyz of active 1: this key is not known. "
        "Known are name, label_claim_mg, displacement_value, displacement_factor, state."
    )


def test_a_table_near_none_is_told_the_table_of_actives_too(tmp_path: Path) -> None:
    (problem,) = problems_of(plan_file(tmp_path, 'moulds = ["A"]\ncavities = 12\nxyz = 1'))
    assert problem.endswith(", active.")


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
    assert problems_of(tmp_path / "plan.toml") == [
        "plan.toml: the file cannot be opened (No such file or directory). Check the name and that you may read it."
    ]
    (problem,) = problems_of(plan_file(tmp_path, "moulds = ["))
    assert problem.startswith("plan.toml: the file is not TOML: ")
    assert problem.endswith(" Mend that line; text stands in quotes, numbers do not.")


@pytest.mark.parametrize("actives", ['active = "x"', "active = [1, 2]", "active = 5", 'active = [{name = "x"}, 1]'])
def test_actives_that_are_no_tables_are_refused(tmp_path: Path, actives: str) -> None:
    (tmp_path / "plan.toml").write_text(f'moulds = ["A"]\ncavities = 12\n{actives}\n')
    with pytest.raises(InputProblems) as refused:
        read_plan(tmp_path / "plan.toml")
    assert [str(problem) for problem in refused.value.problems] == [
        "plan.toml, active: the actives are not a list of tables. Begin each with a line [[active]]."
    ]
