"""Values that cannot be what their heading says: wrong by a thousand, a fraction for a percentage, a total.

These are slips of the pen, not results, and no value is mended by guess: each is refused with both readings named. The
bounds below are common practice for moulded units, not limits of any pharmacopoeia.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from statistics import median

from msgspec import Struct

from qc.fields.sheets import LEAST_PERCENT, USUAL_MASS_G
from qc.readers.known_tables import Entry
from qc.readers.read_tables import ReadTable

THOUSAND = (Decimal(300), Decimal(3000))
HUNDRED = (Decimal(50), Decimal(200))
TEN = (Decimal(8), Decimal(12))
FARTHEST = Decimal(20)
ALIKE = (Decimal("0.5"), Decimal(2))
FEWEST_TO_COMPARE = 3
FEWEST_TO_ADD_UP = 5
TOTAL_TOLERANCE = Decimal("0.005")


class Placed(Struct, frozen=True, kw_only=True):
    """One value as typed, in the unit of its heading, with its row."""

    name: str
    entry: Entry
    value: Decimal

    def as_typed(self, attribute: str) -> str:
        """The value as it stands in its cell, where that is a plain number."""
        return self.entry.as_typed(attribute, self.value)


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


def check_masses(table: ReadTable, masses: Sequence[Placed]) -> None:
    """Refuse masses that are a thousand times too large or small, and a total typed among the units.

    Parameters
    ----------
    table : ReadTable
        The Units table.
    masses : sequence of Measured
        Masses in the unit of their heading.
    """
    if not masses:
        return
    field = table.known.columns["mass_g"]
    total = sum((one.value for one in masses), Decimal(0))
    rest = [one for one in masses if not _is_total(table, one, total, len(masses))]
    middle = median(one.value for one in rest)
    if not USUAL_MASS_G.holds(middle.scaleb(field.power)):
        heavy = middle.scaleb(field.power) > USUAL_MASS_G.ceiling
        size = f"above {USUAL_MASS_G.ceiling} g" if heavy else f"below {USUAL_MASS_G.floor.scaleb(3):f} mg"
        other = "mg" if field.unit == "g" else "g"
        found = f"the masses, with {middle:f} {field.unit} in the middle, are {size}"
        table.refuse_column("mass_g", found, f"If they were weighed in {other}, head the column Mass ({other})")
        return
    refuse_thousandfold(table, "mass_g", rest)
    _refuse_slipped_points(table, rest)


def _is_total(table: ReadTable, one: Placed, total: Decimal, count: int) -> bool:
    others = total - one.value
    if count <= FEWEST_TO_ADD_UP or abs(one.value - others) > others * TOTAL_TOLERANCE:
        return False
    found = f"mass {one.as_typed('mass_g')} of unit {one.name} is the sum of the other {count - 1} masses"
    mend = "Weigh the units one by one; a total is worked out here, not typed in"
    table.refuse(one.entry, "mass_g", found, mend)
    return True


def refuse_thousandfold(table: ReadTable, attribute: str, values: Sequence[Placed]) -> None:
    """Refuse single values a thousand times larger or smaller than the middle of their column."""
    if len(values) < FEWEST_TO_COMPARE:
        return
    field = table.known.columns[attribute]
    middle = median(one.value for one in values)
    for one in values:
        side = ratio_within(one.value, middle, THOUSAND)
        if side:
            how = "about a thousand times" if side > 0 else "about a thousand times less than"
            found = (
                f"{field.noun} {one.as_typed(attribute)} {field.unit} of unit {one.name} is {how} the others "
                f"({middle:f} {field.unit} in the middle)"
            )
            mend = f"Type {one.value.scaleb(-3 * side):f} if that is what was measured"
            table.refuse(one.entry, attribute, found, mend)


def _refuse_slipped_points(table: ReadTable, masses: Sequence[Placed]) -> None:
    """Refuse single masses about ten times the middle one or a tenth of it, and those farther off than twentyfold."""
    if len(masses) < FEWEST_TO_COMPARE:
        return
    unit = table.known.columns["mass_g"].unit
    middle = median(one.value for one in masses)
    for one in masses:
        how = _how_far(one.value, middle)
        if not how:
            continue
        typed, meant = one.as_typed("mass_g"), _meant(one.value, middle)
        slip = f"Type {meant:f} if that is what was measured. If" if meant is not None else "Type what was measured. If"
        table.refuse(
            one.entry,
            "mass_g",
            f"mass {typed} {unit} of unit {one.name} is {how} ({middle:f} {unit} in the middle): has the decimal "
            "point slipped?",
            f"{slip} it does weigh {typed} {unit}, it is no unit of this pour: leave its mass empty and give the "
            "mass under Note",
        )


def _how_far(value: Decimal, middle: Decimal) -> str:
    """How far a mass is from the middle one, in words; empty where it is near, or a thousandfold (told elsewhere)."""
    side = ratio_within(value, middle, TEN)
    if ratio_within(value, middle, THOUSAND):
        return ""
    if side:
        return "about ten times the others" if side > 0 else "about a tenth of the others"
    if value > middle * FARTHEST:
        return "more than twenty times the others"
    return "less than a twentieth of the others" if value * FARTHEST < middle else ""


def _meant(value: Decimal, middle: Decimal) -> Decimal | None:
    """The value with its decimal point moved to where it lies among the others; None where it nowhere does."""
    moved = (value.scaleb(places) for places in (-1, 1, -2, 2, -3, 3))
    return next((one for one in moved if middle * ALIKE[0] <= one <= middle * ALIKE[1]), None)


def check_percents(table: ReadTable, values: Sequence[Placed]) -> None:
    """Refuse contents in percent that look like fractions of one, all of them or single ones."""
    if not values:
        return
    middle = median(one.value for one in values)
    if middle < LEAST_PERCENT:
        first = values[0].value
        found = f"the contents, with {middle:f} % of label in the middle, look like fractions of one"
        mend = f"Type them in percent, for example {first.scaleb(2):f} for {first:f}"
        table.refuse_column("content_percent", found, mend)
        return
    for one in values if len(values) >= FEWEST_TO_COMPARE else ():
        if ratio_within(one.value, middle, HUNDRED) < 0:
            typed = one.as_typed("content_percent")
            found = f"content {typed} % of unit {one.name} is about a hundredth of the others"
            table.refuse(one.entry, "content_percent", found, f"Type {one.value.scaleb(2):f} if that is meant")


def check_against_plan(table: ReadTable, masses: Sequence[Placed], plan: Decimal, *, noun: str, place: str) -> None:
    """Refuse masses that are, as a whole, a thousand times the nominal or planned mass, or a thousandth of it.

    Parameters
    ----------
    table : ReadTable
        The Units table.
    masses : sequence of Measured
        Masses in the unit of their heading.
    plan : Decimal
        The mass they are compared with [g].
    noun, place : str
        What the message calls that mass, and where it stands.
    """
    field = table.known.columns["mass_g"]
    middle = median(one.value for one in masses)
    if ratio_within(middle.scaleb(field.power), plan, THOUSAND):
        table.refuse_column(
            "mass_g",
            f"the masses, with {middle:f} {field.unit} in the middle, are about a thousand times off "
            f"the {noun} of {plan:f} g in {place}",
            "See which of the two is in the wrong unit, and mend its heading or its value",
        )
