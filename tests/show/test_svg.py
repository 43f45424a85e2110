"""A figure as SVG: what a text says stays, what matplotlib writes around it is made fit for a page."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree

import matplotlib
import pytest

from qc.show.svg import standing_alone

WRITTEN = """<?xml version="1.0" encoding="utf-8" standalone="no"?>
<svg xmlns:xlink="http://www.w3.org/1999/xlink" width="72pt" height="36pt" viewBox="0 0 72 36" xmlns="http://www.w3.org/2000/svg" version="1.1" id="all">
 <metadata>
  <rdf>made by something</rdf>
 </metadata>
 <defs>
  <style type="text/css">*{stroke-linejoin: round; stroke-linecap: butt}</style>
 </defs>
 <g id="mark_1">
  <defs>
   <path id="m1" d="M 0 1.23456 L 2.999999 3"/>
  </defs>
  <use xlink:href="#m1" x="10.123456" y="20"/>
  <text style="font-size: 7px; font-family: 'DejaVu Sans'" x="1.005" y="2" transform="rotate(-0 1.005 2)">2.12345 g url(#m1) id="m1"; font-family: 'DejaVu Sans'</text>
 </g>
</svg>
"""  # noqa: E501


def test_letters_stay_as_they_are_and_the_markup_around_them_is_cut_short() -> None:
    made = standing_alone(WRITTEN, name="n", title="A & B", alternative="Two letters.")
    assert made == (
        '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" version="1.1" role="img" '
        'width="72pt" height="36pt" viewBox="0 0 72 36" aria-labelledby="n-title n-desc" '
        "style=\"stroke-linejoin: round; stroke-linecap: butt; font-family: 'DejaVu Sans'\">"
        '<title id="n-title">A &amp; B</title><desc id="n-desc">Two letters.</desc><g>\n'
        "<defs>\n"
        '<path id="n-m1" d="M 0 1.23 L 2.99 3"/>\n'
        "</defs>\n"
        '<use xlink:href="#n-m1" x="10.12" y="20"/>\n'
        '<text style="font-size: 7px" x="1.00" y="2">'
        "2.12345 g url(#m1) id=\"m1\"; font-family: 'DejaVu Sans'</text>\n"
        "</g>\n"
        "</svg>"
    )
    ElementTree.fromstring(made)


def test_a_drawing_without_a_size_is_refused() -> None:
    opening = '<svg xmlns:xlink="http://www.w3.org/1999/xlink">'
    with pytest.raises(ValueError, match=re.escape(f"the drawing n has no viewBox: {opening[:-1]}")):
        standing_alone(f"{opening}</svg>", name="n", title="t", alternative="a")


def test_settings_are_put_back_even_when_a_drawing_fails() -> None:
    from qc.show.svg import drawn

    def broken(_: object) -> None:
        assert matplotlib.rcParams["svg.fonttype"] == "none"
        raise RuntimeError("ink ran out")

    with matplotlib.rc_context({"lines.linewidth": 9.0}):
        before = dict(matplotlib.rcParams)
        with pytest.raises(RuntimeError, match="ink ran out"):
            drawn(broken, name="n", title="t", alternative="a", inches_high=1.0, margins=(0.1, 0.1, 0.1, 0.1))
        assert dict(matplotlib.rcParams) == before
