"""Whether the report that a report supersedes is the one it names, and says that it was superseded by it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from msgspec import DecodeError
from msgspec.json import decode
from msgspec.structs import asdict

from qc import __version__
from qc.jobs.check import REPORTS
from qc.jobs.differences import sealed_differences
from qc.jobs.seal import seal_of
from qc.jobs.superseded import DIGITS, MARK, said_by_reports, superseded_by
from qc.jobs.verify.files import FiledResult, Line, Status, whole_report
from qc.problems import InputProblems
from qc.show.filing import JSON

EARLIER = "earlier report"


def predecessor_lines(filed: FiledResult) -> list[Line]:
    """What was found of the report that a report supersedes; nothing where it supersedes none.

    It is looked for beside the report, in the working folder and in `reports` there.
    """
    record = filed.document.get("supersedes")
    if record is None:
        return []
    found = dict(_at_hand(filed, wanted=record["result_sha256"]))
    # Of a copy without the mark nothing is said where the one with it is at hand.
    marked = [folder for folder, named in found.items() if named]
    if not found:
        told = f"{record['result_sha256'][:DIGITS]}, which this one supersedes, is not at hand"
        return [Line(Status.UNCHECKED, EARLIER, f"{told}; put it beside this one, or call from its folder")]
    return [_line(folder, filed, named=found[folder]) for folder in marked or found]


def _at_hand(filed: FiledResult, *, wanted: str) -> Iterator[tuple[Path, bool]]:
    """The folders of reports that carry a digest or name this report as the later one, and whether they do that."""
    for folder, content in _beside(filed):
        try:
            mark = superseded_by(folder)
        except DecodeError:
            mark = None
        named = mark is not None and mark.by == filed.seal.result_sha256
        if named or (wanted.encode() in content and _digest(content) == wanted):
            yield folder, named


def _places(filed: FiledResult) -> list[Path]:
    return [filed.folder.path.resolve().parent, Path.cwd(), Path.cwd() / REPORTS]


def _beside(filed: FiledResult) -> Iterator[tuple[Path, bytes]]:
    """The other reports at hand, each with its result document."""
    here = filed.folder.path.resolve()
    for place in dict.fromkeys(_places(filed)):
        found = ((path.parent.resolve(), path.read_bytes()) for path in sorted(place.glob(f"*/{JSON}")))
        yield from ((folder, content) for folder, content in found if folder != here)


def _digest(content: bytes) -> str:
    """The digest that the seal of a result gives; empty where there is none."""
    try:
        seal = seal_of(decode(content, type=dict[str, Any]))
    except DecodeError:
        return ""
    return seal.result_sha256 if seal else ""


def lost_mark(filed: FiledResult) -> Iterator[Line]:
    """That a report without a mark is named by another one at hand as the one which it supersedes."""
    said = said_by_reports(_places(filed))
    for mark in [mark for of, _, mark in said if of == filed.seal.result_sha256][:1]:
        yield Line(Status.BROKEN, MARK, f"is missing, and {mark.folder} says that it supersedes this report")


def _line(folder: Path, filed: FiledResult, *, named: bool) -> Line:
    """What was found of one of them."""
    record, shown = filed.document["supersedes"], folder.name
    try:
        earlier = whole_report(folder)
    except InputProblems:
        return Line(Status.BROKEN, EARLIER, f"{shown} was changed since it was filed; look into it with qc verify")
    if earlier.seal.result_sha256 != record["result_sha256"]:
        return Line(Status.BROKEN, EARLIER, f"{shown} is not the one that this report supersedes")
    if not named:
        told = f"{shown} does not say that this report supersedes it: its {MARK} is missing or names another"
        return Line(Status.BROKEN, EARLIER, told)
    # Another version may find or name other differences.
    differences = [asdict(one) for one in sealed_differences(earlier.document, filed.document)]
    of_this = {earlier.seal.qc_version, filed.seal.qc_version} == {__version__}
    if record["verdict"] != earlier.document["verdict"] or (of_this and record["differences"] != differences):
        return Line(Status.BROKEN, EARLIER, f"{shown} differs from this one in other points than this one says")
    return Line(Status.HOLDS, EARLIER, f"{shown} is the one that this report supersedes, and says so")
