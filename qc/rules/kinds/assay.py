"""The assay of the batch against its limits about the label claim: of a pooled sample, and the mean of single units."""

from __future__ import annotations

from decimal import Decimal
from typing import Annotated

from qc.rules.kind import Kind
from qc.rules.records import Rule
from qc.rules.schema import About

_TYPED = "as entered"


class AssayRule(Rule, frozen=True, kw_only=True):
    """The assay of the batch against limits [% of label]; without its own, against those that are entered."""

    names: Annotated[tuple[str, ...], About("entered as")]
    rounding_decimals: Annotated[int, About("decimals of the assay", fixed="Set narrower limits instead")]
    """Decimals to which an assay is rounded before it is compared, where the limit is written with no more."""
    low_percent: Annotated[
        Decimal | None, About("lower limit", "% of label", _TYPED, tighter="more", not_above="high_percent")
    ] = None
    high_percent: Annotated[Decimal | None, About("upper limit", "% of label", _TYPED, tighter="less")] = None


KIND = Kind(record=AssayRule, tests=("batch-assay",), place=6, of_units=False)
