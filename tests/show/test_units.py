"""Units in pictures: called by their names where these are short, by their places in the pour where they are not."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from matplotlib.axes import Axes
from msgspec.structs import replace

from qc.batch import counting_order
from qc.results import JudgedBatch, Trend
from qc.results.pour import TrendFlag
from qc.show import content, series, series_drawn, tray, units
from qc.show.pieces import Picture
from qc.show.units import named, short_names

LONG = [f"Metronidazole-suppository-no-{number:03d}" for number in range(1, 25)]
OUTSIDE = ["2.300", *["2.000"] * 22, "1.700"]

Make = Callable[..., JudgedBatch]


def test_short_names_stand_as_they_are(make_judged: Make) -> None:
    rows = make_judged(names=[f"Unit {number}" for number in range(1, 10)], masses=["2.000"] * 9).unit_rows
    assert short_names(rows) == ({f"Unit {number}": f"Unit {number}" for number in range(1, 10)}, "")


@pytest.mark.parametrize(
    ("pour_order", "told"),
    [(True, "place in the pour order"), (False, "units by name (no pour order was given)")],
)
def test_for_long_names_the_place_in_the_pour_stands_and_a_sentence_says_so(
    make_judged: Make, pour_order: bool, told: str
) -> None:
    judged = make_judged(names=LONG, pour_order=pour_order)
    names, sentence = short_names(judged.unit_rows)
    assert list(names.values()) == [str(place) for place in range(1, 25)]
    assert sentence == f" The number of a unit in the picture is its {told}."
    drawn = tray.tray_picture(judged)
    assert isinstance(drawn, Picture)
    assert sentence in drawn.caption


def test_a_unit_without_its_place_has_no_number(make_judged: Make) -> None:
    first, *rest = make_judged(names=LONG).unit_rows
    names, _ = short_names([replace(first, pour_order=None), *rest])
    assert (names[LONG[0]], names[LONG[1]]) == ("", "2")


def test_every_picture_calls_a_unit_the_same(make_judged: Make, ax: Axes) -> None:
    judged = make_judged(names=LONG, masses=OUTSIDE)
    tray.draw_tray(ax, plan=tray.tray_plan(judged.unit_rows))
    assert {text.get_text().partition("\n")[0] for text in ax.texts} == {str(place) for place in range(1, 25)}
    found = series.mass_series(judged)
    assert found is not None
    ax.clear()
    series_drawn.draw_series(ax, series=found)
    assert "outside a limit" in [line.get_label() for line in ax.lines]
    ax.clear()
    content.draw_mass_against_content(ax, judged=judged, active="Paracetamol")
    assert [line.get_label() for line in ax.lines[1:3]] == ["outside: unit 1", "outside: unit 24"]


def test_a_caption_names_units_in_full(make_judged: Make) -> None:
    drawn = series_drawn.mass_picture(make_judged(names=LONG, masses=OUTSIDE))
    assert isinstance(drawn, Picture)
    assert drawn.caption.startswith(
        "2 of all 24 masses lie more than 5 % from the sample’s mean, 2.015 g: units Metronidazole-suppository-no-001 "
        "and Metronidazole-suppository-no-024."
    )


def test_long_lists_and_very_long_names_are_cut() -> None:
    assert named(str(unit) for unit in range(1, 11)) == "1, 2, 3, 4, 5, 6, 7, 8 and 2 more"
    assert named(["x" * 50]) == "x" * 39 + "…"


def test_names_are_sorted_as_people_count() -> None:
    assert sorted(["10", "B2", "2", "B10"], key=counting_order) == ["2", "10", "B2", "B10"]


def test_of_very_many_units_those_farthest_off_are_drawn_and_the_caption_says_so(
    make_judged: Make, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(units, "MOST_DRAWN", 8)
    masses = ["2.000", "2.002", "2.001"] * 8
    judged = make_judged(names=[str(number) for number in range(1, 25)], masses=[*masses[:10], "1.700", *masses[11:]])
    told = " Of every 3 units in order the one farthest off is drawn; the tables hold all."
    pictures = tray.tray_picture(judged), series_drawn.pour_picture(judged, "")
    for drawn in pictures:
        assert isinstance(drawn, Picture)
        assert told in drawn.caption
        assert "<title>unit 11: 1.700" in drawn.svg
        assert drawn.svg.count("<title>unit ") == 8


def test_the_fitted_change_of_very_many_units_is_drawn_where_they_are(
    make_judged: Make, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(units, "MOST_DRAWN", 8)
    found = series.mass_series(make_judged(names=LONG))
    fitted = tuple((point.row.unit, 2.0) for point in found.points)
    trend = Trend(
        flag=TrendFlag.CLEAR, n=24, sentence="", fitted=fitted, band=tuple((unit, 1.9, 2.1) for unit, _ in fitted)
    )
    shown, _ = series_drawn._by_stretches(replace(found, trend=trend))
    assert shown.trend is not None
    kept = [point.row.unit for point in shown.points]
    assert len(kept) == 8
    assert [unit for unit, _ in shown.trend.fitted] == [unit for unit, *_ in shown.trend.band] == kept
