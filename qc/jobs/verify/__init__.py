"""Whether a report, its result, its input and its rules still belong together, told line by line."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from enum import StrEnum
from pathlib import Path
from typing import Any

from msgspec import Struct

from qc.jobs.verify.again import judged_again
from qc.jobs.verify.files import ReportFolder, filed_together, pages_of_this_result, report_folder, result_and_seal
from qc.jobs.verify.lines import Line, Status
from qc.jobs.verify.origin import input_line, rules_lines

__all__ = ["Line", "Outcome", "Status", "Verified", "verify_report"]


class Outcome(StrEnum):
    """What all lines say together."""

    TOGETHER = "everything belongs together"
    BROKEN = "something does not belong together"
    PARTLY = "checked in part"


class Verified(Struct, frozen=True, kw_only=True):
    """A report held against its digests, its input and its rules.

    Parameters
    ----------
    folder : Path
    lines : tuple of Line
        What was looked at, in order, each with what was found.
    """

    folder: Path
    lines: tuple[Line, ...]

    @property
    def outcome(self) -> Outcome:
        """A break first, then what could not be checked."""
        states = {line.state for line in self.lines}
        if Status.BROKEN in states:
            return Outcome.BROKEN
        return Outcome.PARTLY if Status.UNCHECKED in states else Outcome.TOGETHER

    def as_dict(self) -> dict[str, object]:
        """For other programs: report, outcome, lines."""
        return {
            "report": self.folder.name,
            "outcome": self.outcome.name.lower(),
            "lines": [{"state": line.state.value, "what": line.what, "told": line.told} for line in self.lines],
        }


def verify_report(
    report: Path,
    *,
    input_path: Path | None = None,
    rules_path: Path | None = None,
    progress: Callable[[str], None] | None = None,
) -> Verified:
    """Check a report as it is filed.

    Parameters
    ----------
    report : Path
        The folder of the report, or a file in it.
    input_path : Path, optional
        The input; when left out, looked for under its name in the working folder and beside the report.
    rules_path : Path, optional
        The house rule file, where one was used; looked for likewise.
    progress : callable, optional
        Told what is going on.

    Returns
    -------
    Verified

    Raises
    ------
    qc.problems.InputProblems
        When there is no report there, or a file named in the call cannot be read.
    """
    folder = report_folder(report)
    lines = [*filed_together(folder)]
    document, found = result_and_seal(folder)
    lines += found
    if document is not None:
        lines += pages_of_this_result(folder, document)
        lines += _origin(folder, document, input_path=input_path, rules_path=rules_path, progress=progress)
    return Verified(folder=folder.path, lines=tuple(lines))


def _origin(
    folder: ReportFolder,
    document: Mapping[str, Any],
    *,
    input_path: Path | None,
    rules_path: Path | None,
    progress: Callable[[str], None] | None,
) -> list[Line]:
    """The input, the rules, and the second judging that needs both."""
    origin, source_line = input_line(document, folder=folder.path, given=input_path)
    rules, lines = rules_lines(document, folder=folder.path, given=rules_path)
    if origin is None or not rules.usable:
        missing = "the input" if origin is None else "the house rule file"
        again = [Line(state=Status.UNCHECKED, what="judged again", told=f"not done, because {missing} is not at hand")]
        return [source_line, *lines, *again]
    if progress is not None:
        progress(f"Judging {origin.name} again ...")
    return [source_line, *lines, *judged_again(folder, document, origin=origin, house_file=rules.house_file)]
