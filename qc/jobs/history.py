"""The history fed: which store is meant, an entry from a batch that was judged, and entries from filed reports."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from qc.history.figures import figures_of
from qc.history.register import Register, Stored, ToAppend, open_register
from qc.jobs.check import Checked
from qc.jobs.verify.files import FiledResult, whole_report
from qc.problems import InputProblems, Problem, gathering
from qc.show.write import JSON

STORE = "QC_HISTORY"


def store_named(given: str | None) -> str | None:
    """The store of a call: what --history says, else what QC_HISTORY names, else none."""
    return given or os.environ.get(STORE) or None


def entry_of(checked: Checked, *, report: Path | None = None) -> ToAppend:
    """A judged batch as the entry of a history, with the folder of its report."""
    document = checked.sealed()
    place = "" if report is None else os.fspath(report.absolute())
    return ToAppend(figures=figures_of(document, report=place), document=document, judged=checked.judged)


@contextmanager
def appended(store: str, checked: Checked, *, report: Path | None) -> Iterator[str]:
    """Append a judged batch if and only if what is done in the context goes well; answers where it stands.

    Raises
    ------
    InputProblems
        When the store cannot be used.
    """
    with open_register(store) as register, register.appending(entry_of(checked, report=report)) as stored:
        told = "entry" if stored.new else "the same result was already entry"
        yield f"{register.name}, {told} {stored.number}"


def add_reports(register: Register, reports: Sequence[Path]) -> list[tuple[Path, Stored]]:
    """Append filed reports in the order in which they were judged, a superseded one before the one that supersedes it.

    Parameters
    ----------
    register : Register
    reports : sequence of Path
        Folders of reports, files in them, or folders that hold such folders.

    Raises
    ------
    InputProblems
        When one of them is no report, or was changed since it was filed; nothing is appended then.
    """
    problems, filed = list[Problem](), list[FiledResult]()
    for folder in (one for report in reports for one in _folders(report)):
        with gathering(problems):
            filed.append(whole_report(folder))
    if problems:
        raise InputProblems(problems)
    added = []
    for one in sorted(filed, key=lambda one: (one.seal.judged_at, "supersedes" in one.document)):
        folder = one.folder.path
        figures = figures_of(one.document, report=os.fspath(folder.absolute()))
        added.append((folder, register.append(ToAppend(figures=figures, document=one.document))))
    return added


def _folders(report: Path) -> Iterator[Path]:
    """The folder itself, or each folder of a report below it."""
    below = [] if (report / JSON).is_file() or not report.is_dir() else sorted(report.rglob(JSON))
    yield from (one.parent for one in below) if below else [report]
