"""One line of what was looked at when a report was verified."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class State(StrEnum):
    """What was found at one point."""

    HOLDS = "holds"
    BROKEN = "broken"
    UNCHECKED = "not checked"
    REMARK = "remark"


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One point: what was looked at, and what was found there."""

    state: State
    what: str
    told: str
