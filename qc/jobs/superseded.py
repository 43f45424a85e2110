"""Reports that a later one supersedes: the mark in their folder, and whether the report of an input is one of them."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator, Mapping
from glob import escape, glob
from pathlib import Path
from typing import Any

from msgspec import DecodeError, Struct
from msgspec.json import decode, encode
from msgspec.structs import asdict

from qc.batch import Batch, Superseded
from qc.jobs.check import REPORTS
from qc.show.filing import JSON

MARK = "superseded.json"
DIGITS = 12
NAMES_EARLIER, HEAD_BYTES = b'"supersedes"', 4096
"""What the first bytes of a result document hold that supersedes an earlier one."""
Judged = tuple[str, str, str]
"""What a report was made from: digest of the file, sheet, number of the batch."""


class FiledMark(Superseded, frozen=True, kw_only=True):
    """The mark as it is filed; `later` is what the later report was made from."""

    later: Judged = ("", "", "")

    def as_bytes(self) -> bytes:
        """What is filed."""
        return encode(self) + b"\n"


class _Supersedes(Struct):
    result_sha256: str
    because: str
    made_from: Judged = ("", "", "")


class _FiledParts(Struct):
    batch: dict[str, Any]
    seal: dict[str, Any]
    input: dict[str, Any] | None = None
    read: dict[str, Any] | None = None
    supersedes: _Supersedes | None = None


def superseded_by(folder: Path) -> FiledMark | None:
    """The mark of the report in a folder; None where nothing supersedes it.

    Raises
    ------
    DecodeError
        When there is a mark that cannot be read.
    """
    mark = folder / MARK
    return decode(mark.read_bytes(), type=FiledMark) if mark.is_file() else None


def standing(report: Path) -> Path | None:
    """The report that stands in the end in place of one that was superseded; None where it is not beside it.

    Raises
    ------
    DecodeError
        When a mark cannot be read.
    """
    passed = {report}
    while mark := superseded_by(report):
        report = report.parent / mark.folder
        if report in passed:
            break
        passed.add(report)
    return report if (report / JSON).exists() else None


def made_from(document: Mapping[str, Any]) -> Judged:
    """What a result document was made from."""
    batch, source, read = (document.get(part) or {} for part in ("batch", "input", "read"))
    return source.get("sha256") or "", read.get("sheet") or "", batch.get("number") or ""


def superseded_input(batch: Batch, *, path: Path, report: Path | None = None) -> Superseded | None:
    """What superseded the report of this very input, where such a report is found and no later one was made from it.

    Parameters
    ----------
    batch : Batch
        As it was read.
    path : Path
        Its file: reports are looked for beside it, in the working folder, and in `reports` of both.
    report : Path, optional
        The folder of its own report: those beside it are looked at too.

    Notes
    -----
    Either report tells, by its mark or by what it supersedes. Where both lie elsewhere nothing is known, nor of the
    same entries in a file that was saved again since.
    """
    if batch.source is None:
        return None
    asked = (batch.source.sha256, (batch.read and batch.read.sheet) or "", batch.number or "")
    places = [one / below for one in (Path(), path.parent) for below in ("", REPORTS)]
    marks = {
        of: (judged, mark)
        for of, judged, mark in said_by_reports([*places, *([] if report is None else [report.parent])])
    }
    for judged, last in list(marks.values()):
        if judged == asked:
            # Whoever goes back to an earlier file says so by a report that supersedes the later one.
            while last.by in marks:
                _, last = marks.pop(last.by)
            if last.later != asked:
                return Superseded(by=last.by[:DIGITS], folder=last.folder, because=last.because, at=last.at)
    return None


def said_by_reports(places: Iterable[Path]) -> Iterator[tuple[str, Judged, FiledMark]]:
    """The marks in some places, each with the digest of the result that it is about and what that was made from.

    Where a mark was taken away, or the earlier report, the later one says the same of itself.
    """

    for place in dict.fromkeys(map(os.path.realpath, places)):
        for found in sorted(glob(os.path.join(escape(place), "*", JSON))):
            folder = Path(found).parent
            try:
                mark = superseded_by(folder)
                with open(found, "rb") as opened:
                    later = NAMES_EARLIER in opened.read(HEAD_BYTES)
                # A folder may hold many reports; those that supersede none and that none supersedes are not read.
                filed = decode(Path(found).read_bytes(), type=_FiledParts) if mark or later else None
            except (OSError, DecodeError):
                # What a broken report was made from is not known; `qc verify` says that it is broken.
                continue
            if filed is None:
                continue
            judged = made_from(asdict(filed))
            digest, earlier = filed.seal.get("result_sha256", ""), filed.supersedes
            if mark is not None:
                yield digest, judged, mark
            if earlier is not None and any(earlier.made_from):
                at = filed.seal.get("judged_at", "")
                told = FiledMark(by=digest, folder=folder.name, because=earlier.because, at=at, later=judged)
                yield earlier.result_sha256, earlier.made_from, told
