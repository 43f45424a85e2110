"""The assay of a pooled sample against its limits about the label claim."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import Annotated

from qc.rules.kind import Kind, shown
from qc.rules.records import Rule
from qc.rules.schema import About


class AssayRule(Rule, frozen=True, kw_only=True):
    """The assay of a pooled sample against its limits [% of label]."""

    names: tuple[str, ...]
    low_percent: Annotated[
        Decimal, About(greater="lower limit of the assay, in per cent of label,", not_above="high_percent")
    ]
    high_percent: Annotated[Decimal, About(smaller="upper limit of the assay, in per cent of label,")]


class _Assay(Kind[AssayRule]):
    record = AssayRule
    tests = ("batch-assay",)
    place = 6
    of_units = False

    def figures(self, rule: AssayRule) -> Sequence[tuple[str, str]]:
        return (
            ("limits", f"{shown(rule.low_percent)} to {shown(rule.high_percent)} % of the label claim"),
            ("entered as", ", ".join(rule.names)),
        )


KIND = _Assay()
