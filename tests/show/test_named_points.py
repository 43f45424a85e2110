"""What is written beside points: clear of lines and of each other, the farthest first, and nothing left out unsaid."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import pytest
from matplotlib.lines import Line2D
from msgspec.structs import replace

from qc.results import JudgedBatch
from qc.show import room, scatter, series
from qc.show.frame import Frame
from qc.show.pictures import mass_picture, scatter_picture
from qc.show.view import Picture
from qc.show.writing import Label, written_on

Make = Callable[..., JudgedBatch]
ONE_FAR_OFF = [*["2.000"] * 19, "4.900", "2.000", "2.000"]
"""Its mean is far enough from the others that every unit lies outside."""


def around(frame: Frame, spots: Sequence[tuple[float, float]]) -> list[room.Box]:
    return [room.box_about(frame.place_points(x, y), half=scatter.POINT_POINTS) for x, y in spots]


def texts(frame: Frame) -> list[str]:
    return [label.text for label in written_on(frame)]


class TestMassAgainstContent:
    def test_names_do_not_cover_each_other(self, frame: Frame, batches: dict[str, Callable[[], JudgedBatch]]) -> None:
        judged = batches["failing"]()
        scatter.draw_mass_against_content(frame, judged=judged, active="Paracetamol")
        units = scatter.units_with_both(judged, "Paracetamol")
        names = [row.unit for row, _, _ in units]
        spots = [(mass, content) for _, mass, content in units]
        offsets = scatter.free_places(frame, names, spots, lines=[], boxes=around(frame, spots))
        boxes = np.array(
            [
                (*np.add(frame.place_points(*spot), offset), *scatter.name_size(name))
                for name, spot, offset in zip(names, spots, offsets, strict=True)
            ]
        )
        shared = scatter.shared_areas(boxes, boxes)
        assert shared.shape == (10, 10)
        assert (np.diagonal(shared) > 0).all()
        assert np.triu(shared, k=1).max() == 0

    def test_boxes_share_the_area_that_lies_in_both(self) -> None:
        boxes = np.array([(0.0, 0.0, 2.0, 1.0), (3.0, 1.0, 2.0, 1.0), (0.0, 5.0, 1.0, 1.0)])
        assert scatter.shared_areas(boxes[:1], boxes).tolist() == [[8.0, 1.0, 0.0]]

    def test_two_names_at_one_spot_stand_on_different_sides(self, frame: Frame) -> None:
        spots = [(0.5, 0.5)] * 3
        places = scatter.free_places(frame, ["1", "2", "3"], spots, lines=[], boxes=around(frame, spots))
        assert len(set(places)) == 3

    def test_a_name_stands_on_the_side_of_its_point_where_no_line_runs(self, frame: Frame) -> None:
        spot = (0.5, 0.5)
        (plain,) = scatter.free_places(frame, ["14"], [spot], lines=[], boxes=around(frame, [spot]))
        x, y = frame.place_points(*spot)
        through = ((x + 1.0, y + plain[1]), (x + 2 * plain[0], y + plain[1]))
        (moved,) = scatter.free_places(frame, ["14"], [spot], lines=[through], boxes=around(frame, [spot]))
        half_wide, half_high = scatter.name_size("14")
        x, y = x + moved[0], y + moved[1]
        box = room.Box(left=x - half_wide, low=y - half_high, right=x + half_wide, high=y + half_high)
        assert moved != plain
        assert not room.crosses(through, box)

    @pytest.mark.parametrize(
        ("contents", "written"),
        [
            (["100", "100", "100", "100", "95", "105", "101", "102", "103", "104"], "4 units"),
            (["100", "100", "100", "96", "95", "105", "101", "102", "103", "104"], "1, 4, 6"),
        ],
        ids=["four", "three"],
    )
    def test_units_that_share_a_point_are_named_together_or_counted(
        self, frame: Frame, make_judged: Make, contents: list[str], written: str
    ) -> None:
        judged = make_judged(masses=["2.000"] * 24, contents={"Paracetamol": contents})
        scatter.draw_mass_against_content(frame, judged=judged, active="Paracetamol")
        assert written in texts(frame)
        assert "1" not in texts(frame)

    def test_the_line_is_named_where_it_leaves_the_frame_and_not_on_a_point(
        self, frame: Frame, make_judged: Make
    ) -> None:
        masses = [f"{2.0 + 0.01 * (place % 9):.3f}" for place in range(24)]
        judged = make_judged(masses=masses, contents={"Paracetamol": ["99.9", "100.1", "100.0", "99.8", "100.2"]})
        scatter.draw_mass_against_content(frame, judged=judged, active="Paracetamol")
        name = next(label for label in written_on(frame) if label.text.startswith("same concentration"))
        line = next(artist for artist in frame.artists if isinstance(artist, Line2D))
        end = (float(np.asarray(line.get_xdata())[-1]), float(np.asarray(line.get_ydata())[-1]))
        assert end[0] < frame.across[1]
        assert end[1] == pytest.approx(frame.upward[1])
        assert (name.x, name.y) == pytest.approx(end)
        box = room.box_of(frame, name)
        assert box.high <= frame.high_points
        spots = [(mass, content) for _, mass, content in scatter.units_with_both(judged, "Paracetamol")]
        assert not any(room.overlap(box, other) for other in around(frame, spots))

    def test_the_name_of_the_line_gives_way_to_a_point_at_its_end(self, frame: Frame) -> None:
        places = scatter.places_of_line(frame, [(0.4, 0.0), (0.6, 1.0)])
        x, y = frame.place_points(0.6, 1.0)
        point = room.box_about((x + 30.0, y - 10.0), half=4.0)
        free = room.clear_place(frame, places, lines=[], boxes=[point])
        assert free != places[0]
        assert free.backed is None

    def test_more_units_than_are_numbered_are_counted_in_the_caption(self, make_judged: Make) -> None:
        masses = [f"{2 + place % 7 / 100:.3f}" for place in range(32)]
        contents = [f"{95 + place % 11}" for place in range(32)]
        drawn = scatter_picture(make_judged(masses=masses, contents={"Zinc oxide": contents}), "Zinc oxide", place=1)
        assert isinstance(drawn, Picture)
        assert drawn.caption.endswith("away from it the mix differs. 2 more units are drawn without a number.")


class TestPourOrder:
    def drawn(self, frame: Frame, judged: JudgedBatch) -> tuple[series.Series, list[Label]]:
        found = series.mass_series(judged)
        assert found is not None
        series.draw_series(frame, series=found)
        names = {point.unit for point in found.points if point.outside}
        return found, [label for label in written_on(frame) if label.bold and label.text in names]

    def test_no_level_line_strikes_a_number_through(self, frame: Frame, make_judged: Make) -> None:
        found, names = self.drawn(frame, make_judged(masses=ONE_FAR_OFF))
        left, right = frame.across
        ends = [[(left, level.value), (right, level.value)] for level in found.levels]
        levels = [piece for both in ends for piece in room.segments_of(frame, both)]
        assert len(names) == series.NAMES_SHOWN
        for name in names:
            box = room.box_of(frame, name)
            assert name.backed is not None or not any(room.crosses(level, box) for level in levels)

    def test_the_farthest_are_numbered_and_the_caption_counts_the_others(self, frame: Frame, make_judged: Make) -> None:
        judged = make_judged(masses=ONE_FAR_OFF)
        found, names = self.drawn(frame, judged)
        assert "20" in {name.text for name in names}
        assert sum(point.outside for point in found.points) == 22
        picture = mass_picture(judged)
        assert isinstance(picture, Picture)
        assert picture.caption.endswith(" 8 more units are drawn without a number.")

    def test_the_first_and_the_last_mark_stand_inside_the_frame(self, frame: Frame, make_judged: Make) -> None:
        self.drawn(frame, make_judged(masses=[f"{2 + place % 7 / 100:.3f}" for place in range(200)]))
        first, last = (frame.place_points(place, 2.0)[0] for place in (1.0, 200.0))
        assert first >= series.AIR_POINTS - 0.01
        assert frame.wide_points - last >= series.AIR_POINTS - 0.01

    def test_every_unit_that_a_test_of_the_active_rests_on_is_drawn_as_test_sample(self, make_judged: Make) -> None:
        judged = make_judged(contents={"Zinc oxide": [f"{95 + place % 11}" for place in range(12)]})
        rows = tuple(
            replace(row, contents={name: replace(found, in_sample=False) for name, found in row.contents.items()})
            for row in judged.unit_rows
        )
        assayed = [row.unit for row in rows if row.contents]
        samples = {"content-uniformity": assayed[:10], "dosage-unit-uniformity": assayed[:11]}
        tests = tuple(replace(test, sample=tuple(samples.get(test.id, assayed))) for test in judged.tests)
        found = series.content_series(replace(judged, unit_rows=rows, tests=tests), "Zinc oxide")
        assert found is not None
        assert [point.unit for point in found.points if point.in_sample] == assayed[:11]
