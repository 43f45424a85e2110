"""The domain: a batch of moulded units, what was planned, what was weighed and what was assayed.

Every measured number is the decimal that was typed. Units of measure stand in the names.
"""

from __future__ import annotations

import re
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction
from functools import lru_cache
from typing import Any, Literal

from msgspec import Struct

from qc.problems import IgnoredCells, Notice


@lru_cache(maxsize=4096)
def counting_order(text: str) -> tuple[tuple[int, int, str], ...]:
    """A key that sorts names as people count: cavity 2 before cavity 10.

    Examples
    --------
    >>> sorted(["10", "2", "B1"], key=counting_order)
    ['2', '10', 'B1']
    """
    parts = [(0, int(part), "") if part.isdecimal() else (1, 0, part) for part in re.split(r"(\d+)", text) if part]
    # Last the text itself: 07 and 7 count alike.
    return (*parts, (2, 0, text))


class Base(StrEnum):
    """What the units are cast in."""

    FATTY = "fatty"
    WATER_SOLUBLE = "water-soluble"


class State(StrEnum):
    """How the active is held in the base."""

    SUSPENDED = "suspended"
    DISSOLVED = "dissolved"


class Part(StrEnum):
    """Which part of a unit an assay was made on."""

    WHOLE = "whole"
    TIP = "tip"
    MIDDLE = "middle"
    END = "end"


class DisplacementConvention(StrEnum):
    """Which of the two inverse conventions a displacement number was given in; both are in use in the trade."""

    VALUE = "g of active that displaces 1 g of base"
    FACTOR = "g of base displaced by 1 g of active"


class Displacement(Struct, frozen=True, kw_only=True):
    """A displacement number as it was given, with its convention.

    Examples
    --------
    >>> number = Displacement(given=Decimal("0.72"), convention=DisplacementConvention.FACTOR)
    >>> number.value
    Fraction(25, 18)
    """

    given: Decimal
    convention: DisplacementConvention

    @property
    def value(self) -> Fraction:
        """Displacement value [g of active that displaces 1 g of base]."""
        given = Fraction(self.given)
        return given if self.convention is DisplacementConvention.VALUE else 1 / given

    @property
    def factor(self) -> Fraction:
        """Displacement factor [g of base displaced by 1 g of active]."""
        return 1 / self.value


class Active(Struct, frozen=True, kw_only=True):
    """One active ingredient: its claim, how it displaces base, and what was weighed."""

    name: str
    lot: str | None = None
    label_claim_mg: Decimal | None = None
    displacement: Displacement | None = None
    state: State | None = None
    amount_weighed_g: Decimal | None = None
    target_percent: Decimal = Decimal(100)
    batch_assay_percent: Decimal | None = None
    assay_limits_percent: str | None = None
    """As typed, such as "90.0 to 110.0" [% of label]."""
    assay_repeatability_percent: Decimal | None = None

    @property
    def displacement_value(self) -> Decimal | None:
        """The displacement number where it was given as a value [g of active that displaces 1 g of base]."""
        return self._given(DisplacementConvention.VALUE)

    @property
    def displacement_factor(self) -> Decimal | None:
        """The displacement number where it was given as a factor [g of base displaced by 1 g of active]."""
        return self._given(DisplacementConvention.FACTOR)

    def _given(self, convention: DisplacementConvention) -> Decimal | None:
        number = self.displacement
        return number.given if number is not None and number.convention is convention else None


class Unit(Struct, frozen=True, kw_only=True):
    """One unit out of the mould. `test_sample` is None where nobody said yes or no."""

    name: str
    pour_order: int | None = None
    weighing_order: int | None = None
    mould: str | None = None
    cavity: str | None = None
    mass_g: Decimal | None = None
    weighed_again_g: Decimal | None = None
    weighed_again_because: str | None = None
    test_sample: bool | None = None
    seen: tuple[str, ...] = ()
    left_out_because: str | None = None
    note: str | None = None

    @property
    def place(self) -> tuple[Any, ...]:
        """Where the unit stands in the pour and in its mould, to be sorted by; those without a place come last."""
        at = (counting_order(one or "") for one in (self.mould, self.cavity))
        return (self.pour_order is None, self.pour_order or 0, *at)


class Assay(Struct, frozen=True, kw_only=True):
    """One determination. Exactly one of the two contents is given."""

    unit: str
    active: str
    part: Part = Part.WHOLE
    stage: int | None = None
    content_mg: Decimal | None = None
    content_percent: Decimal | None = None
    part_mass_g: Decimal | None = None


class CavityPour(Struct, frozen=True, kw_only=True):
    """One calibration pour of plain base. Several of one cavity are replicates."""

    mould: str | None
    cavity: str
    base_mass_g: Decimal


class Check(Struct, frozen=True, kw_only=True):
    """One other finished-unit test or release check, as entered."""

    name: str
    result: str | None = None
    limit: str | None = None
    done_by: str | None = None
    note: str | None = None


class Source(Struct, frozen=True, kw_only=True):
    """Where a batch was read from: file name and SHA-256 of its bytes."""

    name: str
    sha256: str


class SetAside(Struct, frozen=True, kw_only=True):
    """Cells among the masses that are no unit, such as a mean: their label, and the number beside it.

    `ours` is what the masses or contents read come to, in the unit of the table, where the file's own mean, SD or
    count `of` them differs; `said` are the words beside the label where no number stands there.
    """

    cells: str
    what: str
    value: Decimal | None = None
    ours: Decimal | None = None
    of: Literal["masses", "contents"] = "masses"
    said: str = ""


class ReadBack(Struct, frozen=True, kw_only=True):
    """What was read as the units, for the person who typed it to see.

    Parameters
    ----------
    sheet : str
        Empty for a table without sheets.
    cells : str
        Where the masses stand, such as "B4:B27".
    units : int
        Units that were read [-].
    mass_unit : "g", "mg" or None
        The unit of mass they stand in; None where there is no mass.
    mass_unit_known_by : str or None
        "heading", "cells", "call", or "size": the one unit in which the dosage form could weigh that much.
    decimal : str or None
        The decimal mark, "comma" or "point", where the text of the masses had to be read for it.
    ends : tuple of str
        The first unit and the last that were weighed, as they stand there; empty where none was.
    numbered : bool
        Whether the units were numbered from 1 because no names stand there.
    set_aside : tuple of SetAside
    ignored : tuple of IgnoredCells
    """

    sheet: str
    cells: str
    units: int
    mass_unit: str | None = None
    mass_unit_known_by: str | None = None
    decimal: str | None = None
    ends: tuple[str, ...] = ()
    numbered: bool = False
    set_aside: tuple[SetAside, ...] = ()
    ignored: tuple[IgnoredCells, ...] = ()


class Superseded(Struct, frozen=True, kw_only=True):
    """What superseded a report: by which report, in which folder, for what reason, and when."""

    by: str
    folder: str
    because: str
    at: str


class Batch(Struct, frozen=True, kw_only=True):
    """Everything that was entered about one batch."""

    units: tuple[Unit, ...]
    assays: tuple[Assay, ...] = ()
    actives: tuple[Active, ...] = ()
    cavity_pours: tuple[CavityPour, ...] = ()
    checks: tuple[Check, ...] = ()
    number: str | None = None
    product: str | None = None
    dosage_form: str | None = None
    base: Base | None = None
    units_poured: int | None = None
    nominal_mass_g: Decimal | None = None
    planned_mass_g: Decimal | None = None
    balance_readability_g: Decimal | None = None
    balance_repeatability_g: Decimal | None = None
    rules: str | None = None
    made_on: str | None = None
    made_by: str | None = None
    weighed_by: str | None = None
    checked_by: str | None = None
    note: str | None = None
    expiry: str | None = None
    storage: str | None = None
    quantity_released: str | None = None
    formula: str | None = None
    base_lot: str | None = None
    balance: str | None = None
    balance_calibrated_on: str | None = None
    balance_calibration_due: str | None = None
    weighed_on: str | None = None
    assayed_on: str | None = None
    assayed_by: str | None = None
    deviation: str | None = None
    melt_prepared_g: Decimal | None = None
    melt_left_g: Decimal | None = None
    trimmings_g: Decimal | None = None
    units_obtained: int | None = None
    units_rejected: int | None = None
    units_sampled: int | None = None
    units_released: int | None = None
    dish_assay_mg: Decimal | None = None
    """Active found in the melt left in the dish [mg, of the whole remainder]."""
    source: Source | None = None
    read: ReadBack | None = None
    notices: tuple[Notice, ...] = ()
    superseded: Superseded | None = None
    """What superseded the report of this very file, where that is known."""

    @property
    def weighed(self) -> tuple[Unit, ...]:
        """The units that have a mass, in the order they were entered."""
        return tuple(unit for unit in self.units if unit.mass_g is not None)

    @property
    def lost(self) -> frozenset[str]:
        """Units that nobody can take for a test any more: left out for a reason, or noted and nothing measured."""
        assayed = {assay.unit for assay in self.assays}
        return frozenset(
            unit.name
            for unit in self.units
            if unit.left_out_because
            or (unit.note and unit.mass_g is None is unit.weighed_again_g and unit.name not in assayed)
        )
