"""The report as files: one HTML page, one PDF, the result document they show, and the digests of the three."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from contextlib import AbstractContextManager, nullcontext
from datetime import datetime
from typing import Any

from msgspec.structs import replace as changed

from qc.document import as_text
from qc.results import BatchVerdict, JudgedBatch
from qc.say.text import shortened
from qc.show.figures import ALONG_THE_POUR, WHERE_FULL
from qc.show.filing import HTML, JSON, PDF, SUMS, sums_text
from qc.show.headline import judged_on
from qc.show.pages_html import html_page
from qc.show.pages_pdf import Paper, pdf_pages
from qc.show.pieces import Report, as_plain
from qc.show.sections.evidence import sections, source
from qc.show.sections.front import batch_number, page_one
from qc.show.sections.of_document import changes, day_and_minute, seal_pieces, superseded_block
from qc.show.series import series_in_order
from qc.show.series_drawn import pour_picture
from qc.show.tray import tray_picture

DIGITS_OF_ID = 12
ROOMY_TESTS = 7
Part = Callable[[str], AbstractContextManager[object]]


def render_report(
    judged: JudgedBatch,
    *,
    document: Mapping[str, object],
    paper: Paper = Paper.A4,
    part: Part = nullcontext,
    beside: Mapping[str, bytes] = {},
) -> dict[str, bytes]:
    """The bytes of every file of a report by name; the same input gives the same bytes.

    Parameters
    ----------
    judged : JudgedBatch
        What was judged.
    document : mapping
        The result document.
    paper : Paper
        The paper of the PDF.
    part : callable
        Gives from a name the context in which that part is made; one that swallows an error leaves the part out.
    beside : mapping
        Bytes by name of further files of the folder, of which the list gives the digests too.

    Returns
    -------
    dict
        Bytes by file name.
    """
    files = {JSON: as_text(document).encode()}
    with part(f"{HTML} and {PDF}"):
        plain = composed(judged, document)
        with part(HTML):
            files[HTML] = html_page(plain).encode()
        with part(PDF):
            files[PDF] = pdf_pages(plain, paper=paper)
    return {**files, SUMS: sums_text({**files, **beside}).encode()}


def composed(judged: JudgedBatch, document: Mapping[str, object]) -> dict[str, Any]:
    """The report before it is laid out."""
    digest = hashlib.sha256(as_text(document).encode()).hexdigest()
    plain: dict[str, Any] = as_plain(compose(judged, digest=digest, document=document))
    return plain


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
    seal = document.get("seal") or {}
    judged = judged_on(judged, day=datetime.fromisoformat(seal["judged_at"]).date() if seal.get("judged_at") else None)
    front, decides = page_one(judged), series_in_order(judged)[0]
    # Page one has room where the batch complies, in a few tests, and little is open.
    few = len(judged.tests) <= ROOMY_TESTS and len(judged.next_steps) <= 1
    roomy = judged.verdict is BatchVerdict.COMPLIES and few
    size = ALONG_THE_POUR if roomy else WHERE_FULL
    sealed = seal.get("result_sha256", "")
    return Report(
        title=f"Batch report {batch_number(judged)}: {product}",
        id=(sealed or digest)[:DIGITS_OF_ID],
        front=changed(
            front,
            findings=(*superseded_block(document), *front.findings),
            pictures=(tray_picture(judged, decides), pour_picture(judged, decides, size=size)),
        ),
        sections=(
            *changes(document),
            *sections(judged),
            *source(judged, *seal_pieces(document, file_sha256=digest)),
        ),
        judged_at=day_and_minute(seal.get("judged_at", "")),
        result_sha256=sealed,
    )
