"""The mean mass of the units against the planned mass."""

from __future__ import annotations

from decimal import Decimal
from typing import Annotated

from qc.rules.kind import Kind
from qc.rules.records import Rule
from qc.rules.schema import About


class MeanMassRule(Rule, frozen=True, kw_only=True):
    """The mean mass against the planned mass [% of plan]."""

    limit_percent: Annotated[
        Decimal, About("limit on the mean mass", "% of the planned mass", tighter="less", positive=True)
    ]


KIND = Kind(record=MeanMassRule, tests=("mean-mass",), place=4)
