"""Texts written at once stand where matplotlib's own would, on the page and in the order of drawing."""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree
from io import StringIO
from typing import Literal

import matplotlib
import pytest
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import text_to_path

from qc.show.frame import Frame
from qc.show.palette import FONT
from qc.show.writing import Label, wide_points, write, written_on

SVG = "{http://www.w3.org/2000/svg}"


def texts_of_page(figure: Figure) -> dict[str, ElementTree.Element]:
    """Text elements of the saved drawing, by what they say."""
    written = StringIO()
    with matplotlib.rc_context({"svg.fonttype": "none"}):
        figure.savefig(written, format="svg")
    found = ElementTree.fromstring(written.getvalue()).iter(f"{SVG}text")
    return {element.text or "": element for element in found}


def place_of(element: ElementTree.Element) -> tuple[float, float]:
    return float(element.attrib["x"]), float(element.attrib["y"])


@pytest.mark.parametrize("across", ["left", "center", "right"])
@pytest.mark.parametrize("up", ["top", "center", "bottom", "line"])
@pytest.mark.parametrize("turned", [False, True])
def test_a_label_stands_where_a_text_of_matplotlib_stands(
    figure: Figure,
    frame: Frame,
    across: Literal["left", "center", "right"],
    up: Literal["top", "center", "bottom", "line"],
    turned: bool,
) -> None:
    """The same place as `Figure.text` to a tenth of the size, whatever measures a release of matplotlib takes."""
    write(
        frame,
        [Label(text="24x", x=0.4, y=0.6, size=10.0, across=across, up=up, turned=turned)],
        transform=figure.transFigure,
    )
    figure.text(
        0.4,
        0.6,
        "24y",
        fontsize=10.0,
        family=[FONT],
        ha=across,
        va="baseline" if up == "line" else up,
        rotation=90 if turned else 0,
        rotation_mode="anchor",
    )
    found = texts_of_page(figure)
    assert place_of(found["24x"]) == pytest.approx(place_of(found["24y"]), abs=1.0)
    for style in ("text-anchor", "font-size", "font-family"):
        assert style_of(found["24x"])[style] == style_of(found["24y"])[style]
    assert ("rotate(-90" in found["24x"].attrib["transform"]) is turned


def style_of(element: ElementTree.Element) -> dict[str, str]:
    pairs = [part.partition(":") for part in element.attrib["style"].split(";")]
    return {name.strip(): value.strip() for name, _, value in pairs}


def test_a_shift_goes_right_and_upward_in_points(figure: Figure, frame: Frame) -> None:
    write(frame, [Label(text="here", x=0.5, y=0.5), Label(text="there", x=0.5, y=0.5, shift=(3.0, 4.0))])
    found = texts_of_page(figure)
    here, there = place_of(found["here"]), place_of(found["there"])
    assert (there[0] - here[0], here[1] - there[1]) == pytest.approx((3.0, 4.0))


def test_lines_of_one_label_stand_below_each_other_about_its_place(figure: Figure, frame: Frame) -> None:
    write(frame, [Label(text="first\nsecond", x=0.5, y=0.5, size=10.0), Label(text="alone", x=0.5, y=0.5, size=10.0)])
    found = texts_of_page(figure)
    first, second, alone = (place_of(found[text])[1] for text in ("first", "second", "alone"))
    assert second - first == pytest.approx(12.0, abs=0.01)
    assert (first + second) / 2 == pytest.approx(alone, abs=0.01)


def test_colour_and_weight_are_those_of_each_label(figure: Figure, frame: Frame) -> None:
    write(
        frame,
        [
            Label(text="a", x=0.1, y=0.5, colour="#ffffff"),
            Label(text="b", x=0.2, y=0.5, bold=True),
            Label(text="c", x=0.3, y=0.5, colour="#ffffff"),
        ],
    )
    found = {text: style_of(element) for text, element in texts_of_page(figure).items()}
    assert [found[text]["fill"] for text in "abc"] == ["#ffffff", "#1a1a1a", "#ffffff"]
    assert ["font-weight" in found[text] for text in "abc"] == [False, True, False]


def test_signs_of_formulas_and_of_markup_are_letters_like_others(figure: Figure, frame: Frame) -> None:
    write(frame, [Label(text="$x_1$ <b> & %", x=0.5, y=0.5)])
    assert list(texts_of_page(figure)) == ["$x_1$ <b> & %"]


def test_a_label_without_letters_is_not_written(frame: Frame) -> None:
    write(frame, [Label(text="", x=0.5, y=0.5)])
    assert written_on(frame) == []


@pytest.mark.parametrize(("text", "high"), [("WWW", 10.0), ("1\nWWW\n1", 34.0)], ids=["one line", "three"])
def test_paper_behind_a_name_is_as_wide_and_high_as_all_its_lines(
    figure: Figure, frame: Frame, text: str, high: float
) -> None:
    write(frame, [Label(text=text, x=0.5, y=0.5, size=10.0, backed=0.0)])
    written = StringIO()
    with matplotlib.rc_context({"svg.fonttype": "none"}):
        figure.savefig(written, format="svg")
    group = next(
        element
        for element in ElementTree.fromstring(written.getvalue()).iter(f"{SVG}g")
        if element.get("id") == "writing_1"
    )
    corners = [float(part) for part in group[0].attrib["d"].replace("M", "").replace("L", "").split() if part != "z"]
    assert max(corners[::2]) - min(corners[::2]) == pytest.approx(wide_points("WWW", size=10.0))
    assert max(corners[1::2]) - min(corners[1::2]) == pytest.approx(high, abs=0.01)


@pytest.mark.parametrize("bold", [False, True])
@pytest.mark.parametrize("text", ["0", "24", "1111"])
def test_digits_are_as_wide_as_they_are_measured(text: str, bold: bool) -> None:
    font = FontProperties(family=[FONT], size=10.0, weight="bold" if bold else "normal")
    measured, _, _ = text_to_path.get_text_width_height_descent(text, font, False)
    assert wide_points(text, size=10.0, bold=bold) == pytest.approx(measured, rel=1e-3)
