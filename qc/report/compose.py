"""A judged batch as a whole report, before it is laid out."""

from __future__ import annotations

from qc.report.evidence import sections
from qc.report.front import batch_number, page_one
from qc.report.view import Report
from qc.report.words import shortened
from qc.results import JudgedBatch

DIGITS_OF_ID = 12


def compose(judged: JudgedBatch, *, digest: str) -> Report:
    """Everything the pages show.

    Parameters
    ----------
    judged : JudgedBatch
        What was judged.
    digest : str
        SHA-256 of the result document; its first digits are the report's id.

    Returns
    -------
    Report
        The report before it is laid out.
    """
    product = shortened(judged.batch.product or "product not named", most=60)
    return Report(
        title=f"Batch report {batch_number(judged)}: {product}",
        id=digest[:DIGITS_OF_ID],
        front=page_one(judged),
        sections=sections(judged),
    )
