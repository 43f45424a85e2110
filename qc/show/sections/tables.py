"""The tables of the annex: units, contents, determinations, the planned mass."""

from __future__ import annotations

from qc.batch import Part
from qc.results import JudgedBatch, Place, UnitRow
from qc.say.numbers import NOTHING, SPACE, fixed, padded, signed_beside
from qc.say.text import counted
from qc.show.pieces import Lines, Table, column, lines, number, table
from qc.show.series import units_tested
from qc.show.units import OUTSIDE, in_which_order, poured_order

WHERE = {
    None: None,
    Place.INSIDE: None,
    Place.BEYOND_INNER: "beyond limit",
    Place.BEYOND_OUTER: "beyond outer limit",
}
YES_NO = {True: "yes", False: "no", None: None}
BESIDE = {True: "", False: "beside", None: None}
"""Of a sample; what stands in it needs no word."""


def unit_table(judged: JudgedBatch) -> Table:
    """One row a unit: where it was poured, its mass and deviation, and what was seen; no column that is empty."""
    rows = poured_order(judged.unit_rows)
    limits = judged.mass_limits
    beside = "; beside: not of it" if any(row.in_mass_sample is False for row in rows) else ""
    by_order = all(row.unit == str(row.pour_order) for row in rows)
    return table(
        f"Every unit {in_which_order(rows)}, deviations from the mean of the test sample{beside}",
        zip(rows, padded([row.mass_g for row in rows]), padded([row.weighed_again_g for row in rows]), strict=True),
        column("Unit", lambda one: one[0].unit),
        number("Order", lambda one: None if by_order else one[0].pour_order),
        column("Mould", lambda one: one[0].mould or None),
        column("Cavity", lambda one: one[0].cavity or None),
        number("Mass [g]", lambda one: one[1]),
        number("Weighed again [g]", lambda one: one[2]),
        number("Deviation [%]", lambda one: signed_beside(one[0].deviation_percent, limits=limits, decimals=2)),
        column("Place", lambda one: WHERE[one[0].place]),
        column("Sample", lambda one: BESIDE[one[0].in_mass_sample]),
        column("Remarks", lambda one: _remarks(one[0]) or None),
        strong=lambda one: one[0].place in OUTSIDE,
        filled_alone=True,
    )


def _remarks(row: UnitRow) -> str:
    left_out = f"left out: {row.left_out_because}" if row.left_out_because else ""
    return "; ".join(part for part in (*row.seen, weighed_again(row), left_out, row.note) if part)


def weighed_again(row: UnitRow) -> str:
    """Why a unit was weighed twice, and which of its masses counts; empty for one weighed once."""
    if row.second_mass_counts is None:
        return ""
    because = row.weighed_again_because or "no reason given"
    return f"weighed again: {because} ({'second' if row.second_mass_counts else 'first'} mass counts)"


def content_table(judged: JudgedBatch, active: str) -> Table:
    """One row an assayed unit of one active."""
    rows = [row for row in poured_order(judged.unit_rows) if active in row.contents]
    limits = judged.content_limits
    tested = units_tested(judged, active)
    many = any(row.contents[active].determinations > 1 for row in rows)
    return table(
        f"Contents of {active}, one row a unit" + ("; duplicate determinations of a unit are averaged" if many else ""),
        [(row, row.contents[active]) for row in rows],
        column("Unit", lambda one: one[0].unit),
        number("Content [mg]", lambda one: fixed(one[1].mg, decimals=2)),
        number("[% of label]", lambda one: fixed(one[1].percent_of_label, decimals=2)),
        number(
            "from mean [%]",
            lambda one: signed_beside(_from_mean(one[1].percent_of_mean), limits=limits, decimals=2),
        ),
        number("[mg/g]", lambda one: fixed(one[1].concentration_mg_per_g, decimals=2)),
        number("Assays", lambda one: one[1].determinations if many else None),
        column("Place", lambda one: WHERE[one[1].place]),
        column("Sample", lambda one: BESIDE[one[1].in_sample or one[0].unit in tested]),
        strong=lambda one: one[1].place in OUTSIDE,
        filled_alone=True,
    )


def _from_mean(percent_of_mean: float | None) -> float | None:
    return None if percent_of_mean is None else percent_of_mean - 100.0


def assay_table(judged: JudgedBatch) -> Table:
    """Every determination as it was entered, where that says more than the contents of whole units do."""
    every = judged.batch.assays
    units = {(assay.unit, assay.active) for assay in every}
    plain = len(units) == len(every) and not any(
        one.stage or one.part_mass_g or one.part is not Part.WHOLE for one in every
    )
    assays = () if plain else every
    in_mg = padded([assay.content_mg for assay in assays])
    of_label = padded([assay.content_percent for assay in assays])
    typed = (((mg, "mg"), (label, "%")) for mg, label in zip(in_mg, of_label, strict=True))
    contents = [next((f"{text}{SPACE}{unit}" for text, unit in one if text != NOTHING), None) for one in typed]
    return table(
        f"All {counted(len(assays), 'determination')} as entered; those of one unit and part are averaged",
        zip(assays, contents, padded([assay.part_mass_g for assay in assays]), strict=True),
        column("Unit", lambda one: one[0].unit),
        column("Active", lambda one: one[0].active),
        column("Part", lambda one: "whole unit" if one[0].part is Part.WHOLE else one[0].part.value),
        column("Stage", lambda one: one[0].stage),
        number("Content", lambda one: one[1]),
        number("Mass of part [g]", lambda one: one[2]),
        filled_alone=True,
    )


def calibration_lines(judged: JudgedBatch) -> tuple[Lines, ...]:
    """The calibration pours of plain base, the cavities of a mould together."""
    pours = judged.batch.cavity_pours
    moulds: dict[str, dict[str, list[str]]] = {}
    for pour, mass in zip(pours, padded([pour.base_mass_g for pour in pours]), strict=True):
        moulds.setdefault(pour.mould or "", {}).setdefault(pour.cavity, []).append(mass)
    told = [
        f"{f'Mould {mould}: ' if mould else ''}"
        + "; ".join(f"{cavity}: {', '.join(masses)}" for cavity, masses in cavities.items())
        for mould, cavities in moulds.items()
    ]
    return lines(
        *told, title=f"{counted(len(pours), 'calibration pour')} of plain base [g], cavity by cavity, as entered"
    )
