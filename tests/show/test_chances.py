"""The pictures of the chances of passing: contours at their level, the region and the place of the batch."""

from __future__ import annotations

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.contour import ContourSet
from matplotlib.patches import Polygon
from msgspec.structs import replace

from qc.results import OperatingCurve, PassPlane
from qc.show import chances
from qc.show.chances import chance_table, curve_of_chances, plane_of_chances

PLANE = PassPlane(
    test="dosage-unit-uniformity",
    rule="harmonised-udu",
    active="Zinc oxide",
    means_percent=(80.0, 100.0, 120.0),
    sds_percent=(1.0, 5.0, 9.0),
    chances=((0.0, 1.0, 0.0), (0.0, 0.9, 0.0), (0.0, 0.1, 0.0)),
    levels=(0.1, 0.5, 0.9),
    sample_mean_percent=97.0,
    sample_sd_percent=3.0,
    region=((97.0, 0.0), (94.0, 6.0), (100.0, 6.0)),
    confidence=0.95,
)
CURVE = OperatingCurve(
    test="dosage-unit-uniformity",
    rule="harmonised-udu",
    active="Zinc oxide",
    mean_percent=97.0,
    sds_percent=(0.0, 4.0, 8.0),
    first_stage=(1.0, 0.8, 0.1),
    overall=(1.0, 0.99, 0.2),
    sample_sd_percent=3.0,
    sd_high_percent=6.0,
)


def legend_of(ax: Axes) -> list[str]:
    legend = ax.get_legend()
    assert legend is not None
    return [text.get_text() for text in legend.get_texts()]


@pytest.mark.parametrize(("level", "sd"), [(0.9, 5.0), (0.5, 7.0), (0.1, 9.0)])
def test_a_contour_passes_where_the_chance_is_its_level(ax: Axes, level: float, sd: float) -> None:
    chances.draw_pass_plane(ax, plane=replace(PLANE, levels=(level,)))
    contour = next(artist for artist in ax.collections if isinstance(artist, ContourSet))
    ((path,),) = (contour.get_paths(),)
    at_mean = [y for x, y in np.asarray(path.vertices).tolist() if x == 100.0]
    assert max(at_mean) == pytest.approx(sd)


def test_contours_region_and_sample_are_drawn_and_named(ax: Axes) -> None:
    assert chances.draw_pass_plane(ax, plane=PLANE) is ax
    assert legend_of(ax) == [
        "95 % confidence region\nof true mean and SD",
        "10 % pass",
        "50 % pass",
        "90 % pass",
        "this sample",
    ]
    region = next(artist for artist in ax.patches if isinstance(artist, Polygon))
    corners = {(x, y) for x, y in region.get_xy()}
    assert corners == {(97.0, 0.0), (94.0, 6.0), (100.0, 6.0)}
    assert (ax.get_xlabel(), ax.get_ylabel()) == ("true mean content [% of label]", "true SD [% of label]")


def test_the_curve_has_both_stages_and_the_place_of_the_batch(ax: Axes) -> None:
    chances.draw_operating_curve(ax, curve=CURVE)
    drawn = {line.get_label(): line for line in ax.lines}
    assert list(drawn["passes in all"].get_ydata()) == pytest.approx([100.0, 99.0, 20.0])  # type: ignore[arg-type]
    assert list(drawn["at the first stage"].get_ydata()) == pytest.approx([100.0, 80.0, 10.0])  # type: ignore[arg-type]
    assert list(drawn["SD of this sample"].get_xdata()) == [3.0, 3.0]  # type: ignore[arg-type]
    assert list(drawn["upper bound of the SD"].get_xdata()) == [6.0, 6.0]  # type: ignore[arg-type]
    assert (ax.get_xlabel(), ax.get_ylabel()) == (
        "true SD [% of label], at a true mean of 97.0 %",
        "chance of passing [%]",
    )


def at_sample(mean: float, sd: float, *, half: float, top: float) -> PassPlane:
    region = ((mean, 0.0), (mean - half, top), (mean + half, top))
    return replace(PLANE, sample_mean_percent=mean, sample_sd_percent=sd, region=region)


@pytest.mark.parametrize(
    ("mean", "sd", "half", "top"),
    [(130.0, 3.0, 4.0, 5.5), (60.0, 3.0, 4.0, 5.5), (100.0, 8.0, 30.0, 15.0)],
    ids=["rich", "poor", "scattered"],
)
def test_picture_holds_the_sample_and_its_whole_region(mean: float, sd: float, half: float, top: float) -> None:
    plane = at_sample(mean, sd, half=half, top=top)
    (left, right), (_, highest) = chances.plane_ends(plane)
    assert left < mean - half
    assert mean + half < right
    assert top < highest
    assert left <= 80.0
    assert right >= 120.0
    assert chances.region_goes_on(plane) == []
    assert "beyond the picture" not in plane_of_chances(plane, place=1).caption


def test_region_that_would_squeeze_the_curves_is_cut_with_a_sentence() -> None:
    plane = at_sample(95.0, 17.0, half=70.0, top=30.0)
    (left, right), (_, highest) = chances.plane_ends(plane)
    assert (left, right, highest) == (50.0, 150.0, 22.5)
    assert chances.region_goes_on(plane) == ["on the left", "on the right", "above"]
    assert plane_of_chances(plane, place=1).caption.endswith(
        " The triangle goes on beyond the picture on the left, on the right and above: in all it holds means "
        "from 25.0 to 165.0 % and SDs up to 30.0 %."
    )


@pytest.mark.parametrize(("mean", "arrow"), [(10.0, "<"), (300.0, ">")])
def test_sample_beyond_the_picture_is_an_arrow_at_its_edge(ax: Axes, mean: float, arrow: str) -> None:
    plane = at_sample(mean, 3.0, half=4.0, top=5.5)
    chances.draw_pass_plane(ax, plane=plane)
    drawn = {line.get_label(): line for line in ax.lines}
    point = drawn["this sample,\nbeyond the picture"]
    left, right = ax.get_xlim()
    assert point.get_marker() == arrow
    assert left <= float(np.asarray(point.get_xdata())[0]) <= right
    assert f" The sample lies beyond the picture, at mean {mean} %, SD 3.0 %." in (
        plane_of_chances(plane, place=1).caption
    )


def test_upper_bound_beyond_the_curve_is_drawn_and_the_curve_says_where_it_ends(ax: Axes) -> None:
    curve = replace(CURVE, sd_high_percent=12.0)
    chances.draw_operating_curve(ax, curve=curve)
    bound = next(line for line in ax.lines if line.get_label() == "upper bound of the SD")
    assert list(np.asarray(bound.get_xdata())) == [12.0, 12.0]
    assert ax.get_xlim()[1] > 12.0
    assert curve_of_chances(curve, place=1).caption.endswith(" The curve was worked out up to SD 8.0 %.")


def test_upper_bound_far_beyond_the_curve_is_an_arrow(ax: Axes) -> None:
    chances.draw_operating_curve(ax, curve=replace(CURVE, sd_high_percent=40.0))
    bound = next(line for line in ax.lines if line.get_label() == "upper bound of the SD,\nbeyond the picture")
    assert bound.get_marker() == ">"
    assert ax.get_xlim()[1] == 16.0


def test_captions_say_what_to_see_and_whose_it_is() -> None:
    assert plane_of_chances(PLANE, place=1).caption == (
        "Under a line, batches of that true mean and SD pass more often than it says (10 %, 50 %, 90 %). The true mean "
        "and SD of this batch lie in the triangle with the confidence stated; the more of it lies under the lowest "
        "line, the surer another sample is to pass."
    )
    assert curve_of_chances(CURVE, place=1).caption == (
        "Chance of passing of batches with a true mean of 97.0 % of label. This sample has an SD of 3.00 %; "
        "the true one is at most 6.00 %, with the confidence of the region."
    )


def test_the_table_behind_the_curve_calls_nothing_certain_that_is_not() -> None:
    rounded = replace(CURVE, first_stage=(1.0, 1.0, 0.0), overall=(1.0, 0.99, 0.01))
    assert chance_table(rounded).rows == (
        ("0.00", "over 99 %", "over 99 %"),
        ("4.00", "over 99 %", "99 %"),
        ("8.00", "under 1 %", "1 %"),
    )
