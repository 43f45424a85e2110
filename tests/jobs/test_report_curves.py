"""The chances of passing and the next pour are worked out for a report alone, around the figures of the batch."""

from __future__ import annotations

from pathlib import Path

import pytest

from qc.cli.terminal import short_summary, summary
from qc.jobs.check import Checked, check_batch
from qc.readers.options import ReadOptions
from qc.show.sections import findings

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


def test_the_next_pour_stands_in_a_report_and_a_full_answer_alone(checked: Checked) -> None:
    drawn, told = checked.to_draw(), checked.to_tell()
    assert (checked.judged.next_pour, drawn.next_pour) == ((), told.next_pour)
    assert [one.remedy for one in told.next_pour] == ["stir_each_unit", "finer", "nearer_setting"]
    (section,) = findings.next_pour(drawn)
    assert section.title == "The next pour"
    assert findings.next_pour(checked.judged) == ()
    full, short = summary(told), short_summary(told)
    assert "Stir the melt right through just before the first unit" in full
    assert "proposals to try, not promises" in full
    assert "Stir" not in short
    assert "Stir" not in str(checked.document)


def test_masses_alone_have_no_curve() -> None:
    checked = check_batch(SAMPLES / "weights-only.csv", options=ReadOptions(form="suppositories"))
    assert checked.to_draw().operating_curves == ()
