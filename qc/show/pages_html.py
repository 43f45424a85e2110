"""The report as one HTML page that needs nothing from anywhere, and page one as a fragment for notebooks."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from qc.results import JudgedBatch
from qc.show.pieces import as_plain
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
        HTML with its style and its pictures inside; no script, and no request leaves the page.
    """
    return pages().get_template("report.html").render(report=report)


def page_one_html(judged: JudgedBatch) -> str:
    """Page one of the report as a fragment with its own style, for a notebook.

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


def pages() -> Environment:
    """The templates of all pages, with every text escaped."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    return Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
        auto_reload=False,
    )
