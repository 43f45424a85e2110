"""The tray: every unit is drawn in its place, few and many units, and each says how far it lies from the mean."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.collections import PathCollection
from matplotlib.colors import to_hex
from matplotlib.figure import Figure
from msgspec.structs import replace

from qc.results import JudgedBatch, SeenDefect, UnitRow, VisualInspection
from qc.say.numbers import signed
from qc.show import tray
from qc.show import tray_plan as places
from qc.show.figures import INCHES_SMALL, INCHES_WIDE
from qc.show.palette import INK, PAPER, deviation_colour
from qc.show.pieces import Picture
from qc.show.tray import tray_picture
from qc.show.tray_plan import DIAMETER, INCHES_A_CELL, MOST_INCHES_HIGH, TrayPlan, tray_plan
from qc.show.units import OUTSIDE

Make = Callable[..., JudgedBatch]
Batches = dict[str, Callable[[], JudgedBatch]]


def drawn(ax: Axes, judged: JudgedBatch) -> TrayPlan:
    plan = tray_plan(judged.unit_rows, lettered=judged.visual is not None)
    limits = judged.mass_limits
    letters, _ = tray.letters_of_defects(judged, plan)
    assert tray.draw_tray(ax, plan=plan, limits=limits, letters=letters) is ax
    return plan


def circles(ax: Axes) -> PathCollection:
    (found,) = (artist for artist in ax.collections if isinstance(artist, PathCollection))
    return found


def texts(ax: Axes) -> list[str]:
    return [text.get_text() for text in ax.texts]


def legend_of(ax: Axes) -> list[str]:
    legend = ax.get_legend()
    assert legend is not None
    return [text.get_text() for text in legend.get_texts()]


def in_moulds(judged: JudgedBatch, *, cavities: int) -> JudgedBatch:
    rows = tuple(
        replace(row, mould=f"M{place // cavities + 1}", cavity=str(place % cavities + 1))
        for place, row in enumerate(judged.unit_rows)
    )
    return replace(judged, unit_rows=rows)


def filled_again(judged: JudgedBatch, *, cavities: int) -> JudgedBatch:
    rows = tuple(
        replace(row, mould="B", cavity=str(place % cavities + 1)) for place, row in enumerate(judged.unit_rows)
    )
    return replace(judged, unit_rows=rows)


class TestWhatIsDrawn:
    def test_every_unit_is_a_circle_of_its_colour_with_its_number_and_signed_deviation(
        self, ax: Axes, batches: Batches
    ) -> None:
        judged = batches["failing"]()
        plan = drawn(ax, judged)
        offsets = np.asarray(circles(ax).get_offsets()).tolist()
        assert sorted(cell.row.unit for cell in plan.cells) == sorted(row.unit for row in judged.unit_rows)
        assert [(x, y) for x, y in offsets] == [(cell.x, cell.y) for cell in plan.cells]
        colours = [to_hex(colour) for colour in np.asarray(circles(ax).get_facecolor())]
        assert colours == [deviation_colour(cell.row.deviation_percent, reach=10.0) for cell in plan.cells]
        inside = {text.split("\n")[0]: text.split("\n")[1] for text in texts(ax) if "\n" in text}
        assert set(inside) == {str(unit) for unit in range(1, 25)}
        assert inside["4"] == "−10.5"
        assert inside["8"] == "+6.0"

    def test_units_outside_carry_a_triangle_that_points_their_way_full_beyond_the_outer_limit(
        self, ax: Axes, batches: Batches
    ) -> None:
        drawn(ax, batches["failing"]())
        signs = {(str(line.get_marker()), line.get_markerfacecolor()): line for line in ax.lines}
        counts = {sign: len(np.asarray(line.get_xdata())) for sign, line in signs.items() if sign[0] != "o"}
        assert counts == {("^", PAPER): 2, ("v", PAPER): 1, ("v", INK): 1}
        thick = [width > 1 for width in np.asarray(circles(ax).get_linewidth())]
        assert thick.count(True) == 4

    def test_a_triangle_touches_no_unit_but_its_own(self, ax: Axes, batches: Batches) -> None:
        judged = batches["failing"]()
        plan = drawn(ax, judged)
        own = {row.unit for row in judged.unit_rows if row.place in OUTSIDE}
        signs = [at for line in ax.lines if line.get_marker() in ("^", "v") for at in np.asarray(line.get_xydata())]
        assert len(signs) == len(own) == 4
        for x, y in signs:
            away = sorted((np.hypot(cell.x - x, cell.y * plan.pitch - y), cell.row.unit) for cell in plan.cells)
            assert away[0][1] in own
            # Half a sign is some 0.12 of a cell.
            assert away[1][0] > DIAMETER / 2 + 0.12

    def test_the_legend_has_the_colours_in_one_line_and_both_signs_of_a_limit(self, batches: Batches) -> None:
        judged = batches["failing"]()
        figure = Figure()
        axes = figure.subplots()
        plan = tray_plan(judged.unit_rows, inches_wide=INCHES_SMALL, inches_high=0.62)
        tray.draw_tray(axes, plan=plan, limits=(5.0, 10.0))
        legend = axes.get_legend()
        assert legend is not None
        # Filled column by column.
        assert [text.get_text() for text in legend.get_texts()][:4] == ["−10", "> 5 %", "0", "> 10 %"]

    def test_the_legend_says_what_colours_and_signs_mean(self, ax: Axes, batches: Batches) -> None:
        drawn(ax, batches["failing"]())
        assert legend_of(ax) == [
            *("−10", "0", "+10"),
            "beyond ±5 %",
            "beyond ±10 %",
            "left out",
        ]
        legend = ax.get_legend()
        assert legend is not None
        assert legend.get_title().get_text() == "deviation from the mean mass [%]"

    def test_defects_are_lettered_on_the_tray_and_in_the_caption(self, ax: Axes, batches: Batches) -> None:
        judged = replace(batches["sound"](), visual=seen(cracked=("3", "5"), flash=("5",)))
        plan = drawn(ax, judged)
        ax.figure.canvas.draw()
        boxes = {text.get_text(): text.get_window_extent() for text in ax.texts}
        letters = {name: boxes.pop(name) for name in ("a", "ab")}
        assert not {"b", "ba"} & boxes.keys()
        # No letter covers what stands in a unit, its own or a neighbour's; each is nearest to its own.
        assert not any(letter.overlaps(box) for letter in letters.values() for box in boxes.values())
        for name, unit in (("a", "3"), ("ab", "5")):
            box = letters[name]
            at = ax.transData.inverted().transform(((box.x0 + box.x1) / 2, (box.y0 + box.y1) / 2))
            nearest = min(plan.cells, key=lambda cell: (cell.x - at[0]) ** 2 + (cell.y * plan.pitch - at[1]) ** 2)
            assert nearest.row.unit == unit
        picture = tray_picture(judged)
        assert isinstance(picture, Picture)
        assert picture.caption.endswith("Under a unit: a = cracked; b = flash.")

    def test_where_units_are_too_small_for_letters_the_caption_speaks_of_none(self, make_judged: Make) -> None:
        judged = make_judged(masses=["2.000"] * 900, moulds=0)
        picture = tray_picture(replace(judged, visual=seen(cracked=("3",))))
        assert isinstance(picture, Picture)
        assert "A letter under" not in picture.caption


def seen(**defects: tuple[str, ...]) -> VisualInspection:
    found = tuple(
        SeenDefect(
            defect=defect,
            entered_as=(defect,),
            grade="minor",
            grade_mark="our reading",
            units=units,
            causes=(),
            remedy="",
            mark="from memory",
            source="",
        )
        for defect, units in defects.items()
    )
    return VisualInspection(lot=24, looked_at=24, defects=found)


class TestWhereUnitsLie:
    def test_cavities_stand_in_counting_order_in_the_line_of_their_mould(self, batches: Batches) -> None:
        plan = tray_plan(batches["sound"]().unit_rows)
        assert plan.names == {0: "Mould A", 1: "Mould B"}
        assert [cell.row.cavity for cell in plan.cells if cell.y == 0] == [str(cavity) for cavity in range(1, 13)]

    def test_no_two_units_share_a_place_and_all_lie_inside(self, any_judged: JudgedBatch) -> None:
        plan = tray_plan(any_judged.unit_rows)
        assert len({(cell.x, cell.y) for cell in plan.cells}) == len(any_judged.unit_rows)
        assert all(0 <= cell.x < plan.columns and 0 <= cell.y < plan.lines for cell in plan.cells)

    def test_a_cavity_filled_twice_is_drawn_once_a_filling(self, batches: Batches) -> None:
        plan = tray_plan(filled_again(batches["sound"](), cavities=12).unit_rows)
        assert plan.names == {0: "Mould B, filling 1", 1: "Mould B, filling 2"}

    def test_a_unit_without_its_cavity_is_still_drawn(self, batches: Batches) -> None:
        rows = [replace(row, cavity=None) if row.unit == "3" else row for row in batches["sound"]().unit_rows]
        assert len(tray_plan(rows).cells) == 24

    def test_the_line_of_units_without_a_mould_says_so(self) -> None:
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
        assert tray_plan([row]).names == {0: "No mould named"}

    def test_moulds_with_long_names_keep_names_of_their_own(self, make_judged: Make) -> None:
        rows = [replace(row, mould=f"Tray-of-aluminium-{row.mould}") for row in make_judged().unit_rows]
        assert list(tray_plan(rows).names.values()) == ["Mould …uminium-A", "Mould …uminium-B"]

    def test_a_long_line_goes_on_below(self, make_judged: Make) -> None:
        plan = tray_plan(in_moulds(make_judged(masses=["2.000"] * 80), cavities=40).unit_rows)
        assert plan.names == {0: "Mould M1", plan.lines // 2: "Mould M2"}
        assert plan.columns < 40

    def test_more_fillings_than_a_page_has_lines_for_stand_in_pour_order(self, make_judged: Make) -> None:
        plan = tray_plan(filled_again(make_judged(masses=["2.000"] * 900), cavities=1).unit_rows)
        assert plan.names == {}
        assert [cell.row.unit for cell in plan.cells] == [str(unit) for unit in range(1, 901)]


class TestManyUnits:
    def test_a_tray_that_fits_keeps_cells_of_full_size(self, make_judged: Make) -> None:
        judged = in_moulds(make_judged(masses=["2.000"] * 18), cavities=6)
        assert tray_plan(judged.unit_rows).cell_inches == INCHES_A_CELL

    @pytest.mark.parametrize("units", [1, 25, 120, 300, 600, 1_000])
    @pytest.mark.parametrize("cavities", [0, 1, 12, 100])
    def test_a_tray_fits_on_a_page_and_no_two_circles_overlap(
        self, make_judged: Make, units: int, cavities: int
    ) -> None:
        judged = make_judged(masses=["2.000"] * units, moulds=0)
        judged = filled_again(judged, cavities=cavities) if cavities else judged
        plan = tray_plan(judged.unit_rows, lettered=judged.visual is not None)
        assert plan.lines * plan.cell_inches <= MOST_INCHES_HIGH + 1e-9
        assert plan.size.right >= 0.0
        assert plan.size.high <= MOST_INCHES_HIGH + places.INCHES_OF_LEGEND + places.INCHES_OF_EDGE + 1e-9
        assert len({(cell.x, cell.y) for cell in plan.cells}) == units
        assert places.DIAMETER < 1.0

    def test_six_hundred_units_use_the_height_of_the_page(self, make_judged: Make) -> None:
        plan = tray_plan(in_moulds(make_judged(masses=["2.000"] * 600), cavities=100).unit_rows)
        assert plan.lines * plan.cell_inches > 0.7 * MOST_INCHES_HIGH
        assert plan.cell_inches > 0.19

    def test_numbers_become_smaller_with_their_circles_until_none_is_written(self, ax: Axes, make_judged: Make) -> None:
        sizes = [
            tray_plan(make_judged(masses=["2.000"] * n, moulds=0).unit_rows).font_points for n in (300, 600, 1_000)
        ]
        assert sizes == sorted(sizes, reverse=True)
        assert sizes[1] >= places.SMALLEST_POINTS > sizes[2] == 0.0
        drawn(ax, make_judged(masses=["2.000"] * 300, moulds=0))
        assert len(texts(ax)) == 300
        assert ax.texts[0].get_fontsize() == sizes[0]

    def test_a_line_is_never_wider_than_its_circle(self, make_judged: Make) -> None:
        for masses, names in ((["2.000"] * 24, "{}"), (["2.000"] * 23 + ["1.500"], "{}"), (["2.000"] * 24, "no {}")):
            rows = make_judged(masses=masses).unit_rows
            rows = tuple(replace(row, unit=names.format(row.unit)) for row in rows)
            for inches in (INCHES_SMALL, INCHES_WIDE):
                plan = tray_plan(rows, inches_wide=inches, inches_high=1.5)
                lines = [row.unit for row in rows]
                lines += ["+25.0" if masses[-1] == "1.500" else "0.0"] * plan.two_lines
                wide = max(map(len, lines)) * places.EMS_OF_A_LETTER * plan.font_points
                assert wide <= places.DIAMETER * plan.cell_inches * 72
                assert not plan.two_lines or inches == INCHES_WIDE

    @pytest.mark.parametrize("name", ["sound", "failing"])
    def test_the_letters_on_page_one_have_nine_points(self, name: str, batches: Batches, ax: Axes) -> None:
        rows = batches[name]().unit_rows
        plan = tray_plan(rows, inches_wide=INCHES_SMALL, inches_high=tray.INCHES_HIGH_SMALL)
        assert plan.font_points >= 9.0
        tray.draw_tray(ax, plan=plan, limits=(5.0, 10.0))
        legend = ax.get_legend()
        assert legend is not None
        assert {text.get_fontsize() for text in (*ax.get_yticklabels(), *legend.get_texts())} == {9.0}

    def test_cavities_stand_over_the_columns_where_units_have_no_room_for_a_name(
        self, ax: Axes, make_judged: Make
    ) -> None:
        judged = in_moulds(make_judged(masses=["2.000"] * 60), cavities=12)
        rows = [
            replace(row, unit=f"{row.unit:>06}", mould=f"long name {row.mould}", pour_order=None)
            for row in judged.unit_rows
        ]
        size = {"inches_wide": INCHES_SMALL, "inches_high": 1.2}
        plan = tray_plan(rows, **size)
        tray.draw_tray(ax, plan=plan)
        assert [tick.get_text() for tick in ax.get_xticklabels()] == [str(n) for n in range(1, 13)]
        assert plan.size.high > tray_plan(rows).size.high * plan.cell_inches / INCHES_A_CELL
        short = [replace(row, unit=str(place), mould=(row.mould or "")[-2:]) for place, row in enumerate(rows)]
        assert not tray_plan(short, **size).cavities
        # Where each mould has cavities of its own, no name holds for a whole column.
        own = [replace(row, cavity=f"{row.mould[-1]}{row.cavity}") for row in rows if row.mould]
        assert not tray_plan(own, **size).cavities

    @pytest.mark.parametrize(("order", "title"), [(1, "The tray as it was poured"), (None, "The tray")])
    def test_a_tray_is_said_to_be_as_it_was_poured_only_where_an_order_was_given(
        self, order: int | None, title: str, make_judged: Make
    ) -> None:
        judged = in_moulds(make_judged(masses=["2.000"] * 24), cavities=12)
        rows = tuple(replace(row, pour_order=order) for row in judged.unit_rows)
        picture = tray_picture(replace(judged, unit_rows=rows))
        assert isinstance(picture, Picture)
        assert picture.title == title

    def test_of_a_thousand_none_is_named_and_those_outside_keep_their_triangles(
        self, ax: Axes, make_judged: Make
    ) -> None:
        masses = ["2.000"] * 1_000
        masses[499], masses[700] = "2.300", "1.500"
        drawn(ax, make_judged(masses=masses, moulds=0))
        assert len(np.asarray(circles(ax).get_offsets())) == 1_000
        assert texts(ax) == []
        assert sum(len(np.asarray(line.get_xdata())) for line in ax.lines) == 2


class TestByContents:
    def test_a_tray_of_contents_is_coloured_by_them_and_says_so(self, batches: Batches) -> None:
        judged = batches["failing"]()
        active = judged.batch.actives[0].name
        found = {row.unit: row.contents[active] for row in judged.unit_rows if active in row.contents}
        picture = tray_picture(judged, active)
        assert isinstance(picture, Picture)
        assert f"Colour: content of {active} [% from the mean]" in picture.caption
        away = {unit: (one.percent_of_mean or 100.0) - 100.0 for unit, one in found.items()}
        for unit in away:
            assert f"content {signed(away[unit], decimals=2)}" in picture.svg
        assert picture.svg.count("; content ") == len(away) < len(judged.unit_rows)
        assert "grey: not assayed" in picture.caption
        of_masses = tray_picture(judged)
        assert isinstance(of_masses, Picture)
        assert of_masses.caption.startswith("Colour: mass [% from the mean]")
