"""A series mould by mould, as measured beside without cavity differences; and defects marked on the tray."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal

import pytest
from msgspec.structs import replace

from qc.results import JudgedBatch, PourAnalysis, PourTrend, SeenDefect, Trend, TrendFlag, VisualInspection
from qc.say.numbers import padded
from qc.show import findings, moulds, series, tables, tray, tray_layout
from qc.show.frame import Frame
from qc.show.pictures import mould_pictures, tray_picture
from qc.show.view import Lines, Picture
from qc.show.writing import written_on

Batches = dict[str, Callable[[], JudgedBatch]]


def with_correction(judged: JudgedBatch) -> JudgedBatch:
    corrected = tuple((row.unit, float(row.mass_g or 0) + 0.01) for row in judged.unit_rows)
    trend = Trend(flag=TrendFlag.NONE_SEEN, n=24, measure="g", corrected=corrected)
    followed = PourAnalysis(trend=PourTrend(mass=trend), seed=1, important_change_percent=10.0, permutations=9_999)
    return replace(judged, pour=followed)


def seen(defect: str, *units: str) -> SeenDefect:
    return SeenDefect(
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


def split(judged: JudgedBatch) -> moulds.Moulds:
    found = series.mass_series(judged)
    assert found is not None
    made = moulds.by_mould(judged.unit_rows, found)
    assert made is not None
    return made


def test_corrected_masses_stand_beside_the_measured_ones_on_one_scale(frame: Frame, batches: Batches) -> None:
    made = split(with_correction(batches["sound"]()))
    panels = [(panel.mould, panel.corrected) for panel in made.panels]
    assert panels == [("A", False), ("B", False), ("A", True), ("B", True)]
    first, _, third, _ = made.panels
    assert third.heights == pytest.approx([height + 0.01 for height in first.heights])
    moulds.draw_moulds(frame, moulds=made)
    shown = [label.text for label in written_on(frame)]
    assert shown.count("as measured") == shown.count("without cavity differences") == 1
    assert shown.count("Mould A") == shown.count("Mould B") == 2


@pytest.mark.parametrize(("count", "drawn"), [(1, 0), (2, 1)])
def test_one_mould_by_itself_is_not_drawn_again(
    count: int, drawn: int, make_judged: Callable[..., JudgedBatch]
) -> None:
    assert len(mould_pictures(make_judged(moulds=count), None, place=0)) == drawn


def test_six_moulds_are_too_many_side_by_side_and_five_are_not(batches: Batches) -> None:
    judged = batches["sound"]()
    for count, drawn in ((5, 1), (6, 0)):
        rows = tuple(replace(row, mould=str(place % count)) for place, row in enumerate(judged.unit_rows))
        assert len(mould_pictures(replace(judged, unit_rows=rows), None, place=0)) == drawn


def test_defects_are_lettered_on_the_tray_in_the_legend_and_in_the_caption(frame: Frame, batches: Batches) -> None:
    visual = VisualInspection(lot=24, looked_at=24, defects=(seen("cracked", "3", "5"), seen("flash", "5")))
    judged = replace(batches["sound"](), visual=visual)
    layout = tray_layout.with_defects(tray_layout.tray_layout(judged.unit_rows), judged=judged)
    assert layout.marked == {"3": "a", "5": "ab"}
    assert tray_layout.tray_inches(layout)[1] > tray_layout.tray_inches(tray_layout.tray_layout(judged.unit_rows))[1]
    tray.draw_tray(frame, judged=judged, layout=layout)
    shown = [label.text for label in written_on(frame)]
    assert {"ab", "seen: cracked", "seen: flash"} <= set(shown)
    picture = tray_picture(judged)
    assert isinstance(picture, Picture)
    assert picture.caption.endswith("A letter in a box marks what the eye saw: a cracked (3 and 5); b flash (5).")


def test_what_is_not_excluded_stands_under_the_picture() -> None:
    trend = Trend(
        flag=TrendFlag.CLEAR, n=9, correction="Cavities were taken out: -0.3 %.", not_excluded=("Drift of the balance",)
    )
    assert findings.beside_the_change(trend) == (
        Lines(items=("Cavities were taken out: −0.3 %.", "Drift of the balance.")),
    )
    assert findings.beside_the_change(None) == ()


def test_masses_of_a_column_carry_the_same_count_of_decimals(make_judged: Callable[..., JudgedBatch]) -> None:
    masses = ["2.1", "2.083", "2", *["2.05"] * 17]
    column = [row[4] for row in tables.unit_table(make_judged(masses=masses)).rows]
    assert column[:4] == ["2.100", "2.083", "2.000", "2.050"]
    assert padded([Decimal("2E+1"), Decimal("3")]) == ["20", "3"]
