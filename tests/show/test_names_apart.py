"""Short names: no two alike, as long as there is room for, and the same unit called the same everywhere."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from qc.results import JudgedBatch
from qc.say.names import shown_text
from qc.show import moulds, scatter, series, tray, tray_layout
from qc.show.frame import Frame
from qc.show.names_apart import names_apart, shared_beginning
from qc.show.pictures import mass_picture, tray_picture
from qc.show.view import Picture
from qc.show.writing import written_on

LONG = [f"Metronidazole-suppository-no-{number:03d}" for number in range(1, 25)]


@pytest.mark.parametrize(
    ("names", "most", "short"),
    [
        (["1", "2"], 6, ["1", "2"]),
        (["Unit 1", "Unit 2"], 6, ["Unit 1", "Unit 2"]),
        (["Metronidazole-001", "Metronidazole-101"], 6, ["…001", "…101"]),
        (["Metronidazole001", "Metronidazole002"], 6, ["…001", "…002"]),
        (["Tray of aluminium", "Tray of alabaster"], 12, ["…aluminium", "…alabaster"]),
        (["1000001", "1000002"], 6, ["…00001", "…00002"]),
        (["001-Metronidazole", "002-Metronidazole"], 6, ["001-M…", "002-M…"]),
        (["Metronidazole-001", "spare"], 6, ["…e-001", "spare"]),
        (["Tray A", "Tray A, left corner"], 8, ["…A", "…corner"]),
        (["Tray-of-aluminium"], 12, ["Tray-of-alu…"]),
        (["left upper row", "left lower row", "right upper row", "right lower row"], 8,
         ["left up…", "left lo…", "right u…", "right l…"]),
        (["Unit no 3 of the row", "Unit no 4 of the row", "<x> $1$", "<x> $2$"], 6,
         ["…3 of…", "…4 of…", "…> $1$", "…> $2$"]),
    ],
    ids=[
        "short",
        "just short enough",
        "a shared beginning",
        "a number right after it",
        "a cut at a word",
        "a cut not within a number",
        "a shared end",
        "one of another kind",
        "one the beginning of the other",
        "alone",
        "told by their beginnings",
        "told in groups",
    ],
)  # fmt: skip
def test_names_are_cut_where_they_are_alike(names: list[str], most: int, short: list[str]) -> None:
    assert list(names_apart(names, most=most).values()) == short


@given(
    st.lists(st.text(alphabet="ab1 -", min_size=1, max_size=14), min_size=1, max_size=12, unique=True),
    st.integers(3, 9),
)
def test_names_that_differ_stay_different(names: list[str], most: int) -> None:
    short = names_apart(names, most=most)
    assert list(short) == names
    assert len(set(short.values())) == len({shown_text(name) for name in names})


def test_what_is_left_out_is_what_all_begin_with() -> None:
    assert shared_beginning(LONG, most=6) == "Metronidazole-suppository-no-"
    assert shared_beginning(["1", "2"], most=6) == ""
    assert shared_beginning(LONG[:1], most=6) == ""


def test_every_picture_calls_a_long_name_by_the_same_end(make_judged: Callable[..., JudgedBatch], frame: Frame) -> None:
    judged = make_judged(names=LONG, masses=[*["2.000"] * 23, "2.300"])
    ends = {f"…{number:03d}" for number in range(1, 25)}
    tray.draw_tray(frame, judged=judged, layout=tray_layout.tray_layout(judged.unit_rows))
    assert ends <= {label.text for label in written_on(frame)}
    found = series.mass_series(judged)
    assert found is not None
    assert {point.name for point in found.points} == ends
    before = len(written_on(frame))
    scatter.draw_mass_against_content(frame, judged=judged, active="Paracetamol")
    assert len(ends & {label.text for label in written_on(frame)[before:]}) == 10


def test_the_tray_says_what_the_short_names_begin_with_and_names_two_units_differently(
    make_judged: Callable[..., JudgedBatch],
) -> None:
    judged = make_judged(names=LONG, masses=["2.010", *["2.000"] * 22, "1.990"])
    rows = tuple(replace(row, mould=f"Tray-of-aluminium-{row.mould}") for row in judged.unit_rows)
    drawn = tray_picture(replace(judged, unit_rows=rows))
    assert isinstance(drawn, Picture)
    assert "lightest is unit …024 (−0.5 %), heaviest unit …001 (+0.5 %)" in drawn.caption
    assert drawn.caption.endswith(
        ' "…" stands for the beginning that all share: units "Metronidazole-suppository-no-" and moulds '
        '"Tray-of-aluminium-".'
    )


def test_a_caption_names_long_units_by_their_ends(make_judged: Callable[..., JudgedBatch]) -> None:
    drawn = mass_picture(make_judged(names=LONG, masses=["2.300", *["2.000"] * 22, "1.700"]))
    assert isinstance(drawn, Picture)
    assert drawn.caption.startswith("2 of 24 masses lie beyond 5 % of the mean of 2.015 g: …001 and …024.")


def test_moulds_with_long_names_keep_headings_of_their_own(
    make_judged: Callable[..., JudgedBatch], frame: Frame
) -> None:
    judged = make_judged()
    rows = [replace(row, mould=f"Tray-of-aluminium-{row.mould}") for row in judged.unit_rows]
    assert [heading for heading, _, _ in tray_layout.tray_layout(rows).headings] == ["Mould …A", "Mould …B"]
    found = series.mass_series(judged)
    assert found is not None
    split = moulds.by_mould(rows, found)
    assert split is not None
    moulds.draw_moulds(frame, moulds=split)
    assert {"Mould …A", "Mould …B"} <= {label.text for label in written_on(frame)}


@pytest.mark.parametrize(("beginning", "left_out"), [("-", ""), ("A-", "A-"), ("AB-", "AB-")])
def test_a_shared_beginning_is_left_out_where_that_makes_a_name_shorter(beginning: str, left_out: str) -> None:
    assert shared_beginning([f"{beginning}12345678", f"{beginning}87654321"], most=8) == left_out
