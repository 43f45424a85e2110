"""A report filed: drawn, and put into its folder with what belongs to it, whole or not at all."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from qc.jobs.check import TO_ASSAY, Checked, assay_list
from qc.show.filing import FILES, Filing, Replace, Told, file_together, refuse_over, standing
from qc.show.pages_pdf import Paper
from qc.show.write import Part, render_report


def file_report(
    checked: Checked, folder: Path, beside: Sequence[Filing], *, paper: Paper, replace: bool, told: Told, part: Part
) -> Path | None:
    """Draw the report and file it, with the list of units to assay where one is due.

    Parameters
    ----------
    checked : Checked
    folder : Path
        Made when it is not there. A list of units to assay that stands there stays: contents may be typed into it.
    beside : sequence of Filing
        What is written elsewhere, if and only if the report is.
    paper : Paper
        The paper of the PDF.
    replace : bool
        Whether it takes the place of a report that stands there.
    told, part : callable
        As for `Filing` and `render_report`; a part that cannot be made is left out.

    Returns
    -------
    Path or None
        The list of units to assay.

    Raises
    ------
    qc.show.filing.ReportExists
        When the folder holds a report already, and that is not to be replaced.
    OSError
        When the files cannot be written; nothing was left behind, and an old report stands as it was.
    """
    stood = {name: standing(folder / name) for name in FILES}
    if not replace:
        # Asked before the pages are drawn, so that the refusal comes at once.
        with told():
            refuse_over(folder, FILES)
    drawn, document, listed = checked.judged, checked.document, None
    with part("the list of units to assay"):
        listed = assay_list(checked.judged)
    with part("the curves of the report"):
        drawn = checked.to_draw()
    with part("the seal of the report"):
        document = checked.sealed(drawn)
    place = folder / TO_ASSAY
    further = {} if listed is None else {TO_ASSAY: listed}
    with told():
        stands = {TO_ASSAY: place.read_bytes()} if place.is_file() else further
    drawing = render_report(drawn, document=document, paper=paper, part=part, beside=stands)
    files = {**dict.fromkeys(FILES), **drawing}
    unchanged: Replace = replace and (lambda path: standing(path) == stood[path.name])
    file_together([Filing(folder=folder, files=files, replace=unchanged, if_none=further, told=told), *beside])
    return place if further else None
