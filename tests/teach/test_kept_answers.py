"""Lessons with their keys, figures and laboratories, in `kept_answers.json`: our own, to see what a change moves.

After a change that is meant, `python tests/teach/test_kept_answers.py` writes them anew.
"""

from __future__ import annotations

import functools
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from msgspec.structs import replace

from qc.batch import Batch, Part
from qc.causes.model import TAUGHT
from qc.teach.classroom import GRADES, _dealt, _dealt_causes, _pairs
from qc.teach.figures import figures_of
from qc.teach.lab import Lab
from qc.teach.lesson import LessonProblem, Tray, lesson_recipe, make_lesson
from qc.teach.live import made_of
from qc.teach.on_request import laboratory_table
from qc.teach.pictures import contents, masses, parts_found
from tests.shared.kept import differences, kept_in, plain, write_anew

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


if __name__ == "__main__":
    write_anew(FILE, ANSWERS)
