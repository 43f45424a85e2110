"""The measurements of one batch as rows of numbers: logarithms relative to what was planned, and what each row is.

ln content = ln mass + ln concentration, so on the logarithmic scale every cause adds. A row knows its unit, active,
part, cavity and place in the pour; rows may also stand for measurements that nobody has made yet.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from decimal import Decimal
from enum import StrEnum
from statistics import fmean

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from qc.batch import Active, Assay, Batch, Part, Unit
from qc.causes.substances import Substance, mean_of, planned_mass, substances_of, weighing_sd
from qc.contents import Scale, active_named, contents_found, determinations, scale_of, typed

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

MOST_UNITS = 80
"""Of a longer batch, the assayed units and evenly spaced others are used; the answer says so."""


class Kind(StrEnum):
    """What was measured."""

    MASS = "mass"
    CONTENT = "content"
    PART = "part"
    BASE_POUR = "base pour"
    SECOND_WEIGHING = "second weighing"


class Row(Struct, frozen=True, kw_only=True):
    """One measurement, made or only thought of.

    `value` is what was typed, in its own unit of measure, and `reference` what was planned for it, in the same; a row
    that was not measured has no value. `unit` and `active` count from 0, -1 for none.
    """

    kind: Kind
    name: str
    unit: int = -1
    active: int = -1
    part: Part = Part.WHOLE
    cavity: str = ""
    mould: str = ""
    typed: Decimal | None = None
    reference: float = 1.0
    own_sd: float = 0.0
    part_mass_known: bool = False


class Rows(Struct, frozen=True, kw_only=True):
    """All rows of a batch as arrays, one entry a row."""

    rows: tuple[Row, ...]
    units: tuple[Unit, ...]
    substances: tuple[Substance, ...]
    value: Floats
    unit: NDArray[np.int64]
    active: NDArray[np.int64]
    position: Floats
    """Place in the pour from 0 (first) to 1 (last); of rows without one, 0.5."""
    weighing: Floats
    """Place in the order of entry from 0 to 1."""
    ordered: bool
    planned_known: bool
    base_known: bool
    thinned_from: int | None = None

    def of(self, kind: Kind, *, active: int | None = None) -> Flags:
        """Which rows are of a kind, and of an active where one is named."""
        flags = np.array([row.kind is kind for row in self.rows], dtype=bool)
        return flags if active is None else flags & (self.active == active)

    def concentration_share(self, active: int) -> Floats:
        """How a relative rise in concentration of an active shows in each row [-]."""
        share = np.zeros(len(self.rows))
        share[self.of(Kind.MASS) | self.of(Kind.SECOND_WEIGHING)] = self.substances[active].mass_share
        share[self.of(Kind.CONTENT, active=active) | self.of(Kind.PART, active=active)] = 1.0
        return share

    def unit_at(self, place: int) -> int:
        """Number of the unit of a row."""
        return int(self.unit[place])

    @property
    def measured(self) -> Flags:
        """Which rows have been measured."""
        return np.array([row.typed is not None for row in self.rows], dtype=bool)


def rows_of(batch: Batch, *, thought_of: Sequence[Row] = ()) -> Rows:
    """Turn a batch into rows.

    Parameters
    ----------
    batch : Batch
        As it was read.
    thought_of : sequence of Row
        Further rows that nobody has measured yet.

    Returns
    -------
    Rows
        Logarithms of typed over planned; 0 where the plan is not known, which the background then leaves open.
    """
    units, thinned_from = _units_used(batch)
    index = {unit.name: place for place, unit in enumerate(units)}
    planned = planned_mass(batch)
    substances = substances_of(batch, planned=planned)
    actives = {substance.name: place for place, substance in enumerate(substances)}
    reference_g = planned or mean_of([unit.mass_g for unit in units]) or 2.0
    rows = [
        *_mass_rows(batch, units, reference_g),
        *_content_rows(batch, index, actives, units, reference_g),
        *_base_rows(batch),
        *thought_of,
    ]
    positions, ordered = _positions(units)
    weighing = np.linspace(0.0, 1.0, max(len(units), 1))
    unit_of = np.array([row.unit for row in rows], dtype=np.int64)
    has_unit = unit_of >= 0
    return Rows(
        rows=tuple(rows),
        units=units,
        substances=substances,
        value=np.array([_logarithm(row) for row in rows]),
        unit=unit_of,
        active=np.array([row.active for row in rows], dtype=np.int64),
        position=np.where(has_unit, positions[unit_of] if units else 0.5, 0.5),
        weighing=np.where(has_unit, weighing[unit_of] if units else 0.5, 0.5),
        ordered=ordered,
        planned_known=planned is not None,
        base_known=batch.nominal_mass_g is not None,
        thinned_from=thinned_from,
    )


def _units_used(batch: Batch) -> tuple[tuple[Unit, ...], int | None]:
    if len(batch.units) <= MOST_UNITS:
        return batch.units, None
    assayed = {assay.unit for assay in batch.assays}
    keep = set(np.linspace(0, len(batch.units) - 1, MOST_UNITS).round().astype(int).tolist())
    kept = [unit for place, unit in enumerate(batch.units) if place in keep or unit.name in assayed]
    return tuple(kept[: 3 * MOST_UNITS // 2]), len(batch.units)


def _mass_rows(batch: Batch, units: Sequence[Unit], reference_g: float) -> list[Row]:
    balance = weighing_sd(batch)
    return [
        Row(
            kind=Kind.MASS,
            name=unit.name,
            unit=place,
            cavity=cavity_key(unit.mould, unit.cavity),
            mould=unit.mould or "",
            typed=unit.mass_g,
            reference=reference_g,
            own_sd=balance / reference_g,
        )
        for place, unit in enumerate(units)
        if unit.mass_g is not None and unit.mass_g > 0
    ]


def cavity_key(mould: str | None, cavity: str | None) -> str:
    """One name for one cavity of one mould; empty where no cavity is named."""
    return f"{mould or ''}\x1f{cavity}" if cavity else ""


def _content_rows(
    batch: Batch,
    index: dict[str, int],
    actives: dict[str, int],
    units: Sequence[Unit],
    reference_g: float,
) -> list[Row]:
    shares = [_share_of_unit(batch, assay, units, index, reference_g) for assay in batch.assays]
    plans = {name: _planned_content(batch, active_named(batch, name), shares) for name in actives}
    rows = []
    for assay, share in zip(batch.assays, shares, strict=True):
        entry, planned = typed(assay), plans[assay.active].of(assay)
        if assay.unit not in index or entry is None or entry <= 0 or planned is None:
            continue
        unit = units[index[assay.unit]]
        rows.append(
            Row(
                kind=Kind.CONTENT if assay.part is Part.WHOLE else Kind.PART,
                name=assay.unit,
                unit=index[assay.unit],
                active=actives[assay.active],
                part=assay.part,
                cavity=cavity_key(unit.mould, unit.cavity),
                mould=unit.mould or "",
                typed=entry,
                reference=planned * share,
                part_mass_known=assay.part_mass_g is not None,
            )
        )
    return rows


class _PlannedContent(Struct, frozen=True, kw_only=True):
    """What was planned for a whole unit [mg], and the scales of whole units and of parts; None where nothing joins."""

    mg: float
    whole: Scale | None
    parts: Scale | None

    def of(self, assay: Assay) -> float | None:
        """The plan in the unit of measure that the content was typed in; None where it cannot be compared."""
        if (self.whole if assay.part is Part.WHOLE else self.parts) is None:
            return None
        return self.mg if assay.content_mg is not None else 100.0


def _planned_content(batch: Batch, active: Active, shares: Sequence[float]) -> _PlannedContent:
    """The label claim; without one, the mean of what was found, which leaves the level open.

    `shares` are those of the unit in each row of the assays [-].
    """
    whole, parts = (scale_of(batch, active=active, whole=one) for one in (True, False))
    if active.label_claim_mg is not None:
        return _PlannedContent(mg=float(active.label_claim_mg), whole=whole, parts=parts)
    if determinations(batch, active=active) and parts != whole:
        parts = None
    found = [float(one.mg) for one in contents_found(batch, active=active) if one.mg]
    in_parts = [
        float(assay.content_mg) / share
        for assay, share in zip(batch.assays, shares, strict=True)
        if assay.active == active.name and assay.part is not Part.WHOLE and assay.content_mg
    ]
    return _PlannedContent(mg=fmean(found or in_parts or [1.0]), whole=whole, parts=parts)


def _share_of_unit(
    batch: Batch, assay: Assay, units: Sequence[Unit], index: dict[str, int], reference_g: float
) -> float:
    """Which share of its unit a determination is of, by mass [-]; a third where the part was not weighed."""
    if assay.part is Part.WHOLE or assay.unit not in index:
        return 1.0
    part_g, unit_g = assay.part_mass_g, units[index[assay.unit]].mass_g
    whole_g = float(unit_g) if unit_g else _mass_of_parts(batch, assay) or reference_g
    share = float(part_g) / whole_g if part_g is not None and part_g > 0 else 1.0 / 3.0
    return min(max(share, 0.02), 1.0)


def _mass_of_parts(batch: Batch, assay: Assay) -> float | None:
    """Mass of a unit that was not weighed whole: tip, middle and end together, where all three were."""
    masses = {
        other.part: float(other.part_mass_g)
        for other in batch.assays
        if other.unit == assay.unit and other.active == assay.active and other.part_mass_g is not None
    }
    parts = (Part.TIP, Part.MIDDLE, Part.END)
    return sum(masses[part] for part in parts) if all(part in masses for part in parts) else None


def _base_rows(batch: Batch) -> list[Row]:
    if not batch.cavity_pours:
        return []
    reference = float(batch.nominal_mass_g or fmean(float(pour.base_mass_g) for pour in batch.cavity_pours))
    balance = weighing_sd(batch)
    return [
        Row(
            kind=Kind.BASE_POUR,
            name=f"{pour.mould or ''} {pour.cavity}".strip(),
            cavity=cavity_key(pour.mould, pour.cavity),
            mould=pour.mould or "",
            typed=pour.base_mass_g,
            reference=reference,
            own_sd=balance / reference,
        )
        for pour in batch.cavity_pours[:MOST_UNITS]
        if pour.base_mass_g > 0
    ]


def _positions(units: Sequence[Unit]) -> tuple[Floats, bool]:
    """Places in the pour; units poured together share one, a unit without a number stands in the middle."""
    orders = [unit.pour_order for unit in units]
    known = sorted(order for order in orders if order is not None)
    if len(set(known)) < 3:
        return np.full(max(len(units), 1), 0.5), False
    last = max(len(known) - 1, 1)
    place = {order: (known.index(order) + (known.count(order) - 1) / 2.0) / last for order in set(known)}
    return np.array([place[order] if order is not None else 0.5 for order in orders]), True


def _logarithm(row: Row) -> float:
    return math.log(float(row.typed) / row.reference) if row.typed is not None else 0.0
