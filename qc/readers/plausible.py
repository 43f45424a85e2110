"""Values that cannot be what their heading says: wrong by a thousand, a fraction for a percentage, a total.

These are slips of the pen, not results, and no value is mended by guess: each is refused with both readings named. The
bounds below are common practice for moulded units, not limits of any pharmacopoeia.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from statistics import median

from msgspec import Struct

from qc.readers.entries import Entries
from qc.readers.known_tables import Entry

THOUSAND = (Decimal(300), Decimal(3000))
HUNDRED = (Decimal(50), Decimal(200))
TEN = (Decimal(8), Decimal(12))
FARTHEST = Decimal(20)
ALIKE = (Decimal("0.5"), Decimal(2))
HEAVIEST_G = Decimal(500)
LIGHTEST_G = Decimal("0.001")
LEAST_PERCENT = Decimal(3)
FEWEST_TO_COMPARE = 3
FEWEST_TO_ADD_UP = 5
TOTAL_TOLERANCE = Decimal("0.005")


class Measured(Struct, frozen=True, kw_only=True):
    """One value as typed, in the unit of its heading, with its row."""

    name: str
    entry: Entry
    value: Decimal

    def as_typed(self, field: str) -> str:
        """The value as it stands in its cell, where that is a plain number."""
        return self.entry.as_typed(field, self.value)


def ratio_within(value: Decimal, other: Decimal, bounds: tuple[Decimal, Decimal]) -> int:
    """Whether one value is so many times another: 1 when it is, -1 when the other is so many times it, 0 otherwise.

    Examples
    --------
    >>> ratio_within(Decimal("2013"), Decimal("2.0"), THOUSAND), ratio_within(Decimal("2.1"), Decimal("2.0"), THOUSAND)
    (1, 0)
    """
    if value <= 0 or other <= 0:
        return 0
    if bounds[0] <= value / other <= bounds[1]:
        return 1
    return -1 if bounds[0] <= other / value <= bounds[1] else 0


def check_masses(entries: Entries, masses: Sequence[Measured]) -> None:
    """Refuse masses that are a thousand times too large or small, and a total typed among the units.

    Parameters
    ----------
    entries : Entries
        The Units table.
    masses : sequence of Measured
        Masses in the unit of their heading.
    """
    if not masses:
        return
    unit = entries.known.columns["mass"].unit
    other = "mg" if unit == "g" else "g"
    total = sum((one.value for one in masses), Decimal(0))
    rest = [one for one in masses if not _is_total(entries, one, total, len(masses))]
    middle = median(one.value for one in rest)
    in_grams = middle if unit == "g" else middle.scaleb(-3)
    if in_grams > HEAVIEST_G or in_grams < LIGHTEST_G:
        size = "above 500 g" if in_grams > HEAVIEST_G else "below 1 mg"
        entries.findings.refuse(
            entries.known.table,
            f"{entries.known.letters['mass']}{entries.known.header_row}",
            found=f"the masses, with {middle:f} {unit} in the middle, are {size}",
            mend=f"If they were weighed in {other}, head the column Mass ({other})",
        )
        return
    refuse_thousandfold(entries, "mass", unit, rest)
    _refuse_slipped_points(entries, unit, rest)


def _is_total(entries: Entries, one: Measured, total: Decimal, count: int) -> bool:
    if count <= FEWEST_TO_ADD_UP:
        return False
    others = total - one.value
    if abs(one.value - others) > others * TOTAL_TOLERANCE:
        return False
    entries.refuse(
        one.entry,
        "mass",
        found=f"mass {one.as_typed('mass')} of unit {one.name} is the sum of the other {count - 1} masses",
        mend="Weigh the units one by one; a total is worked out here, not typed in",
    )
    return True


def refuse_thousandfold(entries: Entries, field: str, unit: str, values: Sequence[Measured]) -> None:
    """Refuse single values a thousand times larger or smaller than the middle of their column."""
    if len(values) < FEWEST_TO_COMPARE:
        return
    noun = entries.known.columns[field].noun
    middle = median(one.value for one in values)
    for one in values:
        side = ratio_within(one.value, middle, THOUSAND)
        if side:
            read = one.value.scaleb(-3 * side)
            entries.refuse(
                one.entry,
                field,
                found=f"{noun} {one.as_typed(field)} {unit} of unit {one.name} is about a thousand "
                f"{'times' if side > 0 else 'times less than'} the others ({middle:f} {unit} in the middle)",
                mend=f"Type {read:f} if that is what was measured",
            )


def _refuse_slipped_points(entries: Entries, unit: str, masses: Sequence[Measured]) -> None:
    """Refuse single masses about ten times the middle one or a tenth of it, and those farther off than twentyfold."""
    if len(masses) < FEWEST_TO_COMPARE:
        return
    middle = median(one.value for one in masses)
    for one in masses:
        if ratio_within(one.value, middle, THOUSAND):
            continue
        side = ratio_within(one.value, middle, TEN)
        if side:
            how = "about ten times the others" if side > 0 else "about a tenth of the others"
        elif one.value > middle * FARTHEST:
            how = "more than twenty times the others"
        elif one.value * FARTHEST < middle:
            how = "less than a twentieth of the others"
        else:
            continue
        typed, meant = one.as_typed("mass"), _meant(one.value, middle)
        slip = f"Type {meant:f} if that is what was measured. If" if meant is not None else "Type what was measured. If"
        entries.refuse(
            one.entry,
            "mass",
            found=f"mass {typed} {unit} of unit {one.name} is {how} ({middle:f} {unit} in the middle): has the decimal "
            "point slipped?",
            mend=f"{slip} it does weigh {typed} {unit}, it is no unit of this pour: leave its mass empty and give the "
            "mass under Note",
        )


def _meant(value: Decimal, middle: Decimal) -> Decimal | None:
    """The value with its decimal point moved to where it lies among the others; None where it nowhere does."""
    moved = (value.scaleb(places) for places in (-1, 1, -2, 2, -3, 3))
    return next((one for one in moved if middle * ALIKE[0] <= one <= middle * ALIKE[1]), None)


def check_percents(entries: Entries, field: str, values: Sequence[Measured]) -> None:
    """Refuse contents in percent that look like fractions of one, all of them or single ones."""
    if not values:
        return
    middle = median(one.value for one in values)
    if middle < LEAST_PERCENT:
        first = values[0]
        entries.findings.refuse(
            entries.known.table,
            f"{entries.known.letters[field]}{entries.known.header_row}",
            found=f"the contents, with {middle:f} % of label in the middle, look like fractions of one",
            mend=f"Type them in percent, for example {first.value.scaleb(2):f} for {first.value:f}",
        )
        return
    if len(values) < FEWEST_TO_COMPARE:
        return
    for one in values:
        if ratio_within(one.value, middle, HUNDRED) < 0:
            entries.refuse(
                one.entry,
                field,
                found=f"content {one.as_typed(field)} % of unit {one.name} is about a hundredth of the others",
                mend=f"Type {one.value.scaleb(2):f} if that is meant",
            )


def check_against_plan(entries: Entries, masses: Sequence[Measured], plan: Decimal, *, noun: str, place: str) -> None:
    """Refuse masses that are, as a whole, a thousand times the nominal or planned mass, or a thousandth of it.

    Parameters
    ----------
    entries : Entries
        The Units table.
    masses : sequence of Measured
        Masses in the unit of their heading.
    plan : Decimal
        The mass they are compared with [g].
    noun, place : str
        What the message calls that mass, and where it stands.
    """
    unit = entries.known.columns["mass"].unit
    middle = median(one.value for one in masses)
    if ratio_within(middle if unit == "g" else middle.scaleb(-3), plan, THOUSAND):
        entries.findings.refuse(
            entries.known.table,
            f"{entries.known.letters['mass']}{entries.known.header_row}",
            found=f"the masses, with {middle:f} {unit} in the middle, are about a thousand times off "
            f"the {noun} of {plan:f} g in {place}",
            mend="See which of the two is in the wrong unit, and mend its heading or its value",
        )
