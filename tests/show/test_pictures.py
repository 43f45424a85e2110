"""What is drawn: lines at the limits, a label for each, a mark for each unit."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree
from collections.abc import Callable
from itertools import combinations
from typing import Any

import pytest
from matplotlib.collections import LineCollection
from matplotlib.lines import Line2D
from msgspec.structs import replace

from qc.results import JudgedBatch, UnitRow, Verdict
from qc.results.pour import DoseFromMass, DoseScreen
from qc.show import doses, plane, room, scatter, series, tray, tray_layout
from qc.show.change import Change
from qc.show.frame import Frame
from qc.show.labels import NAME_POINTS
from qc.show.palette import ACCENT, PAPER, contrast, deviation_colour, text_on
from qc.show.pictures import (
    content_picture,
    dose_picture,
    mass_picture,
    plane_picture,
    scatter_picture,
    tray_picture,
)
from qc.show.view import Picture, Prose
from qc.show.writing import wide_points, written_on

Batches = dict[str, Callable[[], JudgedBatch]]


def lines(frame: Frame) -> list[Line2D]:
    return [artist for artist in frame.artists if isinstance(artist, Line2D)]


def levels_drawn(frame: Frame) -> list[float]:
    """Heights of the lines that run over the whole frame."""
    return sorted(
        round(float(start[1]), 6)
        for drawn in frame.artists
        if isinstance(drawn, LineCollection) and drawn.get_transform() is frame.levels
        for start, end in drawn.get_segments()
        if (start[0], end[0]) == (0, 1) and start[1] == end[1]
    )


def texts(frame: Frame) -> list[str]:
    return [label.text for label in written_on(frame)]


def axis_names(frame: Frame) -> tuple[str, str]:
    """What stands along the lower and the left axis."""
    upward = next(label.text for label in written_on(frame) if label.turned)
    across = next(label.text for label in written_on(frame) if label.size == NAME_POINTS and not label.turned)
    return across, upward


def standing_at(judged: JudgedBatch, *, mean: float, sd: float, verdict: Verdict) -> JudgedBatch:
    """The batch with the dosage-unit test at a mean and an SD."""
    tests = [
        replace(test, verdict=verdict, figures={**test.figures, "mean_percent": mean, "sd_percent": sd})
        if test.id == "dosage-unit-uniformity"
        else test
        for test in judged.tests
    ]
    return replace(judged, tests=tuple(tests))


class TestMassesInPourOrder:
    def test_mean_and_both_limits_are_drawn_and_labelled(
        self, frame: Frame, make_judged: Callable[..., JudgedBatch]
    ) -> None:
        judged = replace(make_judged(masses=["2.000"] * 20), planned_mass=None)
        found = series.mass_series(judged)
        assert found is not None
        assert series.draw_series(frame, series=found) is frame
        assert levels_drawn(frame) == [1.8, 1.9, 2.0, 2.1, 2.2]
        for label in ("mean 2.000 g", "+5 %: 2.100 g", "−5 %: 1.900 g", "+10 %: 2.200 g", "−10 %: 1.800 g"):
            assert label in texts(frame)
        assert axis_names(frame) == ("place in the pour order", "mass [g]")

    def test_units_outside_are_ringed_and_named(self, frame: Frame, batches: Batches) -> None:
        found = series.mass_series(batches["failing"]())
        assert found is not None
        series.draw_series(frame, series=found)
        ring = next(line for line in lines(frame) if line.get_label() == "outside a limit")
        assert sorted(ring.get_xdata()) == [4, 8, 12, 13]  # type: ignore[arg-type]
        assert {"4", "8", "12", "13"} <= set(texts(frame))

    def test_left_out_units_are_hollow_and_other_units_have_their_own_marker(
        self, frame: Frame, batches: Batches
    ) -> None:
        found = series.mass_series(batches["sixty_units"]())
        assert found is not None
        series.draw_series(frame, series=found)
        drawn = {line.get_label(): line for line in lines(frame)}
        assert list(drawn["left out"].get_xdata()) == [18, 41]  # type: ignore[arg-type]
        assert drawn["left out"].get_markerfacecolor() == "#ffffff"
        assert drawn["test sample"].get_marker() != drawn["other units"].get_marker()

    def test_without_a_pour_order_the_axis_says_so(self, frame: Frame, batches: Batches) -> None:
        found = series.mass_series(batches["no_moulds"]())
        assert found is not None
        series.draw_series(frame, series=found)
        assert axis_names(frame)[0] == "order of entry (no pour order was given)"

    def test_a_unit_without_its_place_is_named_in_the_caption(self, batches: Batches) -> None:
        judged = batches["sound"]()
        rows = (replace(judged.unit_rows[0], pour_order=None), *judged.unit_rows[1:])
        drawn = mass_picture(replace(judged, unit_rows=rows))
        assert drawn.kind == "picture"
        assert isinstance(drawn, Picture)
        assert drawn.caption.endswith("Not drawn, for want of a pour order: 1.")


class TestContentsInPourOrder:
    def test_limits_lie_about_the_mean_and_the_label_stands_apart(
        self, frame: Frame, make_judged: Callable[..., JudgedBatch]
    ) -> None:
        judged = make_judged(contents={"Zinc oxide": ["96", "104"] * 5})
        found = series.content_series(judged, "Zinc oxide")
        assert found is not None
        series.draw_series(frame, series=found)
        assert levels_drawn(frame) == [75.0, 85.0, 100.0, 100.0, 115.0, 125.0]
        assert "label = 100 %" in texts(frame)
        assert "mean 100.0 %" in texts(frame)
        assert axis_names(frame)[1] == "Zinc oxide [% of label]"

    def test_without_a_label_claim_contents_are_drawn_in_mg(self, batches: Batches) -> None:
        judged = batches["sound"]()
        rows = tuple(
            replace(row, contents={name: replace(found, percent_of_label=None) for name, found in row.contents.items()})
            for row in judged.unit_rows
        )
        found = series.content_series(replace(judged, unit_rows=rows), "Paracetamol")
        assert found is not None
        assert found.y_label == "Paracetamol [mg]"
        assert found.points[0].y == pytest.approx(248.0)

    def test_the_fitted_change_is_drawn_where_there_is_one(self, frame: Frame, batches: Batches) -> None:
        found = series.content_series(batches["failing"](), "Paracetamol")
        assert found is not None
        series.draw_series(frame, series=found)
        line = next(line for line in lines(frame) if line.get_label() == "fitted change")
        assert len(line.get_xdata()) == 10  # type: ignore[arg-type]


class TestTray:
    def test_every_unit_is_drawn_once_with_number_and_signed_deviation(self, frame: Frame, batches: Batches) -> None:
        judged = batches["failing"]()
        layout = tray_layout.tray_layout(judged.unit_rows)
        assert tray.draw_tray(frame, judged=judged, layout=layout) is frame
        assert sorted(cell.row.unit for cell in layout.cells) == sorted(row.unit for row in judged.unit_rows)
        shown = texts(frame)
        assert {str(unit) for unit in range(1, 25)} <= set(shown)
        assert "−10.5" in shown
        assert shown.count("▼") == 1
        assert shown.count("△") == 2
        assert shown.count("▽") == 1
        assert "△ ▽ beyond ±5 %" in shown
        assert "▲ ▼ beyond ±10 %" in shown

    def test_cavities_stand_in_counting_order_within_their_mould(self, batches: Batches) -> None:
        layout = tray_layout.tray_layout(batches["sound"]().unit_rows)
        assert [heading for heading, _, _ in layout.headings] == ["Mould A", "Mould B"]
        first = [cell.row.cavity for cell in layout.cells if cell.row.mould == "A"]
        assert first == [str(cavity) for cavity in range(1, 13)]

    def test_no_two_units_share_a_place(self, any_judged: JudgedBatch) -> None:
        layout = tray_layout.tray_layout(any_judged.unit_rows)
        assert len({(cell.x, cell.y) for cell in layout.cells}) == len(any_judged.unit_rows)
        assert all(
            0 <= cell.x <= tray_layout.COLUMNS_OF_A_PAGE - 0.5 and cell.y + 1 <= layout.height for cell in layout.cells
        )

    def test_a_cavity_filled_twice_is_drawn_once_a_filling(self, batches: Batches) -> None:
        rows = [
            replace(row, mould="A", cavity=str(place % 12 + 1))
            for place, row in enumerate(batches["sound"]().unit_rows)
        ]
        layout = tray_layout.tray_layout(rows)
        assert [heading for heading, _, _ in layout.headings] == ["Mould A, filling 1", "Mould A, filling 2"]

    def test_a_unit_without_its_cavity_is_still_drawn(self, batches: Batches) -> None:
        rows = [replace(row, cavity=None) if row.unit == "3" else row for row in batches["sound"]().unit_rows]
        assert len(tray_layout.tray_layout(rows).cells) == 24

    def test_the_heading_of_units_without_a_mould_says_so(self) -> None:
        row = UnitRow(
            unit="1",
            pour_order=1,
            mould=None,
            cavity="4",
            mass_g=None,
            deviation_percent=None,
            in_mass_sample=True,
            place=None,
        )
        assert tray_layout.tray_layout([row]).headings[0][0] == "No mould named"


class TestPlane:
    def test_edges_for_ten_and_thirty_units_and_the_point_of_the_batch(self, frame: Frame, batches: Batches) -> None:
        judged = batches["sound"]()
        assert plane.draw_mean_and_sd(frame, judged=judged, active="Paracetamol") is frame
        edges = {line.get_label(): line for line in lines(frame) if str(line.get_label()).startswith("edge for")}
        assert set(edges) == {"edge for 10 units", "edge for 30 units"}
        assert list(edges["edge for 10 units"].get_ydata()) == [0.0, 6.25, 6.25, 0.0]  # type: ignore[arg-type]
        test = plane.dosage_test(judged, "Paracetamol")
        assert test is not None
        point = next(line for line in lines(frame) if list(line.get_xdata()) == [test.figures["mean_percent"]])  # type: ignore[arg-type]
        assert list(point.get_ydata()) == [test.figures["sd_percent"]]  # type: ignore[arg-type]
        assert axis_names(frame)[0] == "mean content [% of label]"

    @pytest.mark.parametrize(
        ("mean", "sd", "up"),
        [
            (100.0, 4.0, "top"),
            (100.0, 0.8, "bottom"),
            (70.0, 4.0, "top"),
            (130.0, 4.0, "top"),
            (95.0, 9.0, "top"),
            (130.0, 9.0, "top"),
        ],
        ids=["in the middle", "near the bottom", "far left", "far right", "over the edges", "over them and far right"],
    )
    def test_what_the_point_is_stands_under_it_or_beside_it_inside_the_frame(
        self, frame: Frame, batches: Batches, mean: float, sd: float, up: str
    ) -> None:
        judged = batches["sound"]()
        tests = [
            replace(test, figures={**test.figures, "mean_percent": mean, "sd_percent": sd})
            if test.id == "dosage-unit-uniformity"
            else test
            for test in judged.tests
        ]
        plane.draw_mean_and_sd(frame, judged=replace(judged, tests=tuple(tests)), active="Paracetamol")
        label = next(label for label in written_on(frame) if label.text.startswith("this sample"))
        lines = label.text.split("\n")
        assert lines[1] == f"mean {mean} %, SD {sd:.2f} %"
        assert label.up == up
        half = max(wide_points(line, size=label.size, bold=True) for line in lines) / 2
        point, _ = frame.place_points(mean, sd)
        beside = {"left": half, "center": 0.0, "right": -half}[label.across]
        middle = point + label.shift[0] + beside
        assert bool(middle - half <= point <= middle + half) is (up != "center")
        assert middle - half >= 0
        assert middle + half <= frame.wide_points

    @pytest.mark.parametrize("mean", [85.0, 88.0, 92.0, 98.7, 101.0, 108.0, 112.0, 116.0, 125.5])
    @pytest.mark.parametrize("sd", [0.0, 0.4, 1.8, 3.0, 5.8, 6.0, 7.0, 9.0, 82.4])
    def test_no_line_and_no_other_words_run_through_what_is_written(
        self, frame: Frame, batches: Batches, mean: float, sd: float
    ) -> None:
        judged = standing_at(batches["sound"](), mean=mean, sd=sd, verdict=Verdict.COMPLIES)
        plane.draw_mean_and_sd(frame, judged=judged, active="Paracetamol")
        edges = [edge.points for edge in plane.boundaries_of(judged, "Paracetamol")]
        pieces = [piece for points in edges for piece in room.segments_of(frame, points)]
        names = [
            label for label in written_on(frame) if re.fullmatch(r"this sample.*|\d+ units", label.text, re.DOTALL)
        ]
        assert len(names) == 3
        boxes = [room.box_of(frame, name) for name in names]
        for name, box in zip(names, boxes, strict=True):
            assert name.backed is not None or not any(room.crosses(piece, box) for piece in pieces)
        assert not any(room.overlap(one, other) for one, other in combinations(boxes, 2))

    @pytest.mark.parametrize(
        ("verdict", "marker", "face", "key"),
        [
            (Verdict.COMPLIES, "o", ACCENT, ()),
            (Verdict.DOES_NOT_COMPLY, "X", ACCENT, ("does not comply",)),
            (Verdict.SECOND_STAGE, "o", PAPER, ("second stage due",)),
            (Verdict.TOO_FEW_UNITS, "o", PAPER, ("too few units",)),
        ],
    )
    def test_an_undecided_sample_is_an_open_point_that_says_so(
        self, frame: Frame, batches: Batches, verdict: Verdict, marker: str, face: str, key: tuple[str, ...]
    ) -> None:
        judged = standing_at(batches["sound"](), mean=99.8, sd=0.82, verdict=verdict)
        plane.draw_mean_and_sd(frame, judged=judged, active="Paracetamol")
        point = next(line for line in lines(frame) if line.get_marker() in ("o", "X"))
        assert (point.get_marker(), point.get_markerfacecolor()) == (marker, face)
        label = next(label for label in written_on(frame) if label.text.startswith("this sample"))
        assert tuple(label.text.split("\n")[2:]) == key

    def test_a_sample_that_no_second_stage_can_clear_is_a_cross(self, frame: Frame, batches: Batches) -> None:
        judged = standing_at(batches["sound"](), mean=99.8, sd=30.0, verdict=Verdict.SECOND_STAGE)
        lost = tuple(
            replace(test, criteria=tuple(replace(line, met=False) for line in test.criteria)) for test in judged.tests
        )
        plane.draw_mean_and_sd(frame, judged=replace(judged, tests=lost), active="Paracetamol")
        assert [line.get_marker() for line in lines(frame) if line.get_marker() in ("o", "X")] == ["X"]
        label = next(label for label in written_on(frame) if label.text.startswith("this sample"))
        assert label.text.endswith("\nsecond stage cannot clear it")

    def test_a_point_on_the_axis_is_drawn_whole(self, frame: Frame, batches: Batches) -> None:
        judged = standing_at(batches["sound"](), mean=100.0, sd=0.0, verdict=Verdict.COMPLIES)
        plane.draw_mean_and_sd(frame, judged=judged, active="Paracetamol")
        point = next(line for line in lines(frame) if line.get_marker() == "o")
        assert point.get_clip_box() is None

    def test_a_batch_without_the_test_gets_a_sentence_instead(self, batches: Batches) -> None:
        judged = replace(batches["sound"](), boundaries=())
        last = plane_picture(judged, "Paracetamol", place=1)
        assert last == Prose(
            text="Mean and spread of Paracetamol are not drawn, because the dosage-unit test was not judged for it."
        )


def test_mass_against_content_names_every_unit(frame: Frame, batches: Batches) -> None:
    judged = batches["sound"]()
    assert scatter.draw_mass_against_content(frame, judged=judged, active="Paracetamol") is frame
    assayed = {row.unit for row in judged.unit_rows if row.contents}
    assert assayed <= set(texts(frame))
    assert axis_names(frame) == ("mass of the unit [g]", "Paracetamol [% of label]")


def test_what_is_not_there_is_said_in_one_sentence(batches: Batches) -> None:
    judged = batches["contents_only"]()
    assert tray_picture(judged) == Prose(text="The tray is not drawn, because no unit was weighed.")
    assert mass_picture(judged) == Prose(text="Masses in pour order are not drawn, because no unit was weighed.")
    assert scatter_picture(judged, "Paracetamol", place=1) == Prose(
        text="Mass against content of Paracetamol is not drawn: fewer than two units were both weighed and assayed."
    )


def test_every_picture_is_sound_xml_with_title_and_description_and_ids_of_its_own(
    any_name: str, plain_report: Callable[[str], dict[str, Any]]
) -> None:
    pieces = [piece for section in plain_report(any_name)["sections"] for piece in section["pieces"]]
    pictures = [piece for piece in pieces if piece["kind"] == "picture"]
    assert pictures
    seen: set[str] = set()
    for picture in pictures:
        root = ElementTree.fromstring(picture["svg"])
        assert root.get("role") == "img"
        assert [child.tag.rpartition("}")[2] for child in root][:2] == ["title", "desc"]
        assert picture["caption"] in (root[1].text or "")
        ids = [identifier for element in root.iter() if (identifier := element.get("id"))]
        assert len(ids) == len(set(ids))
        assert not seen & set(ids)
        assert set(re.findall(r'(?:href="#|url\(#)([^")]+)', picture["svg"])) <= set(ids)
        assert "<style" not in picture["svg"]
        seen |= set(ids)


def test_drawing_leaves_the_settings_of_the_reader_alone_and_is_not_changed_by_them(batches: Batches) -> None:
    import matplotlib

    judged = batches["sound"]()
    plain = mass_picture(judged)
    with matplotlib.rc_context({"lines.linewidth": 9.0, "axes.facecolor": "black", "svg.fonttype": "path"}):
        before = dict(matplotlib.rcParams)
        assert mass_picture(judged) == plain
        assert dict(matplotlib.rcParams) == before


@pytest.mark.parametrize("deviation", [-20.0, -10.0, -6.0, -3.0, 0.0, 3.0, 6.0, 10.0, 20.0, None])
def test_text_on_every_colour_of_the_tray_can_be_read(deviation: float | None) -> None:
    """Contrast of at least 4.5 (WCAG 2.1, success criterion 1.4.3, level AA)."""
    colour = deviation_colour(deviation, reach=10.0)
    assert contrast(colour, text_on(colour)) >= 4.5


def test_below_and_above_differ_without_colour(batches: Batches) -> None:
    judged = batches["failing"]()
    drawn = tray_picture(judged)
    assert isinstance(drawn, Picture)
    assert "+6.3" in drawn.svg
    assert "−10.5" in drawn.svg


@pytest.mark.parametrize(
    "change",
    [
        {"masses": ["2.0"], "contents": {"Zinc oxide": ["100"]}, "moulds": 1, "sample": 1},
        {"masses": ["2.000"] * 20, "contents": {"Zinc oxide": ["100"] * 10}},
        {"masses": [f"{2000 + i}" for i in range(20)], "contents": {"Zinc oxide": ["1000000", "0.0001", "5"]}},
        {"masses": [f"0.00{i % 9 + 1}" for i in range(20)], "contents": {}},
        {"contents": {"": ["99", "101", "100"]}},
        {"names": [f"$\\frac{{{i}}}$ 栓 \x07" for i in range(24)]},
    ],
    ids=["one unit", "no spread", "huge and tiny", "light", "an active without a name", "names of signs"],
)
def test_odd_batches_are_drawn_too(change: dict[str, Any], make_judged: Callable[..., JudgedBatch]) -> None:
    judged = make_judged(**change)
    drawn = [tray_picture(judged), mass_picture(judged)]
    for active in judged.batch.actives:
        drawn += [
            drawing(judged, active.name, place=1) for drawing in (content_picture, scatter_picture, plane_picture)
        ]
    for picture in drawn:
        if isinstance(picture, Picture):
            ElementTree.fromstring(picture.svg)
    assert isinstance(drawn[0], Picture)
    assert isinstance(drawn[1], Picture)


class TestFittedChange:
    def test_a_change_fitted_in_mg_is_drawn_in_percent_of_label(self, batches: Batches) -> None:
        judged = batches["failing"]()
        assert judged.pour is not None
        in_mg = replace(
            judged.pour.trend.content["Paracetamol"],
            measure="mg",
            fitted=(("1", 225.0), ("24", 275.0)),
            band=(("1", 220.0, 230.0), ("24", 270.0, 280.0)),
            stretch=("19", "24"),
        )
        trend = replace(judged.pour.trend, content={"Paracetamol": in_mg})
        found = series.content_series(replace(judged, pour=replace(judged.pour, trend=trend)), "Paracetamol")
        assert found is not None
        assert found.change.fitted == ((1.0, pytest.approx(90.0)), (24.0, pytest.approx(110.0)))
        assert found.change.band[0] == (1.0, pytest.approx(88.0), pytest.approx(92.0))
        assert found.change.stretch == (19.0, 24.0)

    def test_a_change_in_a_unit_that_cannot_be_turned_into_that_of_the_picture_is_left_out(
        self, batches: Batches
    ) -> None:
        judged = batches["failing"]()
        assert judged.pour is not None
        in_mg = replace(judged.pour.trend.content["Paracetamol"], measure="mg")
        actives = tuple(replace(active, label_claim_mg=None) for active in judged.batch.actives)
        judged = replace(
            judged,
            batch=replace(judged.batch, actives=actives),
            pour=replace(judged.pour, trend=replace(judged.pour.trend, content={"Paracetamol": in_mg})),
        )
        found = series.content_series(judged, "Paracetamol")
        assert found is not None
        assert found.change == Change()


def test_inferred_doses_carry_their_bars_and_the_assays_stand_on_top(frame: Frame, batches: Batches) -> None:
    judged = batches["sound"]()
    inferred = tuple(
        DoseFromMass(unit=str(unit), dose_mg=250.0, low_mg=230.0, high_mg=270.0, between_sd_mg=8.0)
        for unit in range(1, 25)
    )
    screen = DoseScreen(active="Paracetamol", doses=inferred, sentence="The weights agree with the label.")
    assert doses.draw_doses(frame, judged=judged, screen=screen) is frame
    drawn = {line.get_label(): line for line in lines(frame)}
    assert len(drawn["inferred from mass, bar: 95 % interval"].get_xdata()) == 24  # type: ignore[arg-type]
    assert len(drawn["assayed"].get_xdata()) == 10  # type: ignore[arg-type]
    assert "label = 250 mg" in texts(frame)
    silent = DoseScreen(
        active="Paracetamol", silent_because="Its displacement value is near 1, so the weights cannot show it."
    )
    assert dose_picture(judged, silent, place=1) == Prose(
        text="Paracetamol: Its displacement value is near 1, so the weights cannot show it."
    )


def test_triangles_have_a_key(frame: Frame, batches: Batches) -> None:
    scatter.draw_mass_against_content(frame, judged=batches["failing"](), active="Paracetamol")
    shown = texts(frame)
    assert "within the limits" in shown
    assert "outside a limit of mass or content" in shown
