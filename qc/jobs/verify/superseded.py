"""The mark in the folder of a report that a later one supersedes: which, where it was filed, and why."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from msgspec import Struct, ValidationError
from msgspec.json import decode, encode

from qc.jobs.verify.files import Line, Status

MARK = "superseded.json"
_DIGITS = 12


class Superseded(Struct, frozen=True, kw_only=True):
    """By which report, in which folder, for what reason, and when."""

    by: str
    folder: str
    because: str
    at: str

    def as_bytes(self) -> bytes:
        """The mark as it is filed."""
        return encode(self) + b"\n"


def superseded_by(folder: Path) -> Superseded | None:
    """The mark of the report in a folder; None where nothing supersedes it.

    Raises
    ------
    ValidationError
        When there is a mark that cannot be read.
    """
    mark = folder / MARK
    return decode(mark.read_bytes(), type=Superseded) if mark.is_file() else None


def superseded_line(folder: Path) -> Iterator[Line]:
    """A remark on a report that was superseded."""
    try:
        found = superseded_by(folder)
    except (ValidationError, ValueError):
        yield Line(Status.BROKEN, MARK, "says that this report was superseded, and cannot be read any more")
        return
    if found is not None:
        told = f"was superseded by report {found.by[:_DIGITS]} in {found.folder} ({found.at}): {found.because}"
        yield Line(Status.REMARK, "this report", told)
