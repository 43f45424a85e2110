"""The report as a PDF: set by typst from one template, every word of the user's passed as data, never as source."""

from __future__ import annotations

import json
import os
from collections.abc import Iterable
from enum import StrEnum
from io import BytesIO
from pathlib import Path
from typing import Any, Literal
from unicodedata import category, normalize

from qc.patterns import pattern
from qc.say.text import REPLACED

TEMPLATES = Path(__file__).parent / "templates"
REPORT, PLAIN = "report.typ", "plain.typ"
ACCESSIBLE: Literal["ua-1"] = "ua-1"
FONTS = Path(__file__).parent / "fonts"
MORE_FONTS = "QC_FONTS"
"""Names a folder of further fonts, which set what those of the package lack."""
LACKING_NOTE = (
    "Some letters of this batch are in no font that comes with the tool. They stand here by their numbers in Unicode, "
    "such as [U+6813], and in pictures as \N{REPLACEMENT CHARACTER}; the HTML page holds every text as it was entered."
)
MOST_ROWS = 500
"""Of a table on paper; of more the typesetter makes a thousand pages from gigabytes of memory."""
_PICTURE = pattern(r'"svg": "(?:[^"\\]|\\.)*"')
_ONE_AFTER_THE_OTHER = pattern(r"(?<=[0-9A-F])\]\[(?=U\+)")
# Forbidden in a text by PDF/UA-1.
_NEVER_SET = frozenset("\ufeff")


class Paper(StrEnum):
    """A paper size, by the name the typesetter knows."""

    A4 = "a4"
    LETTER = "us-letter"


def pdf_pages(report: dict[str, Any], *, paper: Paper, template: str = REPORT) -> bytes:
    """The whole report as a tagged PDF (PDF/UA-1), the same bytes on every run.

    Parameters
    ----------
    report : dict
        A report made plain by `as_plain`.
    paper : Paper
        A4 or Letter.
    template : str
        `REPORT`, or `PLAIN` for a page of pieces as `pages_html.plain_page` takes it.

    Returns
    -------
    bytes
        The PDF.
    """
    return _with_object_streams(_typeset(_on_paper(report), paper=paper, template=template))


def _on_paper(plain: Any) -> Any:
    """The same with long tables cut: to the rows that are marked, and of the others as many as there is room for."""
    if isinstance(plain, list):
        return [_on_paper(one) for one in plain]
    if not isinstance(plain, dict):
        return plain
    rows = plain.get("rows", ()) if plain.get("kind") == "table" else ()
    if len(rows) <= MOST_ROWS:
        return {name: _on_paper(one) for name, one in plain.items()}
    strong = frozenset(plain["strong"])
    kept = sorted(sorted(range(len(rows)), key=lambda place: place not in strong)[:MOST_ROWS])
    told = f"{len(kept):,} of {len(rows):,} rows, those outside a limit first; the HTML page holds all"
    return {
        **plain,
        "caption": f"{plain['caption']} ({told})",
        "rows": [rows[place] for place in kept],
        "strong": [at for at, place in enumerate(kept) if place in strong],
    }


def _with_object_streams(pdf: bytes) -> bytes:
    """A PDF with its tags and other small objects compressed together, which halves it; the same bytes on every run."""
    from pikepdf import ObjectStreamMode, Pdf

    written = BytesIO()
    with Pdf.open(BytesIO(pdf)) as opened:
        # False is what its absence means (ISO 32000-1, 14.7.1), and a common reader takes its presence for an error.
        del opened.Root.MarkInfo.Suspects
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


def _typeset(report: dict[str, Any], *, paper: Paper, template: str = REPORT, ppi: float | None = None) -> bytes:
    """The PDF, or page one as a picture where its dots per inch are given."""
    import matplotlib
    import typst

    shipped = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    further = [Path(folder) for folder in [os.environ.get(MORE_FONTS)] if folder]
    # The fonts of this machine are left aside, so that the pages are the same on every one.
    faces = [
        shipped / "DejaVuSans.ttf",
        *(face for one in (FONTS, *further) for face in sorted(one.glob("*.[ot]t[fc]"))),
    ]
    dump = json.dumps(report, ensure_ascii=False)
    letters = {letter for letter in set(dump) if not letter.isascii()}
    lacking = _in_no_font(letters, faces)
    marks = {letter for letter in letters if category(letter)[0] == "M" or category(letter) == "Cf"}
    made: object = None
    # The later tries are for what the typesetter cannot set for a reason that no font tells, mostly stray marks.
    for text, drawn in ((lacking, lacking | marks), (lacking | marks, lacking | marks), (letters, letters)):
        told = _by_numbers(dump, text=text, drawn=drawn)
        note = LACKING_NOTE if told != dump else ""
        try:
            made = typst.compile(
                TEMPLATES / template,
                font_paths=[shipped, FONTS, *further],
                ignore_system_fonts=True,
                sys_inputs={"report": told, "remark": note, "paper": paper.value},
                pdf_standards=ACCESSIBLE,
                format="pdf" if ppi is None else "png",
                ppi=ppi,
            )
            break
        except typst.TypstError:
            if text is letters:
                raise
    # One picture a page, although the stub promises bytes for all of them.
    first = made[0] if isinstance(made, list) else made
    if not isinstance(first, bytes):
        raise TypeError(f"the typesetter gave {type(first).__name__} instead of bytes")
    return first


def _in_no_font(letters: set[str], faces: Iterable[Path]) -> set[str]:
    """The letters that none of the fonts holds, and those that no PDF/UA-1 may hold."""
    from matplotlib.ft2font import FT2Font

    lacking = {letter for letter in letters if not letter.isspace()}
    for face in faces:
        if lacking:
            font = FT2Font(face)
            lacking = {letter for letter in lacking if not font.get_char_index(ord(letter))}
    return lacking | (letters & _NEVER_SET)


def _by_numbers(dump: str, *, text: set[str], drawn: set[str]) -> str:
    """A report as JSON in which letters of its text stand by their numbers, and those of its pictures by a stand-in.

    Examples
    --------
    >>> _by_numbers('{"a": "Zn \u6813\u5264 7", "svg": "\u6813"}', text={"\u6813", "\u5264"}, drawn={"\u6813"})
    '{"a": "Zn [U+6813 U+5264] 7", "svg": "�"}'
    """
    pictures = dict.fromkeys(map(ord, drawn), REPLACED)
    dump = _PICTURE.sub(lambda found: normalize("NFC", found[0]).translate(pictures), dump)
    return _ONE_AFTER_THE_OTHER.sub(" ", dump.translate({ord(one): f"[U+{ord(one):04X}]" for one in text}))
