"""Values that cannot be what their heading says: wrong by a thousand, a fraction for a percentage, a total.

These are typing errors, not results, and no value is mended by guess: each is refused with both readings named. The
bounds below are common practice for moulded units, not limits of any pharmacopoeia.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal
from statistics import median

from msgspec import Struct
from msgspec.structs import replace

from qc.fields.field import Field
from qc.fields.sheets import LEAST_PERCENT, USUAL_MASS_G
from qc.readers.located import Entry, LocatedTable

THOUSAND = (Decimal(300), Decimal(3000))
HUNDRED = (Decimal(50), Decimal(200))
TEN = (Decimal(8), Decimal(12))
FARTHEST = Decimal(20)
ALIKE = (Decimal("0.5"), Decimal(2))
FEWEST_TO_COMPARE = 3
FEWEST_TO_ADD_UP = 5
TOTAL_TOLERANCE = Decimal("0.005")


class MeasuredColumn(Struct, frozen=True, kw_only=True):
    """The numbers of a column that are held against each other, in the unit of its heading.

    `rows` gives the unit each belongs to, its row and its value.
    """

    table: LocatedTable
    attribute: str
    rows: Sequence[tuple[str, Entry, Decimal]]

    @property
    def field(self) -> Field:
        """The column."""
        return self.table.columns[self.attribute]

    @property
    def middle(self) -> Decimal:
        """The median."""
        return median(value for _, _, value in self.rows)

    def refuse_all(self, found: str, mend: str) -> None:
        """Note a problem of the column as a whole."""
        self.table.refuse_column(self.attribute, found, mend)

    def refuse_one(self, entry: Entry, found: str, mend: str) -> None:
        """Note a problem of one of its numbers."""
        self.table.refuse(entry, self.attribute, found, mend)


def measured(table: LocatedTable, attribute: str, rows: Iterable[tuple[str, Entry]]) -> MeasuredColumn:
    """The numbers that stand under an attribute in some rows, each given with the unit it belongs to."""
    power = table.columns[attribute].power if table.has(attribute) else 0
    filled = [(unit, entry, entry.values[attribute]) for unit, entry in rows if attribute in entry.values]
    headed = [(unit, entry, value.scaleb(-power) if power else value) for unit, entry, value in filled]
    return MeasuredColumn(table=table, attribute=attribute, rows=headed)


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


def check_masses(masses: MeasuredColumn) -> None:
    """Refuse masses that are a thousand times too large or small, and a total typed among the units."""
    if not masses.rows:
        return
    field = masses.field
    total = sum((value for _, _, value in masses.rows), Decimal(0))
    rest = replace(masses, rows=[row for row in masses.rows if not _is_total(masses, *row, total=total)])
    middle, in_g = rest.middle, rest.middle.scaleb(field.power)
    if not USUAL_MASS_G.holds(in_g):
        ceiling, floor = USUAL_MASS_G.ceiling, USUAL_MASS_G.floor
        size = f"above {ceiling} g" if in_g > ceiling else f"below {floor.scaleb(3):f} mg"
        other = "mg" if field.unit == "g" else "g"
        found = f"the masses, with {middle:f} {field.unit} in the middle, are {size}"
        masses.refuse_all(found, f"If they were weighed in {other}, head the column Mass ({other})")
        return
    refuse_thousandfold(rest)
    _refuse_slipped_points(rest)


def _is_total(masses: MeasuredColumn, unit: str, entry: Entry, value: Decimal, *, total: Decimal) -> bool:
    others, count = total - value, len(masses.rows)
    if count <= FEWEST_TO_ADD_UP or abs(value - others) > others * TOTAL_TOLERANCE:
        return False
    found = f"mass {entry.as_typed('mass_g', value)} of unit {unit} is the sum of the other {count - 1} masses"
    masses.refuse_one(entry, found, "Weigh the units one by one; a total is worked out here, not typed in")
    return True


def refuse_thousandfold(column: MeasuredColumn) -> None:
    """Refuse single values a thousand times larger or smaller than the middle of their column."""
    if len(column.rows) < FEWEST_TO_COMPARE:
        return
    field, middle = column.field, column.middle
    for unit, entry, value in column.rows:
        side = ratio_within(value, middle, THOUSAND)
        if side:
            how = "about a thousand times" if side > 0 else "about a thousand times less than"
            found = (
                f"{field.noun} {entry.as_typed(column.attribute, value)} {field.unit} of unit {unit} is {how} the "
                f"others ({middle:f} {field.unit} in the middle)"
            )
            column.refuse_one(entry, found, f"Type {value.scaleb(-3 * side):f} if that is what was measured")


def _refuse_slipped_points(masses: MeasuredColumn) -> None:
    """Refuse single masses about ten times the middle one or a tenth of it, and those farther off than twentyfold."""
    if len(masses.rows) < FEWEST_TO_COMPARE:
        return
    measure, middle = masses.field.unit, masses.middle
    for unit, entry, value in masses.rows:
        how = _how_far(value, middle)
        if not how:
            continue
        typed, meant = entry.as_typed("mass_g", value), _meant(value, middle)
        slip = f"Type {meant:f} if that is what was measured. If" if meant is not None else "Type what was measured. If"
        masses.refuse_one(
            entry,
            f"mass {typed} {measure} of unit {unit} is {how} ({middle:f} {measure} in the middle): has the decimal "
            "point slipped?",
            f"{slip} it does weigh {typed} {measure}, it is no unit of this pour: leave its mass empty and give the "
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


def check_percents(contents: MeasuredColumn) -> None:
    """Refuse contents in percent that look like fractions of one, all of them or single ones."""
    if not contents.rows:
        return
    middle = contents.middle
    if middle < LEAST_PERCENT:
        first = contents.rows[0][2]
        found = f"the contents, with {middle:f} % of label in the middle, look like fractions of one"
        contents.refuse_all(found, f"Type them in percent, for example {first.scaleb(2):f} for {first:f}")
        return
    for unit, entry, value in contents.rows if len(contents.rows) >= FEWEST_TO_COMPARE else ():
        if ratio_within(value, middle, HUNDRED) < 0:
            typed = entry.as_typed("content_percent", value)
            found = f"content {typed} % of unit {unit} is about a hundredth of the others"
            contents.refuse_one(entry, found, f"Type {value.scaleb(2):f} if that is meant")


def check_against_claim(contents: MeasuredColumn, active: str, claim: Decimal) -> None:
    """Refuse contents [mg] that are, most of them, a thousand times the label claim [mg], or a thousandth of it."""
    off = [(entry, value) for _, entry, value in contents.rows if ratio_within(value, claim, THOUSAND)]
    # Single ones are already told apart from the others; here all of them are on the wrong side.
    if 2 * len(off) > len(contents.rows):
        entry, value = off[0]
        contents.refuse_one(
            entry,
            f"the contents of {active}, {value:f} mg and the like, are about a thousand times off the label claim of "
            f"{claim:f} mg",
            "See which of the two is in the wrong unit, and type it in mg",
        )


def check_against_plan(masses: MeasuredColumn, plan: Decimal, *, noun: str, place: str) -> None:
    """Refuse masses that are, as a whole, a thousand times the nominal or planned mass, or a thousandth of it.

    Parameters
    ----------
    masses : MeasuredColumn
    plan : Decimal
        The mass they are compared with [g].
    noun, place : str
        What the message calls that mass, and where it stands.
    """
    field, middle = masses.field, masses.middle
    if ratio_within(middle.scaleb(field.power), plan, THOUSAND):
        masses.refuse_all(
            f"the masses, with {middle:f} {field.unit} in the middle, are about a thousand times off "
            f"the {noun} of {plan:f} g in {place}",
            "See which of the two is in the wrong unit, and mend its heading or its value",
        )
