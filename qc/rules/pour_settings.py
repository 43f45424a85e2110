"""What a house file may say of the pour: which change matters there, and which way a change can only go."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from msgspec import Struct

from qc.rules.strict_records import Findings, record_from


class PourSettings(Struct, frozen=True, kw_only=True):
    """The table [pour] of a house file.

    Parameters
    ----------
    important_change_percent : Decimal or None
        The change from first to last unit that matters [% of mean]; the usual one where None.
    later_units_richer : bool
        True where the person who pours states beforehand that a change could only enrich the later units; contents are
        then tested for a rise alone, which sees more.
    """

    important_change_percent: Decimal | None = None
    later_units_richer: bool = False


def pour_settings(table: Any, *, findings: Findings) -> PourSettings:
    """The settings of a table, strictly; an unknown key or a change that is not above nought is noted as a problem."""
    if not isinstance(table, dict):
        findings.add("pour", '"pour" is not a table', "Write the line [pour] and its settings below it")
        return PourSettings()
    settings = record_from(PourSettings, table, at="pour", findings=findings)
    if settings is None:
        return PourSettings()
    change = settings.important_change_percent
    if change is not None and not 0 < change <= 100:
        findings.add(
            "pour.important_change_percent",
            f"a change of {change} % cannot be the one that matters",
            "Give a number above 0 and at most 100, for example 10",
        )
    return settings
