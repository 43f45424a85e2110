"""Files that people made, written by other programs, with known true masses: none may be read wrongly.

The table of kinds is printed with `pytest -s tests/door/test_corpus.py`.
"""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

import pytest
from door_sheets import Case
from door_words import SUM_LABELS

from qc.batch import Batch
from qc.jobs.check import with_rule_words
from qc.problems import InputProblems
from qc.readers.options import ReadOptions
from qc.readers.read import read_batch

PARTS = re.compile(r"\d+|[^\W\d]+")
SHARE_READ = 0.90
FEWEST_FILES = 120

# Conversions are made once, by one process.
pytestmark = pytest.mark.xdist_group("corpus of the door")


@dataclass(frozen=True)
class Outcome:
    """What became of a file: "right", "refused" or "wrong", and in words what was read."""

    case: Case
    what: str
    told: str
    path: str


def same_label(read: str | None, true: str) -> bool:
    """Is a mould, cavity or unit called so, with or without the word before it, whichever part of it comes first?"""
    if read is None:
        return False
    parts = [sorted(part.lstrip("0") for part in PARTS.findall(label)) for label in (read, true)]
    return parts[0] == parts[1] or true.lstrip("0") == read.split()[-1].lstrip("0")


def differs(case: Case, batch: Batch) -> str:
    """In what a reading departs from the truth; empty where it does not."""
    read, true = [unit.mass_g for unit in batch.weighed], [unit.mass for unit in case.truth]
    if Counter(read) != Counter(true):
        more, less = Counter(read) - Counter(true), Counter(true) - Counter(read)
        return f"read {len(read)} units for {len(true)}: too many {[*map(str, more)][:4]}, lost {[*map(str, less)][:4]}"
    left = list(batch.weighed)
    for unit in case.truth:
        fits = [
            one
            for one in left
            if one.mass_g == unit.mass
            and (unit.name is None or same_label(one.name, unit.name))
            and (unit.mould is None or same_label(one.mould, unit.mould))
            and (unit.cavity is None or same_label(one.cavity, unit.cavity) or same_label(one.name, unit.cavity))
        ]
        if not fits:
            there = [(one.name, one.mould, one.cavity) for one in left if one.mass_g == unit.mass]
            return f"{unit.mass} g is {unit.name, unit.mould, unit.cavity}, read as {there}"
        left.remove(fits[0])
    record = repr(batch.units) + repr(batch.assays) + repr(batch.notices)
    lost = [str(number) for number in case.carried if str(number.normalize()) not in record]
    return f"lost without a word: {lost[:3]}" if lost else ""


def tried(case: Case, path: Path) -> Outcome:
    """Read a file and hold what came of it against the truth."""
    try:
        batch = read_batch(path, options=with_rule_words(ReadOptions(**case.options)))
    except InputProblems as refusal:
        told = [str(problem) for problem in refusal.problems]
        usable = all(path.name in line and problem.mend for line, problem in zip(told, refusal.problems, strict=True))
        return Outcome(case, "refused" if usable and told else "wrong", " | ".join(told), path.name)
    fault = "read what cannot be read" if case.allowed == "refuse" else differs(case, batch)
    return Outcome(case, "wrong" if fault else "right", fault, path.name)


@pytest.fixture(scope="module")
def outcomes(written: list[tuple[Case, Path]]) -> list[Outcome]:
    """Each case read."""
    return [tried(case, path) for case, path in written]


def table(outcomes: list[Outcome]) -> str:
    """Kind, read right, refused, read wrong; and what was refused without need."""
    kinds = list(dict.fromkeys(outcome.case.kind.partition(":")[0] for outcome in outcomes))
    lines = [f"{'kind':<16}{'files':>6}{'right':>7}{'refused':>9}{'wrong':>7}"]
    for kind in [*kinds, ""]:
        found = [outcome for outcome in outcomes if kind in ("", outcome.case.kind.partition(":")[0])]
        count = Counter(outcome.what for outcome in found)
        lines.append(f"{kind or 'all':<16}{len(found):>6}{count['right']:>7}{count['refused']:>9}{count['wrong']:>7}")
    return "\n".join(lines)


def shown(outcomes: list[Outcome]) -> str:
    """Outcomes a line each."""
    return "\n".join(f"{one.case.kind} ({one.path}, {one.case.writer}): {one.told}" for one in outcomes)


def test_nothing_is_read_wrongly(outcomes: list[Outcome]) -> None:
    """No arrangement of rows, labels or blocks yields other masses than those weighed."""
    print("\n" + table(outcomes))
    wrong = [outcome for outcome in outcomes if outcome.what == "wrong"]
    assert not wrong, shown(wrong)


def test_what_can_be_read_is_read(outcomes: list[Outcome]) -> None:
    readable = [outcome for outcome in outcomes if outcome.case.allowed == "read"]
    refused = [outcome for outcome in readable if outcome.what != "right"]
    assert len(outcomes) - len(refused) > 0
    assert len(refused) <= (1 - SHARE_READ) * len(readable), f"{len(refused)} of {len(readable)}:\n{shown(refused)}"


def test_the_corpus_is_as_large_as_it_says(outcomes: list[Outcome]) -> None:
    labels = [outcome for outcome in outcomes if outcome.case.kind.startswith("label")]
    assert len(outcomes) - len(labels) >= FEWEST_FILES
    assert len(labels) == sum(len(text.split("|")) for text in SUM_LABELS.values()) >= 84
