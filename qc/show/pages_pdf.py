"""The report as a PDF: set by typst from one template, every word of the user's passed as data, never as source."""

from __future__ import annotations

import json
from enum import StrEnum
from io import BytesIO
from pathlib import Path
from typing import Any, Literal

TEMPLATE = Path(__file__).parent / "templates" / "report.typ"
ACCESSIBLE: Literal["ua-1"] = "ua-1"
MISSING_NOTE = (
    "Some characters of this report are in no font that comes with the tool. "
    "Where the PDF shows boxes for them, read the HTML page."
)


class Paper(StrEnum):
    """A paper size, by the name the typesetter knows."""

    A4 = "a4"
    LETTER = "us-letter"


def pdf_pages(report: dict[str, Any], *, paper: Paper) -> bytes:
    """The whole report as a tagged PDF (PDF/UA-1), the same bytes on every run.

    Parameters
    ----------
    report : dict
        A report made plain by `as_plain`.
    paper : Paper
        A4 or Letter.

    Returns
    -------
    bytes
        The PDF.
    """
    return _with_object_streams(_typeset(report, paper=paper))


def _with_object_streams(pdf: bytes) -> bytes:
    """A PDF with its tags and other small objects compressed together, which halves it; the same bytes on every run."""
    from pikepdf import ObjectStreamMode, Pdf

    written = BytesIO()
    with Pdf.open(BytesIO(pdf)) as opened:
        opened.save(written, object_stream_mode=ObjectStreamMode.generate, deterministic_id=True)
    return written.getvalue()


def first_page_image(report: dict[str, Any], *, paper: Paper, ppi: float) -> bytes:
    """Page one of the printed report as a PNG picture, the same bytes on every run.

    Parameters
    ----------
    report : dict
        A report made plain by `as_plain`.
    paper : Paper
        A4 or Letter.
    ppi : float
        Dots per inch.

    Returns
    -------
    bytes
        The picture.
    """
    return _typeset(report, paper=paper, ppi=ppi)


def _typeset(report: dict[str, Any], *, paper: Paper, ppi: float | None = None) -> bytes:
    """The PDF, or page one as a picture where its dots per inch are given."""
    import matplotlib
    import typst

    fonts = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    # A script that no bundled font holds is set with the fonts of this machine; all else is the same everywhere.
    foreign = not _covered(json.dumps(report, ensure_ascii=False), fonts / "DejaVuSans.ttf")
    made: object = typst.compile(
        TEMPLATE,
        font_paths=[fonts],
        ignore_system_fonts=not foreign,
        sys_inputs={
            "report": json.dumps({**report, "remark": MISSING_NOTE if foreign else ""}, ensure_ascii=False),
            "paper": paper.value,
        },
        pdf_standards=ACCESSIBLE,
        format="pdf" if ppi is None else "png",
        ppi=ppi,
    )
    # One picture a page, although the stub promises bytes for all of them.
    first = made[0] if isinstance(made, list) else made
    if not isinstance(first, bytes):
        raise TypeError(f"the typesetter gave {type(first).__name__} instead of bytes")
    return first


def _covered(report: str, font: Path) -> bool:
    """Whether the font holds every character of the report."""
    if report.isascii():
        return True
    from matplotlib.ft2font import FT2Font

    known = FT2Font(font).get_charmap()
    return all(ord(character) in known or character.isspace() for character in set(report))
