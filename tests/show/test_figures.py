"""A figure as SVG: the same on every run, made fit to stand in a page, with the reader's settings left alone."""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree

import matplotlib
import pytest
from matplotlib.axes import Axes

from qc.show.figures import FigureSize, drawn, plain

SIZE = FigureSize(high=1.0)


def marked(ax: Axes) -> None:
    ax.plot([1.0, 2.0], [3.0, 4.0], "o")
    ax.set_xlabel(plain('<b>&"$\\alpha$" id="m1" 栓剂'))


def test_what_a_text_says_stays_and_title_and_description_are_there() -> None:
    made = drawn(marked, name="n", title="A & B", alternative="<Two> marks.", size=SIZE)
    root = ElementTree.fromstring(made)
    assert (root[0].text, root[1].text) == ("A & B", "<Two> marks.")
    assert root.get("aria-labelledby") == "n-title n-desc"
    assert '<b>&"$\\alpha$" id="m1" 栓剂' in [element.text for element in root.iter()]
    assert "<style" not in made
    assert "<metadata" not in made


def test_a_figure_is_the_same_on_every_run_and_two_in_a_page_share_no_id() -> None:
    first, again, other = (drawn(marked, name=name, title="t", alternative="a", size=SIZE) for name in ("n", "n", "o"))
    assert first == again
    ids = [{element.get("id") for element in ElementTree.fromstring(made).iter()} - {None} for made in (first, other)]
    assert ids[0]
    assert not ids[0] & ids[1]


def test_settings_are_put_back_even_when_a_drawing_fails() -> None:
    def broken(_: object) -> None:
        assert matplotlib.rcParams["svg.fonttype"] == "none"
        raise RuntimeError("ink ran out")

    with matplotlib.rc_context({"lines.linewidth": 9.0}):
        before = dict(matplotlib.rcParams)
        with pytest.raises(RuntimeError, match="ink ran out"):
            drawn(broken, name="n", title="t", alternative="a", size=SIZE)
        assert dict(matplotlib.rcParams) == before
