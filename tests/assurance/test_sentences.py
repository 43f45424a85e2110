"""Each sentence that carries an inferred number has a study, and none holds less often than it says."""

from __future__ import annotations

import inspect
import re
import tomllib
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path
from pkgutil import iter_modules
from typing import Any

import pytest

from qc.say import messages

RESULTS = Path(__file__).parents[1] / "benchmarks" / "results"
LEDGER = tomllib.loads((RESULTS / "sentences.toml").read_text(encoding="utf-8"))
STUDIES: list[dict[str, Any]] = LEDGER["study"]
# Words, and ways of writing a number, of what was inferred: a measured figure needs none of them.
INFERS = re.compile(
    "probability|p_value|:at_least|:at_most|interval|chance|confidence|detectable|in_100|likel|predict|power|extrapol|"
    "expected|uncertain|sd_percent|one_in| at 95 %| times in ten"
)


# What words a history, `qc chance` and the lines of limits, beside the messages.
ELSEWHERE = (
    "history.review_pages",
    "history.wording",
    "jobs.chance.found",
    "jobs.chance.noticing",
    "jobs.chance.text",
    "say.limits",
    "say.release",
    "show.chances",
)


def worded() -> Iterator[tuple[str, str]]:
    """Every message with its sentence, or the code of what words it."""
    for room in ELSEWHERE:
        for name, function in inspect.getmembers(import_module(f"qc.{room}"), inspect.isfunction):
            if function.__module__ == f"qc.{room}":
                yield f"{room}.{name}", inspect.getsource(function)
    for room in iter_modules(messages.__path__):
        module = import_module(f"qc.say.messages.{room.name}")
        yield from ((f"{room.name}.{name}", text) for name, text in getattr(module, "SENTENCES", {}).items())
        for name, function in inspect.getmembers(module, inspect.isfunction):
            if function.__module__ == module.__name__ and not name.startswith("_"):
                yield f"{room.name}.{name}", inspect.getsource(function)


def infers(text: str) -> bool:
    """Whether a sentence with a gap is of what was inferred."""
    return "{" in text and INFERS.search(text) is not None


def test_each_sentence_with_an_inferred_number_has_a_study_or_a_reason_why_not() -> None:
    inferred = {id for id, text in worded() if infers(text)}
    studied = [id for one in STUDIES for id in one["says"]]
    assert len(studied) == len(set(studied))
    assert inferred - {*studied, *LEDGER["plain"]} == set()
    assert {*studied, *LEDGER["plain"]} - {id for id, _ in worded()} == set()
    assert set(studied) & LEDGER["plain"].keys() == set()


@pytest.mark.parametrize(
    "text",
    [
        "With {confidence:share} % confidence at least {n}.",
        "seen {power:in_100}",
        "{n} of {m} at least seven times in ten",
    ],
)
def test_a_new_sentence_of_that_kind_is_noticed(text: str) -> None:
    assert infers(text)
    assert not infers("The mean mass is {mean:f} g.")


def table_of(page: str, heading: str) -> tuple[list[str], list[list[str]]]:
    """The first table under a heading, or of the page: its head, and its rows."""
    lines = (RESULTS / page).read_text(encoding="utf-8").splitlines()
    starts = [at for at, line in enumerate(lines) if line.startswith("#") and line.lstrip("# ").startswith(heading)]
    (start,) = starts if heading else (0,)
    first = next(at for at in range(start, len(lines)) if lines[at].startswith("|"))
    after = next((at for at in range(first, len(lines)) if not lines[at].startswith("|")), len(lines))
    head, _, *rows = ([cell.strip() for cell in line.strip("|").split("|")] for line in lines[first:after])
    return head, rows


def figures(study: dict[str, Any]) -> list[float]:
    """The figures of a table that a study counts."""
    head, rows = table_of(study["page"], study["table"])
    columns = [at for at, name in enumerate(head) if re.search(study["columns"], name)]
    off = head.index(study["less"]) if "less" in study else None
    named = [(" | ".join(row), row) for row in rows]
    counted = [
        row
        for name, row in named
        if re.search(study.get("rows", ""), name) and not ("but" in study and re.search(study["but"], name))
    ]

    def figure(cell: str) -> float:
        return float(cell.removesuffix(" %"))

    every = [figure(row[at]) - (figure(row[off]) if off is not None else 0.0) for row in counted for at in columns]
    return [abs(one) for one in every] if study.get("absolute") else every


@pytest.mark.parametrize("study", STUDIES, ids=lambda one: one["says"][0])
def test_none_holds_less_often_than_it_says(study: dict[str, Any]) -> None:
    found = figures(study)
    worst = max(found) if study.get("at_most") else min(found)
    assert worst == pytest.approx(study["held"], abs=1e-9)
    short = worst - study["claim"] if study.get("at_most") else study["claim"] - worst
    assert short <= study["error"] + 1e-9
    assert bool(study.get("because")) == bool("but" in study or "less" in study)
