"""Lessons with their keys, figures and laboratories, in `kept_answers.json`: our own, to see what a change moves.

After a change that is meant, `python tests/teach/test_kept_answers.py` writes them anew.
"""

from __future__ import annotations

import functools
import json
import re
from collections.abc import Callable
from decimal import Decimal
from io import BytesIO
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from unittest.mock import patch

import numpy as np
import openpyxl
import pytest
from msgspec.structs import replace
from openpyxl.worksheet.worksheet import Worksheet

from qc.batch import Batch, Part
from qc.causes.model import TAUGHT
from qc.results import named_together
from qc.simulate.melt import Melt
from qc.simulate.pouring import FaultDraw, Recipe, suspended_in
from qc.teach import classroom
from qc.teach.classroom import (
    GRADES,
    Card,
    ClassBatch,
    _dealt,
    _dealt_causes,
    _pairs,
    guess_sheet,
    key_entry,
    keys_page,
    marking,
    suited,
    write_class,
)
from qc.teach.figures import figures_of
from qc.teach.lab import Lab
from qc.teach.lesson import LessonProblem, Tray, lesson_recipe, make_lesson, write_lesson
from qc.teach.live import made_of
from qc.teach.on_request import laboratory_table
from qc.teach.page import key_page
from qc.teach.pictures import LessonPictures, contents, draw_parts, draw_truth, masses, parts_found
from tests.shared.drawings import seen
from tests.shared.kept import differences, kept_in, plain, write_anew

pytestmark = pytest.mark.usefixtures("plain_pictures")

FILE = Path(__file__).parent / "kept_answers.json"
TRAY = Tray(moulds=2, cavities=3, assays=5, cut_units=2, base_pours=1)
SPOKEN = ("assay 1 4-6", "cut 2", "weigh 3-5", "base 1", "base 2-3", "assay 4", "cut 1-9", "guess sound uneven-fill")


@functools.cache
def drawn(fault: str, *, seed: int = 4, strength: float = 1.2) -> Any:
    return make_lesson(fault.split("+"), units=12, seed=seed, strength=strength, tray=TRAY)


def lesson(fault: str) -> dict[str, Any]:
    """The key of a lesson, with what its pictures show and what may be asked for."""
    one = drawn(fault)
    seen = {"masses": masses(one.drawn), "contents": contents(one.drawn), "parts": parts_found(one.drawn)}
    key = {name: value for name, value in one.key().items() if name != "units"}
    units = one.key().get("units", [])
    return {"key": key, "units": units[::5], "number": one.number, **seen, "laboratory": laboratory_table(one)}


def figures() -> dict[str, Any]:
    """The figures that tell causes apart, of each cause and of batches with less on record."""
    found: dict[str, Any] = {id: figures_of(drawn(id).drawn.batch) for id in TAUGHT}
    batch: Batch = drawn("settling-in-pour").drawn.batch
    whole = tuple(one for one in batch.assays if one.part is Part.WHOLE)
    less = {
        "masses alone": replace(batch, assays=(), cavity_pours=()),
        "two assays": replace(batch, assays=whole[:2]),
        "three assays": replace(batch, assays=whole[:3]),
        "no label": replace(batch, actives=()),
        "no plan": replace(batch, planned_mass_g=None),
        "two units": replace(batch, units=batch.units[:2], assays=(), cavity_pours=()),
        "four units": replace(batch, units=batch.units[:4], assays=(), cavity_pours=()),
        "five units": replace(batch, units=batch.units[:5], assays=(), cavity_pours=()),
        "not weighed": replace(batch, units=tuple(replace(unit, mass_g=None) for unit in batch.units)),
        "all alike": replace(batch, units=tuple(replace(unit, mass_g=Decimal("2.0")) for unit in batch.units)),
        "weighed from the last one on": replace(
            batch, units=tuple(replace(unit, weighing_order=12 - at) for at, unit in enumerate(batch.units))
        ),
        "above the label": replace(
            batch, assays=tuple(replace(one, content_mg=(one.content_mg or 0) * Decimal("1.3")) for one in whole)
        ),
    }
    return found | {name: figures_of(one) for name, one in less.items()}


def spoken(fault: str) -> list[str]:
    """What is said in a laboratory, line by line."""
    bench = Lab(fault, units=12, seed=6, budget=70.0)
    return [bench.opening(), *(bench.answer(line) for line in SPOKEN)]


def dealt() -> dict[str, Any]:
    hands = {}
    for grade in GRADES:
        hand = _dealt(grade, np.random.default_rng(3))
        hands[grade.name] = ["+".join(next(hand)) for _ in range(20)]
    return {**hands, "causes": _dealt_causes(), "pairs": ["+".join(pair) for pair in _pairs()]}


@functools.cache
def kit() -> tuple[ClassBatch, ...]:
    """Three batches of two students, smaller than those of a class."""
    dealt_to = (
        ("01", GRADES[0], "settling-in-pour"),
        ("01", GRADES[2], "active-lost+uneven-fill"),
        ("02", GRADES[1], "sound"),
    )
    return tuple(
        ClassBatch(student=student, grade=grade, lesson=drawn(fault), judged=drawn(fault).judged())
        for student, grade, fault in dealt_to
    )


def sheet(book: bytes) -> dict[str, Any]:
    """A workbook of one sheet: its cells, what may be picked in which, its columns and what is held in place."""
    page = openpyxl.load_workbook(BytesIO(book)).active
    assert isinstance(page, Worksheet)
    cells = {
        cell.coordinate: f"{cell.value}{'' if cell.protection.locked else ' (open)'}" for row in page for cell in row
    }
    picked = {str(one.sqref): one.formula1 for one in page.data_validations.dataValidation}
    widths = {name: column.width for name, column in page.column_dimensions.items()}
    return {
        "cells": cells,
        "picked": picked,
        "widths": widths,
        "frozen": page.freeze_panes,
        "repeated": page.print_title_rows,
    }


def texts(page: str) -> list[str]:
    """The texts of a page, a line each."""
    plain_text = re.sub(r"<style.*?</style>|<script.*?</script>|<svg.*?</svg>|<[^>]+>", "\n", page, flags=re.DOTALL)
    return [line.strip() for line in plain_text.splitlines() if line.strip()]


def page_of(fault: str) -> list[str]:
    """The page of a key without its pictures."""
    one = drawn(fault)
    with patch("qc.show.figures.drawn", lambda *_, **__: "<svg></svg>"):
        return texts(key_page(one.drawn, key=one.key(), judged=one.judged()))


def pictures() -> dict[str, Any]:
    """What stands on the pictures of two lessons, one with points beyond the axis."""
    found: dict[str, Any] = {}
    for fault in ("settling-in-unit", "settling-in-pour"):
        one = drawn(fault, strength=3.0).drawn
        true, read = contents(one)
        beyond = replace(read, values=(replace(true).reach, -true.reach, 55.0, -70.0, None, *read.values[5:]))
        found[f"{fault}: pour"] = seen(lambda ax, true=true, read=beyond: draw_truth(ax, true=true, found=read))
        found[f"{fault}: parts"] = seen(lambda ax, one=one: draw_parts(ax, parts=parts_found(one)))
        asked: list[Any] = []
        with patch("qc.teach.pictures.picture", lambda *told, asked=asked, **more: asked.append((told, more))):
            page = LessonPictures(drawn=one, fault=fault)
            for draw in (
                lambda page=page, one=one: page.tray(masses(one)[0]),
                lambda page=page, read=beyond: page.tray(read),
                lambda page=page, one=one: page.pour(*masses(one)),
                page.parts,
            ):
                draw()
        found[f"{fault}: told"] = [[*told, more["what"], more["caption"], more["size"]] for told, more in asked]
        found[f"{fault}: drawn"] = [seen(more["draw"]) for _, more in asked]
    return found


def seeds() -> list[int]:
    """The seeds by which the batches of three students are drawn, those drawn anew among them."""
    asked: list[int] = []

    def suited_to(card: Card) -> Any:
        asked.append(card.seed)
        return SimpleNamespace(lesson=SimpleNamespace(number=card.seed % 10))

    with patch.object(classroom, "suited", suited_to):
        list(classroom.class_batches(3, seed=20))
    return asked


def class_kit() -> dict[str, Any]:
    entries = [{name: one for name, one in key_entry(one).items() if name not in ("units", "actives")} for one in kit()]
    return {
        "entries": entries,
        "also likely": [one.also_likely for one in kit()],
        "guesses": sheet(guess_sheet("01", kit()[:2])),
        "marking": sheet(marking(kit())),
        "keys": texts(keys_page(kit(), seed=5))[:120],
    }


ANSWERS: dict[str, Callable[[], Any]] = {
    **{f"lesson: {id}": functools.partial(lesson, id) for id in (*TAUGHT, "any", "active-lost+uneven-fill")},
    "figures": figures,
    **{f"laboratory: {id}": functools.partial(spoken, id) for id in ("settling-in-unit", "uneven-fill+active-lost")},
    "laboratory: any": functools.partial(spoken, "any"),
    "recipes": lambda: [
        lesson_recipe(units=units, seed=seed, tray=tray)
        for units, seed, tray in ((4, 1, Tray()), (15, 2, Tray()), (16, 3, TRAY), (24, 4, Tray(cut_units=0, assays=30)))
    ],
    "dealt": dealt,
    "a class": class_kit,
    "pictures": pictures,
    "seeds of cards": seeds,
    **{f"page: {id}": functools.partial(page_of, id) for id in ("settling-in-pour", "slip-of-pen")},
    "made of": lambda: {key: value for key, value in made_of().items() if key != "batch"},
}  # fmt: skip


@pytest.mark.parametrize("name", ANSWERS)
def test_a_kept_answer_has_not_changed(name: str) -> None:
    assert list(differences(plain(ANSWERS[name]()), kept_in(FILE).get(name))) == []


def test_no_answer_is_kept_that_nobody_asks_for() -> None:
    assert list(kept_in(FILE)) == list(ANSWERS)


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"units": 3}, "3 units cannot be a lesson: choose 4 to 1000, for example 24."),
        ({"units": 1001}, "1001 units cannot be a lesson: choose 4 to 1000, for example 24."),
        ({"seed": -1}, "the seed -1 is negative: choose a whole number from 0 up."),
        ({"strength": 0.0}, "a strength of 0 cannot be poured: choose above 0, at most 3; 1 is usual."),
        ({"strength": 3.1}, "a strength of 3.1 cannot be poured: choose above 0, at most 3; 1 is usual."),
        ({"tray": Tray(moulds=0)}, "0 moulds cannot be: choose at least 1."),
        ({"tray": Tray(cavities=0)}, "0 cavities cannot be: choose at least 1."),
        ({"tray": Tray(assays=-1)}, "-1 assays cannot be: choose at least 0."),
        ({"tray": Tray(cut_units=-1)}, "-1 cut units cannot be: choose at least 0."),
    ],
)
def test_a_lesson_that_cannot_be_is_refused_with_the_nearest_that_can(asked: dict[str, Any], said: str) -> None:
    with pytest.raises(LessonProblem) as refused:
        make_lesson("sound", **asked)
    assert str(refused.value) == said


@pytest.mark.parametrize("asked", [{"units": 4}, {"seed": 0}, {"strength": 3.0}, {"tray": Tray(moulds=1, cavities=1)}])
def test_a_lesson_at_the_end_of_what_can_be_is_made(asked: dict[str, Any]) -> None:
    assert make_lesson("sound", **{"units": 6, **asked}).drawn.batch.units


def test_a_class_is_filed_with_its_keys_apart(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(classroom, "class_batches", lambda *_, **__: iter(kit()))
    told = write_class(2, seed=5, out=tmp_path)
    assert [str(path.relative_to(tmp_path)) for path in told] == ["students", "keys/keys.html", "keys/marking.xlsx"]
    numbers = [one.lesson.number for one in kit()]
    files = {str(path.relative_to(tmp_path)) for path in tmp_path.rglob("*") if path.is_file()}
    assert files >= {"students/worksheet.html", "keys/keys.html", "keys/keys.json", "keys/marking.xlsx"}
    assert files >= {f"keys/laboratory/{number}.csv" for number in numbers}
    assert files >= {f"students/{one.student}/{one.lesson.number}.xlsx" for one in kit()}
    assert files >= {"students/01/guesses.xlsx", "students/02/guesses.xlsx"}
    keys = json.loads((tmp_path / "keys" / "keys.json").read_text(encoding="utf-8"))
    assert [one["batch"] for one in keys] == numbers


def test_all_that_is_asked_of_a_lesson_is_heard(tmp_path: Path) -> None:
    asked: dict[str, Any] = {"units": 7, "seed": 9, "strength": 1.7, "tray": TRAY, "physics": {"viscosity_mpas": 91.0}}
    paths = write_lesson("settling-in-pour", out=tmp_path / "one", **asked)
    assert [path.name for path in paths] == ["batch.xlsx", "key.json", "key.html"]
    key = json.loads((tmp_path / "one" / "key.json").read_text(encoding="utf-8"))
    made = make_lesson("settling-in-pour", **asked)
    assert (key["seed"], key["strength"], len(key["units"])) == (9, 1.7, 7)
    assert key == json.loads(json.dumps(made.key()))
    assert made.drawn.physics["viscosity_mpas"] == 91.0
    assert (made.drawn.recipe.moulds, made.drawn.recipe.cavities) == (2, 3)


def test_a_gallery_is_told_of_each_cause_and_made_with_all_that_was_asked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("qc.teach.lesson.TAUGHT", ("sound", "uneven-fill"))
    told: list[str] = []
    asked: dict[str, Any] = {"units": 6, "seed": 9, "strength": 1.7, "tray": TRAY}
    paths = write_lesson("all", out=tmp_path, progress=told.append, **asked)
    assert told == ["1 of 2: sound", "2 of 2: uneven-fill"]
    assert paths[-1].name == "gallery.html"
    for id in ("sound", "uneven-fill"):
        key = json.loads((tmp_path / id / "key.json").read_text(encoding="utf-8"))
        assert key == json.loads(json.dumps(make_lesson(id, **asked).key()))


@pytest.mark.parametrize("students", [0, 401])
def test_a_class_of_none_or_too_many_is_refused(students: int, tmp_path: Path) -> None:
    said = f"a class of {students} cannot be made up: choose 1 to 400 students."
    with pytest.raises(LessonProblem) as refused:
        write_class(students, seed=1, out=tmp_path)
    assert str(refused.value) == said


def test_batches_that_would_bear_one_number_are_drawn_by_the_next_seed(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every card is dealt with a seed of its own; the number of a batch goes by the last digit of the seed here."""
    asked: list[Card] = []

    def suited_to(card: Card) -> Any:
        asked.append(card)
        return SimpleNamespace(card=card, lesson=SimpleNamespace(number=card.seed % 10))

    monkeypatch.setattr(classroom, "suited", suited_to)
    told: list[str] = []
    made: list[Any] = list(classroom.class_batches(3, seed=20, progress=told.append))
    assert told == ["Student 01 of 3", "Student 02 of 3", "Student 03 of 3"]
    assert [(one.card.student, one.card.grade.name) for one in made] == [
        (student, grade) for student in ("01", "02", "03") for grade in ("1", "2", "3")
    ]
    assert sorted(one.lesson.number for one in made) == sorted({one.lesson.number for one in made})
    dealt_by = {(one.student, one.grade.name): one.seed for one in reversed(asked)}
    for one in made:
        steps = one.card.seed - dealt_by[one.card.student, one.card.grade.name]
        assert 0 <= steps < 9
        assert one.card.seed > 2**20
    assert [one.seed for one in asked] == kept_in(FILE)["seeds of cards"]


def test_the_first_batch_in_which_the_tool_is_as_sure_as_the_grade_asks_is_taken() -> None:
    asked = Card(student="01", grade=replace(GRADES[1], least=0.0), faults=("active-lost",), seed=11)
    first = suited(asked)
    sure = max(group.probability for group in named_together(first.judged.causes) if "active-lost" in group.ids)
    assert suited(replace(asked, grade=replace(GRADES[1], least=sure))).lesson.number == first.lesson.number


def test_what_is_set_of_a_suspension_is_not_drawn() -> None:
    recipe = Recipe()
    draw = FaultDraw(recipe=recipe, strength=1.0, rng=np.random.default_rng(1), physics={"particle_density_g_cm3": 1.1})
    assert suspended_in(Melt(), draw).particle_density_g_cm3 == 1.1
    tied = suspended_in(Melt(), replace(draw, physics={"stir_every": 3.0}))
    assert tied.particle_density_g_cm3 == pytest.approx(recipe.ingredients[0].displacement * Melt().melt_density_g_cm3)
    assert tied.stir_every == 3
    with pytest.raises(ValueError, match='"colour" cannot be set here; known are: particle_um, '):
        suspended_in(Melt(), replace(draw, physics={"colour": 1.0}))


if __name__ == "__main__":
    write_anew(FILE, ANSWERS)
