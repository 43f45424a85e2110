"""Uniformity of mass: single masses about their mean, with a limit by form and mass."""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec.structs import replace

from qc.rules.kind import AddedForm, Kind
from qc.rules.kinds.mass.bands import forms_named, note_uncovered
from qc.rules.kinds.mass.record import MassBand, MassBasis, MassRule
from qc.rules.records import Mark
from qc.rules.strict_records import Findings

if TYPE_CHECKING:
    from qc.stats.sample_plans import CountPlan


class _Mass(Kind[MassRule], frozen=True, kw_only=True):
    def sizes(self, rule: MassRule) -> tuple[int, int]:
        return rule.sample_size, 0

    def plan(
        self, rule: MassRule, *, band: MassBand | None = None, target_percent: float = 100.0, rounded: bool = False
    ) -> CountPlan:
        from qc.stats.sample_plans import CountPlan

        if band is None and len(rule.bands) != 1:
            rows = len(rule.bands)
            raise ValueError(f"{rule.id} has {rows} rows of limits; name the dosage form and the mass of a unit")
        row_of_limits = band or rule.bands[0]
        return CountPlan(
            first_size=rule.sample_size,
            second_size=0,
            inner=float(row_of_limits.limit_percent) / 100.0,
            outer=float(row_of_limits.outer_percent) / 100.0,
            passes_with=rule.most_beyond_limit,
            continues_with=rule.most_beyond_limit,
            second_passes_with=rule.most_beyond_limit,
            most_outer=rule.most_beyond_outer,
            about_label=rule.basis is MassBasis.LABELLED_MASS,
        )

    def note_misshapen(self, rule: MassRule, findings: Findings) -> None:
        note_uncovered(rule, findings)

    def with_form(self, rule: MassRule, *, form: str, added: AddedForm) -> tuple[MassRule, str]:
        # Every table that was read sets the outer limit at double the limit.
        outer = 2 * added.limit_percent if added.outer_percent is None else added.outer_percent
        band = MassBand(forms=(form,), limit_percent=added.limit_percent, outer_percent=outer, mark=Mark.HOUSE)
        line = f"{form}: {added.limit_percent:f} %, none beyond {outer:f} % (source: {added.source})"
        return replace(rule, bands=(*rule.bands, band)), line

    def forms_named(self, rule: MassRule) -> tuple[str, ...]:
        return forms_named(rule)


KIND = _Mass(record=MassRule, tests=("mass-uniformity",), place=1, chance=True)
