"""The pictures of the chances of passing: contours at their level, the region and the place of the batch."""

from __future__ import annotations

import numpy as np
import pytest
from matplotlib.lines import Line2D
from matplotlib.patches import Polygon
from msgspec.structs import replace

from qc.results import OperatingCurve, PassPlane
from qc.show import chances
from qc.show.chance_pictures import chance_table, curve_of_chances, plane_of_chances
from qc.show.frame import Frame
from qc.show.writing import written_on

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


@pytest.mark.parametrize(("level", "sd"), [(0.9, 5.0), (0.5, 7.0), (0.1, 9.0)])
def test_a_contour_passes_where_the_chance_is_its_level(level: float, sd: float) -> None:
    ((mean, found),) = chances.contour_points(PLANE, level)
    assert mean == 100.0
    assert found == pytest.approx(sd)


def test_contours_region_and_sample_are_drawn_and_named(frame: Frame) -> None:
    assert chances.draw_pass_plane(frame, plane=PLANE) is frame
    labels = [label.text for label in written_on(frame)]
    for label in ("10 % pass", "50 % pass", "90 % pass", "this sample", "95 % confidence region of true mean and SD"):
        assert label in labels
    region = next(artist for artist in frame.artists if isinstance(artist, Polygon))
    corners = {(x, y) for x, y in region.get_xy()}
    assert corners == {(97.0, 0.0), (94.0, 6.0), (100.0, 6.0)}
    shown = [label.text for label in written_on(frame)]
    assert "true mean content [% of label]" in shown
    assert "true SD [% of label]" in shown


def test_the_curve_has_both_stages_and_the_place_of_the_batch(frame: Frame) -> None:
    chances.draw_operating_curve(frame, curve=CURVE)
    drawn = {line.get_label(): line for line in frame.artists if isinstance(line, Line2D)}
    assert list(drawn["passes in all"].get_ydata()) == pytest.approx([100.0, 99.0, 20.0])  # type: ignore[arg-type]
    assert list(drawn["at the first stage"].get_ydata()) == pytest.approx([100.0, 80.0, 10.0])  # type: ignore[arg-type]
    assert list(drawn["SD of this sample"].get_xdata()) == [3.0, 3.0]  # type: ignore[arg-type]
    assert list(drawn["upper bound of the SD"].get_xdata()) == [6.0, 6.0]  # type: ignore[arg-type]


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
    assert chances.region_goes_on(plane) == ()
    assert "beyond the picture" not in plane_of_chances(plane, place=1).caption


def test_region_that_would_squeeze_the_curves_is_cut_with_an_arrow_and_a_sentence(frame: Frame) -> None:
    plane = at_sample(95.0, 17.0, half=70.0, top=30.0)
    (left, right), (_, highest) = chances.plane_ends(plane)
    assert (left, right, highest) == (50.0, 149.5, 22.5)
    assert chances.region_goes_on(plane) == ("left", "above")
    chances.draw_pass_plane(frame, plane=replace(plane, levels=()))
    marks = [line.get_marker() for line in frame.artists if isinstance(line, Line2D)]
    assert [mark for mark in marks if mark in ("<", ">", "^")] == ["<", "^"]
    assert plane_of_chances(plane, place=1).caption.endswith(
        " The triangle goes on beyond the picture on the left and above (arrow at the edge): in all it holds means "
        "from 25.0 to 165.0 % and SDs up to 30.0 %."
    )


@pytest.mark.parametrize(("mean", "arrow"), [(10.0, "<"), (300.0, ">")])
def test_sample_beyond_the_picture_is_an_arrow_at_its_edge(frame: Frame, mean: float, arrow: str) -> None:
    plane = at_sample(mean, 3.0, half=4.0, top=5.5)
    chances.draw_pass_plane(frame, plane=plane)
    drawn = {line.get_label(): line for line in frame.artists if isinstance(line, Line2D)}
    point = drawn["this sample, beyond the picture"]
    left, right = frame.across
    assert point.get_marker() == arrow
    assert left < float(np.asarray(point.get_xdata())[0]) < right
    assert f" The sample lies beyond the picture, at mean {mean} %, SD 3.0 %." in (
        plane_of_chances(plane, place=1).caption
    )


def test_upper_bound_beyond_the_curve_is_drawn_and_the_curve_says_where_it_ends(frame: Frame) -> None:
    curve = replace(CURVE, sd_high_percent=12.0)
    chances.draw_operating_curve(frame, curve=curve)
    bound = next(line for line in frame.artists if line.get_label() == "upper bound of the SD")
    assert isinstance(bound, Line2D)
    assert list(np.asarray(bound.get_xdata())) == [12.0, 12.0]
    assert frame.across[1] > 12.0
    assert curve_of_chances(curve, place=1).caption.endswith(" The curve was worked out up to SD 8.0 %.")


def test_upper_bound_far_beyond_the_curve_is_an_arrow(frame: Frame) -> None:
    chances.draw_operating_curve(frame, curve=replace(CURVE, sd_high_percent=40.0))
    bound = next(line for line in frame.artists if line.get_label() == "upper bound of the SD, beyond the picture")
    assert isinstance(bound, Line2D)
    assert bound.get_marker() == ">"
    assert frame.across[1] == 16.0


def test_captions_say_what_to_see_and_whose_it_is() -> None:
    assert plane_of_chances(PLANE, place=1).caption == (
        "Under a line, batches of that true mean and SD pass more often than it says (10 %, 50 %, 90 %). The true mean "
        "and SD of this batch lie in the triangle with the confidence stated; the more of it lies under the lowest "
        "line, the surer another sample is to pass."
    )
    assert curve_of_chances(CURVE, place=1).caption == (
        "Chance of passing of batches with a true mean of 97.0 % of label. This sample has an SD of 3.00 %; "
        "the true one is at most 6.00 %, as sure as the region."
    )


def test_the_table_behind_the_curve_calls_nothing_certain_that_is_not() -> None:
    rounded = replace(CURVE, first_stage=(1.0, 1.0, 0.0), overall=(1.0, 0.99, 0.01))
    assert chance_table(rounded).rows == (
        ("0.00", "over 99 %", "over 99 %"),
        ("4.00", "over 99 %", "99 %"),
        ("8.00", "under 1 %", "1 %"),
    )
