"""The two papers a report is printed on."""

from __future__ import annotations

from enum import StrEnum


class Paper(StrEnum):
    """A paper size, by the name the typesetter knows."""

    A4 = "a4"
    LETTER = "us-letter"
