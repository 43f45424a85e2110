"""The tables behind the pictures: units, contents, determinations, and the edge of acceptance."""

from __future__ import annotations

from qc.batch import Assay, Part
from qc.results import JudgedBatch, Place, UnitRow
from qc.say.names import counted
from qc.say.numbers import (
    NOTHING,
    SPACE,
    fixed,
    padded,
    percent,
    signed,
    signed_beside,
    typed_or_worked_out,
)
from qc.show.plane import boundaries_of, dosage_test
from qc.show.series import units_tested
from qc.show.tray_layout import poured_order
from qc.show.view import Column, Table

OUTSIDE = (Place.BEYOND_INNER, Place.BEYOND_OUTER)
WHERE = {
    None: NOTHING,
    Place.INSIDE: "inside",
    Place.BEYOND_INNER: "beyond limit",
    Place.BEYOND_OUTER: "beyond outer limit",
}


def unit_table(judged: JudgedBatch) -> Table:
    """One row a unit: where it was poured, its mass and deviation, and what was seen."""
    rows = poured_order(judged.unit_rows)
    masses = padded([row.mass_g for row in rows])
    limits = (judged.mass_limit_percent, judged.mass_outer_percent)
    return Table(
        caption="Every unit in pour order: mass, deviation from the mean of the test sample, and what the eye saw",
        columns=(
            Column(head="Unit"),
            Column(head="Order", number=True),
            Column(head="Mould"),
            Column(head="Cavity"),
            Column(head="Mass [g]", number=True),
            Column(head="Deviation [%]", number=True),
            Column(head="Place"),
            Column(head="Sample"),
            Column(head="Remarks"),
        ),
        rows=tuple(
            (
                row.unit,
                str(row.pour_order) if row.pour_order is not None else NOTHING,
                row.mould or NOTHING,
                row.cavity or NOTHING,
                mass,
                signed_beside(row.deviation_percent, limits=limits, decimals=2),
                WHERE[row.place],
                "yes" if row.in_mass_sample else "no",
                _remarks(row),
            )
            for row, mass in zip(rows, masses, strict=True)
        ),
        strong=tuple(place for place, row in enumerate(rows) if row.place in OUTSIDE),
    )


def _remarks(row: UnitRow) -> str:
    parts = [*row.seen]
    if row.left_out_because:
        parts.append(f"left out: {row.left_out_because}")
    if row.note:
        parts.append(row.note)
    return "; ".join(parts)


def content_table(judged: JudgedBatch, active: str) -> Table | None:
    """One row an assayed unit of one active; None where none was assayed."""
    rows = [row for row in poured_order(judged.unit_rows) if active in row.contents]
    if not rows:
        return None
    limits = (judged.content_inner_percent, judged.content_outer_percent)
    found = [(row, row.contents[active]) for row in rows]
    tested = units_tested(judged, active)
    masses = padded([row.mass_g for row in rows])
    return Table(
        caption=f"Contents of {active}, one row a unit; duplicate determinations of a unit are averaged",
        columns=(
            Column(head="Unit"),
            Column(head="Order", number=True),
            Column(head="Mass [g]", number=True),
            Column(head="Content [mg]", number=True),
            Column(head="[% of label]", number=True),
            Column(head="from mean [%]", number=True),
            Column(head="[mg/g]", number=True),
            Column(head="Assays", number=True),
            Column(head="Place"),
            Column(head="Sample"),
        ),
        rows=tuple(
            (
                row.unit,
                str(row.pour_order) if row.pour_order is not None else NOTHING,
                mass,
                fixed(content.mg, decimals=2),
                fixed(content.percent_of_label, decimals=2),
                signed_beside(_from_mean(content.percent_of_mean), limits=limits, decimals=2),
                fixed(content.concentration_mg_per_g, decimals=2),
                str(content.determinations),
                WHERE[content.place],
                "yes" if content.in_sample or row.unit in tested else "no",
            )
            for (row, content), mass in zip(found, masses, strict=True)
        ),
        strong=tuple(place for place, (_, content) in enumerate(found) if content.place in OUTSIDE),
    )


def _from_mean(percent_of_mean: float | None) -> float | None:
    return None if percent_of_mean is None else percent_of_mean - 100.0


def assay_table(judged: JudgedBatch) -> Table | None:
    """Every determination as it was entered, without columns that are empty throughout; None where there is none."""
    assays = judged.batch.assays
    if not assays:
        return None
    heads = ("Unit", "Active", "Part", "Stage", "Content", "Mass of part [g]")
    masses = padded([assay.part_mass_g for assay in assays])
    in_mg, in_percent = (
        padded(column) for column in zip(*((a.content_mg, a.content_percent) for a in assays), strict=True)
    )
    rows = [
        _assay_row(assay, mg=mg, of_label=of_label, mass=mass)
        for assay, mg, of_label, mass in zip(assays, in_mg, in_percent, masses, strict=True)
    ]
    kept = [place for place in range(len(heads)) if any(row[place] != NOTHING for row in rows)]
    return Table(
        caption=f"All {counted(len(assays), 'determination')} as entered; those of one unit and part are averaged",
        columns=tuple(
            Column(head=heads[place], number=heads[place] in ("Content", "Mass of part [g]")) for place in kept
        ),
        rows=tuple(tuple(row[place] for place in kept) for row in rows),
    )


def _assay_row(assay: Assay, *, mg: str, of_label: str, mass: str) -> tuple[str, ...]:
    return (
        assay.unit,
        assay.active,
        "whole unit" if assay.part is Part.WHOLE else assay.part.value,
        str(assay.stage) if assay.stage is not None else NOTHING,
        f"{mg}{SPACE}mg" if assay.content_mg is not None else NOTHING if of_label == NOTHING else f"{of_label}{SPACE}%",
        mass,
    )


def plane_table(judged: JudgedBatch, active: str) -> Table | None:
    """The corner points of the edges of acceptance, and this sample; None where the test was not judged."""
    edges = boundaries_of(judged, active)
    if not edges:
        return None
    rows = [
        (f"edge for {edge.n} units", fixed(mean, decimals=2), fixed(spread, decimals=3))
        for edge in edges
        for mean, spread in edge.points
    ]
    test = dosage_test(judged, active)
    if test is not None:
        mean, spread = test.figures["mean_percent"], test.figures["sd_percent"]
        rows.append((f"this sample of {counted(test.n, 'unit')}", fixed(mean, decimals=2), fixed(spread, decimals=3)))
    return Table(
        caption="Corner points of the edges of acceptance, and where this sample stands",
        columns=(
            Column(head="Point"),
            Column(head="Mean [% of label]", number=True),
            Column(head="SD [% of label]", number=True),
        ),
        rows=tuple(rows),
        strong=(len(rows) - 1,) if test is not None else (),
    )


def planned_mass_table(judged: JudgedBatch) -> Table | None:
    """The planned mass beside the mean; None where no plan is known."""
    plan = judged.planned_mass
    if plan is None or (plan.planned_g is None and plan.mean_g is None):
        return None
    met = {True: "yes", False: "no", None: NOTHING}[plan.met]
    limit = f"±{percent(plan.limit_percent, decimals=1)}" if plan.limit_percent is not None else NOTHING
    return Table(
        caption="The mean mass beside the planned mass",
        columns=(
            Column(head="Planned [g]", number=True),
            Column(head="Mean [g]", number=True),
            Column(head="Difference [% of plan]", number=True),
            Column(head="Limit", number=True),
            Column(head="Met"),
        ),
        rows=(
            (
                typed_or_worked_out(plan.planned_g, decimals=4),
                fixed(plan.mean_g, decimals=4),
                signed(plan.difference_percent, decimals=2),
                limit,
                met,
            ),
        ),
    )


def calibration_table(judged: JudgedBatch) -> Table | None:
    """The calibration pours of plain base, one row a cavity; None where there are none."""
    pours = judged.batch.cavity_pours
    if not pours:
        return None
    cavities: dict[tuple[str, str], list[str]] = {}
    for pour, mass in zip(pours, padded([pour.base_mass_g for pour in pours]), strict=True):
        cavities.setdefault((pour.mould or NOTHING, pour.cavity), []).append(mass)
    return Table(
        caption=f"{counted(len(pours), 'calibration pour')} of plain base, as entered",
        columns=(Column(head="Mould"), Column(head="Cavity"), Column(head="Base masses [g]")),
        rows=tuple((mould, cavity, ", ".join(masses)) for (mould, cavity), masses in cavities.items()),
    )
