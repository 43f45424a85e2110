"""The result document: a judged batch as plain dicts, lists, texts and numbers, for other programs."""

from __future__ import annotations

import json
from collections.abc import Mapping
from decimal import Decimal

from qc import __version__
from qc.batch import Batch
from qc.release_document import packing_document, reconciliation_document, visual_document
from qc.results import (
    Assurance,
    CauseFound,
    CausePair,
    JudgedBatch,
    NextMeasurement,
    PlannedMass,
    PourTrend,
    TestResult,
    Trend,
    UnitRow,
    WithoutLeftOut,
)
from qc.results.pour import AssayList, DoseScreen, WithinUnit

SCHEMA = "qc-result/1"

Json = Mapping[str, object]


def result_document(judged: JudgedBatch) -> dict[str, object]:
    """Everything that was worked out about a batch, unrounded, without the `input` part.

    Returns
    -------
    dict
        Keys: schema, qc_version, batch, rule_set, seed, verdict, tests, units, planned_mass, pour_trend,
        dose_from_mass, within_unit, assay_list, causes, cause_pairs, next_measurements, assurance, notices,
        next_steps, cannot_say, visual_inspection, reconciliation, packing.
    """
    return {
        "schema": SCHEMA,
        "qc_version": __version__,
        "batch": _batch(judged.batch),
        "rule_set": judged.rule_set,
        "seed": judged.seed,
        "verdict": judged.verdict.value,
        "tests": [_test(test) for test in judged.tests],
        "units": [_unit(row) for row in judged.unit_rows],
        "planned_mass": None if judged.planned_mass is None else _planned_mass(judged.planned_mass),
        "pour_trend": None if judged.pour_trend is None else _pour_trend(judged.pour_trend),
        "dose_from_mass": [_dose_screen(screen) for screen in judged.pour.dose_from_mass] if judged.pour else [],
        "within_unit": [_within_unit(one) for one in judged.pour.within_unit] if judged.pour else [],
        "assay_list": _assay_list(judged.pour.assay_list) if judged.pour and judged.pour.assay_list else None,
        "causes": [_cause(cause) for cause in judged.causes],
        "cause_pairs": [_pair(pair) for pair in judged.cause_pairs],
        "next_measurements": [_next(one) for one in judged.next_measurements],
        "assurance": [_assurance(assurance) for assurance in judged.assurance],
        "notices": [{"where": notice.where, "text": notice.text} for notice in judged.notices],
        "next_steps": list(judged.next_steps),
        "cannot_say": list(judged.cannot_say),
        "visual_inspection": None if judged.visual is None else visual_document(judged.visual),
        "reconciliation": None if judged.reconciliation is None else reconciliation_document(judged.reconciliation),
        "packing": None if judged.packing is None else packing_document(judged.packing),
    }


def as_text(document: Mapping[str, object]) -> str:
    """The document as JSON text, the same bytes for the same result; ends in a line break."""
    return json.dumps(document, ensure_ascii=False, indent=2, allow_nan=False) + "\n"


def _number(value: Decimal | None) -> float | None:
    return None if value is None else float(value)


def _batch(batch: Batch) -> Json:
    return {
        "number": batch.number,
        "product": batch.product,
        "dosage_form": batch.dosage_form,
        "base": None if batch.base is None else batch.base.value,
        "units_poured": batch.units_poured,
        "units_entered": len(batch.units),
        "units_weighed": len(batch.weighed),
        "units_assayed": len({assay.unit for assay in batch.assays}),
        "nominal_mass_g": _number(batch.nominal_mass_g),
        "planned_mass_g": _number(batch.planned_mass_g),
        "balance_readability_g": _number(batch.balance_readability_g),
        "balance_repeatability_g": _number(batch.balance_repeatability_g),
        "actives": [active.name for active in batch.actives],
        "made_on": batch.made_on,
        "made_by": batch.made_by,
        "weighed_by": batch.weighed_by,
        "checked_by": batch.checked_by,
        "note": batch.note,
    }


def _test(test: TestResult) -> Json:
    return {
        "id": test.id,
        "rule": test.rule,
        "active": test.active,
        "subject": test.subject or None,
        "verdict": test.verdict.value,
        "required": test.required,
        "n": test.n,
        "figures": dict(test.figures),
        "outside": [
            {
                "unit": unit.unit,
                "deviation_percent": unit.deviation_percent,
                "in_sample": unit.in_sample,
                "beyond_outer": unit.beyond_outer,
            }
            for unit in test.outside
        ],
        "reasons": list(test.reasons),
        "sample": list(test.sample),
        "more_units": test.more_units,
        "next_units": list(test.next_units),
        "missing": test.missing or None,
        "without_left_out": None if test.without_left_out is None else _without(test.without_left_out),
    }


def _without(without: WithoutLeftOut) -> Json:
    return {"units": list(without.units), "verdict": without.verdict.value, "figures": dict(without.figures)}


def _unit(row: UnitRow) -> Json:
    return {
        "unit": row.unit,
        "pour_order": row.pour_order,
        "mould": row.mould,
        "cavity": row.cavity,
        "mass_g": _number(row.mass_g),
        "deviation_percent": row.deviation_percent,
        "in_mass_sample": row.in_mass_sample,
        "contents": {
            active: {
                "mg": content.mg,
                "percent_of_label": content.percent_of_label,
                "determinations": content.determinations,
                "in_sample": content.in_sample,
            }
            for active, content in row.contents.items()
        },
        "seen": list(row.seen),
        "left_out_because": row.left_out_because,
        "note": row.note,
    }


def _planned_mass(plan: PlannedMass) -> Json:
    return {
        "planned_g": _number(plan.planned_g),
        "working": plan.working,
        "mean_g": plan.mean_g,
        "difference_percent": plan.difference_percent,
        "limit_percent": _number(plan.limit_percent),
        "met": plan.met,
    }


def _pour_trend(trend: PourTrend) -> Json:
    return {
        "mass": _trend(trend.mass),
        "content": {active: _trend(one) for active, one in trend.content.items()},
        "concentration": {active: _trend(one) for active, one in trend.concentration.items()},
    }


def _trend(trend: Trend) -> Json:
    return {
        "flag": trend.flag.value,
        "p_value": trend.p_value,
        "change_percent": trend.change_percent,
        "change_low_percent": trend.change_low_percent,
        "change_high_percent": trend.change_high_percent,
        "detectable_percent": trend.detectable_percent,
        "n": trend.n,
        "shape": trend.shape or None,
        "sentence": trend.sentence or None,
    }


def _cause(cause: CauseFound) -> Json:
    return {"cause": cause.cause, "probability": cause.probability, "evidence": list(cause.evidence)}


def _pair(pair: CausePair) -> Json:
    return {"causes": list(pair.causes), "probability": pair.probability, "sentence": pair.sentence}


def _next(one: NextMeasurement) -> Json:
    return {"what": one.what, "units": list(one.units), "bits": one.bits, "between": list(one.between)}


def _dose_screen(screen: DoseScreen) -> Json:
    return {
        "active": screen.active,
        "displacement": screen.displacement or None,
        "base_from": screen.base_from or None,
        "silent_because": screen.silent_because or None,
        "sentence": screen.sentence or None,
        "units": [
            {"unit": dose.unit, "dose_mg": dose.dose_mg, "low_mg": dose.low_mg, "high_mg": dose.high_mg}
            for dose in screen.doses
        ],
    }


def _within_unit(one: WithinUnit) -> Json:
    return {
        "active": one.active,
        "parts": one.parts,
        "n": one.n,
        "ratio": one.ratio,
        "low": one.low,
        "high": one.high,
        "p_value": one.p_value,
        "between_units_percent": one.between_units_percent,
        "sentence": one.sentence or None,
    }


def _assay_list(assays: AssayList) -> Json:
    return {
        "random_units": list(assays.random_units),
        "revealing": [{"unit": unit, "reason": reason} for unit, reason in assays.revealing],
        "change_percent": assays.change_percent,
        "power": assays.power,
        "power_random_only": assays.power_random_only,
        "sentence": assays.sentence or None,
    }


def _assurance(assurance: Assurance) -> Json:
    return {
        "test": assurance.test,
        "active": assurance.active,
        "confidence": assurance.confidence,
        "pass_chance_low": assurance.pass_chance_low,
        "coverage": assurance.coverage,
        "tolerance_low_percent": assurance.tolerance_low_percent,
        "tolerance_high_percent": assurance.tolerance_high_percent,
        "sentence": assurance.sentence or None,
        "units_left": assurance.units_left,
        "left_within": assurance.left_within,
        "left_low_percent": assurance.left_low_percent,
        "left_high_percent": assurance.left_high_percent,
        "outside_at_most": assurance.outside_at_most,
    }
