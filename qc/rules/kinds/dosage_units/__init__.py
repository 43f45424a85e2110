"""Harmonised uniformity of dosage units: the acceptance value about the label claim, in one stage or two."""

from __future__ import annotations

from typing import TYPE_CHECKING

from qc.rules.kind import Kind
from qc.rules.kinds.dosage_units.record import DosageUnitRule
from qc.rules.strict_records import Findings

if TYPE_CHECKING:
    from qc.rules.kinds.mass.record import MassBand
    from qc.stats.sample_plans import AcceptanceGeometry


class _DosageUnits(Kind[DosageUnitRule], frozen=True, kw_only=True):
    def plan(
        self,
        rule: DosageUnitRule,
        *,
        band: MassBand | None = None,
        target_percent: float = 100.0,
        rounded: bool = False,
    ) -> AcceptanceGeometry:
        from qc.stats.sample_plans import AcceptanceGeometry

        return AcceptanceGeometry(
            first_size=rule.first_size,
            second_size=rule.second_size,
            first_k=float(rule.first_k),
            second_k=float(rule.second_k),
            limit=float(rule.l1_below if rounded else rule.l1_percent),
            low=float(rule.reference_low_percent),
            high=max(float(rule.reference_high_percent), target_percent),
            unit_fraction=float(rule.l2_percent) / 100.0,
        )

    def note_misshapen(self, rule: DosageUnitRule, findings: Findings) -> None:
        named: set[str] = set()
        for number, route in enumerate(rule.routes, start=1):
            for form in route.forms:
                if form in named:
                    findings.add(f"routes[{number}].forms", f"{form} stands in two rows", "Name each form once")
                named.add(form)


KIND = _DosageUnits(record=DosageUnitRule, tests=("dosage-unit-uniformity",), place=3, per_active=True, chance=True)
