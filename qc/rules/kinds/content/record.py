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

    forms: Annotated[tuple[str, ...], About("forms")]
    first_size: Annotated[int, About("units of the first stage", fixed=_STAGE, sample=True)]
    second_size: Annotated[int, About("further units of the second stage", fixed=_STAGE)]
    inner_percent: Annotated[
        Decimal, About("inner limit", "% of the average", tighter="less", positive=True, not_above="outer_percent")
    ]
    outer_percent: Annotated[Decimal, About("outer limit", "% of the average", tighter="less")]
    passes_with: Annotated[int, About("outside inner: passes at once with", tighter="less", not_above="continues_with")]
    continues_with: Annotated[int, About("outside inner: second stage up to", tighter="less")]
    second_passes_with: Annotated[int, About("outside inner: all units pass with", tighter="less")]
    mean_low_percent: Annotated[
        Decimal | None, About("average, at least", "% of label", tighter="more", below="mean_high_percent")
    ] = None
    mean_high_percent: Annotated[Decimal | None, About("average, at most", "% of label", tighter="less")] = None

    @property
    def inner_applies(self) -> bool:
        """False where only the outer limits bound single units (transdermal patches): the inner ones are the same."""
        return self.inner_percent < self.outer_percent
