"""The page that moves: its script does what the simulator and the judge do, within 0.1 %, in a real browser."""

from __future__ import annotations

import json
import random
import shutil
import subprocess
from decimal import Decimal
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from msgspec.structs import replace

from qc.batch import Active, Assay, Batch, Unit
from qc.judging.judge import judge_batch
from qc.rules.rule_books import rule_book
from qc.simulate.melt import Melt, pour_settling_melt
from qc.simulate.pouring import Recipe
from qc.teach.live import SLIDERS, TEMPLATES, made_of, page_text, write_page

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
needs_chromium = pytest.mark.skipif(CHROMIUM is None, reason="chromium is not installed (Debian package chromium)")
# A thousand are compared by hand: pytest -m benchmarks tests/teach/test_live_page.py
SETTINGS, MANY, JUDGED = 450, 1000, 40
FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-dev-shm-usage",
    "--host-resolver-rules=MAP * ~NOTFOUND",
)


def at_random(count: int) -> list[dict[str, float]]:
    """Settings anywhere on the sliders."""
    draw = random.Random(20261127)
    return [
        {
            one.id: round(one.least + draw.randint(0, round((one.most - one.least) / one.step)) * one.step, 6)
            for one in SLIDERS
        }
        for _ in range(count)
    ]


def in_the_browser(settings: list[dict[str, float]], folder: Path) -> list[dict[str, Any]]:
    """What the script of the page answers to settings."""
    script = (TEMPLATES / "live.js").read_text(encoding="utf-8")
    ask = f"const made = {json.dumps(made_of())}; const asked = {json.dumps(settings)};"
    tell = (
        "document.getElementById('out').textContent = JSON.stringify(asked.map((s) => { const b = pourBatch(made, s);"
        " return {relative: b.relative, left: b.left, masses: b.masses, contents: b.units.map((u) => u.content),"
        " exact: b.units.map((u) => u.mass), assayed: b.assayed, found: b.found, planned: b.planned, tests: b.tests};"
        " }));"
    )
    page = folder / "parity.html"
    page.write_text(f'<!doctype html><pre id="out"></pre><script>{script}\n{ask}\n{tell}</script>', encoding="utf-8")
    call = [str(CHROMIUM), *FLAGS, f"--user-data-dir={folder / 'profile'}", "--virtual-time-budget=60000", "--dump-dom"]
    done = subprocess.run([*call, page.as_uri()], capture_output=True, text=True, check=True, timeout=300)
    text = done.stdout.partition('<pre id="out">')[2].partition("</pre>")[0]
    found: list[dict[str, Any]] = json.loads(text)
    return found


def by_the_simulator(made: dict[str, Any], one: dict[str, float]) -> tuple[Any, Any, float]:
    """Relative contents, true contents [mg] and masses [g], planned mass [g], by the code that draws lessons."""
    recipe = Recipe(units=20, moulds=2, cavities=5)
    every = int(one["stir_every"])
    melt = Melt(
        particle_um=one["particle"],
        viscosity_mpas=one["viscosity"],
        minutes_since_stir=one["standing"],
        pour_minutes=one["pouring"],
        particle_density_g_cm3=recipe.particle_density_g_cm3(Melt().melt_density_g_cm3),
        solids_fraction=recipe.solids_fraction,
        stirring=1.0 if every else 0.0,
        stir_every=every or 1,
        scraped=0.2,
        scraping_units=4,
        excess=recipe.excess,
    )
    relative = pour_settling_melt(melt, units=recipe.units).relative
    (active,) = recipe.ingredients
    used = active.displacement * (1 + one["displacement_error"] / 100)
    loading = active.label_mg / 1000 / recipe.base_g
    volume = 1 / (1 + loading * (1 / active.displacement - 1 / used))
    cavity = np.array(made["cavity_g"])[np.arange(recipe.units) % recipe.holes]
    capacity = cavity * np.exp(one["fill"] / 100 * np.array(made["luck_fill"]))
    contents = active.label_mg * capacity / recipe.base_g * relative * volume * np.array(made["luck_mixing"])
    masses = capacity + contents / 1000 * (1 - 1 / active.displacement)
    return relative, np.array([contents, masses]), recipe.planned_g((used,))


@pytest.fixture(scope="module", params=[SETTINGS, pytest.param(MANY, marks=pytest.mark.benchmarks)])
def answered(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> tuple[list[dict[str, float]], list[dict[str, Any]]]:
    settings = at_random(request.param)
    return settings, in_the_browser(settings, tmp_path_factory.mktemp("browser"))


@needs_chromium
def test_the_script_pours_as_the_simulator_does(
    answered: tuple[list[dict[str, float]], list[dict[str, Any]]],
) -> None:
    made = made_of()
    worst = 0.0
    for one, seen in zip(*answered, strict=True):
        relative, (contents, masses), planned = by_the_simulator(made, one)
        worst = max(
            worst,
            float(np.abs(np.array(seen["relative"]) - relative).max() / max(float(relative.max()), 1.0)),
            float(np.abs(np.array(seen["contents"]) - contents).max() / 250.0),
            float(np.abs(np.array(seen["exact"]) / masses - 1.0).max()),
            abs(seen["planned"] / planned - 1.0),
        )
    assert worst < 0.001


@needs_chromium
def test_the_script_judges_as_the_judge_does(
    answered: tuple[list[dict[str, float]], list[dict[str, Any]]],
) -> None:
    words = {"complies": "complies", "does-not-comply": "does not comply", "second-stage": "second stage due"}
    compared = set()
    for seen in [one for one in answered[1] if len(one["assayed"]) == 10][:JUDGED]:
        batch = Batch(
            units=tuple(Unit(name=str(at), mass_g=Decimal(f"{mass:.3f}")) for at, mass in enumerate(seen["masses"])),
            assays=tuple(
                Assay(unit=str(at), active="A", content_mg=Decimal(f"{seen['found'][str(at)]:.1f}"))
                for at in seen["assayed"]
            ),
            actives=(Active(name="A", label_claim_mg=Decimal(250)),),
            dosage_form="suppositories",
        )
        judged = {test.id: test for test in judge_batch(batch, book=rule_book(None), blind=True).tests}
        mass, content, dosage = (
            judged[id] for id in ("mass-uniformity", "content-uniformity", "dosage-unit-uniformity")
        )
        assert seen["tests"]["mass"]["verdict"] == words[mass.verdict]
        assert seen["tests"]["content"]["verdict"] == words[content.verdict]
        assert seen["tests"]["dosage"]["verdict"] == words[dosage.verdict]
        assert seen["tests"]["mass"]["inner"] == mass.figures["beyond_limit"]
        assert seen["tests"]["content"]["inner"] == content.figures["beyond_inner"]
        assert seen["tests"]["dosage"]["value"] == pytest.approx(dosage.figures["acceptance_value"], rel=1e-9)
        compared |= {("mass", mass.verdict), ("content", content.verdict), ("dosage", dosage.verdict)}
    assert len(compared) >= 7, f"too few verdicts were met: {compared}"


class Controls(HTMLParser):
    """What can be reached by keyboard, and whether it has a name."""

    def __init__(self) -> None:
        super().__init__()
        self.ids: list[str] = []
        self.labelled: set[str] = set()
        self.pictures: list[str | None] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        if tag in ("input", "select") and given.get("type") != "radio":
            self.ids.append(str(given["id"]))
        if tag == "label" and given.get("for"):
            self.labelled.add(str(given["for"]))
        if tag == "svg":
            self.pictures.append(given.get("role"))


def test_every_control_has_a_label_and_no_request_leaves_the_page() -> None:
    page = page_text()
    controls = Controls()
    controls.feed(page)
    assert set(controls.ids) == controls.labelled == {one.id for one in SLIDERS} | {"order", "look-at"}
    assert controls.pictures == ["img"] * 4
    assert "http" not in page.replace("http-equiv", "")
    assert "default-src 'none'" in page
    assert page.count('role="status"') == page.count('aria-live="polite"') == 1


@needs_chromium
def test_predicting_by_script_of_keys_shows_the_answer_and_nothing_before(tmp_path: Path) -> None:
    write_page(tmp_path / "page")
    drive = """<!doctype html><pre id="out"></pre>
<iframe id="f" src="lesson.html" style="width:WIDTHpx;height:900px;border:0"></iframe>
<script>addEventListener("load", () => { const d = document.getElementById("f").contentDocument, w = [];
const key = (e) => { e.focus(); e.click(); };
const fit = () => Math.max(d.documentElement.scrollWidth, d.body.scrollWidth);
w.push(d.getElementById("results").hidden, d.getElementById("said").textContent);
key(d.getElementById("predict")); w.push(d.getElementById("said").textContent, d.getElementById("results").hidden);
key(d.querySelector("input[name=last][value=more]")); key(d.querySelector("input[name=passes][value=no]"));
key(d.getElementById("predict")); w.push(d.getElementById("results").hidden, d.getElementById("said").textContent,
d.querySelectorAll("#tray circle").length, d.activeElement.id, fit());
const before = d.getElementById("live").textContent, s = d.getElementById("particle"); s.value = 5;
s.dispatchEvent(new Event("input", {bubbles: true}));
w.push(before !== d.getElementById("live").textContent, s.getAttribute("aria-valuetext"));
key(d.getElementById("another")); w.push(d.getElementById("results").hidden, d.activeElement.name);
document.getElementById("out").textContent = JSON.stringify(w); });</script>"""
    for width in (360, 1280):
        driver = tmp_path / "page" / "drive.html"
        driver.write_text(drive.replace("WIDTH", str(width)), encoding="utf-8")
        call = [str(CHROMIUM), *FLAGS, "--allow-file-access-from-files", "--disable-web-security"]
        call += [f"--user-data-dir={tmp_path / 'profile'}", f"--window-size={width + 40},1000", "--dump-dom"]
        done = subprocess.run([*call, driver.as_uri()], capture_output=True, text=True, check=True, timeout=120)
        seen = json.loads(done.stdout.partition('<pre id="out">')[2].partition("</pre>")[0])
        assert seen[:2] == [True, ""]
        assert seen[2].startswith("Answer both questions first")
        assert seen[3:5] == [True, False]
        assert seen[5].startswith("You said the last units hold more; they hold ")
        assert seen[6:8] == [20, "another"]
        assert seen[8] <= width
        assert seen[9:11] == [True, "5 µm"]
        assert seen[11:] == [True, "last"]


def test_settings_that_stand_still_pour_evenly() -> None:
    # One constant for the melt: nothing in the page knows another density than the displacement value gives.
    made = made_of()
    recipe = Recipe(units=20, moulds=2, cavities=5)
    assert made["solids_a_share"] / made["layers"] == pytest.approx(recipe.solids_fraction)
    assert recipe.solids_fraction == pytest.approx(0.25 / 1.6 / 2.0)
    assert replace(recipe, base_g=1.0).solids_fraction == pytest.approx(0.25 / 1.6)
