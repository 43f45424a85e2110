"""The limits shown while weighing come from the rule record, as far as form and planned mass settle them."""

from __future__ import annotations

from fractions import Fraction

import pytest

from qc.rules.kinds.mass.record import MassRule
from qc.rules.rule_books import load_rule
from qc.workbook.entry.units import planned_row, rows_at_every_mass, source_of


def mass_rule() -> MassRule:
    rule = load_rule("ph-eur-2.9.5")
    assert isinstance(rule, MassRule)
    return rule


def test_a_form_with_one_row_needs_no_mass() -> None:
    row = next(band for band in mass_rule().bands if "suppositories" in band.forms)
    assert planned_row(mass_rule(), form="suppositories", planned_mass_g=None) == row
    assert rows_at_every_mass(mass_rule())["suppositories"] == row


@pytest.mark.parametrize(("planned_g", "row"), [("0.0800", 0), ("0.0801", 1), ("0.2499", 1), ("0.2500", 2)])
def test_a_form_with_several_rows_takes_the_row_of_its_planned_mass(planned_g: str, row: int) -> None:
    rows = [band for band in mass_rule().bands if "uncoated tablets" in band.forms]
    assert planned_row(mass_rule(), form="uncoated tablets", planned_mass_g=Fraction(planned_g)) == rows[row]


@pytest.mark.parametrize(
    ("form", "planned_g"), [("uncoated tablets", None), ("moulded lozenges", Fraction(1)), (None, Fraction(1))]
)
def test_there_is_no_limit_before_form_and_mass_settle_one(form: str | None, planned_g: Fraction | None) -> None:
    assert planned_row(mass_rule(), form=form, planned_mass_g=planned_g) is None


def test_the_source_names_work_section_and_edition() -> None:
    reference = mass_rule().reference
    assert source_of(mass_rule()) == f"{reference.work} {reference.section} ({reference.edition})"
