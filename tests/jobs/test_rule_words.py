"""Unknown words of the rules are refused with their cell, from Python and by the main job alike."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import openpyxl
import pytest

import qc
from qc.jobs.check import check_batch
from qc.problems import InputProblems
from qc.readers.options import ReadOptions


@pytest.fixture
def misspelt(tmp_path: Path) -> Path:
    book = openpyxl.Workbook()
    units, batch = book.create_sheet("Units"), book.create_sheet("Batch")
    for unit in (["Unit", "Mass (g)"], [1, 2.0]):
        units.append(unit)
    for fact in (["Field", "Value"], ["Dosage form", "supositories"], ["Rules", "harmonized"]):
        batch.append(fact)
    book.save(tmp_path / "batch.xlsx")
    return tmp_path / "batch.xlsx"


FORM = (
    'batch.xlsx, Batch!B2: dosage form "supositories" is none that a rule here names. '
    "Type suppositories if that is meant."
)
RULES = (
    'batch.xlsx, Batch!B3: no rule set or rule has the name "harmonized". Type harmonised if that is meant; '
    "qc rules lists them all, or the path of a house rule file that ends in .toml."
)


def read(path: Path) -> object:
    return qc.read(path)


def check(path: Path) -> object:
    return check_batch(path, options=ReadOptions())


@pytest.mark.parametrize("call", [read, check])
def test_an_unknown_form_and_an_unknown_name_of_rules(misspelt: Path, call: Callable[[Path], object]) -> None:
    with pytest.raises(qc.InputProblems, match="supositories") as caught:
        call(misspelt)
    assert [str(problem) for problem in caught.value.problems] == [FORM, RULES]


def test_rules_given_in_the_call_leave_the_form_alone(misspelt: Path) -> None:
    with pytest.raises(qc.InputProblems, match="supositories") as caught:
        check_batch(misspelt, options=ReadOptions(), rules="br")
    assert [str(problem) for problem in caught.value.problems] == [FORM]


@pytest.mark.parametrize("said", ["Suppository", "suppositories", "SUPPOSITORIES "])
def test_a_form_is_the_same_by_each_of_its_names(said: str, tmp_path: Path) -> None:
    (tmp_path / "batch").mkdir()
    (tmp_path / "batch" / "units.csv").write_text("Unit,Mass (g)\n1,2.01\n2,2.02\n")
    (tmp_path / "batch" / "batch.csv").write_text("Field,Value\nDosage form,suppositories\n")
    assert check_batch(tmp_path / "batch", options=ReadOptions(form=said)).judged.batch.dosage_form == "suppositories"
    with pytest.raises(InputProblems, match='the call says "pessary"'):
        check_batch(tmp_path / "batch", options=ReadOptions(form="pessary"))


def test_the_rules_that_a_file_names_judge_it_where_the_call_names_none(tmp_path: Path) -> None:
    (tmp_path / "units.csv").write_text("Unit,Mass (g)\n1,2.01\n2,2.02\n")
    (tmp_path / "batch.csv").write_text("Field,Value\nDosage form,suppositories\nRules,br\n")
    judged = {rules: check_batch(tmp_path, options=ReadOptions(), rules=rules) for rules in (None, "ph-eur")}
    assert {rules: (one.judged.rule_set, one.asked.rules) for rules, one in judged.items()} == {
        None: ("br", "br"), "ph-eur": ("ph-eur", "ph-eur")
    }  # fmt: skip
    assert qc.judge(judged[None].judged.batch).judged.rule_set == "br"
    assert qc.judge(judged[None].judged.batch, rules="ph-eur").judged.rule_set == "ph-eur"


def test_masses_are_held_against_what_units_of_the_form_weigh(tmp_path: Path) -> None:
    (tmp_path / "units.csv").write_text("Unit,Mass (g)\n1,30.01\n2,30.02\n")
    with pytest.raises(InputProblems) as refused:
        check_batch(tmp_path / "units.csv", options=ReadOptions(form="suppositories"))
    assert [str(one) for one in refused.value.problems] == [
        "units.csv, B1: the median mass 30.015 g is not plausible: 0.2 to 6 g is. If they were weighed in mg, head the "
        "column Mass (mg)."
    ]
