"""The report as files: one HTML page, one PDF, the result document they show, and the digests of the three."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from msgspec import Struct

from qc.document import as_text
from qc.results import JudgedBatch
from qc.show.compose import compose
from qc.show.filing import ReportExists, file_anew, file_whole
from qc.show.pages_html import html_page
from qc.show.pages_pdf import first_page_image, pdf_pages
from qc.show.paper import Paper
from qc.show.pieces import as_plain
from qc.show.sums import SUMS, sums_text

__all__ = ["Paper", "ReportExists", "ReportFiles", "page_one_image", "render_report", "replace_report", "write_report"]

HTML = "report.html"
PDF = "report.pdf"
JSON = "result.json"


class ReportFiles(Struct, frozen=True, kw_only=True):
    """Where the files of a report stand."""

    directory: Path
    html: Path
    pdf: Path
    result: Path


def write_report(
    judged: JudgedBatch, directory: Path, *, document: Mapping[str, object], paper: Paper = Paper.A4
) -> ReportFiles:
    """Write the report of a batch into a folder, whole or not at all.

    Parameters
    ----------
    judged : JudgedBatch
        What was judged.
    directory : Path
        The folder; made when it is not there.
    document : mapping
        The result document, written beside the pages as `--json` writes it.
    paper : Paper
        The paper of the PDF.

    Returns
    -------
    ReportFiles
        Where the files stand.

    Raises
    ------
    ReportExists
        When the folder holds a report already.
    OSError
        When the files cannot be written; nothing was left behind.
    """
    found = [name for name in (HTML, PDF, JSON, SUMS) if (directory / name).exists()]
    if found:
        # Asked before the pages are drawn, so that the refusal comes at once.
        raise ReportExists(directory, found)
    file_whole(directory, render_report(judged, document=document, paper=paper))
    return _files_in(directory)


def replace_report(
    judged: JudgedBatch, directory: Path, *, document: Mapping[str, object], paper: Paper = Paper.A4
) -> ReportFiles:
    """Write the report of a batch into a folder in place of the one that stands there.

    Parameters
    ----------
    judged, directory, document, paper
        As for `write_report`.

    Returns
    -------
    ReportFiles
        Where the files stand.

    Raises
    ------
    OSError
        When the files cannot be written; the old report stands as it was.
    """
    file_anew(directory, render_report(judged, document=document, paper=paper))
    return _files_in(directory)


def render_report(judged: JudgedBatch, *, document: Mapping[str, object], paper: Paper = Paper.A4) -> dict[str, bytes]:
    """The bytes of every file of a report by name; the same input gives the same bytes.

    Parameters
    ----------
    judged : JudgedBatch
        What was judged.
    document : mapping
        The result document.
    paper : Paper
        The paper of the PDF.

    Returns
    -------
    dict
        Bytes by file name.
    """
    plain, result = _composed(judged, document)
    files = {HTML: html_page(plain).encode(), PDF: pdf_pages(plain, paper=paper), JSON: result}
    return {**files, SUMS: sums_text(files).encode()}


def page_one_image(
    judged: JudgedBatch, *, document: Mapping[str, object], paper: Paper = Paper.A4, ppi: float = 100.0
) -> bytes:
    """Page one of a report as a PNG picture, to show it where no PDF can be shown.

    Parameters
    ----------
    judged, document, paper
        As for `render_report`.
    ppi : float
        Dots per inch.

    Returns
    -------
    bytes
        The picture; the same input gives the same bytes.
    """
    plain, _ = _composed(judged, document)
    return first_page_image(plain, paper=paper, ppi=ppi)


def _composed(judged: JudgedBatch, document: Mapping[str, object]) -> tuple[dict[str, Any], bytes]:
    """The report before it is laid out, and the bytes of its result document."""
    result = as_text(document).encode()
    plain: dict[str, Any] = as_plain(compose(judged, digest=hashlib.sha256(result).hexdigest(), document=document))
    return plain, result


def _files_in(directory: Path) -> ReportFiles:
    return ReportFiles(directory=directory, html=directory / HTML, pdf=directory / PDF, result=directory / JSON)
