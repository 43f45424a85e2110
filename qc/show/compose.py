"""A judged batch as a whole report, before it is laid out."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

from msgspec.structs import replace

from qc.results import JudgedBatch
from qc.say.text import shortened
from qc.show.pieces import Report
from qc.show.sections.changes import changes, superseded_block
from qc.show.sections.evidence import sections
from qc.show.sections.front import batch_number, page_one
from qc.show.sections.seal import printed_seal

DIGITS_OF_ID = 12
_NOTHING: Mapping[str, Any] = MappingProxyType({})


def compose(judged: JudgedBatch, *, digest: str, document: Mapping[str, Any] = _NOTHING) -> Report:
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
    seal = printed_seal(document, file_sha256=digest)
    superseded = superseded_block(document)
    front = page_one(judged)
    return Report(
        title=f"Batch report {batch_number(judged)}: {product}",
        id=(digest if seal is None else seal.result_sha256)[:DIGITS_OF_ID],
        front=front if superseded is None else replace(front, right=(superseded, *front.right)),
        sections=(*changes(document), *sections(judged), *(() if seal is None else (seal.section,))),
        result_sha256="" if seal is None else seal.result_sha256,
    )
