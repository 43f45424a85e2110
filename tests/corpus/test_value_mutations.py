"""One value of a book changed, the truth known: never another number, never one fewer without a word."""

from __future__ import annotations

import os
from collections import Counter
from decimal import Decimal
from pathlib import Path

import pytest
from value_mutations import Mutation, mutations

from qc.problems import InputProblems
from qc.readers.options import ReadOptions
from qc.readers.read import read_batch

RESULTS = Path(__file__).parents[1] / "benchmarks" / "results"


def outcome(mutation: Mutation, folder: Path) -> tuple[str, str]:
    """What came of a book, "read", "refused" or "wrong", and in words what was read."""
    path = folder / mutation.name
    path.write_bytes(mutation.data)
    try:
        batch = read_batch(path, options=ReadOptions(form="suppositories"))
    except InputProblems as refused:
        sound = all(problem.file == path.name and problem.found and problem.mend for problem in refused.problems)
        return ("refused" if sound and refused.problems else "wrong"), str(refused)
    read = {unit.name: unit.mass_g for unit in batch.units}
    truth = {str(at): mass for at, mass in enumerate(mutation.truth, 1)}
    # An empty cell leaves the unit in the record, without a mass; the answer says how many were weighed.
    fault = {
        name: (read.get(name, "no unit"), truth.get(name))
        for name in {*read, *truth}
        if read.get(name, -1) != truth.get(name, -1)
    }
    return ("wrong", f"{mutation.told}: read and true {fault}") if fault else ("read", "")


@pytest.mark.parametrize("seed", [11])
def test_a_changed_value_is_read_as_it_stands_or_refused(seed: int, tmp_path: Path) -> None:
    found = [outcome(mutation, tmp_path) for mutation in mutations(seed, 120)]
    assert [told for what, told in found if what == "wrong"] == []
    counts = Counter(what for what, _ in found)
    assert counts["read"] > 12
    assert counts["refused"] > 40


def test_a_wrong_reading_would_be_noticed(tmp_path: Path) -> None:
    one = next(iter(mutations(11, 1)))
    other = Mutation(one.name, one.data, (*one.truth[:-1], Decimal("3.000")), one.told)
    assert outcome(other, tmp_path)[0] != "read"


@pytest.mark.benchmarks
def test_thousands_of_changed_values(tmp_path: Path) -> None:
    count = int(os.environ.get("QC_MUTATIONS", "6000"))
    table: dict[str, Counter[str]] = {}
    wrong = []
    for mutation in mutations(2026, count):
        what, told = outcome(mutation, tmp_path)
        table.setdefault(Path(mutation.name).suffix, Counter())[what] += 1
        wrong += [told] if what == "wrong" else []
    lines = [
        "# One value changed, the truth known",
        "",
        f"    QC_MUTATIONS={count} .venv/bin/pytest -m benchmarks tests/corpus/test_value_mutations.py",
        "",
        "Books of twenty units in which one mass was written in another way, under another type, format or place,",
        "twice, or not at all. Read: every mass is the one that truly stands there. Our own run.",
        "",
        "| kind | changed | read as it stands | refused | read wrongly |",
        "|---|---|---|---|---|",
        *(
            f"| {kind} | {sum(counts.values())} | {counts['read']} | {counts['refused']} | {counts['wrong']} |"
            for kind, counts in sorted(table.items())
        ),
    ]
    (RESULTS / "value_mutations.md").write_text("\n".join(lines) + "\n", encoding="utf-8")
    assert wrong == []
