"""Harmonised uniformity of dosage units: the acceptance value about the label claim, in one stage or two."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from qc.rules.kind import Kind, shown
from qc.rules.kinds.dosage_units.record import DosageUnitRule, Route
from qc.rules.page_lines import row
from qc.rules.strict_records import Findings

if TYPE_CHECKING:
    from qc.rules.kinds.mass.record import MassBand
    from qc.stats.sample_plans import AcceptanceGeometry

_SHORT = {Route.CONTENT: "content", Route.MASS: "mass"}


class _DosageUnits(Kind[DosageUnitRule]):
    record = DosageUnitRule
    tests = ("dosage-unit-uniformity",)
    place = 3
    per_active = True
    chance = True

    def sizes(self, rule: DosageUnitRule) -> tuple[int, int]:
        return rule.first_size, rule.second_size

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

    def note_misshapen(self, rule: DosageUnitRule, *, place: str, findings: Findings) -> None:
        named: set[str] = set()
        for number, route in enumerate(rule.routes, start=1):
            for form in route.forms:
                if form in named:
                    findings.add(f"{place}routes[{number}].forms", f"{form} stands in two rows", "Name each form once")
                named.add(form)

    def figures(self, rule: DosageUnitRule) -> Sequence[tuple[str, str]]:
        both = rule.first_size + rule.second_size
        low, high = shown(rule.reference_low_percent), shown(rule.reference_high_percent)
        dose, share = shown(rule.mass_route_dose_mg), shown(rule.mass_route_fraction_percent)
        return (
            ("units, first stage", f"{rule.first_size}, with k = {shown(rule.first_k)}"),
            ("units, second stage", f"{both} in all, with k = {shown(rule.second_k)}"),
            ("greatest acceptance value L1", shown(rule.l1_percent)),
            ("single units at the second stage L2", f"{shown(rule.l2_percent)} % of M to either side"),
            ("the mean is its own reference", f"from {low} to {high} % of label"),
            ("threshold for mass variation", f"{dose} mg or more and {share} % or more of the mass"),
        )

    def tables(self, rule: DosageUnitRule) -> Sequence[str]:
        lines = ["Routes, by form: at or above that threshold, and otherwise"]
        for route in rule.routes:
            routes = f"{_SHORT[route.at_threshold]}, {_SHORT[route.otherwise]}"
            lines += row((", ".join(route.forms), 42), (f"{routes:<17} [{route.mark.value}]", 32))
        return lines


KIND = _DosageUnits()
