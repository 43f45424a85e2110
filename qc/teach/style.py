"""How the pages of a teaching batch are laid out: templates and their one style sheet."""

from __future__ import annotations

from pathlib import Path
from typing import Any

TEMPLATES = Path(__file__).parent / "templates"


def laid_out(template: str, /, **content: Any) -> str:
    """A page with its style inside, everything from outside escaped.

    Parameters
    ----------
    template : str
        Name of the template.
    content
        What it shows.
    """
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    pages = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    return pages.get_template(template).render(content)
