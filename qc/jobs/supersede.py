"""A recheck after a correction: the new result names the report it supersedes, why, and what differs."""

from __future__ import annotations

import os
import re
from collections.abc import Mapping, Sequence
from itertools import chain, count
from pathlib import Path
from typing import Any

from msgspec import DecodeError
from msgspec.structs import asdict, replace

from qc.fields.field import same_name
from qc.jobs.check import Checked
from qc.jobs.differences import sealed_differences
from qc.jobs.seal import SEAL
from qc.jobs.superseded import DIGITS, MARK, FiledMark, made_from, standing, superseded_by
from qc.jobs.verify.files import whole_report
from qc.problems import InputProblems
from qc.show.filing import FILES

SUPERSEDES = "supersedes"
ANOTHER = (
    "Give the earlier report of this batch with --supersedes; where its number or product was typed wrongly there, "
    "name what was typed in --because"
)


KNOWN_BY = ("number", "product")
"""The facts of a batch of which each makes another batch of it."""


def superseding(
    checked: Checked, *, report: Path, because: str, over: Path | None = None, known_by: Sequence[str] = KNOWN_BY
) -> Checked:
    """A checked batch whose document says which report it supersedes.

    Parameters
    ----------
    checked : Checked
        The batch after the correction.
    report : Path
        The folder of the earlier report, or a file in it.
    because : str
        The reason, in the words of the person who corrected.
    over : Path, optional
        The folder whose report is replaced; where that is the one which supersedes the earlier report, it may be again.
    known_by : sequence of str
        The facts of the batch that must agree.

    Returns
    -------
    Checked
        With `supersedes` in its document: result_sha256, verdict, because, made_from, differences.

    Raises
    ------
    InputProblems
        When the earlier report cannot be read, its files do not belong together any more, it is of another batch,
        or another report supersedes it already.
    """
    earlier = whole_report(report)
    _refuse_again(earlier.folder.path, named=report, over=over)
    if apart := another_batch(earlier.document, checked.document, because=because, known_by=known_by):
        raise InputProblems.of_file(report, f"the report is of another batch: {apart}", ANOTHER)
    record: dict[str, object] = {
        "result_sha256": earlier.seal.result_sha256,
        "verdict": earlier.document["verdict"],
        "because": because,
        "made_from": made_from(earlier.document),
        "differences": [asdict(one) for one in sealed_differences(earlier.document, checked.sealed())],
    }
    # Near the head, where it is found without reading all of the document.
    head = {name: checked.document[name] for name in ("schema", "qc_version", "input") if name in checked.document}
    return replace(checked, document={**head, SUPERSEDES: record, **checked.document})


def _refuse_again(earlier: Path, *, named: Path, over: Path | None) -> None:
    """Refuse a report that another one supersedes already, so that one report alone stands in the end."""
    try:
        mark, last = superseded_by(earlier), standing(earlier)
    except DecodeError:
        found = f"its {MARK}, by which another report supersedes it, cannot be read"
        raise InputProblems.of_file(named, found, f"Look into it with: qc verify {named}") from None
    if mark is None or (over is not None and over.resolve() == (earlier.parent / mark.folder).resolve()):
        return
    found = f"it was superseded by report {mark.by[:DIGITS]} in {mark.folder} already ({mark.at}): {mark.because}"
    later = f"the folder of report {mark.by[:DIGITS]}" if last is None else str(last)
    raise InputProblems.of_file(named, found, f"Supersede the report that stands in its place: --supersedes {later}")


def another_batch(
    one: Mapping[str, Any], other: Mapping[str, Any], *, because: str, known_by: Sequence[str] = KNOWN_BY
) -> str:
    """What makes another batch of the later result; empty where both are of one batch.

    By its facts, unless the reason names the one of the earlier result, as it does where that was typed wrongly; then
    by its units where one number is not known or was corrected.
    """
    facts = {what: [str(document["batch"].get(what) or "") for document in (one, other)] for what in KNOWN_BY}
    same = {what: same_name(was) == same_name(now) for what, (was, now) in facts.items()}
    for what in known_by:
        was, now = facts[what]
        told = re.search(rf"(?<!\w){re.escape(same_name(was))}(?!\w)", same_name(because))
        if was and now and not same[what] and not told:
            return f"its {what} is {was}, and here {now}"
    if facts["number"][0] and same["number"]:
        return ""
    units = [{(unit["unit"], str(unit.get("mass_g"))) for unit in document["units"]} for document in (one, other)]
    return "" if 2 * len(units[0] & units[1]) >= max(map(len, units)) else "most of its units have other masses"


def superseded_mark(checked: Checked, *, folder: Path) -> bytes:
    """The mark for the folder of the report that a checked batch supersedes, filed in a folder itself."""
    sealed = checked.sealed()
    seal, record = sealed[SEAL], sealed[SUPERSEDES]
    assert isinstance(seal, dict)
    assert isinstance(record, dict)
    told = {"because": record["because"], "at": seal["judged_at"]}
    return FiledMark(by=seal["result_sha256"], folder=folder.name, later=made_from(sealed), **told).as_bytes()


def next_free_folder(folder: Path) -> Path:
    """The folder itself where no report stands in it, else the first numbered one beside it: B-7, B-7-2, B-7-3."""
    folder = folder if folder.name.strip(".") else folder.resolve()
    places = chain([folder], (folder.with_name(f"{folder.name}-{number}") for number in count(2)))
    return next(place for place in places if not any(os.path.lexists(place / name) for name in FILES))
