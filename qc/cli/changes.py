"""What a correction changed, in the words of a terminal."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from qc.cli.words import printable
from qc.jobs.differences import Difference
from qc.show.pages_text import text_page
from qc.show.pieces import Lines
from qc.show.sections.changes import NO_DIFFERENCE, TITLE, which


def changes(superseded: Mapping[str, Any]) -> str:
    """The `supersedes` part of a result document: which report, why, and every difference; ends in a line break."""
    differences = [str(Difference(**one)) for one in superseded["differences"]]
    told = Lines(title=TITLE, items=(*which(superseded), *(differences or [NO_DIFFERENCE])))
    return printable(text_page([told])) + "\n"
