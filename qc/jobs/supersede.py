"""A recheck after a correction: the new result names the report it supersedes, why, and what differs."""

from __future__ import annotations

from pathlib import Path

from msgspec.structs import asdict, replace

from qc.jobs.check import Checked
from qc.jobs.differences import result_differences, rule_differences
from qc.jobs.seal import SEAL
from qc.jobs.verify.files import FiledResult, Status, filed_together, report_folder, result_and_seal
from qc.problems import InputProblems, Problem
from qc.show.filing import SUMS
from qc.show.write import HTML, JSON, PDF

SUPERSEDES = "supersedes"


def superseding(checked: Checked, *, report: Path, because: str) -> Checked:
    """A checked batch whose document says which report it supersedes.

    Parameters
    ----------
    checked : Checked
        The batch after the correction.
    report : Path
        The folder of the earlier report, or a file in it.
    because : str
        The reason, in the words of the person who corrected.

    Returns
    -------
    Checked
        With `supersedes` in its document: result_sha256, verdict, because, differences.

    Raises
    ------
    InputProblems
        When the earlier report cannot be read, or its files do not belong together any more.
    """
    earlier = _earlier(report)
    today = checked.sealed()[SEAL]
    assert isinstance(today, dict)
    differences = (
        *result_differences(earlier.document, checked.document),
        *rule_differences(earlier.document[SEAL]["rules"], today["rules"]),
    )
    record: dict[str, object] = {
        "result_sha256": earlier.seal.result_sha256,
        "verdict": earlier.document["verdict"],
        "because": because,
        "differences": [asdict(one) for one in differences],
    }
    return replace(checked, document={**checked.document, SUPERSEDES: record})


def _earlier(report: Path) -> FiledResult:
    folder = report_folder(report)
    filed, lines = result_and_seal(folder)
    broken = [line for line in (*filed_together(folder), *lines) if line.state is Status.BROKEN]
    if filed is None or broken:
        mend = f"Look into it with: qc verify {report}"
        raise InputProblems(
            Problem(file=report.name, sheet="", cell="", found=f"{line.what} {line.told}", mend=mend) for line in broken
        )
    return filed


def next_free_folder(folder: Path) -> Path:
    """The folder itself where no report stands in it, else the first numbered one beside it: B-7, B-7-2, B-7-3."""
    number = 1
    place = folder
    while any((place / name).exists() for name in (HTML, PDF, JSON, SUMS)):
        number += 1
        place = folder.with_name(f"{folder.name}-{number}")
    return place
