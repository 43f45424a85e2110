"""Five hundred reports of batches at random, none of which may contradict itself."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest

from tests.judging.contradictions import RULES, contradictions
from tests.judging.reports_at_random import judged_at_random

FIRST, REPORTS = 1000, 500
RESULTS = Path(__file__).parent / "results" / "contradictions.md"


@pytest.mark.benchmarks
def test_no_report_of_five_hundred_contradicts_itself() -> None:
    found, verdicts = {}, Counter[str]()
    for seed in range(FIRST, FIRST + REPORTS):
        judged = judged_at_random(seed)
        verdicts[judged.verdict.value] += 1
        if said := contradictions(judged):
            found[seed] = said
    RESULTS.write_text(written(verdicts, contradicting=len(found)), encoding="utf-8")
    assert found == {}
    assert min(verdicts.values()) > REPORTS / 20
    assert len(verdicts) == 3


def written(verdicts: Counter[str], *, contradicting: int) -> str:
    """The table of the study."""
    return "\n".join(
        [
            "# Do reports contradict themselves?",
            "",
            "Made by `pytest -m benchmarks tests/benchmarks/test_contradictions_study.py`. From our own run.",
            "",
            f"Batches at random, seeds {FIRST} to {FIRST + REPORTS - 1}, each looked at by {len(RULES)} rules.",
            "",
            "| verdict | batches |",
            "|---|---|",
            *(f"| {verdict} | {count} |" for verdict, count in sorted(verdicts.items())),
            f"| contradicting themselves | {contradicting} |",
            "",
        ]
    )
