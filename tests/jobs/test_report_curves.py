"""The chances of passing are worked out for a report alone, around the figures of the batch."""

from __future__ import annotations

from pathlib import Path

import pytest

from qc.jobs.check import Checked, check_batch
from qc.readers.options import ReadOptions

SAMPLES = Path(__file__).parents[2] / "sample_data"


@pytest.fixture(scope="module")
def checked() -> Checked:
    return check_batch(SAMPLES / "fails-on-content.xlsx", options=ReadOptions())


def test_a_check_without_a_report_works_out_no_curve(checked: Checked) -> None:
    assert checked.judged.operating_curves == ()


def test_a_curve_stands_at_the_mean_of_the_test_and_reaches_past_its_sd(checked: Checked) -> None:
    drawn = checked.to_draw()
    (test,) = (test for test in drawn.tests if test.id == "dosage-unit-uniformity")
    (curve,) = drawn.operating_curves
    mean, sd = float(test.figures["mean_percent"] or 0), float(test.figures["sd_percent"] or 0)
    assert (curve.active, curve.mean_percent, curve.sample_sd_percent) == (test.active, mean, sd)
    assert curve.sds_percent[-1] >= sd


def test_masses_alone_have_no_curve() -> None:
    checked = check_batch(SAMPLES / "weights-only.csv", options=ReadOptions(form="suppositories"))
    assert checked.to_draw().operating_curves == ()
