"""Judged samples as entries of a history, for the tests of this folder."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from msgspec.structs import replace

from qc.history.entries import ToAppend, to_append
from qc.history.figures import BatchFigures, figures_of
from qc.jobs.check import Checked, check_batch
from qc.readers.options import ReadOptions

SAMPLES = Path(__file__).parents[2] / "sample_data"


@cache
def checked(stem: str = "sound") -> Checked:
    return check_batch(SAMPLES / f"{stem}.xlsx", options=ReadOptions())


@cache
def _figures(stem: str) -> BatchFigures:
    return figures_of(checked(stem).sealed())


def entry(number: int, stem: str = "sound") -> ToAppend:
    """An entry of a batch that was judged, under another number so that it is another result."""
    figures = replace(_figures(stem), result_sha256=f"{number:064d}", number=f"B-{number}")
    return to_append(figures, document=checked(stem).sealed(), judged=checked(stem).judged)
