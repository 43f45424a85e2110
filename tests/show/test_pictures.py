"""What is drawn: lines at the limits, a label for each, a mark for each unit."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from matplotlib.axes import Axes
from matplotlib.lines import AxLine, Line2D
from msgspec.structs import replace

import qc
from qc.results import JudgedBatch, Place, Trend, TrendFlag, Verdict
from qc.results.pour import DoseFromMass, DoseScreen
from qc.show import content, series, series_drawn
from qc.show.content import plane_picture, scatter_picture
from qc.show.palette import ACCENT, PAPER, contrast, deviation_colour, text_on
from qc.show.pieces import Lines, Picture, Prose, Table
from qc.show.sections.findings import doses_from_mass
from qc.show.sections.tables import unit_table
from qc.show.series import series_in_order
from qc.show.series_drawn import content_picture, mass_picture
from qc.show.tray import tray_picture

Batches = dict[str, Callable[[], JudgedBatch]]


def levels_drawn(ax: Axes) -> dict[str, list[float]]:
    """Heights of the lines that run over the whole width, by their entry of the legend."""
    found: dict[str, list[float]] = {}
    name = ""
    for line in ax.lines:
        (start, *_), heights = line.get_xydata().tolist(), line.get_ydata()  # type: ignore[union-attr]
        if list(line.get_xdata()) == [0, 1] and heights[0] == heights[1]:  # type: ignore[arg-type,index]
            name = name if str(line.get_label()).startswith("_") else str(line.get_label())
            found.setdefault(name, []).append(round(start[1], 6))
    return found


def by_label(ax: Axes) -> dict[str, Line2D]:
    return {str(line.get_label()): line for line in ax.lines}


@pytest.mark.parametrize(("moved", "told"), [(0.02, False), (0.05, True)])
def test_points_with_the_cavities_taken_out_are_drawn_and_told_where_they_can_be_seen(
    ax: Axes, moved: float, told: bool, make_judged: Callable[..., JudgedBatch]
) -> None:
    found = series.mass_series(make_judged(masses=["2.000"] * 20))
    values = tuple((point.row.unit, point.y) for point in found.points)
    corrected = (("1", 2.0 + moved), *values[1:])
    trend = Trend(flag=TrendFlag.NONE_SEEN, n=20, values=values, corrected=corrected)
    found = replace(found, trend=trend)
    series_drawn.draw_series(ax, series=found)
    assert ("cavities taken out" in by_label(ax)) is told
    assert ("ross: cavities taken out" in series_drawn.series_caption(found)) is told


def axis_names(ax: Axes) -> tuple[str, str]:
    return ax.get_xlabel(), ax.get_ylabel()


def _caption(drawn: Picture | Prose) -> str:
    assert isinstance(drawn, Picture)
    return drawn.caption


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
        self, ax: Axes, make_judged: Callable[..., JudgedBatch]
    ) -> None:
        judged = replace(make_judged(masses=["2.000"] * 20), planned_mass=None)
        found = series.mass_series(judged)
        assert series_drawn.draw_series(ax, series=found) is ax
        assert levels_drawn(ax) == {"mean": [2.0], "+5 %": [2.1], "−5 %": [1.9], "+10 %": [2.2], "−10 %": [1.8]}
        assert axis_names(ax) == ("order", "mass [g]")

    def test_each_line_has_its_height_and_its_name_beside_it_in_nine_points(
        self, ax: Axes, make_judged: Callable[..., JudgedBatch]
    ) -> None:
        series_drawn.draw_series(ax, series=series.mass_series(make_judged(masses=["2.000"] * 20)))
        names = {text.get_text(): text.get_position()[1] for text in ax.texts}
        heights = {
            round(place, 3): label.get_text()
            for place, label in zip(ax.get_yticks(), ax.get_yticklabels(), strict=True)
        }
        assert {name: heights[round(place, 3)] for name, place in names.items()} == {
            "mean": "2.000",
            "+5 %": "2.100",
            "−5 %": "1.900",
            "+10 %": "2.200",
            "−10 %": "1.800",
            "plan": "2.033",
        }
        letters = [*ax.texts, *ax.get_yticklabels(), *ax.get_xticklabels(), ax.xaxis.label, ax.yaxis.label]
        assert {text.get_fontsize() for text in letters} == {9.0}

    def test_what_the_marks_mean_is_said_below(self, batches: Batches) -> None:
        assert "ringed: outside a limit" in _caption(mass_picture(batches["failing"]()))
        told = _caption(mass_picture(batches["sixty_units"]()))
        assert "quare: not in the sample; hollow: left out" in told

    def test_units_outside_are_ringed(self, ax: Axes, batches: Batches) -> None:
        found = series.mass_series(batches["failing"]())
        series_drawn.draw_series(ax, series=found)
        ring = by_label(ax)["outside a limit"]
        assert set(ring.get_xdata()) == {4, 8, 12, 13}  # type: ignore[arg-type]

    def test_left_out_units_are_hollow_and_other_units_have_their_own_marker(self, ax: Axes, batches: Batches) -> None:
        found = series.mass_series(batches["sixty_units"]())
        series_drawn.draw_series(ax, series=found)
        drawn = by_label(ax)
        assert list(drawn["left out"].get_xdata()) == [18, 41]  # type: ignore[arg-type]
        assert drawn["left out"].get_markerfacecolor() == "#ffffff"
        assert drawn["test sample"].get_marker() != drawn["other units"].get_marker()

    def test_without_a_pour_order_the_axis_says_so(self, ax: Axes, batches: Batches) -> None:
        found = series.mass_series(batches["no_moulds"]())
        series_drawn.draw_series(ax, series=found)
        assert axis_names(ax)[0] == "unit"

    def test_a_unit_without_its_place_is_named_in_the_caption(self, batches: Batches) -> None:
        judged = batches["sound"]()
        rows = (replace(judged.unit_rows[0], pour_order=None), *judged.unit_rows[1:])
        drawn = mass_picture(replace(judged, unit_rows=rows))
        assert isinstance(drawn, Picture)
        assert drawn.caption.endswith("Not drawn, for want of a pour order: 1.")


class TestContentsInPourOrder:
    def test_limits_lie_about_the_mean_and_the_label_stands_apart(
        self, ax: Axes, make_judged: Callable[..., JudgedBatch]
    ) -> None:
        judged = make_judged(contents={"Zinc oxide": ["96", "104"] * 5})
        found = series.content_series(judged, "Zinc oxide")
        series_drawn.draw_series(ax, series=found)
        drawn = {"mean": [100.0], "+15 %": [115.0], "−15 %": [85.0], "+25 %": [125.0], "−25 %": [75.0]}
        # A label claim at the mean has no line of its own.
        assert levels_drawn(ax) == drawn
        ax.clear()
        series_drawn.draw_series(ax, series=replace(found, plan=("label", 107.5)))
        assert levels_drawn(ax) == drawn | {"label": [107.5]}
        assert axis_names(ax)[1] == "% of label"

    def test_without_a_label_claim_contents_are_drawn_in_mg(self, batches: Batches) -> None:
        judged = batches["sound"]()
        rows = tuple(
            replace(row, contents={name: replace(found, percent_of_label=None) for name, found in row.contents.items()})
            for row in judged.unit_rows
        )
        found = series.content_series(replace(judged, unit_rows=rows), "Paracetamol")
        assert found.y_label == "mg a unit"
        assert found.points[0].y == pytest.approx(248.0)

    def test_the_fitted_change_is_drawn_where_there_is_one(self, ax: Axes, batches: Batches) -> None:
        found = series.content_series(batches["failing"](), "Paracetamol")
        series_drawn.draw_series(ax, series=found)
        line = by_label(ax)["fitted change"]
        assert len(line.get_xdata()) == 10  # type: ignore[arg-type]


class TestPlane:
    def test_edges_for_ten_and_thirty_units_and_the_point_of_the_batch(self, ax: Axes, batches: Batches) -> None:
        judged = batches["sound"]()
        assert content.draw_mean_and_sd(ax, judged=judged, active="Paracetamol") is ax
        edge, _, point = ax.lines
        assert [line.get_label() for line in ax.lines[:2]] == ["edge for 10 units", "edge for 30 units"]
        assert list(edge.get_ydata()) == [0.0, 6.25, 6.25, 0.0]  # type: ignore[arg-type]
        test = content.dosage_test(judged, "Paracetamol")
        assert test is not None
        assert list(point.get_xdata()) == [test.figures["mean_percent"]]  # type: ignore[arg-type]
        assert list(point.get_ydata()) == [test.figures["sd_percent"]]  # type: ignore[arg-type]
        assert axis_names(ax) == ("mean content [% of label]", "SD [% of label]")

    @pytest.mark.parametrize(
        ("verdict", "marker", "face", "key"),
        [
            (Verdict.COMPLIES, "o", ACCENT, "complies"),
            (Verdict.DOES_NOT_COMPLY, "X", ACCENT, "does not comply"),
            (Verdict.SECOND_STAGE, "o", PAPER, "second stage due"),
            (Verdict.TOO_FEW_UNITS, "o", PAPER, "too few units"),
        ],
    )
    def test_an_undecided_sample_is_an_open_point_that_says_so(
        self, ax: Axes, batches: Batches, verdict: Verdict, marker: str, face: str, key: str
    ) -> None:
        judged = standing_at(batches["sound"](), mean=99.8, sd=0.82, verdict=verdict)
        content.draw_mean_and_sd(ax, judged=judged, active="Paracetamol")
        point = ax.lines[-1]
        assert (point.get_marker(), point.get_markerfacecolor()) == (marker, face)
        assert point.get_label() == f"this sample (n = 10): {key}"

    def test_a_point_on_the_axis_is_drawn_whole(self, ax: Axes, batches: Batches) -> None:
        judged = standing_at(batches["sound"](), mean=100.0, sd=0.0, verdict=Verdict.COMPLIES)
        content.draw_mean_and_sd(ax, judged=judged, active="Paracetamol")
        assert ax.lines[-1].get_clip_on() is False

    def test_a_batch_without_the_test_gets_a_sentence_instead(self, batches: Batches) -> None:
        judged = replace(batches["sound"](), boundaries=())
        last = plane_picture(judged, "Paracetamol", place=1)
        assert last == Prose(
            text="Mean and spread of Paracetamol are not drawn, because the dosage-unit test was not judged for it."
        )


class TestMassAgainstContent:
    def test_every_unit_with_both_is_drawn_and_each_outside_has_a_marker_that_the_legend_names(
        self, ax: Axes, batches: Batches
    ) -> None:
        judged = batches["failing"]()
        assert content.draw_mass_against_content(ax, judged=judged, active="Paracetamol") is ax
        within, *outside, _ = ax.lines
        assert within.get_label() == "within the limits"
        assert len(within.get_xdata()) + len(outside) == 10  # type: ignore[arg-type]
        assert len({str(line.get_marker()) for line in (within, *outside)}) == 1 + len(outside)
        units = content.units_with_both(judged, "Paracetamol")
        places = {f"outside: unit {row.unit}": (mass, height) for row, mass, height in units}
        assert outside
        for line in outside:
            assert places[str(line.get_label())] == (line.get_xdata()[0], line.get_ydata()[0])  # type: ignore[index]
            assert line.get_markerfacecolor() == PAPER
        assert axis_names(ax) == ("mass of the unit [g]", "% of label")

    def test_of_many_units_outside_the_last_share_a_marker(self, ax: Axes, batches: Batches) -> None:
        judged = batches["sound"]()
        rows = tuple(replace(row, place=Place.BEYOND_INNER) for row in judged.unit_rows)
        content.draw_mass_against_content(ax, judged=replace(judged, unit_rows=rows), active="Paracetamol")
        *_, last, rest, _ = ax.lines
        assert str(last.get_label()).startswith("outside: unit ")
        assert (rest.get_label(), len(rest.get_xdata())) == ("outside: 1 more unit", 1)  # type: ignore[arg-type]

    def test_along_the_line_every_gram_carries_the_mean_concentration(self, ax: Axes, batches: Batches) -> None:
        judged = batches["sound"]()
        content.draw_mass_against_content(ax, judged=judged, active="Paracetamol")
        (line,) = (line for line in ax.lines if line.get_label() == "same concentration")
        assert isinstance(line, AxLine)
        (mass, height), slope = line.get_xy1(), line.get_slope()
        assert slope == pytest.approx(height / mass)
        units = content.units_with_both(judged, "Paracetamol")
        assert mass == pytest.approx(sum(mass for _, mass, _ in units) / 10)
        # It does not pull the axes to the origin.
        assert ax.get_xlim()[0] > 0.9 * min(mass for _, mass, _ in units)


@pytest.mark.parametrize(
    ("sample", "first"), [("pour-rich-last", "bismuth subgallate"), ("pour-step", ""), ("sound", "")]
)
def test_page_one_draws_what_clearly_changed(sample: str, first: str) -> None:
    samples = Path(__file__).parents[2] / "sample_data"
    assert series_in_order(qc.judge(qc.read(samples / f"{sample}.xlsx")).judged)[0] == first


def test_without_a_pour_order_nothing_is_said_to_stand_in_it(batches: Batches) -> None:
    judged = batches["sound"]()
    rows = [replace(row, pour_order=None, mould=None, cavity=None) for row in judged.unit_rows]
    without = replace(judged, unit_rows=tuple(rows))
    for drawn in (tray_picture(without), mass_picture(without), content_picture(without, "Paracetamol", place=1)):
        assert not isinstance(drawn, Prose)
        assert drawn.title.endswith(" by name")
        assert "in pour order" not in f"{drawn.title} {drawn.caption}"
    assert "by name" in unit_table(without).caption
    with_order = mass_picture(judged)
    assert not isinstance(with_order, Prose)
    assert with_order.title == "Masses in pour order"


def test_what_is_not_there_is_said_in_one_sentence(batches: Batches) -> None:
    judged = batches["contents_only"]()
    assert tray_picture(judged) == Prose(text="The tray is not drawn, because no unit was weighed.")
    assert mass_picture(judged) == Prose(text="The masses are not drawn, because no unit was weighed.")
    assert scatter_picture(judged, "Paracetamol", place=1) == Prose(
        text="Mass against content of Paracetamol is not drawn: fewer than two units were both weighed and assayed."
    )


@pytest.mark.xdist_group("pages of the report")
def test_every_picture_is_sound_xml_with_title_and_description_and_ids_of_its_own(
    any_name: str, plain_report: Callable[[str], dict[str, Any]]
) -> None:
    report = plain_report(any_name)
    pieces = [piece for section in report["sections"] for piece in section["pieces"]]
    pictures = [piece for piece in (*report["front"]["pictures"], *pieces) if piece["kind"] == "picture"]
    assert pictures
    seen: set[str] = set()
    for picture in pictures:
        root = ElementTree.fromstring(picture["svg"])
        assert root.get("role") == "img"
        assert [child.tag.rpartition("}")[2] for child in root][:2] == ["title", "desc"]
        assert picture["caption"].replace("\xa0", " ").replace("\u200e", "") in (root[1].text or "").replace(
            "\xa0", " "
        )
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
    def test_a_change_fitted_in_mg_is_drawn_in_percent_of_label(self, ax: Axes, batches: Batches) -> None:
        judged = batches["failing"]()
        assert judged.pour is not None
        in_mg = replace(
            judged.pour.trend.content["Paracetamol"],
            measure="mg",
            fitted=(("1", 225.0), ("24", 275.0)),
            band=(("1", 220.0, 230.0), ("24", 270.0, 280.0)),
            values=tuple((str(unit), 250.0) for unit in range(1, 25)),
            stretch=("1", "22", "23", "24"),
        )
        trend = replace(judged.pour.trend, content={"Paracetamol": in_mg})
        found = series.content_series(replace(judged, pour=replace(judged.pour, trend=trend)), "Paracetamol")
        series_drawn.draw_series(ax, series=found)
        line = by_label(ax)["fitted change"]
        assert [list(ends) for ends in line.get_data()] == [[1, 24], pytest.approx([90.0, 110.0])]
        (band,) = (one for one in ax.collections if one.get_label() == "95 % band")
        lowest, highest = band.get_datalim(ax.transData).intervaly
        assert (lowest, highest) == (pytest.approx(88.0), pytest.approx(112.0))
        bars = [bar.get_extents().transformed(ax.transData.inverted()).intervalx for bar in ax.patches]
        assert [list(ends) for ends in bars] == [pytest.approx([0.5, 1.5]), pytest.approx([21.5, 24.5])]
        assert [bar.get_label() == "shifted units" for bar in ax.patches] == [True, False]

    def test_a_change_in_a_unit_that_cannot_be_turned_into_that_of_the_picture_is_left_out(
        self, ax: Axes, batches: Batches
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
        series_drawn.draw_series(ax, series=found)
        assert "fitted change" not in by_label(ax)


def test_inferred_doses_stand_in_a_table_with_their_intervals_or_it_says_why_not(batches: Batches) -> None:
    judged = batches["failing"]()
    assert judged.pour is not None
    one = DoseFromMass(unit="1", dose_mg=250.0, low_mg=230.0, high_mg=270.0, between_sd_mg=8.0)
    seen = DoseScreen(active="Paracetamol", doses=(one,), sentence="The weights agree with the label.")
    silent = DoseScreen(
        active="Zinc oxide", silent_because="Its displacement value is near 1, so the weights cannot show it."
    )
    (section,) = doses_from_mass(replace(judged, pour=replace(judged.pour, dose_from_mass=(seen, silent))))
    told, doses, why = section.pieces
    assert told == Lines(items=("The weights agree with the label.",))
    assert isinstance(doses, Table)
    assert doses.rows == (("1", "250.0", "230.0 to 270.0", "8.0"),)
    assert why == Lines(items=("Its displacement value is near 1, so the weights cannot show it.",))
