"""The legend: every entry once, with a sample that looks like what it stands for, and none running off the picture."""

from __future__ import annotations

import pytest
from matplotlib.collections import LineCollection
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle

from qc.show.frame import Frame
from qc.show.legend import FONT_POINTS, draw_legend, legend_places
from qc.show.marks import draw_area, draw_line, draw_marks
from qc.show.writing import wide_points, written_on


def samples(frame: Frame) -> list[Line2D | Rectangle]:
    """What stands before the entries, from left to right."""
    return [child for child in frame.artists if isinstance(child, (Line2D, Rectangle)) and child.get_zorder() == 5]


@pytest.mark.parametrize(("entries", "columns"), [(1, 1), (5, 5), (6, 3), (7, 4)])
def test_a_legend_too_long_for_a_row_takes_two(frame: Frame, entries: int, columns: int) -> None:
    for entry in range(entries):
        draw_marks(frame, [0], [entry], marker="o", size=4.0, face="none", label=f"entry {entry}")
    draw_legend(frame)
    labels = written_on(frame)
    assert [label.text for label in labels] == [f"entry {entry}" for entry in range(entries)]
    assert len({label.x for label in labels}) == columns
    assert len({label.y for label in labels}) == (1 if entries <= 5 else 2)
    assert len(samples(frame)) == entries


def test_no_entry_begins_before_the_one_beside_it_ends() -> None:
    names = ["without cavity differences", "1", "fitted change", "95 % band", "WWWWWWWW", "outside a limit"]
    places = legend_places(names, rows=2)
    for number, (x, _) in enumerate(places[:-2]):
        assert x + wide_points(names[number], size=FONT_POINTS) + 15.0 < places[number // 2 * 2 + 2][0]


def test_a_sample_has_line_style_marker_and_colours_of_what_it_stands_for(frame: Frame) -> None:
    draw_line(frame, [0, 1], [0, 1], colour="#123456", width=1.3, dashes=(0, (5, 2.5)), label="dashed")
    draw_marks(frame, [0], [1], marker="D", size=4.6, face="#ffffff", edge="#654321", edge_width=0.6, label="hollow")
    draw_area(frame, [(0, 0), (1, 0), (1, 1)], colour="#c2570c", opacity=0.18, label="band")
    draw_area(frame, [(0, 0), (1, 0), (1, 1)], colour="#1f5fa8", opacity=0.22, edge_width=1.0, label="region")
    own = [artist for artist in frame.artists if isinstance(artist, Line2D)]
    draw_legend(frame)
    drawn = {label.text: sample for label, sample in zip(written_on(frame), samples(frame), strict=True)}
    dashed, hollow, band, region = (drawn[name] for name in ("dashed", "hollow", "band", "region"))
    assert isinstance(dashed, Line2D)
    assert isinstance(hollow, Line2D)
    assert isinstance(band, Rectangle)
    assert isinstance(region, Rectangle)
    for name in ("color", "linewidth", "linestyle", "marker", "markersize", "markerfacecolor", "markeredgecolor"):
        for sample, original in zip((dashed, hollow), own, strict=True):
            assert getattr(sample, f"get_{name}")() == getattr(original, f"get_{name}")()
    assert band.get_facecolor() == pytest.approx((0xC2 / 255, 0x57 / 255, 0x0C / 255, 0.18))
    assert band.get_linewidth() == 0
    assert region.get_facecolor() == region.get_edgecolor() == pytest.approx((0x1F / 255, 0x5F / 255, 0xA8 / 255, 0.22))


def test_samples_are_not_entries_of_their_own(frame: Frame) -> None:
    draw_marks(frame, [0], [1], marker="o", size=4.0, face="none", label="once")
    draw_legend(frame)
    draw_legend(frame)
    assert [label.text for label in written_on(frame)] == ["once", "once"]


def test_without_entries_nothing_is_drawn(frame: Frame) -> None:
    draw_legend(frame)
    assert frame.artists == ()


def test_a_kind_of_drawing_without_a_sample_is_named(frame: Frame) -> None:
    frame.add(LineCollection([[(0, 0), (1, 1)]], label="bars"))
    with pytest.raises(TypeError) as refused:
        draw_legend(frame)
    assert str(refused.value) == (
        'the legend has no sample of "bars", which is drawn as LineCollection; draw it as lines, markers or an area'
    )
