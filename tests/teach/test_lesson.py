"""Teaching batches: reproducible, read like any other, silent about the fault, with a key that tells the truth."""

from __future__ import annotations

import hashlib
import json
from functools import cache
from pathlib import Path
from typing import Any
from xml.etree import ElementTree
from zipfile import ZipFile

import pytest

import qc
from qc.causes.model import TAUGHT
from qc.show.filing import ReportExists
from qc.teach.lesson import Lesson, LessonProblem, Tray, lesson_files, make_lesson, write_lesson

pytestmark = pytest.mark.usefixtures("plain_pictures")

USUAL = {"units": 24, "seed": 3, "strength": 1.0, "tray": Tray()}


@cache
def lesson_of(fault: str, *, seed: int = 3) -> Lesson:
    return make_lesson(fault, units=24, seed=seed, strength=1.0, tray=Tray())


@cache
def made(fault: str, *, seed: int = 3) -> dict[str, bytes]:
    return lesson_files(lesson_of(fault, seed=seed))


def key_read(fault: str, *, seed: int = 3) -> dict[str, Any]:
    """The key as it reads once it was written, without its page, which takes long to draw."""
    key: dict[str, Any] = json.loads(json.dumps(lesson_of(fault, seed=seed).key()))
    return key


@pytest.mark.parametrize("fault", TAUGHT)
def test_the_workbook_is_read_as_it_was_drawn_and_its_fault_is_found(fault: str, tmp_path: Path) -> None:
    lesson = lesson_of(fault)
    path = tmp_path / "batch.xlsx"
    path.write_bytes(lesson.workbook)
    batch = qc.read(path)
    drawn = lesson.drawn.batch
    assert (batch.units, batch.assays, batch.actives) == (drawn.units, drawn.assays, drawn.actives)
    assert (batch.cavity_pours, batch.planned_mass_g) == (drawn.cavity_pours, drawn.planned_mass_g)
    assert batch.source == drawn.source
    document = qc.judge(batch).as_dict()
    causes = document["causes"]
    assert isinstance(causes, list)
    assert fault in (causes[0]["cause"], *causes[0]["alike"])


def test_a_planted_slip_is_let_pass_by_the_reader(tmp_path: Path) -> None:
    # The reader refuses implausible numbers; a slip must not be one of them.
    for seed in range(4):
        path = tmp_path / f"{seed}.xlsx"
        path.write_bytes(make_lesson("slip-of-pen", units=24, seed=seed, strength=1.0, tray=Tray()).workbook)
        assert len(qc.read(path).units) == 24


def test_the_same_seed_gives_the_same_files() -> None:
    again = make_lesson("settling-in-pour", units=24, seed=3, strength=1.0, tray=Tray())
    assert lesson_files(again) == made("settling-in-pour")


def test_another_seed_gives_another_batch() -> None:
    assert lesson_of("sound", seed=1).workbook != lesson_of("sound", seed=2).workbook


def shape_of(workbook: bytes, tmp_path: Path) -> dict[str, object]:
    """Everything about a workbook that does not hang on the numbers in it: sheets, filled cells, properties, texts."""
    path = tmp_path / f"{hashlib.sha256(workbook).hexdigest()}.xlsx"
    path.write_bytes(workbook)
    shape: dict[str, object] = {}
    with ZipFile(path) as book:
        for name in book.namelist():
            text = book.read(name)
            if name.startswith("xl/worksheets/sheet"):
                shape[name] = [cell.get("r") for cell in ElementTree.fromstring(text).iter() if cell.tag.endswith("}c")]
            elif "sharedStrings" not in name:
                shape[name] = text
    return shape


@pytest.mark.parametrize("fault", [fault for fault in TAUGHT if fault != "sound"])
def test_nothing_but_the_numbers_differs_between_a_sound_and_a_faulty_workbook(fault: str, tmp_path: Path) -> None:
    sound = lesson_of("sound").workbook
    faulty = lesson_of(fault).workbook
    assert sound != faulty
    assert shape_of(sound, tmp_path) == shape_of(faulty, tmp_path)


@pytest.mark.parametrize("fault", TAUGHT)
def test_the_workbook_does_not_name_the_fault(fault: str, tmp_path: Path) -> None:
    path = tmp_path / "batch.xlsx"
    path.write_bytes(lesson_of(fault).workbook)
    with ZipFile(path) as book:
        text = b"".join(book.read(name) for name in book.namelist()).decode("utf-8", errors="replace")
    assert fault not in text or fault == "sound"


class TestKey:
    """The answer key."""

    def test_the_key_tells_the_fault_and_every_true_content(self) -> None:
        key = key_read("active-lost")
        assert (key["fault"], key["seed"], key["strength"]) == ("active-lost", 3, 1.0)
        assert list(key["true_content_mg"]["Active A"]) == [str(unit) for unit in range(1, 25)]
        assert [unit["true_content_mg"]["Active A"] for unit in key["units"]] == list(
            key["true_content_mg"]["Active A"].values()
        )
        assert "was lost before it reached the melt" in key["story"]

    @pytest.mark.parametrize("fault", TAUGHT)
    def test_units_dish_and_loss_add_up_to_what_was_weighed(self, fault: str) -> None:
        key = key_read(fault)
        assert key["actives"]
        for active in key["actives"]:
            parts = active["in_units_mg"] + active["left_in_dish_mg"] + active["lost_before_mg"]
            assert parts == pytest.approx(active["weighed_mg"], rel=1e-12)
            assert active["in_units_mg"] == pytest.approx(sum(key["true_content_mg"][active["active"]].values()))
            assert active["left_in_dish_mg"] > 0

    @pytest.mark.parametrize("seed", [3, 5])
    def test_the_share_left_in_the_dish_is_the_one_of_the_table(self, seed: int) -> None:
        key = key_read("settling-in-pour", seed=seed)
        (active,) = key["actives"]
        left = active["left_in_dish_mg"] / active["weighed_mg"]
        assert key["physics"]["share_left_in_dish"] == pytest.approx(left, rel=1e-12)
        assert f"{100 * left:.1f} % of the active weighed stayed in the dish." in key["story"]

    def test_the_working_ends_in_who_lies_outside_and_the_verdict(self) -> None:
        page = made("settling-in-pour", seed=5)["key.html"].decode()
        assert "<h3><bdi>Uniformity of content: Active A: does not comply</bdi></h3>" in page
        lines = [line.removeprefix("<li><bdi>").removesuffix("</bdi></li>") for line in page.splitlines()]
        at = lines.index(
            "Units outside 75 to 125\xa0% of the mean: 1\xa0of\xa010 (unit\xa024); none allowed (clause 3)."
        )
        assert lines[at + 1] == (
            "Therefore the sample does not comply. Unit 24 lies outside 75 to 125\xa0% of the mean; the rule "
            "allows none."
        )
        assert "points of label from the mean." in page
        assert "<bdi>active settled in the melt during the pour</bdi>" in page

    def test_the_page_holds_story_pictures_units_and_the_working(self) -> None:
        files = made("settling-in-pour")
        page, key = files["key.html"].decode(), json.loads(files["key.json"])
        assert key == key_read("settling-in-pour")
        assert key["story"] in page.replace("\xa0", " ")
        assert page.count("<svg") == 7
        assert page.count('role="img"') == 7
        assert "True content on the tray" in page
        assert "Mean = " in page
        assert "(1 - 1/" in page or "(1 − 1/" in page
        assert "<script" not in page
        assert "http://" not in page.replace("http://www.w3.org/", "")


class TestAny:
    """A fault drawn by the seed."""

    def test_any_draws_the_same_fault_for_the_same_seed(self) -> None:
        first = make_lesson("any", units=24, seed=11, strength=1.0, tray=Tray())
        assert first.fault == make_lesson("any", units=24, seed=11, strength=1.0, tray=Tray()).fault
        assert first.workbook == make_lesson(first.fault, units=24, seed=11, strength=1.0, tray=Tray()).workbook

    def test_any_draws_every_fault_sooner_or_later(self) -> None:
        from qc.teach.lesson import _drawn_fault

        assert {_drawn_fault(seed) for seed in range(200)} == set(TAUGHT)


@pytest.mark.parametrize("units", [4, 7, 10, 12, 60])
def test_small_and_large_batches_keep_at_least_one_unit_to_cut(units: int) -> None:
    lesson = make_lesson("settling-in-unit", units=units, seed=1, strength=1.0, tray=Tray(moulds=2, cavities=10))
    assert len(lesson.drawn.batch.units) == units
    assert any(assay.part == "tip" for assay in lesson.drawn.batch.assays)


def test_writing_twice_is_no_trouble_and_overwrites_nothing_else(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # What the files hold is looked at above; to draw the pages three times would take long.
    names = ("batch.xlsx", "key.json", "key.html")
    monkeypatch.setattr("qc.teach.lesson.lesson_files", lambda lesson: dict.fromkeys(names, lesson.workbook))
    first = write_lesson("sound", seed=1, out=tmp_path / "lesson")
    assert write_lesson("sound", seed=1, out=tmp_path / "lesson") == first
    assert sorted(path.name for path in first) == ["batch.xlsx", "key.html", "key.json"]
    before = {path: path.read_bytes() for path in first}
    with pytest.raises(ReportExists):
        write_lesson("sound", seed=2, out=tmp_path / "lesson")
    assert {path: path.read_bytes() for path in first} == before


def test_all_makes_a_gallery_with_a_row_a_fault(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # The files of each fault are looked at above; here they would take time.
    monkeypatch.setattr("qc.teach.lesson.lesson_files", lambda lesson: {"batch.xlsx": lesson.workbook})
    told: list[str] = []
    write_lesson("all", seed=1, units=8, out=tmp_path, progress=told.append)
    page = (tmp_path / "gallery.html").read_text(encoding="utf-8")
    for fault in TAUGHT:
        assert f'<h2 id="{fault}">' in page
        assert (tmp_path / fault / "batch.xlsx").is_file()
        assert f'href="{fault}/key.html"' in page
    assert page.count("<svg") == 4 * len(TAUGHT)
    assert told[0] == "1 of 15: sound"


@pytest.mark.parametrize(
    ("fault", "changes", "message"),
    [
        (
            "setling-in-pour",
            {},
            '"setling-in-pour" is not a known fault. Did you mean settling-in-pour? Known are: sound, '
            "settling-in-pour, settling-in-unit, poor-mixing, uneven-fill, cavity-differences, wrong-displacement, "
            "active-lost, active-excess, assay-bias, balance-drift, balance-scale, leaking-mould, melt-thickening, "
            "slip-of-pen, any, all.",
        ),
        ("sound", {"units": 3}, "3 units cannot be a lesson: choose 4 to 1000, for example 24."),
        ("sound", {"units": 1001}, "1001 units cannot be a lesson: choose 4 to 1000, for example 24."),
        ("sound", {"seed": -1}, "the seed -1 is negative: choose a whole number from 0 up."),
        ("sound", {"strength": 0.0}, "a strength of 0 cannot be poured: choose above 0, at most 3; 1 is usual."),
        ("sound", {"strength": 3.5}, "a strength of 3.5 cannot be poured: choose above 0, at most 3; 1 is usual."),
        ("sound", {"tray": Tray(cavities=0)}, "0 cavities cannot be: choose at least 1."),
    ],
)
def test_what_cannot_be_made_is_refused(fault: str, changes: dict[str, object], message: str) -> None:
    asked: dict[str, object] = {**USUAL, **changes}
    with pytest.raises(LessonProblem) as refusal:
        make_lesson(fault, **asked)  # type: ignore[arg-type]
    assert str(refusal.value) == message
