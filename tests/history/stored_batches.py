"""Judged samples as entries of a history, for the tests of this folder."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from msgspec.structs import replace

from qc.history.register import ToAppend
from qc.jobs.check import Checked, check_batch
from qc.jobs.history import entry_of
from qc.readers.options import ReadOptions

SAMPLES = Path(__file__).parents[2] / "sample_data"


@cache
def checked(stem: str = "sound") -> Checked:
    return check_batch(SAMPLES / f"{stem}.xlsx", options=ReadOptions())


def entry(number: int, stem: str = "sound") -> ToAppend:
    """An entry of a batch that was judged, under another number so that it is another result."""
    made = entry_of(checked(stem))
    figures = replace(made.figures, result_sha256=f"{number:064d}", number=f"B-{number}")
    return replace(made, figures=figures)
