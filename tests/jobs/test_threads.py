"""Reports made in three threads are those made in one, byte for byte."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from pathlib import Path

import pytest

from qc.jobs.check import check_batch
from qc.readers.options import ReadOptions
from qc.show.write import render_report

AT = datetime(2026, 11, 26, 14, 3, tzinfo=UTC)
SAMPLES = Path(__file__).parents[2] / "sample_data"


@pytest.fixture
def eager_switching() -> Iterator[None]:
    usual = sys.getswitchinterval()
    sys.setswitchinterval(1e-5)
    yield
    sys.setswitchinterval(usual)


def report_on(sample: str) -> dict[str, bytes]:
    checked = check_batch(SAMPLES / sample, options=ReadOptions(), at=AT)
    return render_report(checked.to_draw(), document=checked.sealed())


@pytest.mark.usefixtures("eager_switching")
def test_reports_made_in_three_threads_are_those_made_in_one() -> None:
    samples = ["pour-step.xlsx", "fails-on-content.xlsx"]
    alone = [report_on(sample) for sample in samples]
    with ThreadPoolExecutor(3) as pool:
        together = list(pool.map(report_on, [*samples, samples[0]]))
    for one, other in zip([*alone, alone[0]], together, strict=True):
        assert {name: one[name] == other[name] for name in one} == dict.fromkeys(one, True)
