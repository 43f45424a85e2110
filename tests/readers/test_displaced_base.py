from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from qc.problems import InputProblems
from qc.readers.options import ReadOptions
from qc.readers.read import read_batch

Refused = Callable[..., list[str]]
BookOf = Callable[..., Path]


def sheets(*actives: list[Any], heading: str = "Displacement value", nominal: Any = 2) -> dict[str, list[list[Any]]]:
    return {
        "Batch": [["Field", "Value"], ["Product", "x"], ["Nominal mass (g)", nominal]],
        "Actives": [["Active", "Label claim (mg)", heading], *actives],
        "Units": [["Unit", "Mass (g)"], [1, 2.0]],
    }


def test_doses_that_displace_more_base_than_the_cavity_holds_are_refused_with_every_cell(
    book_of: BookOf, refused: Refused
) -> None:
    assert refused(book_of(**sheets(["a", 500, 1.5], ["b", 250, "0.05"]))) == [
        "batch.xlsx, Actives!C3: the doses would displace 5.3333 g of base (B2 and C2; B3 and C3), but the cavity "
        "holds 2 g (Batch!B3). See whether the displacement number belongs to the other convention, the label claim "
        "is in mg, and the nominal mass is what the cavity holds of plain base."
    ]


def test_a_displacement_factor_is_named_by_its_own_cell(book_of: BookOf, refused: Refused) -> None:
    assert refused(book_of(**sheets(["a", 1000, 2.5], heading="Displacement factor"))) == [
        "batch.xlsx, Actives!C2: the doses would displace 2.5 g of base (B2 and C2), but the cavity holds 2 g "
        "(Batch!B3). See whether the displacement number belongs to the other convention, the label claim is in mg, "
        "and the nominal mass is what the cavity holds of plain base."
    ]


@pytest.mark.parametrize(("claim", "is_refused"), [("1999", False), ("2000", False), ("2000.1", True)])
def test_a_cavity_filled_by_the_dose_alone_is_the_limit(
    book_of: BookOf, refused: Refused, claim: str, is_refused: bool
) -> None:
    path = book_of(**sheets(["a", claim, 1]))
    if is_refused:
        assert len(refused(path)) == 1
    else:
        assert len(read_batch(path).actives) == 1


def test_an_active_without_a_displacement_number_is_left_out(book_of: BookOf) -> None:
    assert len(read_batch(book_of(**sheets(["a", 900, None], ["b", 250, 1.5]))).actives) == 2


def test_numbers_are_quoted_as_typed(book_of: BookOf, refused: Refused) -> None:
    head = ["Active", "Displacement value", "Displacement factor", "Batch assay (% of label)"]
    path = book_of(Actives=[head, ["a", "1.5e0", "0.80", "9.9e-1"]], Units=[["Unit", "Mass (g)"], [1, 2.0]])
    assert refused(path) == [
        "batch.xlsx, Actives!B2: the displacement value 1.5e0 and the displacement factor 0.80 in C2 are not each "
        "other's inverse (1 / 1.5e0 is 0.6667). Keep the one whose convention your source states, and clear the other.",
        "batch.xlsx, Actives!D2: batch assay 9.9e-1 % of label looks like a fraction of one. Type it in percent, for "
        "example 99.",
    ]


class TestClaimsAboveTheMass:
    """A unit holds no more of its actives than it weighs: a claim is in g there, or the masses are in mg."""

    def test_one_claim(self, book_of: BookOf, refused: Refused) -> None:
        book = sheets(["a", 250_000, 1.5])
        assert refused(book_of(**book)) == [
            "batch.xlsx, Actives!B2: label claim 250000 mg is more than a unit weighs: the median mass is 2 g. See in "
            "which unit of mass the label claim is given, and in which the units were weighed."
        ]

    def test_several_claims_add_up(self, book_of: BookOf, refused: Refused) -> None:
        assert refused(book_of(**sheets(["a", 900, None], ["b", 1200, None], nominal=None))) == [
            "batch.xlsx, Actives!B3: label claim 1200 mg (all claims together 2100 mg) is more than a unit weighs: the "
            "median mass is 2 g. See in which unit of mass the label claim is given, and in which the units were "
            "weighed."
        ]

    @pytest.mark.parametrize(("claim", "is_refused"), [("1800", False), ("1800.1", True), ("2000.1", True)])
    def test_a_claim_of_nine_tenths_of_a_bare_unit_is_the_limit(
        self, tmp_path: Path, claim: str, is_refused: bool
    ) -> None:
        """The rest is base: what holds more is a list of contents that were taken for masses."""
        path = tmp_path / "units.csv"
        path.write_text("Unit,Mass (g)\n1,2.0\n2,2.0\n", encoding="utf-8")
        if not is_refused:
            assert read_batch(path, options=ReadOptions(label_mg=Decimal(claim))).actives
            return
        with pytest.raises(InputProblems) as caught:
            read_batch(path, options=ReadOptions(label_mg=Decimal(claim)))
        share, more = ("", "") if claim == "2000.1" else ("nine tenths of what ", "; contents stand under Content (mg)")
        assert [str(one) for one in caught.value.problems] == [
            f"units.csv: --label-mg {claim} mg is more than {share}a unit weighs: the median mass is 2.0 g. See in "
            f"which unit of mass the label claim is given, and in which the units were weighed{more}."
        ]


class TestMassesInTheOtherUnit:
    """Every mass of the record may stand in g or in mg, as its heading says."""

    def test_facts_of_the_batch(self, book_of: BookOf) -> None:
        facts = [["Planned mass (mg)", "2050"], ["Nominal mass (mg)", 2000], ["Balance readability (mg)", 1]]
        batch = read_batch(book_of(Batch=[["Field", "Value"], *facts], Units=[["Unit", "Mass (g)"], [1, 2.0]]))
        assert (batch.planned_mass_g, batch.nominal_mass_g) == (Decimal("2.050"), 2)
        assert batch.balance_readability_g == Decimal("0.001")
        assert batch.notices == ()

    def test_actives_and_calibration_pours(self, book_of: BookOf) -> None:
        book = {
            "Actives": [["Active", "Label claim (g)", "Amount weighed (mg)"], ["a", 0.25, 7500]],
            "Cavities": [["Mould", "Cavity", "Base mass (mg)"], ["A", "1", 1985]],
            "Units": [["Unit", "Mass (g)"], [1, 2.0]],
        }
        batch = read_batch(book_of(**book))
        assert (batch.actives[0].label_claim_mg, batch.actives[0].amount_weighed_g) == (250, Decimal("7.5"))
        assert batch.cavity_pours[0].base_mass_g == Decimal("1.985")

    def test_a_fact_stands_once_whatever_its_unit(self, book_of: BookOf, refused: Refused) -> None:
        facts = [["Planned mass (mg)", 2050], ["Planned mass (g)", 2.05]]
        assert refused(book_of(Batch=[["Field", "Value"], *facts], Units=[["Unit", "Mass (g)"], [1, 2.0]])) == [
            'batch.xlsx, Batch!A3: the field "Planned mass (g)" stands again, after A2. Keep one of A2 and A3.'
        ]

    @pytest.mark.parametrize(
        ("field", "typed", "plausible", "other"),
        [
            ("Planned mass (g)", 2050, "0.03 to 25 g", "Planned mass (mg)"),
            ("Nominal mass (mg)", "2.0", "30 to 25000 mg", "Nominal mass (g)"),
        ],
    )
    def test_a_mass_that_no_unit_has_is_refused_with_the_other_unit(
        self, book_of: BookOf, refused: Refused, field: str, typed: Any, plausible: str, other: str
    ) -> None:
        book = {"Batch": [["Field", "Value"], [field, typed]], "Units": [["Unit", "Mass (g)"], [1, 2.0]]}
        noun, unit = field.split(" (")[0].lower(), field[-2] if field.endswith("(g)") else "mg"
        assert refused(book_of(**book)) == [
            f"batch.xlsx, Batch!B2: {noun} {typed} {unit} is not plausible: {plausible} is. Type what one unit "
            "weighs; in "
            f"the other unit of mass the field is called {other}."
        ]
