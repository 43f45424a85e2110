"""Uniformity of content: contents of single units about the sample's own mean, in one stage or two."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from qc.rules.kind import Kind
from qc.rules.kinds.content.record import ContentRule
from qc.rules.strict_records import Findings

if TYPE_CHECKING:
    from qc.rules.kinds.mass.record import MassBand
    from qc.stats.sample_plans import CountPlan


class _Content(Kind[ContentRule], frozen=True, kw_only=True):
    def plan(
        self, rule: ContentRule, *, band: MassBand | None = None, target_percent: float = 100.0, rounded: bool = False
    ) -> CountPlan:
        from qc.stats.sample_plans import CountPlan

        low, high = rule.mean_low_percent, rule.mean_high_percent
        return CountPlan(
            first_size=rule.first_size,
            second_size=rule.second_size,
            inner=float(rule.inner_percent) / 100.0,
            outer=float(rule.outer_percent) / 100.0,
            passes_with=rule.passes_with,
            continues_with=rule.continues_with,
            second_passes_with=rule.second_passes_with,
            mean_low=-math.inf if low is None else float(low),
            mean_high=math.inf if high is None else float(high),
        )

    def note_misshapen(self, rule: ContentRule, findings: Findings) -> None:
        if not rule.second_size and rule.continues_with != rule.passes_with:
            mend = "Give the number of passes_with"
            findings.add("continues_with", "there is no second stage to go on to", mend)


KIND = _Content(record=ContentRule, tests=("content-uniformity",), place=2, per_active=True, chance=True)
