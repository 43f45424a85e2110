"""The report as files: one HTML page, one PDF, the result document they show, and the digests of the three."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from msgspec.structs import replace as changed

from qc.document import as_text
from qc.results import JudgedBatch
from qc.say.text import shortened
from qc.show.filing import SUMS, file_anew, file_whole, refuse_over, sums_text
from qc.show.pages_html import html_page
from qc.show.pages_pdf import Paper, first_page_image, pdf_pages
from qc.show.pieces import Report, as_plain
from qc.show.sections.evidence import sections, source
from qc.show.sections.front import batch_number, page_one
from qc.show.sections.of_document import changes, seal_pieces, superseded_block
from qc.show.series import pour_picture, series_in_order
from qc.show.tray import tray_picture

HTML = "report.html"
PDF = "report.pdf"
JSON = "result.json"
DIGITS_OF_ID = 12


def write_report(
    judged: JudgedBatch,
    directory: Path,
    *,
    document: Mapping[str, object],
    paper: Paper = Paper.A4,
    replace: bool = False,
) -> None:
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
    replace : bool
        Whether it takes the place of a report that stands there.

    Raises
    ------
    ReportExists
        When the folder holds a report already, and that is not to be replaced.
    OSError
        When the files cannot be written; nothing was left behind, and an old report stands as it was.
    """
    if not replace:
        # Asked before the pages are drawn, so that the refusal comes at once.
        refuse_over(directory, (HTML, PDF, JSON, SUMS))
    (file_anew if replace else file_whole)(directory, render_report(judged, document=document, paper=paper))


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


def compose(judged: JudgedBatch, *, digest: str, document: Mapping[str, Any]) -> Report:
    """Everything the pages show.

    Parameters
    ----------
    judged : JudgedBatch
        What was judged.
    digest : str
        SHA-256 of the file of the result document; its first digits are the id of a report without a seal. A sealed
        one has those of its result, by which a later report names it.
    document : mapping
        The result document, for its seal and for the report that it supersedes.

    Returns
    -------
    Report
        The report before it is laid out.
    """
    product = shortened(judged.batch.product or "product not named", most=60)
    front = page_one(judged)
    sealed = (document.get("seal") or {}).get("result_sha256", "")
    return Report(
        title=f"Batch report {batch_number(judged)}: {product}",
        id=(sealed or digest)[:DIGITS_OF_ID],
        front=changed(
            front,
            findings=(*superseded_block(document), *front.findings),
            pictures=(tray_picture(judged), pour_picture(judged, series_in_order(judged)[0])),
        ),
        sections=(
            *changes(document),
            *sections(judged),
            *source(judged, *seal_pieces(document, file_sha256=digest)),
        ),
        result_sha256=sealed,
    )
