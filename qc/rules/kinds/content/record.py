"""The record of a rule on uniformity of content about the sample's own mean."""

from __future__ import annotations

from decimal import Decimal
from typing import Annotated

from qc.rules.records import Rule
from qc.rules.schema import About

_STAGE = "The sizes of the stages belong to the counts and constants of the rule"


class ContentRule(Rule, frozen=True, kw_only=True):
    """Uniformity of content about the sample's own mean, in one or two stages.

    `passes_with` units outside the inner limits still pass the first stage; up to `continues_with` the second stage
    follows; `second_passes_with` may lie outside among all units of both stages. None lies outside the outer limits.
    `second_size` 0 means that there is one stage only. `mean_low_percent` and `mean_high_percent` bound the mean in %
    of label where the rule does.
    """

    forms: tuple[str, ...]
    first_size: Annotated[int, About(fixed=_STAGE, sample=True)]
    second_size: Annotated[int, About(fixed=_STAGE)]
    inner_percent: Annotated[
        Decimal, About(smaller="inner limit on a single content, in per cent of the average,", positive=True)
    ]
    outer_percent: Annotated[Decimal, About(smaller="outer limit on a single content, in per cent of the average,")]
    passes_with: Annotated[
        int,
        About(smaller="number outside the inner limits with which the first stage passes", not_above="continues_with"),
    ]
    continues_with: Annotated[int, About(smaller="number outside up to which a second stage follows")]
    second_passes_with: Annotated[int, About(smaller="number outside with which the second stage passes")]
    mean_low_percent: Annotated[
        Decimal | None, About(greater="lower bound of the average, in per cent of label,", below="mean_high_percent")
    ] = None
    mean_high_percent: Annotated[Decimal | None, About(smaller="upper bound of the average, in per cent of label,")] = (
        None
    )
    inner_applies: Annotated[bool, About(fixed="Another set of limits is another test")] = True
    """False where only the outer limits bound single units (transdermal patches)."""
