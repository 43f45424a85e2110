"""The limits shown while weighing come from the rule record, as far as form and planned mass settle them."""

from __future__ import annotations

from decimal import Decimal

import pytest

from qc.rules.kinds.mass.record import MassRule
from qc.rules.rule_books import load_rule
from qc.workbook.entry.limits import shown_limits


def mass_rule() -> MassRule:
    rule = load_rule("ph-eur-2.9.5")
    assert isinstance(rule, MassRule)
    return rule


def test_a_form_with_one_row_needs_no_mass() -> None:
    limits = shown_limits(mass_rule(), form="suppositories", planned_mass_g=None)
    row = next(band for band in mass_rule().bands if "suppositories" in band.forms)
    assert (limits.limit_percent, limits.outer_percent) == (row.limit_percent, row.outer_percent)
    assert ("suppositories", row.limit_percent, row.outer_percent) in limits.by_form


@pytest.mark.parametrize(("planned_g", "row"), [("0.0800", 0), ("0.0801", 1), ("0.2499", 1), ("0.2500", 2)])
def test_a_form_with_several_rows_takes_the_row_of_its_planned_mass(planned_g: str, row: int) -> None:
    rows = [band for band in mass_rule().bands if "uncoated tablets" in band.forms]
    limits = shown_limits(mass_rule(), form="uncoated tablets", planned_mass_g=Decimal(planned_g))
    assert limits.limit_percent == rows[row].limit_percent


def test_a_form_with_several_rows_has_no_limit_before_its_mass_is_known() -> None:
    limits = shown_limits(mass_rule(), form="uncoated tablets", planned_mass_g=None)
    assert (limits.limit_percent, limits.outer_percent) == (None, None)


def test_moulded_lozenges_have_no_limit_to_show() -> None:
    limits = shown_limits(mass_rule(), form="moulded lozenges", planned_mass_g=Decimal(1))
    assert (limits.limit_percent, limits.outer_percent) == (None, None)


def test_the_source_names_work_section_and_edition() -> None:
    reference = mass_rule().reference
    source = shown_limits(mass_rule(), form=None, planned_mass_g=None).source
    assert source == f"{reference.work} {reference.section} ({reference.edition})"
