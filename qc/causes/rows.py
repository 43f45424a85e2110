"""The measurements of one batch as rows of numbers: logarithms relative to what was planned, and what each row is.

ln content = ln mass + ln concentration, so on the logarithmic scale every cause adds. A row knows its unit, active,
part, cavity and place in the pour; rows may also stand for measurements that nobody has made yet.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from decimal import Decimal
from enum import StrEnum
from functools import cached_property
from statistics import fmean
from typing import TypeVar

import numpy as np
from msgspec import Struct
from msgspec.structs import replace
from numpy.typing import NDArray

from qc.batch import Active, Assay, Batch, Part, Unit
from qc.causes.substances import Substance, mean_of, planned_mass, substances_of, weighing_sd
from qc.contents import active_named, contents_found, determinations, scale_of, typed

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Places = NDArray[np.int64]
Key = TypeVar("Key", int, str)

MOST_UNITS = 80
"""Of a longer batch, the assayed units and evenly spaced others are used; the answer says so."""


class RowKind(StrEnum):
    """What was measured."""

    MASS = "mass"
    CONTENT = "content"
    PART = "part"
    BASE_POUR = "base pour"
    SECOND_WEIGHING = "second weighing"


_KINDS = tuple(RowKind)


class Row(Struct, frozen=True, kw_only=True):
    """One measurement, made or only thought of.

    `value` is what was typed, in its own unit of measure, and `reference` what was planned for it, in the same; a row
    that was not measured has no value. `unit` and `active` count from 0, -1 for none.
    """

    kind: RowKind
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
    explained: bool = False
    """Whether its unit was left out for a reason, so that nobody need have written the number down wrongly."""


class Rows(Struct, frozen=True, kw_only=True, dict=True):
    """All rows of a batch, with arrays of one entry a row."""

    rows: tuple[Row, ...]
    units: tuple[Unit, ...]
    substances: tuple[Substance, ...]
    places: Floats
    """Place of each unit in the pour from 0 (first) to 1 (last); of units without one, 0.5."""
    ordered: bool
    weighed_at: Floats
    """Place of each unit in the order of weighing from 0 (first) to 1 (last); of units without one, 0.5."""
    weighed_in_order: bool
    planned_known: bool
    base_known: bool
    thinned_from: int | None = None

    @cached_property
    def value(self) -> Floats:
        """Logarithm of typed over planned; 0 where nothing was measured."""
        return np.array([math.log(float(row.typed) / row.reference) if row.typed else 0.0 for row in self.rows])

    @cached_property
    def measured(self) -> Flags:
        """Which rows have been measured."""
        return np.array([row.typed is not None for row in self.rows], dtype=bool)

    @cached_property
    def unit(self) -> Places:
        """Number of the unit, -1 for none."""
        return np.array([row.unit for row in self.rows], dtype=np.int64)

    @cached_property
    def active(self) -> Places:
        """Number of the active whose content was measured, -1 for none."""
        return np.array([row.active for row in self.rows], dtype=np.int64)

    @cached_property
    def cavities(self) -> list[str]:
        """Cavity, one name for one of one mould; empty where none is named."""
        return [row.cavity for row in self.rows]

    @cached_property
    def moulds(self) -> list[str]:
        """Mould; empty where none is named."""
        return [row.mould for row in self.rows]

    @cached_property
    def position(self) -> Floats:
        """Place in the pour from 0 (first) to 1 (last); of rows without one, 0.5."""
        return np.where(self.unit >= 0, self.places[self.unit], 0.5)

    @cached_property
    def weighing(self) -> Floats:
        """Place in the order of weighing from 0 to 1, where that is on record; of rows without one, 0.5."""
        return np.where(self.unit >= 0, self.weighed_at[self.unit], 0.5)

    def of(self, *kinds: RowKind) -> Flags:
        """Which rows are of one of these kinds."""
        return np.asarray(np.any([self._kinds == _KINDS.index(kind) for kind in kinds], axis=0), dtype=bool)

    @cached_property
    def _kinds(self) -> Places:
        return np.array([_KINDS.index(row.kind) for row in self.rows], dtype=np.int64)

    def concentration_share(self, active: int) -> Floats:
        """How a relative rise in concentration of an active shows in each row [-]."""
        masses = self.of(RowKind.MASS, RowKind.SECOND_WEIGHING)
        return np.where(masses, self.substances[active].mass_share, (self.active == active).astype(np.float64))


def rows_of(batch: Batch) -> Rows:
    """Turn a batch into rows.

    Parameters
    ----------
    batch : Batch
        As it was read.

    Returns
    -------
    Rows
        Logarithms of typed over planned; 0 where the plan is not known, which the background then leaves open. In which
        order the assays were entered has no say: they are taken in one order of their own.
    """
    units, thinned_from = _units_used(batch)
    place_of = {unit.name: place for place, unit in enumerate(units)}
    kept = (assay for assay in batch.assays if assay.unit in place_of)
    # Not by the names of the units: they would decide in which order rounded numbers are added up.
    by_place = sorted(kept, key=lambda one: (place_of[one.unit], repr(replace(one, unit=""))))
    batch = replace(batch, assays=tuple(by_place))
    planned = planned_mass(batch)
    substances = substances_of(batch, planned=planned)
    reference_g = planned or mean_of([unit.mass_g for unit in units]) or 2.0
    places, ordered = _positions([unit.pour_order for unit in units])
    weighed_at, weighed_in_order = _positions([unit.weighing_order for unit in units])
    masses = _mass_rows(batch, units, reference_g)
    return Rows(
        rows=(
            *masses,
            *_second_weighings(masses, units),
            *_content_rows(batch, units, [substance.name for substance in substances], reference_g, place_of),
            *_base_rows(batch),
        ),
        units=units,
        substances=substances,
        places=places,
        ordered=ordered,
        weighed_at=weighed_at,
        weighed_in_order=weighed_in_order,
        planned_known=planned is not None,
        base_known=batch.nominal_mass_g is not None,
        thinned_from=thinned_from,
    )


def values_by(rows: Rows, chosen: Flags, keys: Sequence[Key]) -> dict[Key, Floats]:
    """Logarithms of the measured rows that are chosen, by the key of each row; rows whose key is empty are left out."""
    found: dict[Key, list[float]] = {}
    for place in np.flatnonzero(chosen & rows.measured).tolist():
        if keys[place] != "":
            found.setdefault(keys[place], []).append(float(rows.value[place]))
    return {key: np.array(values) for key, values in found.items()}


def means_by(rows: Rows, chosen: Flags, keys: Sequence[Key]) -> dict[Key, float]:
    """Mean logarithm of the measured rows that are chosen, by the key of each row."""
    return {key: float(values.mean()) for key, values in values_by(rows, chosen, keys).items()}


def _units_used(batch: Batch) -> tuple[tuple[Unit, ...], int | None]:
    if len(batch.units) <= MOST_UNITS:
        return batch.units, None
    assayed = {assay.unit for assay in batch.assays}
    keep = set(np.linspace(0, len(batch.units) - 1, MOST_UNITS).round().astype(int).tolist())
    kept = [unit for place, unit in enumerate(batch.units) if place in keep or unit.name in assayed]
    return tuple(kept[: 3 * MOST_UNITS // 2]), len(batch.units)


def cavity_key(mould: str | None, cavity: str | None) -> str:
    """One name for one cavity of one mould; empty where no cavity is named."""
    return f"{mould or ''}\x1f{cavity}" if cavity else ""


def _mass_rows(batch: Batch, units: Sequence[Unit], reference_g: float) -> list[Row]:
    lost = batch.lost
    return [
        Row(
            kind=RowKind.MASS,
            name=unit.name,
            unit=place,
            cavity=cavity_key(unit.mould, unit.cavity),
            mould=unit.mould or "",
            typed=unit.mass_g,
            explained=unit.name in lost,
            reference=reference_g,
            own_sd=weighing_sd(batch) / reference_g,
        )
        for place, unit in enumerate(units)
        if unit.mass_g is not None and unit.mass_g > 0
    ]


def _second_weighings(masses: Sequence[Row], units: Sequence[Unit]) -> list[Row]:
    """What the balance showed of the units that were put on it again; a slip of the first mass is not in the second."""
    twice = [(row, again) for row in masses if (again := units[row.unit].weighed_again_g)]
    return [replace(row, kind=RowKind.SECOND_WEIGHING, typed=again) for row, again in twice]


def _content_rows(
    batch: Batch, units: Sequence[Unit], actives: Sequence[str], reference_g: float, place_of: Mapping[str, int]
) -> list[Row]:
    shares = [_share_of_unit(batch, assay, units[place_of[assay.unit]], reference_g) for assay in batch.assays]
    plans = {name: _planned_mg(batch, active_named(batch, name), shares) for name in actives}
    rows = []
    for assay, share in zip(batch.assays, shares, strict=True):
        place, entry, planned_mg = place_of[assay.unit], typed(assay), plans[assay.active][assay.part is Part.WHOLE]
        if entry is None or entry <= 0 or planned_mg is None:
            continue
        rows.append(
            Row(
                kind=RowKind.CONTENT if assay.part is Part.WHOLE else RowKind.PART,
                name=assay.unit,
                unit=place,
                active=actives.index(assay.active),
                part=assay.part,
                cavity=cavity_key(units[place].mould, units[place].cavity),
                mould=units[place].mould or "",
                typed=entry,
                reference=share * (planned_mg if assay.content_mg is not None else 100.0),
                part_mass_known=assay.part_mass_g is not None,
            )
        )
    return rows


def _planned_mg(batch: Batch, active: Active, shares: Sequence[float]) -> dict[bool, float | None]:
    """What was planned for whole units (True) and for parts (False) [mg]; None where they cannot be compared.

    That is the label claim; without one, the mean of what was found, which leaves the level open. `shares` are those of
    the unit in each row of the assays [-].
    """
    whole, parts = (scale_of(batch, active=active, whole=one) for one in (True, False))
    if active.label_claim_mg is not None:
        planned = float(active.label_claim_mg)
    else:
        if determinations(batch, active=active) and parts != whole:
            parts = None
        found = [float(one.mg) for one in contents_found(batch, active=active) if one.mg]
        in_parts = [
            float(assay.content_mg) / share
            for assay, share in zip(batch.assays, shares, strict=True)
            if assay.active == active.name and assay.part is not Part.WHOLE and assay.content_mg
        ]
        planned = fmean(found or in_parts or [1.0])
    return {True: planned if whole else None, False: planned if parts else None}


def _share_of_unit(batch: Batch, assay: Assay, unit: Unit, reference_g: float) -> float:
    """Which share of its unit a determination is of, by mass [-]; a third where the part was not weighed."""
    if assay.part is Part.WHOLE:
        return 1.0
    part_g, unit_g = assay.part_mass_g, unit.mass_g
    whole_g = _mass_of_parts(batch, assay) or (float(unit_g) if unit_g else reference_g)
    share = float(part_g) / whole_g if part_g is not None and part_g > 0 else 1.0 / 3.0
    return min(max(share, 0.02), 1.0)


def _mass_of_parts(batch: Batch, assay: Assay) -> float | None:
    """Mass of tip, middle and end together, where all three were weighed: no slip in the mass of the unit moves it."""
    masses = {
        other.part: float(other.part_mass_g)
        for other in batch.assays
        if other.unit == assay.unit and other.active == assay.active and other.part_mass_g is not None
    }
    parts = (Part.TIP, Part.MIDDLE, Part.END)
    return sum(masses[part] for part in parts) if all(part in masses for part in parts) else None


def _base_rows(batch: Batch) -> list[Row]:
    reference = float(batch.nominal_mass_g or mean_of([pour.base_mass_g for pour in batch.cavity_pours]) or 1.0)
    return [
        Row(
            kind=RowKind.BASE_POUR,
            name=f"{pour.mould or ''} {pour.cavity}".strip(),
            cavity=cavity_key(pour.mould, pour.cavity),
            mould=pour.mould or "",
            typed=pour.base_mass_g,
            reference=reference,
            own_sd=weighing_sd(batch) / reference,
        )
        for pour in batch.cavity_pours[:MOST_UNITS]
        if pour.base_mass_g > 0
    ]


def _positions(orders: Sequence[int | None]) -> tuple[Floats, bool]:
    """Places from 0 to 1, and whether there are any; equal numbers share one, a unit without one has the middle."""
    known = sorted(order for order in orders if order is not None)
    if len(set(known)) < 3:
        return np.full(max(len(orders), 1), 0.5), False
    last = max(len(known) - 1, 1)
    place = {order: (known.index(order) + (known.count(order) - 1) / 2.0) / last for order in set(known)}
    return np.array([place[order] if order is not None else 0.5 for order in orders]), True
