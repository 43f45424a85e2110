"""The frame of a picture: where data stand on the page, and what was put on it."""

from __future__ import annotations

import pytest
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from qc.show.frame import Frame

PLACE = (0.1, 0.15, 0.7, 0.75)


@pytest.mark.parametrize("upward", [(1.8, 2.3), (7.5, 0.0)], ids=["upward", "downward"])
@pytest.mark.parametrize("dpi", [72.0, 100.0])
def test_data_and_shares_stand_where_axes_of_matplotlib_put_them(
    figure: Figure, frame: Frame, upward: tuple[float, float], dpi: float
) -> None:
    frame.set_ends(across=(0.3, 30.7), upward=upward)
    axes = figure.add_axes(PLACE)
    axes.set_xlim(*frame.across)
    axes.set_ylim(*frame.upward)
    figure.set_dpi(dpi)
    for point in ((0.3, 1.8), (15.0, 2.0), (31.0, -1.0)):
        assert frame.data.transform(point) == pytest.approx(axes.transData.transform(point))
        assert frame.shares.transform(point) == pytest.approx(axes.transAxes.transform(point))
        assert frame.walls.transform(point) == pytest.approx(axes.get_xaxis_transform().transform(point))
        assert frame.levels.transform(point) == pytest.approx(axes.get_yaxis_transform().transform(point))


def test_points_are_those_of_the_page_at_any_resolution(figure: Figure, frame: Frame) -> None:
    figure.set_dpi(144.0)
    corner = frame.shares.transform((0.0, 1.0))
    assert frame.points_from(0.0, 1.0).transform((3.0, 4.0)) - corner == pytest.approx((6.0, 8.0))
    assert (frame.wide_points, frame.high_points) == pytest.approx((72 * 6.9 * 0.7, 72 * 3.0 * 0.75))


def test_the_place_of_data_in_points_is_measured_from_the_lower_left(frame: Frame) -> None:
    frame.set_ends(across=(10.0, 20.0), upward=(0.0, 4.0))
    assert frame.place_points(10.0, 0.0) == (0.0, 0.0)
    assert frame.place_points(15.0, 4.0) == pytest.approx((frame.wide_points / 2, frame.high_points))


def test_what_is_put_on_it_is_drawn_in_data_and_cut_at_its_edge(figure: Figure, frame: Frame) -> None:
    inside, beside = Line2D([0, 1], [0, 1]), Line2D([0, 1], [0, 1], transform=frame.shares)
    frame.add(inside)
    frame.add(beside, whole=True)
    assert frame.artists == (inside, beside)
    assert figure.artists == [inside, beside]
    assert inside.get_transform() is frame.data
    assert beside.get_transform() is frame.shares
    box = inside.get_clip_box()
    assert box is not None
    assert box.bounds == pytest.approx((69.0, 45.0, 483.0, 225.0))
    assert beside.get_clip_box() is None
