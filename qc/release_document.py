"""The parts of the result document on what the eye saw, on what went in and came out, and on packing and label."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction

from msgspec.structs import asdict

from qc.results.release import ActiveBalance, PackingChecklist, Reconciliation, VisualInspection

Json = Mapping[str, object]


def _number(value: Decimal | Fraction | float | None) -> float | None:
    return None if value is None else float(value)


def visual_document(seen: VisualInspection) -> Json:
    """What the eye saw: counts, defects with their units, and the plans of the house."""
    return {
        "lot": seen.lot,
        "looked_at": seen.looked_at,
        "sentence": seen.sentence or None,
        "defects": [
            {
                "defect": one.defect,
                "entered_as": list(one.entered_as),
                "grade": one.grade,
                "grade_mark": one.grade_mark,
                "units": list(one.units),
                "usual_causes": list(one.causes),
                "remedy": one.remedy or None,
                "mark": one.mark,
                "speaks_for": list(one.speaks_for),
            }
            for one in seen.defects
        ],
        "classes": [
            {
                "grade": one.grade,
                "units": list(one.units),
                "aql_percent": _number(one.aql_percent),
                "plan": one.plan or None,
                "met": one.met,
            }
            for one in seen.classes
        ],
        "unknown": {word: list(units) for word, units in seen.unknown.items()},
    }


def reconciliation_document(found: Reconciliation) -> Json:
    """The balances, unrounded, with the arithmetic in words."""
    return {
        "melt_prepared_g": _number(found.melt_prepared_g),
        "units_g": found.units_g,
        "units_estimated": found.units_estimated,
        "units_low_g": found.units_low_g,
        "units_high_g": found.units_high_g,
        "trimmings_g": _number(found.trimmings_g),
        "melt_left_g": _number(found.melt_left_g),
        "unaccounted_g": _number(found.unaccounted_g),
        "unaccounted_percent": _number(found.unaccounted_percent),
        "units_obtained": found.units_obtained,
        "units_rejected": found.units_rejected,
        "units_sampled": found.units_sampled,
        "units_released": found.units_released,
        "units_difference": found.units_difference,
        "theoretical_units": _number(found.theoretical_units),
        "yield_percent": _number(found.yield_percent),
        "actives": [_active(one) for one in found.actives],
        "missing": list(found.missing),
        "remarks": list(found.remarks),
        "working": list(found.working),
    }


def _active(one: ActiveBalance) -> Json:
    return {
        "active": one.active,
        "weighed_mg": _number(one.weighed_mg),
        "in_units_mg": one.in_units_mg,
        "in_trimmings_mg": one.in_trimmings_mg,
        "in_dish_mg": one.in_dish_mg,
        "found_mg": one.found_mg,
        "recovery_percent": _number(one.recovery_percent),
        "recovery_low_percent": one.recovery_low_percent,
        "recovery_high_percent": one.recovery_high_percent,
        "n": one.n,
    }


def packing_document(checklist: PackingChecklist) -> Json:
    """The checklist line by line."""
    return {
        "started": checklist.started,
        "sentence": checklist.sentence or None,
        "lines": [asdict(line) for line in checklist.lines],
    }
