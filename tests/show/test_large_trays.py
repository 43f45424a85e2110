"""Trays of many units: they fit on a page, use its width, and stay readable."""

from __future__ import annotations

import itertools
from collections.abc import Callable

import pytest
from matplotlib.collections import CircleCollection
from msgspec.structs import replace

from qc.results import JudgedBatch, Place, UnitRow
from qc.show import room, tray, tray_layout
from qc.show.frame import Frame
from qc.show.pictures import tray_picture
from qc.show.view import Picture
from qc.show.writing import wide_points, written_on

Make = Callable[..., JudgedBatch]


def in_moulds(rows: tuple[UnitRow, ...], *, cavities: int) -> tuple[UnitRow, ...]:
    return tuple(
        replace(row, mould=f"M{place // cavities + 1}", cavity=str(place % cavities + 1))
        for place, row in enumerate(rows)
    )


@pytest.fixture
def six_hundred(make_judged: Make) -> JudgedBatch:
    judged = make_judged(masses=[f"{2 + place % 7 / 100:.3f}" for place in range(600)])
    return replace(judged, unit_rows=in_moulds(judged.unit_rows, cavities=100))


def test_a_tray_that_fits_keeps_cells_of_full_size(make_judged: Make) -> None:
    layout = tray_layout.tray_layout(make_judged().unit_rows)
    assert tray_layout.cell_inches(layout) == tray_layout.INCHES_A_CELL
    assert layout.wide == tray_layout.COLUMNS_OF_A_PAGE + tray_layout.GAP_CELLS


def test_six_hundred_units_fit_on_a_page_and_use_its_width(six_hundred: JudgedBatch) -> None:
    layout = tray_layout.tray_layout(six_hundred.unit_rows)
    _, high = tray_layout.tray_inches(layout)
    assert high <= tray_layout.MOST_INCHES_HIGH + 1e-9
    assert layout.wide * tray_layout.cell_inches(layout) > 0.85 * tray_layout.INCHES_WIDE
    assert tray_layout.cell_inches(layout) > 0.2
    assert len({(cell.x, cell.y) for cell in layout.cells}) == 600
    assert all(cell.x + 1 <= layout.wide and cell.y + 1 <= layout.height for cell in layout.cells)


def test_units_without_moulds_stand_in_longer_rows_where_there_are_many(make_judged: Make) -> None:
    judged = make_judged(masses=["2.000"] * 300, moulds=0)
    layout = tray_layout.tray_layout(judged.unit_rows)
    assert layout.wide > tray_layout.COLUMNS_OF_A_PAGE + tray_layout.GAP_CELLS
    assert tray_layout.tray_inches(layout)[1] <= tray_layout.MOST_INCHES_HIGH + 1e-9


def test_circles_and_numbers_become_smaller_together_and_the_legend_does_not(
    frame: Frame, six_hundred: JudgedBatch
) -> None:
    layout = tray_layout.tray_layout(six_hundred.unit_rows)
    tray.draw_tray(frame, judged=six_hundred, layout=layout)
    scale = tray_layout.cell_inches(layout) / tray_layout.INCHES_A_CELL
    circles = next(artist for artist in frame.artists if isinstance(artist, CircleCollection))
    radius = tray.RADIUS * scale * tray_layout.INCHES_A_CELL * tray.POINTS_AN_INCH
    assert circles.get_sizes()[0] == pytest.approx(3.14159265 * radius**2)
    labels = {label.text: label for label in written_on(frame)}
    assert labels["600"].size == pytest.approx(8.5 * scale * tray.ROOMIER)
    box = room.box_of(frame, labels["600"])
    assert box.right - box.left < 2 * radius
    assert labels["deviation from the mean mass [%]"].size == 7.0
    assert isinstance(tray_picture(six_hundred), Picture)


def test_the_sign_of_a_unit_outside_stands_clear_of_the_heading(make_judged: Make) -> None:
    judged = make_judged(masses=["2.300", *["2.000"] * 23])
    layout = tray_layout.tray_layout(judged.unit_rows)
    assert layout.cells[0].row.place is Place.BEYOND_OUTER
    picture = tray_picture(judged)
    assert isinstance(picture, Picture)
    first = layout.cells[0]
    sign = (first.y + 0.5 - 0.37) * 36 - 8.5 / 2
    heading = (layout.headings[0][2] + tray_layout.ROWS_OF_HEADING - tray.HEADING_OVER_CELLS) * 36 + 8.0 * 0.24
    assert sign >= heading + 4.0


def filled_again(make_judged: Make, *, units: int, cavities: int) -> JudgedBatch:
    judged = make_judged(masses=["2.000"] * units)
    rows = tuple(
        replace(row, mould="B", cavity=str(place % cavities + 1)) for place, row in enumerate(judged.unit_rows)
    )
    return replace(judged, unit_rows=rows)


@pytest.mark.parametrize(("units", "cavities"), [(24, 12), (120, 12), (480, 12), (1_000, 12)])
def test_names_of_fillings_do_not_run_together(frame: Frame, make_judged: Make, units: int, cavities: int) -> None:
    judged = filled_again(make_judged, units=units, cavities=cavities)
    layout = tray_layout.tray_layout(judged.unit_rows)
    tray.draw_tray(frame, judged=judged, layout=layout)
    names = [label for label in written_on(frame) if label.bold and label.up == "line"]
    assert len(names) == len(layout.headings)
    points = 72 * tray_layout.cell_inches(layout)
    for one, other in itertools.pairwise(names):
        if other.y == one.y:
            assert one.x * points + wide_points(one.text, size=one.size, bold=True) < other.x * points
    assert all(label.size >= tray.SMALLEST_HEADING_POINTS for label in names)


def test_a_tray_of_two_fillings_names_them_in_full(frame: Frame, make_judged: Make) -> None:
    judged = filled_again(make_judged, units=24, cavities=12)
    tray.draw_tray(frame, judged=judged, layout=tray_layout.tray_layout(judged.unit_rows))
    names = [(label.text, label.size) for label in written_on(frame) if label.bold and label.up == "line"]
    assert names == [("Mould B, filling 1", 8.0), ("Mould B, filling 2", 8.0)]


def test_no_fillings_are_named_where_nobody_could_read_it(frame: Frame, make_judged: Make) -> None:
    judged = filled_again(make_judged, units=900, cavities=1)
    tray.draw_tray(frame, judged=judged, layout=tray_layout.tray_layout(judged.unit_rows))
    assert not [label for label in written_on(frame) if label.bold and label.up == "line" and "·" in label.text]
