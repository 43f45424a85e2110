"""The fields of the Batch sheet on what went in and what came out: all optional, nought allowed where it can be."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest

import qc
from qc.batch import Batch

FIELDS = """Melt prepared (g),66.0
Melt left in dish (g),0
Trimmings (g),1.80
Units obtained,30
Units rejected,0
Units sampled,10
Units released,20
Dish assay (mg),0
"""


def read(folder: Path, fields: str) -> Batch:
    (folder / "units.csv").write_text("Unit,Mass (g)\n1,2.013\n2,2.021\n")
    (folder / "batch.csv").write_text(f"Field,Value\nBatch number,B1\n{fields}")
    batch: Batch = qc.read(folder)
    return batch


def test_the_fields_are_read_as_typed(tmp_path: Path) -> None:
    batch = read(tmp_path, FIELDS)
    assert (batch.melt_prepared_g, batch.melt_left_g, batch.trimmings_g) == (
        Decimal("66.0"),
        Decimal(0),
        Decimal("1.80"),
    )
    counts = (batch.units_obtained, batch.units_rejected, batch.units_sampled, batch.units_released)
    assert counts == (30, 0, 10, 20)
    assert batch.dish_assay_mg == 0
    assert batch.notices == ()


def test_they_may_all_be_left_out(tmp_path: Path) -> None:
    batch = read(tmp_path, "")
    assert (batch.melt_prepared_g, batch.units_obtained, batch.units_rejected, batch.dish_assay_mg) == (None,) * 4


@pytest.mark.parametrize(
    ("field", "value", "message"),
    [
        (
            "Units rejected",
            "-1",
            "units rejected -1 is not a whole number from 0 up. Type a whole number, for example 0.",
        ),
        (
            "Units sampled",
            "2.5",
            "units sampled 2.5 is not a whole number from 0 up. Type a whole number, for example 10.",
        ),
        (
            "Units obtained",
            "0",
            "units obtained 0 is not a whole number from 1 up. Type a whole number, for example 30.",
        ),
        (
            "Melt prepared (g)",
            "0",
            "melt prepared is 0. Type the melt prepared, for example 64.5, or leave the cell empty.",
        ),
        (
            "Dish assay (mg)",
            "-3",
            "dish assay -3 is negative. Type what was measured, for example 130.",
        ),
    ],
)
def test_a_value_that_cannot_be_is_refused_with_its_cell(tmp_path: Path, field: str, value: str, message: str) -> None:
    with pytest.raises(qc.InputProblems) as caught:
        read(tmp_path, f"{field},{value}\n")
    assert [str(problem) for problem in caught.value.problems] == [f"batch.csv, batch!B3: {message}"]
