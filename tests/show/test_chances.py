"""The picture of the chances of passing: both stages and the place of the batch."""

from __future__ import annotations

import numpy as np
import pytest
from matplotlib.axes import Axes
from msgspec.structs import replace

from qc.results import OperatingCurve
from qc.show import chances
from qc.show.chances import chance_table, curve_of_chances

CURVE = OperatingCurve(
    test="dosage-unit-uniformity",
    rule="harmonised-udu",
    active="Zinc oxide",
    mean_percent=97.0,
    sds_percent=(0.0, 4.0, 8.0),
    first_stage=(1.0, 0.8, 0.1),
    overall=(1.0, 0.99, 0.2),
    sample_sd_percent=3.0,
)


def legend_of(ax: Axes) -> list[str]:
    legend = ax.get_legend()
    assert legend is not None
    return [text.get_text() for text in legend.get_texts()]


def test_the_curve_has_both_stages_and_the_place_of_the_batch(ax: Axes) -> None:
    chances.draw_operating_curve(ax, curve=CURVE)
    drawn = {line.get_label(): line for line in ax.lines}
    assert list(drawn["passes in all"].get_ydata()) == pytest.approx([100.0, 99.0, 20.0])  # type: ignore[arg-type]
    assert list(drawn["at the first stage"].get_ydata()) == pytest.approx([100.0, 80.0, 10.0])  # type: ignore[arg-type]
    assert list(drawn["SD of this sample"].get_xdata()) == [3.0, 3.0]  # type: ignore[arg-type]
    assert (ax.get_xlabel(), ax.get_ylabel()) == (
        "true SD [% of label], at a true mean of 97.0 %",
        "chance of passing [%]",
    )


def test_the_picture_holds_a_spread_beyond_the_curve(ax: Axes) -> None:
    chances.draw_operating_curve(ax, curve=replace(CURVE, sample_sd_percent=40.0))
    (sample,) = (line for line in ax.lines if line.get_label() == "SD of this sample")
    assert list(np.asarray(sample.get_xdata())) == [40.0, 40.0]
    assert ax.get_xlim()[0] == 0.0
    assert ax.get_xlim()[1] >= 40.0


def test_captions_say_what_to_see_and_whose_it_is() -> None:
    assert curve_of_chances(CURVE, place=1).caption == (
        "Chance of passing of batches with a true mean of 97.0 % of label. This sample has an SD of 3.00 %."
    )


def test_the_table_begins_with_the_last_sd_that_is_sure_to_pass_and_calls_nothing_certain() -> None:
    rounded = replace(CURVE, first_stage=(1.0, 1.0, 0.0), overall=(1.0, 0.99, 0.01))
    assert chance_table(rounded).rows == (
        ("4.00", "over 99 %", "99 %"),
        ("8.00", "under 1 %", "1 %"),
    )
