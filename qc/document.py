"""The result document: a judged batch as plain dicts, lists, texts and numbers, for other programs.

A key is added by naming it in `KEYS`, and in `WORKED_OUT` where it is no field of the record.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from decimal import Decimal
from enum import Enum
from fractions import Fraction
from typing import Any

import msgspec
from msgspec import Struct

from qc import __version__, results
from qc.batch import Batch, ReadBack, SetAside
from qc.patterns import pattern
from qc.problems import Notice
from qc.results.pour import AssayList, DoseFromMass, DoseScreen
from qc.say.messages import paragraph, words
from qc.say.release import packing_checklist, visual_inspection

SCHEMA = "qc-result/1"
_HALF = pattern("[\ud800-\udfff]")

KEYS: Mapping[type[Struct], str] = {
    results.JudgedBatch: (
        "schema qc_version batch read rule_set seed verdict basis tests units planned_mass pour_trend dose_from_mass"
        " within_unit assay_list causes cause_pairs next_measurements assurance notices next_steps cannot_say"
        " visual_inspection reconciliation ledger packing"
    ),
    Batch: (
        "number product dosage_form base units_poured units_entered units_weighed units_assayed nominal_mass_g"
        " planned_mass_g balance_readability_g balance_repeatability_g actives label_claims_mg active_lots"
        " made_on made_by weighed_by checked_by"
        " note expiry storage quantity_released formula base_lot balance balance_calibrated_on balance_calibration_due"
        " weighed_on assayed_on"
        " assayed_by deviation"
    ),
    ReadBack: "sheet cells units mass_unit mass_unit_known_by decimal numbered set_aside ignored",
    SetAside: "cells what value",
    Notice: "where text",
    results.TestResult: (
        "id rule active subject verdict required n figures limits outside reasons sample more_units next_units missing"
        " without_left_out unchecked"
    ),
    results.Limit: "what figure bound met unit",
    results.UnitRow: (
        "unit pour_order weighing_order mould cavity mass_g weighed_again_g weighed_again_because second_mass_counts"
        " deviation_percent in_mass_sample contents seen left_out_because note"
    ),
    results.UnitContent: "mg percent_of_label determinations in_sample",
    results.Trend: (
        "flag p_value change_percent change_low_percent change_high_percent measured_percent detectable_percent n shape"
        " stretch apart_percent sentence not_excluded"
    ),
    DoseScreen: "active displacement base_from silent_because sentence units",
    DoseFromMass: "unit dose_mg low_mg high_mg",
    AssayList: "random_units revealing change_percent power power_random_only sentence",
    results.NextMeasurement: "what units bits between",
    results.Assurance: (
        "test active confidence pass_chance pass_chance_low coverage tolerance_low_percent tolerance_high_percent"
        " sentence units_left left_within left_low_percent left_high_percent outside_at_most spoilt_at_most"
        " pass_chance_low_supposed"
    ),
    results.VisualInspection: "lot looked_at sentence defects classes unknown",
    results.SeenDefect: "defect entered_as grade grade_mark units usual_causes remedy mark speaks_for",
    results.Reconciliation: (
        "melt_prepared_g units_g units_estimated units_low_g units_high_g trimmings_g melt_left_g unaccounted_g"
        " unaccounted_percent units_obtained units_rejected units_sampled units_released units_difference"
        " theoretical_units yield_percent actives missing remarks working"
    ),
    results.PackingChecklist: "started sentence lines",
}
"""The keys of a record in their order; of a record that is not named here, all its fields."""

WORKED_OUT: Mapping[type[Struct], Mapping[str, Callable[[Any], object]]] = {
    results.JudgedBatch: {
        "schema": lambda judged: SCHEMA,
        "qc_version": lambda judged: __version__,
        "read": lambda judged: judged.batch.read,
        "units": lambda judged: judged.unit_rows,
        "dose_from_mass": lambda judged: judged.pour.dose_from_mass if judged.pour else (),
        "within_unit": lambda judged: judged.pour.within_unit if judged.pour else (),
        "assay_list": lambda judged: judged.pour and judged.pour.assay_list,
        "visual_inspection": lambda judged: judged.visual,
    },
    Batch: {
        "units_entered": lambda batch: len(batch.units),
        "units_weighed": lambda batch: len(batch.weighed),
        "units_assayed": lambda batch: len({assay.unit for assay in batch.assays}),
        "actives": lambda batch: [active.name for active in batch.actives],
        "label_claims_mg": lambda batch: {active.name: active.label_claim_mg for active in batch.actives},
        "active_lots": lambda batch: {active.name: active.lot for active in batch.actives},
    },
    results.TestResult: {"limits": lambda test: test.criteria, "unchecked": lambda test: test.unchecked},
    DoseScreen: {"units": lambda screen: screen.doses},
    AssayList: {
        "revealing": lambda assays: [{"unit": unit, "reason": reason} for unit, reason in assays.revealing],
    },
    results.VisualInspection: {"sentence": visual_inspection},
    results.Assurance: {"sentence": lambda found: paragraph(found.said)},
    results.SeenDefect: {"usual_causes": lambda seen: seen.causes},
    results.PackingChecklist: {"sentence": packing_checklist},
}
"""Keys that stand for a field of another name, or for something counted."""

EMPTY_STAYS: frozenset[type[Struct]] = frozenset({results.PackingLine})
"""Records whose empty texts are written as they are; of any other, an empty text is null."""


def result_document(judged: results.JudgedBatch) -> dict[str, object]:
    """Everything that was worked out about a batch, unrounded, without the `input` part.

    Returns
    -------
    dict
        The keys of `JudgedBatch` in `KEYS`; units of measure are in the names.
    """
    return _record(judged)


def as_text(document: Mapping[str, object]) -> str:
    """The document as JSON text, the same bytes for the same result; ends in a line break."""
    text = json.dumps(document, ensure_ascii=False, allow_nan=False)
    # Half a character, as a name of a file may hold it, is none in UTF-8. Lines are set in C; `json` does so in Python.
    return msgspec.json.format(_HALF.sub("\N{REPLACEMENT CHARACTER}", text), indent=2) + "\n"


def _record(record: Struct) -> dict[str, object]:
    kind = type(record)
    worked_out = WORKED_OUT.get(kind, {})
    keys = KEYS[kind].split() if kind in KEYS else record.__struct_fields__
    values = {key: worked_out[key](record) if key in worked_out else getattr(record, key) for key in keys}
    empty: object = "" if kind in EMPTY_STAYS else None
    return {key: empty if value == "" else _plain(value) for key, value in values.items()}


def _plain(value: object) -> object:
    match value:
        case results.Message():
            return words(value)
        case Struct():
            return _record(value)
        case Enum():
            return value.value
        case Decimal() | Fraction():
            return float(value)
        case Mapping():
            return {key: _plain(one) for key, one in value.items()}
        case tuple() | list():
            return [_plain(one) for one in value]
    return value
