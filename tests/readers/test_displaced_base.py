from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

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
    assert len(read_batch(book_of(**sheets(["a", 900_000, None], ["b", 250, 1.5]))).actives) == 2


def test_numbers_are_quoted_as_typed(book_of: BookOf, refused: Refused) -> None:
    head = ["Active", "Displacement value", "Displacement factor", "Batch assay (% of label)"]
    path = book_of(Actives=[head, ["a", "1.5e0", "0.80", "9.9e-1"]], Units=[["Unit", "Mass (g)"], [1, 2.0]])
    assert refused(path) == [
        "batch.xlsx, Actives!B2: the displacement value 1.5e0 and the displacement factor 0.80 in C2 are not each "
        "other's inverse (1 / 1.5e0 is 0.6667). Keep the one whose convention your source states, and clear the other.",
        "batch.xlsx, Actives!D2: batch assay 9.9e-1 % of label looks like a fraction of one. Type it in percent, for "
        "example 99.",
    ]
