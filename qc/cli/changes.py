"""What a correction changed, in the words of a terminal."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping
from typing import Any

from qc.cli.words import printable
from qc.jobs.differences import Difference

WIDTH = 80


def changes(superseded: Mapping[str, Any]) -> str:
    """The `supersedes` part of a result document: which report, why, and every difference; ends in a line break."""
    told = [
        f"This report supersedes report {superseded['result_sha256'][:12]} ({superseded['verdict']}), "
        f"because: {superseded['because']}",
        *(str(Difference(**one)) for one in superseded["differences"]),
    ]
    if len(told) == 1:
        told.append("No verdict, figure, fact or unit differs.")
    lines = ["What the correction changed"]
    for text in told:
        lines += textwrap.wrap(text, WIDTH, initial_indent="  - ", subsequent_indent="    ")
    return printable("\n".join(lines)) + "\n"
