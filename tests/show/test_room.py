"""Labels that stand clear: what crosses a box, and which of several places is taken."""

from __future__ import annotations

import pytest
from msgspec.structs import replace

from qc.show.frame import Frame
from qc.show.room import Box, Segment, box_about, box_of, clear_place, crosses, overlap
from qc.show.writing import Label, wide_points

BOX = Box(left=0.0, low=0.0, right=10.0, high=4.0)


@pytest.mark.parametrize(
    ("segment", "through"),
    [
        (((-5.0, 2.0), (15.0, 2.0)), True),
        (((2.0, 1.0), (3.0, 2.0)), True),
        (((-5.0, 5.0), (15.0, 5.0)), False),
        (((-5.0, 2.0), (-1.0, 2.0)), False),
        (((5.0, -3.0), (5.0, 9.0)), True),
        (((-3.0, 0.0), (3.0, 9.0)), False),
        (((11.0, 0.0), (11.0, 4.0)), False),
    ],
    ids=["across", "inside", "above", "stops short", "upright", "past the corner", "beside"],
)
def test_a_line_through_a_box_is_told_from_one_that_passes_it(segment: Segment, through: bool) -> None:
    assert crosses(segment, BOX) is through
    assert crosses((segment[1], segment[0]), BOX) is through


def test_boxes_that_only_touch_do_not_overlap() -> None:
    assert not overlap(BOX, Box(left=10.0, low=0.0, right=12.0, high=4.0))
    assert overlap(BOX, Box(left=9.9, low=3.9, right=12.0, high=8.0))


def test_the_box_of_a_label_is_as_wide_as_its_longest_line_and_as_high_as_all(frame: Frame) -> None:
    one = box_of(frame, Label(text="30 units", x=0.5, y=0.5, size=10.0))
    two = box_of(frame, Label(text="30 units\nmore", x=0.5, y=0.5, size=10.0))
    assert one.right - one.left == pytest.approx(wide_points("30 units", size=10.0))
    assert two.right - two.left == pytest.approx(one.right - one.left)
    assert one.high - one.low == pytest.approx(10.0)
    assert two.high - two.low == pytest.approx(24.0, abs=0.1)


@pytest.mark.parametrize(("across", "shift"), [("left", 0.0), ("center", 0.5), ("right", 1.0)])
def test_the_box_begins_on_the_side_that_stands_there(frame: Frame, across: str, shift: float) -> None:
    label = Label(text="12", x=0.5, y=0.5, shift=(3.0, 0.0), across=across)  # type: ignore[arg-type]
    box = box_of(frame, label)
    assert box.left == pytest.approx(frame.wide_points / 2 + 3.0 - shift * wide_points("12", size=7.0))


class TestClearPlace:
    LABEL = Label(text="7", x=0.5, y=0.5)

    def places(self) -> list[Label]:
        return [replace(self.LABEL, shift=(0.0, up)) for up in (0.0, 20.0, 40.0)]

    def line(self, frame: Frame, up: float) -> Segment:
        height = frame.high_points / 2 + up
        return (0.0, height), (frame.wide_points, height)

    def test_the_first_place_that_nothing_crosses_is_taken(self, frame: Frame) -> None:
        assert clear_place(frame, self.places(), lines=[], boxes=[]).shift == (0.0, 0.0)
        found = clear_place(frame, self.places(), lines=[self.line(frame, 0.0)], boxes=[])
        assert (found.shift, found.backed) == ((0.0, 20.0), None)

    def test_where_all_are_crossed_a_line_is_covered_with_paper_rather_than_a_mark(self, frame: Frame) -> None:
        marks = [box_about((frame.wide_points / 2, frame.high_points / 2 + up), half=3.0) for up in (0.0, 40.0)]
        found = clear_place(frame, self.places(), lines=[self.line(frame, 20.0)], boxes=marks)
        assert found.shift == (0.0, 20.0)
        assert found.backed is not None

    def test_a_place_outside_the_frame_is_the_last_to_be_taken(self, frame: Frame) -> None:
        outside = replace(self.LABEL, x=1.1)
        assert clear_place(frame, [outside, self.LABEL], lines=[self.line(frame, 0.0)], boxes=[]).x == 0.5

    def test_a_mark_too_near_beside_a_label_is_in_its_way(self, frame: Frame) -> None:
        box = box_of(frame, self.LABEL)
        for apart, taken in ((1.0, False), (2.0, True)):
            mark = Box(left=box.right + apart, low=box.low, right=box.right + apart + 4.0, high=box.high)
            found = clear_place(frame, self.places(), lines=[], boxes=[mark])
            assert (found.shift == (0.0, 0.0)) is taken
