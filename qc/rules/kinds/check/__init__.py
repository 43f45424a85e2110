"""Another test of finished units, entered as a row of the Checks sheet: disintegration, softening, rupture."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from enum import StrEnum
from typing import Annotated

from msgspec import Struct

from qc.batch import Base
from qc.rules.kind import Kind, shown
from qc.rules.records import Mark, Rule
from qc.rules.schema import About
from qc.rules.strict_records import Findings

_BESIDE = About(fixed="Enter the tighter limit beside the result; it is met besides")


class Direction(StrEnum):
    """On which side of its limit a result is to lie; a limit typed without a word is read so."""

    AT_MOST = "at most"
    AT_LEAST = "at least"


class CheckLimit(Struct, frozen=True, kw_only=True):
    """A row of a table of limits: which forms, which base (None: either), which limit [unit of the rule]."""

    forms: tuple[str, ...]
    limit: Decimal
    mark: Mark
    base: Base | None = None


class CheckRule(Rule, frozen=True, kw_only=True):
    """Another test of finished units, entered as a row of the Checks sheet under one of its `names`.

    `sample_size` 0 means that no source read gives one. Without `limits` the limit must come from the row itself.
    """

    names: tuple[str, ...]
    quantity: str
    unit: str
    direction: Direction
    sample_size: Annotated[int, _BESIDE]
    limits: Annotated[tuple[CheckLimit, ...], _BESIDE] = ()
    base: Base | None = None
    """The only base the test is for; None where it serves both."""


class _Check(Kind[CheckRule]):
    record = CheckRule
    tests = ("disintegration", "softening-time", "resistance-to-rupture")
    place = 5
    of_units = False

    def note_misshapen(self, rule: CheckRule, *, place: str, findings: Findings) -> None:
        if not rule.names:
            findings.add(f"{place}names", "the check has no name to be entered under", "Give at least one")
        seen: set[tuple[str, str]] = set()
        for number, row in enumerate(rule.limits, start=1):
            for form in row.forms:
                bases = ("fatty", "water-soluble") if row.base is None else (row.base.value,)
                for base in bases:
                    if (form, base) in seen:
                        found = f"{form} with a {base} base have two limits"
                        findings.add(f"{place}limits[{number}]", found, "Keep one of the rows")
                    seen.add((form, base))

    def figures(self, rule: CheckRule) -> Sequence[tuple[str, str]]:
        pairs = [
            ("entered as", ", ".join(rule.names)),
            ("units in the sample", str(rule.sample_size) if rule.sample_size else "not stated in a text read here"),
        ]
        if rule.base is not None:
            pairs.append(("base", rule.base.value))
        for row in rule.limits:
            base = "" if row.base is None else f", {row.base.value} base"
            limit = f"{rule.direction.value} {shown(row.limit)} {rule.unit} [{row.mark.value}]"
            pairs.append((f"{', '.join(row.forms)}{base}", limit))
        if not rule.limits:
            pairs.append(("limit", f"none; entered with the result ({rule.direction.value}, unless it says otherwise)"))
        return pairs


KIND = _Check()
