"""The guide: every example is run, every record of the code stands in it, its pages need no network and no width."""

from __future__ import annotations

import html
import inspect
import json
import re
import shutil
import subprocess
from pathlib import Path

import pytest

import qc
from qc.causes.model import CAUSE_IDS
from qc.cli.guide import called, calls, helps
from qc.cli.main import COMMANDS
from qc.fields.sheets import SHEETS
from qc.guide.examples import ExampleFailed, Examples
from qc.guide.pages import PAGES, guide_pages
from qc.guide.records import records
from qc.rules.built_in import rule_ids, set_ids
from qc.say.messages import wording
from qc.show.pieces import Picture

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
FLAGS = ("--headless", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--allow-file-access-from-files")


@pytest.fixture(scope="module")
def told() -> list[str]:
    return []


@pytest.fixture(scope="module")
def guide(told: list[str]) -> dict[str, str]:
    """All pages; that they can be made means that every example ended as its page says.

    The pictures of a lesson, which stand in its key and in no page of the guide, are not drawn.
    """

    def undrawn(id: str, title: str, **_: object) -> Picture:
        return Picture(id=id, title=title, svg="<svg/>", caption="", alternative="")

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("qc.teach.pictures.picture", undrawn)
        return guide_pages(commands=helps(), calls=calls(), called=called, told=told.append)


@pytest.fixture(scope="module")
def text(guide: dict[str, str]) -> dict[str, str]:
    return {name: html.unescape(re.sub(r"<[^>]*>", "", page)) for name, page in guide.items()}


def test_the_walks_run_real_commands_and_show_what_they_said(
    guide: dict[str, str], told: list[str], text: dict[str, str]
) -> None:
    assert len(told) > 20
    assert {"qc check", "qc sheet", "qc compare", "qc lesson", "qc verify", "qc chance", "qc rules"} <= {
        " ".join(one.split()[:2]) for one in told
    }
    assert 'mass "2.O64" is not a number' in text["technician.html"]
    assert "DOES NOT COMPLY" in text["pharmacist.html"]
    assert "Wrote kit/keys/marking.xlsx" in text["teacher.html"]
    assert "of the active stays in the dish" in text["scientist.html"]
    assert guide["pharmacist.html"].count("<svg") == 3


def test_an_example_that_ends_otherwise_breaks_the_guide(tmp_path: Path) -> None:
    examples = Examples(folder=tmp_path, called=called, told=lambda _: None)
    with pytest.raises(ExampleFailed, match="qc rules no-such-rule ended with 2, and the guide says 0"):
        examples.run("qc rules no-such-rule")
    with pytest.raises(ExampleFailed, match="ended with 1"):
        examples.python("import qc\nqc.read('nothing.xlsx')")
    assert "three" in examples.run("qc rules no-such-rule three", 2)


def test_every_record_of_the_code_stands_on_its_page(text: dict[str, str]) -> None:
    assert {name for name in COMMANDS if f"Usage: qc {name}" not in text["commands.html"]} == set()
    headings = [field.heading for sheet in SHEETS.values() for field in sheet.fields]
    assert {one for one in headings if one not in text["fields.html"]} == set()
    assert {id for id in (*rule_ids(), *set_ids()) if id not in text["rules.html"]} == set()
    assert {id for id in CAUSE_IDS if id not in text["causes.html"]} == set()
    assert {name for name in qc.__all__ if name not in text["python.html"]} == set()
    for part in ("units_frame", "causes_frame", "tests_frame", "plot_pour", "plot_tray", "write_report"):
        assert f"Judgement.{part}" in text["python.html"] or part in text["python.html"]


def test_every_message_has_its_line_and_each_line_is_a_message() -> None:
    listed = records()["messages"]
    assert len(listed) > 200
    for one in listed:
        assert wording(one.name)
        assert one.text, f"{one.name} has nothing to show: give its function a docstring"


def test_papers_are_collected_from_the_docstrings_that_rest_on_them() -> None:
    papers = {one.name: one.text for one in records()["papers"]}
    assert "Stokes (1851)" in papers["qc.simulate.settling.stokes_velocity"]
    assert len(papers) > 20


def test_no_page_names_a_place_of_this_machine_or_asks_the_network_for_anything(guide: dict[str, str]) -> None:
    for name, page in guide.items():
        assert "/tmp" not in page, name
        assert re.findall(r'(?:src|href)="(?!#|data:|[a-z]+\.html)', page) == [], name
        assert "<script" not in page, name


def test_every_link_between_pages_leads_somewhere(guide: dict[str, str]) -> None:
    assert set(guide) == {f"{name}.html" for name in PAGES}
    for page in guide.values():
        assert set(re.findall(r'href="([a-z]+\.html)"', page)) <= set(guide)
        assert len(re.findall('aria-current="page"', page)) == 1


@pytest.mark.skipif(CHROMIUM is None, reason="chromium is not installed (Debian package chromium)")
def test_no_page_is_wider_than_its_window_at_360_and_1280(guide: dict[str, str], tmp_path: Path) -> None:
    frames = ""
    for name, page in guide.items():
        (tmp_path / name).write_text(page, encoding="utf-8")
        for width in (360, 1280):
            frames += (
                f'<iframe src="{name}" data-width="{width}" style="width:{width}px;height:800px;border:0"></iframe>'
            )
    glass = tmp_path / "glass.html"
    look = (
        "addEventListener('load', () => { document.getElementById('out').textContent = JSON.stringify("
        "[...document.querySelectorAll('iframe')].map((f) => [f.getAttribute('src'), Number(f.dataset.width),"
        " f.contentDocument.documentElement.scrollWidth])); });"
    )
    glass.write_text(f'<!doctype html><pre id="out"></pre>{frames}<script>{look}</script>', encoding="utf-8")
    call = [str(CHROMIUM), *FLAGS, f"--user-data-dir={tmp_path / 'profile'}", "--dump-dom", glass.as_uri()]
    done = subprocess.run(call, capture_output=True, text=True, check=True, timeout=300)
    seen = json.loads(done.stdout.partition('<pre id="out">')[2].partition("</pre>")[0])
    assert len(seen) == 2 * len(guide)
    assert [one for one in seen if one[2] > one[1]] == []


def test_every_public_call_has_an_example_that_is_run() -> None:
    calls = {name: inspect.getdoc(getattr(qc, name)) or "" for name in qc.__all__}
    assert [name for name, text in calls.items() if ">>> " not in text] == []
