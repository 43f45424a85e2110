"""Hostile files: refused, or read, within ten seconds and 500 MB, each measured in a process of its own."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

import pytest
from attacks import ATTACKS

MOST_SECONDS, MOST_MEGABYTES = 10, 500
RESULTS = Path(__file__).parents[1] / "benchmarks" / "results"
MEASURED = Path(__file__).with_name("measured.py")
# Large and sound all the same: what is not refused must have been read whole.
READ = {
    "as many styles as are read.xlsx": 20,
    "as many names as are read.xlsx": 20,
    "rules of entry.xlsx": 20,
    "conditional colours.xlsx": 20,
    "blanks repeated.ods": 2018,  # each of its texts is a name, but for "x", which is a mean
    "as many styles as are read.ods": 20,
    "a cell in the far corner.xlsx": 20,
    "a billion columns.xlsx": 20,
    "hidden columns over each other.xlsx": 20,
    "16,384 headings.xlsx": 20,
    "long texts.xlsx": 20,
    "as many empty cells as are read.xlsx": 20,
    "shared text of 60 MB.xlsx": 20,
    "empty rows repeated.ods": 20,
    "hidden columns repeated.ods": 20,
    "dimension of a whole sheet.xls": 20,
    "commas.csv": 20,
    "unknown facts.ods": 20,
    "as many units as are read.csv": 49990,
    "16,384 headings.csv": 1,
}

# What takes half a second or more to make or to read is tried by hand, with the studies.
HEAVY = frozenset(
    (
        "hidden columns over each other.xlsx",
        "as many styles as are read.ods",
        "four thousand sheets.xls",
        "one field of 10 MB.csv",
        "quotation marks.csv",
        "blanks.txt",
        "one part of 300 MB.xlsx",
        "parts of 200 MB.xlsx",
        "ten million elements.xlsx",
        "attribute of 60 MB.xlsx",
        "comment of 60 MB.xlsx",
        "a million attributes.xlsx",
        "as many cells as are read.xlsx",
        "as many empty cells as are read.xlsx",
        "a million cells.xlsx",
        "16,384 headings.xlsx",
        "long texts.xlsx",
        "a million styles.xlsx",
        "as many styles as are read.xlsx",
        "shared text of 60 MB.xlsx",
        "shared formula of 8,000 signs.xlsx",
        "as many names as are read.xlsx",
        "ten thousand sheets.xlsx",
        "rules of entry.xlsx",
        "conditional colours.xlsx",
        "blanks repeated.ods",
        "as many cells as are read.ods",
        "ten thousand tables.ods",
        "content of 300 MB.ods",
        "a cell in each far row.xls",
        "commas.csv",
        "as many numbers as are read.csv",
        "as many units as are read.csv",
        "unknown facts.ods",
        "a million lines.csv",
        "16,384 headings.csv",
        "long texts.csv",
        "one line of 100 MB.csv",
        "numbers in a line.txt",
        "a million cells.ods",
        "a million shared texts.xlsx",
    )
)

pytestmark = pytest.mark.xdist_group("attacks")


def measured(names: Iterable[str], folder: Path) -> Mapping[str, Mapping[str, Any]]:
    """What became of each file, with seconds and megabytes."""
    paths = [folder / name for name in names]
    for path in paths:
        path.write_bytes(ATTACKS[path.name]())
    call = [sys.executable, str(MEASURED), *map(str, paths)]
    done = subprocess.run(call, capture_output=True, text=True, check=True)
    return {line["file"]: line for line in map(json.loads, done.stdout.splitlines())}


def faults(one: Mapping[str, Any]) -> list[str]:
    """What is wrong with the end of a file."""
    name, told = one["file"], one["told"]
    found = [] if one["seconds"] < MOST_SECONDS else ["too long"]
    found += [] if one["megabytes"] < MOST_MEGABYTES else ["too large"]
    ended = (
        told == f"{READ.get(name)} units" if one["end"] == "read" else one["end"] == "refused" and told.startswith(name)
    )
    return found if ended else [*found, f"{one['end']}: {told}"]


@pytest.fixture(scope="module")
def light(tmp_path_factory: pytest.TempPathFactory) -> Mapping[str, Mapping[str, Any]]:
    return measured(ATTACKS.keys() - HEAVY, tmp_path_factory.mktemp("attacks"))


@pytest.mark.parametrize("name", [name for name in ATTACKS if name not in HEAVY])
def test_a_hostile_file_is_refused_or_read_in_time_and_memory(
    name: str, light: Mapping[str, Mapping[str, Any]]
) -> None:
    assert faults(light[name]) == [], light[name]


@pytest.mark.benchmarks
def test_heavy_files_are_refused_or_read_in_time_and_memory(tmp_path: Path) -> None:
    assert set(ATTACKS) >= HEAVY
    found = measured(ATTACKS, tmp_path)
    lines = [
        "# Hostile files: what each costs",
        "",
        "    .venv/bin/pytest -m benchmarks tests/corpus/test_attacks.py",
        "",
        f"Each is read in a process of its own, within {MOST_SECONDS} s of processor time and {MOST_MEGABYTES} MB.",
        "Our own run.",
        "",
        "| file | it was | s | MB |",
        "|---|---|---|---|",
        *(f"| {name} | {one['end']} | {one['seconds']:.1f} | {one['megabytes']} |" for name, one in found.items()),
    ]
    (RESULTS / "attacks.md").write_text("\n".join(lines) + "\n", encoding="utf-8")
    assert [(name, told) for name, one in found.items() if (told := faults(one))] == []


def test_faults_are_noticed() -> None:
    one = {"file": "commas.csv", "end": "read", "told": "20 units", "seconds": 9.9, "megabytes": 499}
    assert faults(one) == []
    assert faults({**one, "seconds": 10}) == ["too long"]
    assert faults({**one, "megabytes": 500}) == ["too large"]
    assert faults({**one, "told": "19 units"}) == ["read: 19 units"]
    assert faults({**one, "end": "undeclared", "told": "MemoryError"}) == ["undeclared: MemoryError"]
