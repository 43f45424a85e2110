from __future__ import annotations

from decimal import Decimal

import pandas
import pytest

from qc.problems import InputProblems
from qc.readers.frames import batch_from_frames


def test_frames_with_the_headings_of_the_workbook_make_a_batch() -> None:
    batch = batch_from_frames(
        units=pandas.DataFrame({"Unit": [1, 2], "Pour order": [1.0, None], "Mass (g)": [2.1, float("nan")]}),
        batch={"Batch number": "B 1", "Nominal mass (g)": Decimal("2.00")},
        assay=pandas.DataFrame({"Unit": [1, 2], "Content (% of label)": [99.5, 100]}),
        actives=pandas.DataFrame({"Active": ["paracetamol"], "Label claim (mg)": [125]}),
    )
    assert [(unit.name, unit.pour_order, unit.mass_g) for unit in batch.units] == [
        ("1", 1, Decimal("2.1")),
        ("2", None, None),
    ]
    assert (batch.number, str(batch.nominal_mass_g), batch.assays[0].active) == ("B 1", "2.00", "paracetamol")


def test_a_problem_of_a_frame_names_column_and_row() -> None:
    with pytest.raises(InputProblems, match=r"letter O") as caught:
        batch_from_frames(units=pandas.DataFrame({"Unit": ["a", "b"], "Mass (g)": ["2.0", "2.1O"]}))
    assert [str(problem) for problem in caught.value.problems] == [
        'data frames, Units!row 2 of "Mass (g)": mass "2.1O" is not a number (it ends in the letter O). Type it '
        "in digits, "
        "for example 2.10."
    ]
