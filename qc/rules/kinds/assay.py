"""The assay of the batch against its limits about the label claim: of a pooled sample, and the mean of single units."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import Annotated

from qc.rules.kind import Kind, shown
from qc.rules.records import Rule
from qc.rules.schema import About


class AssayRule(Rule, frozen=True, kw_only=True):
    """The assay of the batch against limits [% of label]; without its own, against those that are entered."""

    names: tuple[str, ...]
    rounding_decimals: Annotated[int, About(fixed="Set narrower limits instead")]
    """Decimals to which an assay is rounded before it is compared, where the limit is written with no more."""
    low_percent: Annotated[
        Decimal | None, About(greater="lower limit of the assay, in per cent of label,", not_above="high_percent")
    ] = None
    high_percent: Annotated[Decimal | None, About(smaller="upper limit of the assay, in per cent of label,")] = None


class _Assay(Kind[AssayRule]):
    record = AssayRule
    tests = ("batch-assay",)
    place = 6
    of_units = False

    def figures(self, rule: AssayRule) -> Sequence[tuple[str, str]]:
        span = f"{shown(rule.low_percent)} to {shown(rule.high_percent)} % of the label claim"
        return ("limits", "as entered" if rule.low_percent is None else span), ("entered as", ", ".join(rule.names))


KIND = _Assay()
