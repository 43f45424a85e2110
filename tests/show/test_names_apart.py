"""Short names: no two alike, as long as there is room for, and the same unit called the same everywhere."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.axes import Axes
from msgspec.structs import replace

from qc.results import JudgedBatch
from qc.say.text import shown_text
from qc.show import scatter, series, tray, tray_layout
from qc.show.names_apart import names_apart, shared_beginning
from qc.show.pictures import mass_picture, tray_picture
from qc.show.pieces import Picture

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
        (["001-Zinc", "002-Zinc"], 6, ["…1-Zinc", "…2-Zinc"]),
        (["Metronidazole-001", "spare"], 6, ["…e-001", "spare"]),
        (["Tray A", "Tray A, left corner"], 8, ["…A", "…corner"]),
        (["Tray-of-aluminium"], 12, ["…f-aluminium"]),
    ],
    ids=[
        "short",
        "just short enough",
        "a shared beginning",
        "a number right after it",
        "a cut at a word",
        "a cut not within a number",
        "told by their beginnings",
        "one of another kind",
        "one the beginning of the other",
        "alone",
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


def test_every_picture_calls_a_long_name_by_the_same_end(make_judged: Callable[..., JudgedBatch], ax: Axes) -> None:
    judged = make_judged(names=LONG, masses=["2.300", *["2.000"] * 22, "1.700"])
    ends = {f"…{number:03d}" for number in range(1, 25)}
    tray.draw_tray(ax, layout=tray_layout.tray_layout(judged.unit_rows))
    assert ends <= {text.get_text().partition("\n")[0] for text in ax.texts}
    found = series.mass_series(judged)
    assert found is not None
    assert {point.name for point in found.points} == ends
    ax.clear()
    series.draw_series(ax, series=found)
    assert {text.get_text() for text in ax.texts} == {"…001", "…024"}
    ax.clear()
    scatter.draw_mass_against_content(ax, judged=judged, active="Paracetamol")
    assert {text.get_text() for text in ax.texts} == {"…001", "…024"}


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


@pytest.mark.parametrize(("beginning", "left_out"), [("-", ""), ("A-", "A-"), ("AB-", "AB-")])
def test_a_shared_beginning_is_left_out_where_that_makes_a_name_shorter(beginning: str, left_out: str) -> None:
    assert shared_beginning([f"{beginning}12345678", f"{beginning}87654321"], most=8) == left_out
