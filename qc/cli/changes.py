"""What a correction changed, in the words of a terminal."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from qc.cli.words import printable
from qc.jobs.differences import Difference
from qc.show.pages_text import text_page
from qc.show.view import Lines


def changes(superseded: Mapping[str, Any]) -> str:
    """The `supersedes` part of a result document: which report, why, and every difference; ends in a line break."""
    told = [
        f"This report supersedes report {superseded['result_sha256'][:12]} ({superseded['verdict']}), "
        f"because: {superseded['because']}",
        *(str(Difference(**one)) for one in superseded["differences"]),
    ]
    if len(told) == 1:
        told.append("No verdict, figure, fact or unit differs.")
    return printable(text_page([Lines(title="What the correction changed", items=tuple(told))])) + "\n"
