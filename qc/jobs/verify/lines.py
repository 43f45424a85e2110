"""One line of what was looked at when a report was verified."""

from __future__ import annotations

from enum import StrEnum

from msgspec import Struct


class Status(StrEnum):
    """What was found at one point."""

    HOLDS = "holds"
    BROKEN = "broken"
    UNCHECKED = "not checked"
    REMARK = "remark"


class Line(Struct, frozen=True, kw_only=True):
    """One point: what was looked at, and what was found there."""

    state: Status
    what: str
    told: str
