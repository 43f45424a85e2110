"""Five hundred reports of batches at random, none of which may contradict itself."""

from __future__ import annotations

from collections import Counter

import pytest

from tests.judging.contradictions import contradictions
from tests.judging.reports_at_random import judged_at_random

FIRST, REPORTS = 1000, 500


@pytest.mark.benchmarks
def test_no_report_of_five_hundred_contradicts_itself() -> None:
    found, verdicts = {}, Counter[str]()
    for seed in range(FIRST, FIRST + REPORTS):
        judged = judged_at_random(seed)
        verdicts[judged.verdict.value] += 1
        if said := contradictions(judged):
            found[seed] = said
    assert found == {}
    assert min(verdicts.values()) > REPORTS / 20
    assert len(verdicts) == 3
