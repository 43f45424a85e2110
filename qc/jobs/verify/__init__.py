"""Whether a report, its result, its input and its rules still belong together, told line by line."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from enum import StrEnum
from pathlib import Path

from msgspec import DecodeError, Struct, to_builtins

from qc.jobs.superseded import DIGITS, MARK, superseded_by
from qc.jobs.verify.again import AGAIN, drawn_again, judged_again, origin_of
from qc.jobs.verify.files import Line, Status, filed_together, pages_of_this_result, report_folder, result_and_seal
from qc.jobs.verify.predecessor import lost_mark, predecessor_lines

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
            "lines": to_builtins(self.lines),
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
    filed, lines = result_and_seal(folder)
    lines = [*filed_together(folder), *lines]
    if filed is not None:
        origin, found = origin_of(filed, input_path=input_path, rules_path=rules_path)
        lines += [*pages_of_this_result(filed), *found]
        drawn, pages = drawn_again(filed)
        if origin.missing:
            told = f"not done, because {origin.missing} is not at hand"
            lines.append(Line(Status.UNCHECKED, AGAIN, told))
        else:
            if progress is not None and origin.input is not None:
                progress(f"Judging {origin.input.name} again ...")
            lines += judged_again(filed, origin, drawn=drawn)
        lines += pages
        lines += predecessor_lines(filed)
    marks = list(_superseded_line(folder.path))
    lines += marks or (lost_mark(filed) if filed is not None else ())
    return Verified(folder=folder.path, lines=tuple(lines))


def _superseded_line(folder: Path) -> Iterator[Line]:
    """A remark on a report that was superseded."""
    try:
        found = superseded_by(folder)
    except DecodeError:
        yield Line(Status.BROKEN, MARK, "says that this report was superseded, and cannot be read any more")
        return
    if found is not None:
        told = f"was superseded by report {found.by[:DIGITS]} in {found.folder} ({found.at}): {found.because}"
        yield Line(Status.REMARK, "this report", told)
