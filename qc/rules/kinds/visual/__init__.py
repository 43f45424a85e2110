"""Visual inspection: what was seen on the units, counted against an attribute sampling plan."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from enum import StrEnum
from itertools import pairwise
from typing import Annotated

from msgspec import Struct

from qc.rules.kind import Kind, shown
from qc.rules.records import Rule, TableRow
from qc.rules.schema import About
from qc.rules.strict_records import Findings

_TABLES = "The tables belong together"
_NONE_SET = "none; a house rule can set one"


class Grade(StrEnum):
    """How grave a defect is: harm may come of it, the unit may not serve, or it is a blemish."""

    CRITICAL = "critical"
    MAJOR = "major"
    MINOR = "minor"


class SamplingCode(TableRow, frozen=True, kw_only=True):
    """A row of the table of code letters: lot sizes, both ends included, and the letters of levels I, II and III."""

    lot_from: int
    lot_to: int
    letters: tuple[str, ...]

    @property
    def holds(self) -> str:
        """The lot sizes."""
        return f"{self.lot_from} to {self.lot_to} units"

    def said(self, rule: Rule) -> str:
        """The letters."""
        return ", ".join(self.letters)


class SamplingColumn(Struct, frozen=True, kw_only=True):
    """A column of the master table with its arrows followed: one plan for each code letter of the rule."""

    aql_percent: Decimal
    sample_sizes: tuple[int, ...]
    accepts: tuple[int, ...]

    @property
    def holds(self) -> str:
        """The quality limit."""
        return f"AQL {shown(self.aql_percent, unit='%')}"

    def said(self, rule: SamplingRule) -> str:
        """Sample size and acceptance number of each letter."""
        plans = zip(rule.letters, self.sample_sizes, self.accepts, strict=True)
        return ", ".join(f"{letter} {size}/{accepts}" for letter, size, accepts in plans)


def _of_a_class(grade: str) -> About:
    return About(f"AQL of {grade} defects", "%", _NONE_SET, tighter="less")


class SamplingRule(Rule, frozen=True, kw_only=True):
    """Visual inspection: units counted against an attribute sampling plan; no quality limit (AQL) is built in.

    An AQL of 0 accepts no unit of that class, among all that were looked at.
    """

    inspection_level: Annotated[int, About("general inspection level", tighter="more")]
    inspect_all_up_to: Annotated[
        int,
        About("every unit is looked at up to", "units", fixed="Look at more units instead; all looked at count"),
    ]
    letters: Annotated[tuple[str, ...], About(fixed=_TABLES)]
    letters_from_memory: tuple[str, ...]
    codes: Annotated[tuple[SamplingCode, ...], About("letters of levels I, II and III, by batch", fixed=_TABLES)]
    columns: Annotated[tuple[SamplingColumn, ...], About("sample size/accepted, by letter", fixed=_TABLES)]
    aql_critical_percent: Annotated[Decimal | None, _of_a_class("critical")] = None
    aql_major_percent: Annotated[Decimal | None, _of_a_class("major")] = None
    aql_minor_percent: Annotated[Decimal | None, _of_a_class("minor")] = None

    @property
    def aqls(self) -> Mapping[Grade, Decimal | None]:
        """The acceptable quality limit of each grade of defect [% of units]; None where the house sets none."""
        return {grade: getattr(self, f"aql_{grade}_percent") for grade in Grade}


class _Visual(Kind[SamplingRule], frozen=True, kw_only=True):
    def note_misshapen(self, rule: SamplingRule, findings: Findings) -> None:
        if rule.inspection_level not in (1, 2, 3):
            findings.add("inspection_level", f"there is no level {rule.inspection_level}", "Write 1, 2 or 3")
        known = [column.aql_percent for column in rule.columns]
        for grade, aql in rule.aqls.items():
            if aql not in (None, 0, *known):
                choices = ", ".join(shown(one) for one in known)
                found = f"the table has no AQL of {shown(aql)} %"
                findings.add(f"aql_{grade}_percent", found, f"Write 0 or one of {choices}")
        for number, column in enumerate(rule.columns, start=1):
            if not len(column.sample_sizes) == len(column.accepts) == len(rule.letters):
                findings.add(
                    f"columns[{number}]",
                    f"there are {len(rule.letters)} code letters",
                    "Give a sample size and an acceptance number for each",
                )
        for number, (row, following) in enumerate(pairwise(rule.codes), start=2):
            if following.lot_from != row.lot_to + 1:
                found = f"{following.lot_from} does not follow {row.lot_to}"
                findings.add(f"codes[{number}].lot_from", found, f"Write {row.lot_to + 1}")
        for number, row in enumerate(rule.codes, start=1):
            if len(row.letters) != 3 or not set(row.letters) <= set(rule.letters):
                findings.add(
                    f"codes[{number}].letters",
                    f"{len(row.letters)} letters stand here",
                    "Give one known letter for each of the levels I, II and III",
                )


KIND = _Visual(record=SamplingRule, tests=("visual-inspection",), place=8, of_units=False)
