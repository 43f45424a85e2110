"""Pages of HTML that need nothing from anywhere: the report, plainer pages of pieces, page one for notebooks."""

from __future__ import annotations

from base64 import b64encode
from functools import cache
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Any

from qc.results import JudgedBatch
from qc.say.names import CAUTION
from qc.show.pieces import Section, as_plain
from qc.show.sections.front import page_one

if TYPE_CHECKING:
    from jinja2 import Environment

TEMPLATES = Path(__file__).parent / "templates"


def html_page(report: dict[str, Any]) -> str:
    """The whole report as a page.

    Parameters
    ----------
    report : dict
        A report made plain by `as_plain`.

    Returns
    -------
    str
        HTML with its style and its pictures inside, and a script that sorts its tables; no request leaves the page.
    """
    return pages().get_template("report.html").render(report=report, sorting=_sorting())


def _sorting() -> dict[str, str]:
    """The script that sorts tables; a page allows this one, by its digest."""
    text = (TEMPLATES / "sort.js").read_text(encoding="utf-8")
    return {"text": text, "digest": f"sha256-{b64encode(sha256(text.encode()).digest()).decode()}"}


def plain_page(*, kind: str, title: str, sections: tuple[Section, ...], closing: str) -> str:
    """A page of pieces without the front of a report, the same text on every run.

    Parameters
    ----------
    kind : str
        Of what kind the page is, above the title.
    title : str
        What it is about.
    sections : tuple of Section
        Its parts.
    closing : str
        The last sentence.

    Returns
    -------
    str
        HTML with its style and its pictures inside; no script, and no request leaves the page.
    """
    page = {"kind": kind, "title": title, "sections": as_plain(sections), "closing": closing}
    return pages().get_template("plain.html").render(page=page)


def index_page(*, title: str, sections: tuple[Section, ...], refresh_s: int) -> str:
    """A page of tables that can be sorted; it loads itself anew after so many seconds, never where that is 0."""
    page = {"kind": "Batches", "title": title, "sections": as_plain(sections), "closing": CAUTION}
    return pages().get_template("index.html").render(page=page, sorting=_sorting(), refresh_s=refresh_s)


def page_one_html(judged: JudgedBatch) -> str:
    """Page one of the report without its pictures, as a fragment with its own style, for a notebook.

    Parameters
    ----------
    judged : JudgedBatch
        What was judged.

    Returns
    -------
    str
        HTML in one `section` element.
    """
    return pages().get_template("fragment.html").render(front=as_plain(page_one(judged)))


@cache
def pages(folder: Path = TEMPLATES) -> Environment:
    """The templates of a folder, with every text escaped; each is compiled once a process."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    return Environment(
        loader=FileSystemLoader([folder, TEMPLATES]),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
        auto_reload=False,
    )
