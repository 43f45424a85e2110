"""The reports of many batches; beside a file that is judged again, each supersedes the one before, with a reason."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from contextlib import nullcontext
from functools import partial
from pathlib import Path
from typing import Any

from msgspec.structs import replace

from qc.fields.field import plain
from qc.jobs.check import REPORTS, TO_ASSAY, Checked
from qc.jobs.differences import result_differences
from qc.jobs.faults import unless_it_fails
from qc.jobs.file_report import file_report
from qc.jobs.folder_name import plain_name
from qc.jobs.supersede import SUPERSEDES, another_batch, next_free_folder, superseded_mark, superseding
from qc.jobs.superseded import MARK, standing
from qc.jobs.sweep.rows import SweptBatch
from qc.jobs.verify.files import whole_report
from qc.problems import InputProblems
from qc.readers.cells import Noted, address
from qc.readers.options import ReadOptions
from qc.readers.read import read_book
from qc.show.filing import JSON, Filing, one_file
from qc.show.pages_pdf import Paper

ADDED = "Entries were added; none was changed."
UNSAID = "Entries were changed, and no reason was typed yet."
CLOSE_IT = "See whether the folder can be written to and its files are closed, and save the batch again"
KNOWN_BY = ("number",)
"""A name of the product that is typed otherwise in the file of a batch makes no other batch of it."""
REASON = "Note"
"""The field of the sheet Batch in which the reason of a correction is looked for."""
Filed = tuple[SweptBatch, Checked | None]
# What moves by itself when something is added.
_COUNTED = ("units_entered", "units_weighed", "units_assayed", "in_mass_sample")


def filed_beside(row: SweptBatch, checked: Checked, path: Path, *, out: Path, earlier: SweptBatch | None) -> Filed:
    """File the report of a batch into a folder beside its file.

    Parameters
    ----------
    row : SweptBatch
    checked : Checked
    path : Path
        The file.
    out : Path
        The folder that is watched; the row names the report from there.
    earlier : SweptBatch or None
        The row of the same batch when its file was judged last.

    Returns
    -------
    tuple
        The row with its report; where something that was entered reads otherwise now, with the cell for the reason,
        until one is typed there. And the batch as it was filed; None for a file that was only saved again, which keeps
        its report.
    """
    # A list of units to assay lies in the folder of the report that it goes on from.
    listed = path.parent if path.name == TO_ASSAY and (path.parent / JSON).exists() else None
    reports = listed.parent if listed else path.parent / REPORTS
    name = plain_name(row.batch or path.stem, beside=os.listdir(reports) if reports.is_dir() else ())
    place, marks = next_free_folder(reports / name), list[Filing]()
    before = standing(out / earlier.report if earlier and earlier.report else listed or reports / name)
    try:
        document = whole_report(before).document if before else {}
    except InputProblems as broken:
        row, document = replace(row, problems=broken.problems), {}
    # Where another batch was typed into the file, it has a report of its own.
    because = missing = ""
    if before and document:
        because, missing = _because(document, checked.document, missing=earlier.reason_at if earlier else "", path=path)
    if before and document and not another_batch(document, checked.document, because=because, known_by=KNOWN_BY):
        checked = superseding(checked, report=before, because=because, known_by=KNOWN_BY)
        row = replace(row, reason_at=missing)
        record = checked.document[SUPERSEDES]
        if isinstance(record, dict) and not record["differences"]:
            return replace(row, report=_from(out, before)), None
        marks.append(one_file(before / MARK, superseded_mark(checked, folder=place), replace=True))
    return filed(row, checked, out=out, place=place, marks=marks)


def filed(
    row: SweptBatch, checked: Checked, *, out: Path, place: Path, marks: Sequence[Filing] = (), over: bool = False
) -> Filed:
    """File the report of a batch; what could not be made of it stands in the row, beside the verdict."""
    lost: list[str] = []
    try:
        part = partial(unless_it_fails, lost)
        file_report(checked, place, marks, paper=Paper.A4, replace=over, told=nullcontext, part=part)
    except OSError as failure:
        lost.append(f"the report ({failure.strerror or failure})")
    else:
        row = replace(row, report=_from(out, place))
    for what in lost:
        row = row.with_problem(f"{what} could not be made", CLOSE_IT)
    return row, checked


def _from(out: Path, place: Path) -> str:
    return Path(os.path.relpath(place, out)).as_posix()


def _because(before: Mapping[str, Any], after: Mapping[str, Any], *, missing: str, path: Path) -> tuple[str, str]:
    """Why a result supersedes another, and where the reason is to be typed while it is not known."""
    reason = after["batch"]["note"]
    if reason and reason != before["batch"]["note"]:
        return reason, ""
    entered = ({part: document[part] for part in ("batch", "units")} for document in (before, after))
    found = (one for one in result_differences(*entered) if one.what not in _COUNTED)
    if any(one.before not in (None, "", False) for one in found):
        return UNSAID, missing or place_of_reason(path)
    return ADDED, missing


def place_of_reason(path: Path) -> str:
    """The cell of an input in which the reason of a correction is looked for, or what to do where it has none."""
    book = read_book(path, options=ReadOptions(), findings=Noted())
    for table in (table for table in book.tables if plain(table.name) == "batch"):
        cells = [(row.number, cell) for row in table.rows for cell in row.cells.values()]
        for number, cell in cells:
            if plain(cell.text) == plain(REASON):
                return f"{table.sheet}!{address(number, cell.column + 1)}"
        last = max((number for number, _ in cells), default=1) + 1
        return f"{table.sheet}!{address(last, 2)}, with {REASON} beside it in {address(last, 1)},"
    return f"a sheet Batch, beside the field {REASON},"
