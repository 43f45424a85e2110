"""The calls of the package, as a person types them."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pandas as pd
import pytest

import qc


@pytest.fixture
def table(tmp_path: Path) -> Path:
    path = tmp_path / "units.csv"
    rows = "".join(f"{unit},{unit},2.0{unit:02d},{98 + unit % 5}\n" for unit in range(1, 21))
    path.write_text(f"Unit,Pour order,Mass (g),Content (mg)\n{rows}", encoding="utf-8")
    return path


def test_three_calls_lead_from_a_file_to_its_document(table: Path) -> None:
    batch = qc.read(str(table), form="suppositories", label_mg=100, displacement="1.5")
    assert batch.actives[0].label_claim_mg == Decimal(100)
    document = qc.judge(batch).as_dict()
    assert document["schema"] == "qc-result/1"
    assert "input" not in document
    # Twenty contents, and nobody said which ten came first.
    assert document["verdict"] == "undecided"


def test_a_batch_of_frames_is_judged_like_its_file(table: Path) -> None:
    from_file = qc.judge(qc.read(table, form="suppositories", label_mg=100), seed=1)
    frame = pd.read_csv(table)
    batch = qc.batch_from_frames(
        units=frame[["Unit", "Pour order", "Mass (g)"]],
        assay=frame[["Unit", "Content (mg)"]],
        actives=pd.DataFrame({"Active": ["active"], "Label claim (mg)": [100]}),
        batch={"Dosage form": "suppositories"},
    )
    from_frames = qc.judge(batch, seed=1)
    assert from_frames.as_dict()["tests"] == from_file.as_dict()["tests"]


def test_the_frame_of_units_has_one_row_a_unit(table: Path) -> None:
    units = qc.judge(qc.read(table, form="suppositories", label_mg=100)).units_frame()
    assert len(units) == 20
    assert units["mass_g"].tolist() == pytest.approx([2 + unit / 1000 for unit in range(1, 21)], abs=1e-12)
    assert set(units["mass_place"]) == {"inside"}
    assert units["active % of label"].tolist() == units["active mg"].tolist()


def test_a_result_shows_itself_in_a_notebook_as_page_one(table: Path) -> None:
    page = qc.judge(qc.read(table, form="suppositories"))._repr_html_()
    assert "<" in page
    assert "Uniformity of mass" in page


def test_a_label_that_is_no_number_is_refused_with_what_stands_there(table: Path) -> None:
    with pytest.raises(ValueError, match=r'^label_mg "abc" is not a number; give it in digits, for example 250$'):
        qc.read(table, form="suppositories", label_mg="abc")


def test_a_name_the_package_does_not_have_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match=r"^module 'qc' has no attribute 'jugde'$"):
        qc.jugde  # noqa: B018


def test_a_notebook_can_complete_the_calls() -> None:
    assert {"read", "judge", "chance", "batch_from_frames", "InputProblems", "__version__"} <= set(dir(qc))
