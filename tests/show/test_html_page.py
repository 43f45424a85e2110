"""The HTML page: whole, escaped, still, readable."""

from __future__ import annotations

import base64
import hashlib
import re
import shutil
import subprocess
from collections.abc import Callable
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path

import pytest

from qc.results import JudgedBatch
from qc.show.pages_html import page_one_html
from qc.show.palette import contrast

# In one process, so that each report is drawn once.
pytestmark = pytest.mark.xdist_group("pages of the report")
Batches = dict[str, Callable[[], JudgedBatch]]
PageOf = Callable[[str], str]
VOID = {"meta", "link", "br", "img", "hr", "input"}


class Outline(HTMLParser):
    """Tags, headings, ids and attributes of a page; complains of a tag that is closed out of turn."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[str] = []
        self.ids: list[str] = []
        self.links: list[str] = []
        self.attributes: set[str] = set()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        for name, value in attrs:
            self.attributes.add(name)
            if name == "id" and value:
                self.ids.append(value)
            if name in ("href", "src", "xlink:href") and value:
                self.links.append(value)
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.open.pop()

    def handle_endtag(self, tag: str) -> None:
        assert self.open, f"</{tag}> closes nothing"
        assert self.open.pop() == tag


def outline(page: str) -> Outline:
    parser = Outline()
    parser.feed(page)
    parser.close()
    assert parser.open == []
    return parser


def test_the_page_is_whole_has_one_script_that_it_allows_and_no_link_that_leaves_it(
    any_name: str, page_of: PageOf
) -> None:
    page = page_of(any_name)
    found = outline(page)
    (script,) = re.findall(r"<script>(.*?)</script>", page, flags=re.DOTALL)
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    assert f"script-src 'sha256-{digest}'\"" in page
    assert found.tags.count("script") == 1
    assert not {"img", "iframe", "object", "i", "b"} & set(found.tags)
    assert not [name for name in found.attributes if name.startswith("on")]
    assert [link for link in found.links if not link.startswith("#")] == ["data:,"]
    assert len(found.ids) == len(set(found.ids))
    assert {link[1:] for link in found.links if link.startswith("#")} <= set(found.ids)


def test_style_asks_for_nothing_from_elsewhere(page_of: PageOf) -> None:
    page = page_of("sound")
    outside = set(re.findall(r"https?://[^\"' <)]+", page))
    assert outside == {
        "http://www.w3.org/2000/svg",
        "http://www.w3.org/1999/xlink",
    }  # names of vocabularies, never fetched
    assert "@import" not in page
    assert "default-src 'none'" in page


def test_text_of_the_user_is_escaped_wherever_it_stands(batches: Batches, page_of: PageOf) -> None:
    for page in (page_of("hostile"), page_one_html(batches["hostile"]())):
        assert "<script>alert" not in page
        assert "<img" not in page
        assert "&lt;script&gt;alert(1)&lt;/script&gt;" in page
        assert "\u202e" not in page
        assert "\x00" not in page


def test_headings_go_down_one_step_at_a_time(any_name: str, page_of: PageOf) -> None:
    levels = [int(tag[1]) for tag in outline(page_of(any_name)).tags if re.fullmatch("h[1-6]", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after - before <= 1 for before, after in pairwise(levels))


def test_every_table_has_a_caption_and_every_head_a_scope(page_of: PageOf) -> None:
    page = page_of("failing")
    assert page.count("<caption>") == page.count("<table")
    assert not re.findall(r"<th(?![^>]*scope=)(?!ead)[^>]*>", page)


def test_every_picture_has_a_caption_and_the_page_a_language_and_a_way_past_the_top(page_of: PageOf) -> None:
    page = page_of("failing")
    assert page.count("<figcaption>") == page.count("<svg") == 5
    assert '<html lang="en">' in page
    assert '<a class="skip" href="#verdict">Skip to the verdict</a>' in page


def test_page_one_says_what_a_person_asks_first(batches: Batches) -> None:
    page = page_one_html(batches["failing"]())
    for text in (
        "Does not comply",
        "units beyond 5 % of the mean: <strong>4 of 20</strong>",
        "at most 2",
        "Ph. Eur. 2.9.5, 11.0 [checked]",
        "Ph. Eur. 2.9.40, 11.0 [unchecked]",
        "unit 4 (−10.5 % from the mean, beyond ±10 %)",
        "active settled in the melt during the pour, 83 %",
        "Do not release.",
        "Quantity released",
        "Remarks:",
        "Decision of the responsible pharmacist",
        "it releases no batch",
    ):
        assert text in page.replace("\xa0", " "), text
    outline(page)


def test_an_unanswered_line_is_open_before_the_second_stage_and_a_dash_once_decided(batches: Batches) -> None:
    assert 'data-head="Met">open</td>' in page_one_html(batches["second_stage"]())
    assert 'data-head="Met">open</td>' not in page_one_html(batches["sound"]())


def test_templates_are_compiled_once_a_process() -> None:
    from qc.show import pages_html

    assert pages_html.pages() is pages_html.pages()


def test_colours_of_the_style_sheets_can_be_read_on_white() -> None:
    """Contrast of at least 4.5 (WCAG 2.1, success criterion 1.4.3, level AA)."""
    from qc.show import pages_html

    for name in ("front.css", "report.css"):
        colours = re.findall(r"[ ;{]color: (#[0-9a-f]{6})", (pages_html.TEMPLATES / name).read_text())
        assert colours, name
        assert [colour for colour in colours if contrast(colour, "#ffffff") < 4.5] == [], name


def in_browser(address: str, profile: Path) -> subprocess.CompletedProcess[str]:
    """The document tree that the browser ends with, and what it wrote to its log."""
    flags = (
        "--headless --no-sandbox --disable-gpu --disable-quic --no-first-run --disable-background-networking "
        "--disable-component-update --disable-sync --hide-scrollbars --enable-logging=stderr --dump-dom"
    )
    return subprocess.run(
        ["chromium", *flags.split(), "--virtual-time-budget=5000", f"--user-data-dir={profile}", address],
        capture_output=True,
        text=True,
        timeout=120,
        check=True,
    )


needs_browser = pytest.mark.skipif(shutil.which("chromium") is None, reason="needs a browser (Debian package chromium)")


@needs_browser
@pytest.mark.parametrize("width", [320, 1280])
def test_the_page_does_not_run_over_the_side_of_the_window(width: int, page_of: PageOf, tmp_path: Path) -> None:
    """A browser window has a least width, so the page is put into a frame and its size is read from there."""
    page = page_of("hostile").replace('<meta http-equiv="Content-Security-Policy"', '<meta name="rule"')
    probe = (
        "<script>addEventListener('load',()=>{const e=document.documentElement;parent.postMessage("
        "[e.scrollWidth,e.clientWidth,performance.getEntriesByType('resource').length],'*')})</script>"
    )
    (tmp_path / "page.html").write_text(page.replace("</body>", probe + "</body>"))
    (tmp_path / "frame.html").write_text(
        f"<!DOCTYPE html><iframe src='page.html' style='width:{width}px;height:900px;border:0'></iframe><p><script>"
        "addEventListener('message',e=>{document.querySelector('p').textContent='size '+e.data.join(' ')})</script>"
    )
    done = in_browser((tmp_path / "frame.html").as_uri(), tmp_path / "profile")
    found = re.search(r"<p>size (\d+) (\d+) (\d+)", done.stdout)
    assert found, done.stderr[-2000:]
    needed, had, requests = (int(part) for part in found.groups())
    assert had == width
    assert needed <= had
    assert requests == 0


@needs_browser
def test_tray_and_advice_stand_on_the_first_screen_of_a_telephone_and_a_table_sorts(
    page_of: PageOf, tmp_path: Path
) -> None:
    """A screen of 360 by 640, in the units of a style sheet; the probe clicks the head of a column of numbers twice."""
    page = page_of("failing").replace('<meta http-equiv="Content-Security-Policy"', '<meta name="rule"')
    probe = """<script>addEventListener('load', () => {
        const end = (chosen) => Math.round(document.querySelector(chosen).getBoundingClientRect().bottom);
        const tables = [...document.querySelectorAll('#evidence table')];
        const table = tables.find((one) => one.caption.textContent.startsWith('Every unit'));
        const heads = [...table.tHead.rows[0].cells];
        const place = heads.findIndex((head) => head.textContent.startsWith('Deviation'));
        const top = () => { heads[place].querySelector('button').click();
                            return table.tBodies[0].rows[0].cells[place].textContent; };
        parent.postMessage([end('.qc-advice'), end('.qc-tray svg'), top(), top()], '*');
    })</script>"""
    (tmp_path / "page.html").write_text(page.replace("</body>", probe + "</body>"))
    (tmp_path / "frame.html").write_text(
        "<!DOCTYPE html><iframe src='page.html' style='width:360px;height:640px;border:0'></iframe><p><script>"
        "addEventListener('message',e=>{document.querySelector('p').textContent='size '+e.data.join(' ')})</script>"
    )
    done = in_browser((tmp_path / "frame.html").as_uri(), tmp_path / "profile")
    found = re.search(r"<p>size (\d+) (\d+) ([^<\s]+) ([^<\s]+)<", done.stdout)
    assert found, done.stderr[-2000:]
    assert int(found[2]) < int(found[1]) <= 640
    assert (found[3], found[4]) == ("−10.51", "+6.33")


def test_a_unit_of_the_tray_is_named_under_the_pointer(page_of: PageOf) -> None:
    told = re.findall(r"<use [^>]*><title>(.*?)</title></use>", page_of("failing"))
    assert any(line.replace("\xa0", " ").startswith("unit 4: 1.79") for line in told)
    assert len([line for line in told if line.startswith("unit ")]) >= 2 * 24


@needs_browser
def test_the_browser_has_nothing_to_complain_of(page_of: PageOf, tmp_path: Path) -> None:
    path = tmp_path / "report.html"
    path.write_text(page_of("hostile"))
    done = in_browser(path.as_uri(), tmp_path / "profile")
    assert "Does not comply" in done.stdout or "Complies" in done.stdout
    assert "CONSOLE" not in done.stderr


def test_on_a_narrow_screen_each_figure_limit_and_answer_carries_its_head(batches: Batches) -> None:
    page = page_one_html(batches["failing"]())
    heads = re.findall(r'data-head="(\w+)"', page)
    lines = page.count('class="qc-what"')
    assert heads == ["Limit", "Met"] * lines
    assert lines == 7
    assert "@media screen and (max-width: 44rem)" in page
