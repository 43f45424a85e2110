"""The cells of a batch: every entry as it stands in the workbook, sheet by sheet, row by row."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

from msgspec import Struct

from qc.batch import Active, Assay, Batch, DisplacementConvention, Part, Unit

Cell = Decimal | int | str | date | None
Row = dict[str, Cell]


class Entries(Struct, frozen=True, kw_only=True):
    """What is typed into each sheet: `batch` maps field to value, the others map header to cell, row by row."""

    batch: Row
    actives: tuple[Row, ...]
    units: tuple[Row, ...]
    assay: tuple[Row, ...]
    cavities: tuple[Row, ...]
    checks: tuple[Row, ...]


def entries_of(batch: Batch) -> Entries:
    """Every entry of a batch; masses in grams, a content as it was given."""
    return Entries(
        batch={
            "Batch number": batch.number,
            "Product": batch.product,
            "Dosage form": batch.dosage_form,
            "Base": batch.base,
            "Units poured": batch.units_poured,
            "Nominal mass (g)": batch.nominal_mass_g,
            "Planned mass (g)": batch.planned_mass_g,
            "Balance readability (g)": batch.balance_readability_g,
            "Balance repeatability (g)": batch.balance_repeatability_g,
            "Rules": batch.rules,
            "Made on": batch.made_on,
            "Made by": batch.made_by,
            "Weighed by": batch.weighed_by,
            "Checked by": batch.checked_by,
            "Note": batch.note,
            "Melt prepared (g)": batch.melt_prepared_g,
            "Melt left in dish (g)": batch.melt_left_g,
            "Trimmings (g)": batch.trimmings_g,
            "Units obtained": batch.units_obtained,
            "Units rejected": batch.units_rejected,
            "Units sampled": batch.units_sampled,
            "Units released": batch.units_released,
            "Dish assay (mg)": batch.dish_assay_mg,
        },
        actives=tuple(_active(active) for active in batch.actives),
        units=tuple(_unit(unit) for unit in batch.units),
        assay=tuple(_assay(assay) for assay in batch.assays),
        cavities=tuple(
            {"Mould": pour.mould, "Cavity": pour.cavity, "Base mass (g)": pour.base_mass_g}
            for pour in batch.cavity_pours
        ),
        checks=tuple(
            {
                "Check": check.name,
                "Result": check.result,
                "Limit": check.limit,
                "Done by": check.done_by,
                "Note": check.note,
            }
            for check in batch.checks
        ),
    )


def _active(active: Active) -> Row:
    value = factor = None
    if active.displacement is not None:
        if active.displacement.convention is DisplacementConvention.VALUE:
            value = active.displacement.given
        else:
            factor = active.displacement.given
    return {
        "Active": active.name,
        "Label claim (mg)": active.label_claim_mg,
        "Displacement value": value,
        "Displacement factor": factor,
        "State": active.state,
        "Amount weighed (g)": active.amount_weighed_g,
        # An empty cell is read as 100; only another target needs to be seen.
        "Target (% of label)": None if active.target_percent == 100 else active.target_percent,
        "Batch assay (% of label)": active.batch_assay_percent,
        "Assay repeatability (% RSD)": active.assay_repeatability_percent,
    }


def _unit(unit: Unit) -> Row:
    return {
        "Unit": unit.name,
        "Pour order": unit.pour_order,
        "Mould": unit.mould,
        "Cavity": unit.cavity,
        "Mass (g)": unit.mass_g,
        "Test sample": None if unit.test_sample is None else ("yes" if unit.test_sample else "no"),
        "Seen": "; ".join(unit.seen) or None,
        "Left out because": unit.left_out_because,
        "Note": unit.note,
    }


def _assay(assay: Assay) -> Row:
    return {
        "Unit": assay.unit,
        "Active": assay.active,
        "Part": None if assay.part is Part.WHOLE else assay.part,
        "Stage": assay.stage,
        "Content (mg)": assay.content_mg,
        "Content (% of label)": assay.content_percent,
        "Mass of part (g)": assay.part_mass_g,
    }
