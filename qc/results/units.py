"""What is known of each unit, as frozen records: one row a unit, with its contents and where it lies."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from enum import StrEnum

from msgspec import Struct, field


class Place(StrEnum):
    """Where a unit lies with regard to the two limits of a test."""

    INSIDE = "inside"
    BEYOND_INNER = "beyond the limit"
    BEYOND_OUTER = "beyond the outer limit"


class UnitContent(Struct, frozen=True, kw_only=True):
    """What was found of one active in one whole unit: the mean of its determinations.

    Parameters
    ----------
    mg, percent_of_label, percent_of_mean : float or None
        Content [mg], [% of label claim] and [% of the mean of the tested sample]; None where it cannot be worked out.
    concentration_mg_per_g : float or None
        Content over mass of the same unit [mg/g].
    determinations : int
        How many assays were averaged.
    in_sample : bool
        Whether the content tests rest on it.
    place : Place or None
        With regard to the limits of the content-uniformity test.
    """

    mg: float | None
    percent_of_label: float | None
    percent_of_mean: float | None = None
    concentration_mg_per_g: float | None = None
    determinations: int = 1
    in_sample: bool = True
    place: Place | None = None


class UnitRow(Struct, frozen=True, kw_only=True):
    """Everything known about one unit, one row of the table behind the pictures.

    `deviation_percent` is from the mean mass of the test sample [% of that mean]; `place` is with regard to the limits
    of the mass test, None where it was not judged.
    """

    unit: str
    pour_order: int | None
    weighing_order: int | None = None
    mould: str | None
    cavity: str | None
    mass_g: Decimal | None = None
    weighed_again_g: Decimal | None = None
    weighed_again_because: str | None = None
    second_mass_counts: bool | None = None
    """None where the unit was weighed once."""
    deviation_percent: float | None
    in_mass_sample: bool = False
    place: Place | None = None
    contents: Mapping[str, UnitContent] = field(default_factory=dict)
    seen: tuple[str, ...] = ()
    left_out_because: str | None = None
    note: str | None = None

    @property
    def counting_g(self) -> Decimal | None:
        """Of two masses the one that counts [g]."""
        return self.weighed_again_g if self.second_mass_counts else self.mass_g
