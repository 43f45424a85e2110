"""A recheck after a correction: the new result names the report it supersedes, why, and what differs."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from msgspec.structs import asdict, replace

from qc.fields.field import same_name
from qc.jobs.check import Checked
from qc.jobs.differences import result_differences, rule_differences
from qc.jobs.seal import SEAL
from qc.jobs.superseded import MARK, FiledMark, made_from
from qc.jobs.verify.files import whole_report
from qc.problems import InputProblems
from qc.show.write import FILES

__all__ = ["MARK", "SUPERSEDES", "next_free_folder", "superseded_mark", "superseding"]

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
        When the earlier report cannot be read, its files do not belong together any more, or it is of another batch.
    """
    earlier = whole_report(report)
    if not of_one_batch(earlier.document, checked.document):
        one, other = (_named(document) for document in (earlier.document, checked.document))
        found = f"the report is of {one}, and this is {other}: most of their units have other masses"
        raise InputProblems.of_file(report, found, "Give the earlier report of this batch with --supersedes")
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


def of_one_batch(one: Mapping[str, Any], other: Mapping[str, Any]) -> bool:
    """Whether two results are of one batch: by its number, or by its units where that is not known or was corrected."""
    numbers = [str(document["batch"].get("number") or "") for document in (one, other)]
    if all(numbers) and same_name(numbers[0]) == same_name(numbers[1]):
        return True
    units = [{(unit["unit"], str(unit.get("mass_g"))) for unit in document["units"]} for document in (one, other)]
    return 2 * len(units[0] & units[1]) >= max(map(len, units))


def _named(document: Mapping[str, Any]) -> str:
    batch = document["batch"]
    return f"batch {batch['number']}" if batch.get("number") else "a batch without a number"


def superseded_mark(checked: Checked, *, folder: Path) -> bytes:
    """The mark for the folder of the report that a checked batch supersedes, filed in a folder itself."""
    sealed = checked.sealed()
    seal, record = sealed[SEAL], sealed[SUPERSEDES]
    assert isinstance(seal, dict)
    assert isinstance(record, dict)
    later = made_from(**{part: sealed.get(part) for part in ("batch", "input", "read")})  # type: ignore[arg-type]
    told = {"because": record["because"], "at": seal["judged_at"]}
    return FiledMark(by=seal["result_sha256"], folder=folder.name, later=later, **told).as_bytes()


def next_free_folder(folder: Path) -> Path:
    """The folder itself where no report stands in it, else the first numbered one beside it: B-7, B-7-2, B-7-3."""
    folder = folder if folder.name.strip(".") else folder.resolve()
    number = 1
    place = folder
    while any(os.path.lexists(place / name) for name in FILES):
        number += 1
        place = folder.with_name(f"{folder.name}-{number}")
    return place
