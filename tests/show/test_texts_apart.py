"""No text of a picture runs into another or off the picture, whatever the batch."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial
from itertools import combinations
from typing import Any

import pytest
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.text import Text
from matplotlib.transforms import Bbox
from msgspec.structs import replace

from qc.results import JudgedBatch, Verdict
from qc.show import chances, content, figures, series_drawn, tray
from tests.show.test_chances import CURVE

Make = Callable[..., JudgedBatch]
Kept = list[Figure]

# Between the ends and the middle; drawn by hand: pytest -m benchmarks tests/show/test_texts_apart.py
BY_HAND = partial(pytest.param, marks=pytest.mark.benchmarks)
ONE_FAR_OFF = [*["2.000"] * 19, "4.900", "2.000", "2.000"]
"""Its mean is far enough from the others that every unit lies outside."""
LONG = [f"Metronidazole-suppository-no-{number:03d}" for number in range(1, 25)]
ODD: dict[str, dict[str, Any]] = {
    "one unit": {"masses": ["2.0"], "contents": {"Zinc oxide": ["100"]}, "moulds": 1, "sample": 1},
    "no spread": {"masses": ["2.000"] * 20, "contents": {"Zinc oxide": ["100"] * 10}},
    "huge and tiny": {
        "masses": [f"{2000 + i}" for i in range(20)],
        "contents": {"Zinc oxide": ["1000000", "0.0001", "5"]},
    },
    "light": {"masses": [f"0.00{i % 9 + 1}" for i in range(20)], "contents": {}},
    "all but one outside": {"masses": ONE_FAR_OFF},
    "an active without a name": {"contents": {"": ["99", "101", "100"]}},
    "names of signs": {"names": [f"$\\frac{{{i}}}$ 栓 \x07" for i in range(24)]},
    "long names": {"names": LONG, "masses": ["2.300", *["2.000"] * 22, "1.700"]},
    "a long active": {"contents": {"Hydrocortisone acetate micronised, $5$ µm": ["60", "99", "101", "140"]}},
    "a hundred": {"masses": [f"{2 + place % 13 / 50:.3f}" for place in range(100)]},
    "a thousand": {"masses": [f"{2 + place % 13 / 50:.3f}" for place in range(1_000)], "moulds": 0},
}


@pytest.fixture
def kept(monkeypatch: pytest.MonkeyPatch) -> Kept:
    """The figures that are drawn from now on."""
    made: Kept = []
    plainly = figures.figure_with

    def keeping(draw: Callable[[Axes], object], *, size: figures.FigureSize) -> Figure:
        made.append(plainly(draw, size=size))
        return made[-1]

    monkeypatch.setattr(figures, "figure_with", keeping)
    return made


def texts_of(figure: Figure) -> Iterator[tuple[str, Bbox]]:
    """Every text that is drawn with its box [pixels]; of tick labels those on the axes."""
    (ax,) = figure.axes
    legend = ax.get_legend()
    found: list[Text] = [*ax.texts]
    if legend is not None:
        found += [*legend.get_texts(), legend.get_title()]
    if ax.axison:
        found += [ax.xaxis.label, ax.yaxis.label]
        for axis, (low, high) in ((ax.xaxis, ax.get_xlim()), (ax.yaxis, ax.get_ylim())):
            ticks = zip(axis.get_majorticklocs(), axis.get_ticklabels(), strict=True)
            found += [label for place, label in ticks if low <= place <= high]
            found.append(axis.get_offset_text())
    for text in found:
        if text.get_text() and text.get_visible():
            yield text.get_text(), text.get_window_extent()


def run_together(figure: Figure) -> list[str]:
    """Pairs of texts that overlap, and texts that leave the figure."""
    found = []
    # The legend was last laid out for the SVG, which counts in points and not in pixels.
    figure.draw_without_rendering()
    texts = list(texts_of(figure))
    for text, box in texts:
        if box.x0 < -1 or box.y0 < 0 or box.x1 > figure.bbox.width or box.y1 > figure.bbox.height:
            found.append(f"{text!r} leaves the figure")
    for (text, box), (other, box_of_other) in combinations(texts, 2):
        if box.x0 < box_of_other.x1 and box_of_other.x0 < box.x1:  # The cheap half of the comparison first.
            shared = Bbox.intersection(box, box_of_other)
            if shared is not None and min(shared.width, shared.height) > 0.5:
                found.append(f"{text!r} and {other!r}")
    return found


def all_drawn(judged: JudgedBatch) -> None:
    tray.tray_picture(judged)
    series_drawn.mass_picture(judged)
    for active in {active.name: active for active in judged.batch.actives}:
        for picture in (series_drawn.content_picture, content.scatter_picture, content.plane_picture):
            picture(judged, active, place=1)


@pytest.mark.parametrize("name", ODD)
@pytest.mark.filterwarnings("ignore:Glyph .* missing from font:UserWarning")
def test_texts_stand_apart_in_the_pictures_of_an_odd_batch(kept: Kept, make_judged: Make, name: str) -> None:
    all_drawn(make_judged(**ODD[name]))
    assert len(kept) >= 2
    assert [run_together(figure) for figure in kept] == [[] for _ in kept]


def test_texts_stand_apart_on_a_tray_filled_forty_times(kept: Kept, make_judged: Make) -> None:
    judged = make_judged(masses=[f"{2 + place % 13 / 50:.3f}" for place in range(480)])
    rows = tuple(replace(row, mould="B", cavity=str(place % 12 + 1)) for place, row in enumerate(judged.unit_rows))
    tray.tray_picture(replace(judged, unit_rows=rows))
    assert [run_together(figure) for figure in kept] == [[]]


def test_texts_stand_apart_in_the_pictures_of_every_usual_batch(kept: Kept, any_judged: JudgedBatch) -> None:
    all_drawn(any_judged)
    assert [run_together(figure) for figure in kept] == [[] for _ in kept]


@pytest.mark.parametrize("mean", [70.0, BY_HAND(85.0), 98.7, BY_HAND(116.0), 130.0])
@pytest.mark.parametrize("sd", [0.0, 1.8, 6.0, 82.4])
def test_texts_stand_apart_wherever_the_sample_stands(
    kept: Kept, batches: dict[str, Callable[[], JudgedBatch]], mean: float, sd: float
) -> None:
    judged = batches["sound"]()
    tests = tuple(
        replace(test, verdict=Verdict.SECOND_STAGE, figures={**test.figures, "mean_percent": mean, "sd_percent": sd})
        for test in judged.tests
    )
    content.plane_picture(replace(judged, tests=tests), "Paracetamol", place=1)
    assert [run_together(figure) for figure in kept] == [[]]


@pytest.mark.parametrize("whose", ["this sample", "the planned batch"])
@pytest.mark.parametrize("sd", [None, 6.0, 40.0])
def test_texts_stand_apart_in_the_picture_of_chances(kept: Kept, whose: str, sd: float | None) -> None:
    chances.curve_of_chances(replace(CURVE, sample_sd_percent=sd), place=1, whose=whose)
    assert [run_together(figure) for figure in kept] == [[]]
