"""Another test of finished units, entered as a row of the Checks sheet: disintegration, softening, rupture."""

from __future__ import annotations

from decimal import Decimal
from enum import StrEnum
from typing import Annotated

from qc.batch import Base
from qc.rules.kind import Kind, shown
from qc.rules.records import FormRow, Rule
from qc.rules.schema import About
from qc.rules.strict_records import Findings

_BESIDE = "Type it beside the result"


class Direction(StrEnum):
    """On which side of its limit a result is to lie; a limit typed without a word is read so."""

    AT_MOST = "at most"
    AT_LEAST = "at least"


class CheckLimit(FormRow, frozen=True, kw_only=True):
    """A row of a table of limits: which forms, which base (None: either), which limit [unit of the rule]."""

    limit: Decimal
    base: Base | None = None

    @property
    def holds_for(self) -> str:
        """The base; empty for either."""
        return "" if self.base is None else f"{self.base} base"

    def said(self, rule: CheckRule) -> str:
        """The limit with its side and unit."""
        return f"{rule.direction} {shown(self.limit, unit=rule.unit)}"


class CheckRule(Rule, frozen=True, kw_only=True):
    """Another test of finished units, entered as a row of the Checks sheet under one of its `names`.

    `sample_size` 0 means that no source read gives one. Without `limits` the limit must come from the row itself.
    """

    names: Annotated[tuple[str, ...], About("entered as")]
    quantity: str
    unit: str
    direction: Annotated[Direction, About("a limit without a word is read as")]
    sample_size: Annotated[int, About("units in the sample", none="not stated in a text read here", fixed=_BESIDE)]
    limits: Annotated[tuple[CheckLimit, ...], About("limits", fixed=_BESIDE)] = ()
    base: Annotated[Base | None, About("base", none="fatty or water-soluble")] = None
    """The only base the test is for; None where it serves both."""


class _Check(Kind[CheckRule], frozen=True, kw_only=True):
    def note_misshapen(self, rule: CheckRule, findings: Findings) -> None:
        if not rule.names:
            findings.add("names", "the check has no name to be entered under", "Give at least one")
        seen: set[tuple[str, str]] = set()
        for number, row in enumerate(rule.limits, start=1):
            for form in row.forms:
                bases = ("fatty", "water-soluble") if row.base is None else (row.base.value,)
                for base in bases:
                    if (form, base) in seen:
                        found = f"{form} with a {base} base have two limits"
                        findings.add(f"limits[{number}]", found, "Keep one of the rows")
                    seen.add((form, base))


KIND = _Check(
    record=CheckRule, tests=("disintegration", "softening-time", "resistance-to-rupture"), place=5, of_units=False
)
