"""Values that cannot be what their heading says: wrong by a thousand, a fraction for a percentage, a total.

These are typing errors, not results, and no value is mended by guess: each is refused with both readings named. The
bounds below are common practice for moulded units, not limits of any pharmacopoeia.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Mapping, Sequence
from collections.abc import Set as AbstractSet
from decimal import Decimal
from fractions import Fraction
from statistics import median

from msgspec import Struct
from msgspec.structs import replace

from qc.fields.field import Field, Plausible
from qc.fields.sheets import LEAST_PERCENT
from qc.patterns import pattern
from qc.readers.cells import SheetCell, SheetTable
from qc.readers.located import Entry, LocatedTable

FEWEST_TO_COMPARE = 3
FEWEST_TO_ADD_UP = 5
TOTAL_TOLERANCE = Decimal("0.005")
# A whole number among masses with decimals has lost its own where it lies farther off than a tenth (common practice).
FAR_AS_WHOLE = 10
# How far a value with its decimal point moved may lie from the others.
ALIKE = (Decimal("0.5"), Decimal(2))


class FarOff(Struct, frozen=True):
    """A slip of typing: between which ratios to the other values, both included, and how it is called."""

    least: Fraction
    most: Fraction
    called: str


THOUSANDFOLD = (
    FarOff(Fraction(300), Fraction(3000), "about a thousand times"),
    FarOff(Fraction(1, 3000), Fraction(1, 300), "about a thousandth of"),
)
HUNDREDTH = (FarOff(Fraction(1, 200), Fraction(1, 50), "about a hundredth of"),)
OF_A_MASS = (
    *THOUSANDFOLD,
    FarOff(Fraction(8), Fraction(12), "about ten times"),
    FarOff(Fraction(1, 12), Fraction(1, 8), "about a tenth of"),
    FarOff(Fraction(12), Fraction(10**9), "at least twelve times"),
    FarOff(Fraction(0), Fraction(1, 12), "at most a twelfth of"),
)

# What says of a mass far below the others that it is none: a cavity may run nearly empty.
CONFIRMS = frozenset({"note", "seen", "left_out_because", "weighed_again_g"})
ColumnKey = tuple[int, str]
"""A column by its letters, shorter ones first."""
# A cell or a range of a formula, not those of another sheet.
_TAKEN = pattern(r"(?<![\w!:.$'])\$?([A-Z]{1,3})\$?(\d{1,7})(?::\$?([A-Z]{1,3})\$?(\d{1,7}))?(?![\w(!])")
# Numbers with decimals that were typed into a formula; a gross mass less its tare.
_TYPED = pattern(r"(?<![\w$.])\d+[.,]\d+(?!\w)")
# A formula that is a number, or one cell of its own sheet; how little binary numbers leave over.
_ALONE = pattern(r"=\s*(?:(-?\d+(?:\.\d+)?)|\[?\.?(\$?[A-Z]{1,3}\$?\d+)\]?)\s*", re.IGNORECASE)
_LEFT_OVER = Decimal("1e-9")
# A cell of whatever sheet.
_A_CELL = pattern(r"\$?[A-Z]{1,3}\$?\d{1,7}(?![\w(])", re.IGNORECASE)
_DIFFERENCE = pattern(r"=\s*(\d+(?:[.,]\d+)?)\s*-\s*(\d+(?:[.,]\d+)?)\s*")
_TWO_CELLS = pattern(r"=\s*\[?\.?(\$?[A-Z]{1,3}\$?\d+)\]?\s*-\s*\[?\.?(\$?[A-Z]{1,3}\$?\d+)\]?\s*", re.IGNORECASE)
# Functions that give another result each time, or take cells that only the spreadsheet program can name.
_VOLATILE = pattern(
    r"(?<![A-Z0-9_])(RAND|RANDBETWEEN|RANDARRAY|GETRANDBETWEEN|NOW|TODAY|OFFSET|INDIRECT)(?:\.NV)?\s*\(", re.IGNORECASE
)
# By attribute, how a mistyped value stands to the others of its column; the first that fits is said.
SLIPS = {"mass_g": OF_A_MASS, "content_mg": THOUSANDFOLD, "content_percent": HUNDREDTH}


def corrected(attribute: str, entry: Entry) -> bool:
    """Whether another mass stands beside a first one, which stays as entered: the second is held against the others."""
    again = entry.values.get("weighed_again_g")
    return attribute == "mass_g" and "weighed_again_g" in entry.cells and again != entry.values.get(attribute, 0)


def set_right(attribute: str, entry: Entry) -> bool:
    """Whether a second mass stands beside a first one with its reason, whatever was typed for the first."""
    return attribute == "mass_g" and {"mass_g", "weighed_again_g", "weighed_again_because"} <= entry.cells.keys()


def implausible(value: Decimal, plausible: Plausible | None, unit: str) -> str:
    """What a message says of a number other than 0 that lies outside a range; empty where it lies inside."""
    if plausible is None or value == 0 or plausible.floor <= value <= plausible.ceiling:
        return ""
    measure = f" {unit}" if unit else ""
    return f"{measure} is not plausible: {plausible}{measure} is"


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
    def median(self) -> Decimal:
        """The median."""
        return median(value for _, _, value in self.rows)

    def refuse_all(self, found: str, mend: str) -> None:
        """Note a problem of the column as a whole, which its median shows; `found` follows the median."""
        self.table.refuse_column(self.attribute, f"the median {self.field.noun} {self.median:f}{found}", mend)


def measured(table: LocatedTable, attribute: str, rows: Iterable[tuple[str, Entry]]) -> MeasuredColumn:
    """The numbers that stand under an attribute in some rows, each given with the unit it belongs to."""
    power = table.columns[attribute].power if table.has(attribute) else 0
    filled = [(unit, entry, entry.values[attribute]) for unit, entry in rows if attribute in entry.values]
    headed = [(unit, entry, value.scaleb(-power) if power else value) for unit, entry, value in filled]
    return MeasuredColumn(table=table, attribute=attribute, rows=headed)


def how_far_off(value: Decimal, other: Decimal, slips: Iterable[FarOff]) -> str:
    """How a value stands to another one, in the words of the first slip that fits; empty where none does.

    Examples
    --------
    >>> how_far_off(Decimal(2013), Decimal("2.0"), THOUSANDFOLD), how_far_off(Decimal("2.1"), Decimal("2.0"), OF_A_MASS)
    ('about a thousand times', '')
    """
    # No slip is as small as fourfold, which most values are asked for nothing but.
    if other <= 4 * value <= 16 * other:
        return ""
    ratio = Fraction(value) / Fraction(other) if other > 0 else Fraction(1)
    return next((slip.called for slip in slips if slip.least <= ratio <= slip.most), "")


def check_masses(masses: MeasuredColumn, usual: Plausible) -> None:
    """Refuse masses that no unit has or that are slips of typing, and a total among the units.

    Parameters
    ----------
    masses : MeasuredColumn
    usual : Plausible
        Between which masses a unit of the form weighs [g].
    """
    if not masses.rows:
        return
    _refuse_formulas(masses)
    field = masses.field
    total = sum((value for _, _, value in masses.rows), Decimal(0))
    rest = replace(masses, rows=[row for row in masses.rows if not _is_total(masses, *row, total=total)])
    if outside := implausible(rest.median, usual.scaled(-field.power), field.unit):
        other = "mg" if field.unit == "g" else "g"
        rest.refuse_all(outside, f"If they were weighed in {other}, head the column Mass ({other})")
    else:
        _refuse_slips(rest)


def _refuse_formulas(column: MeasuredColumn) -> None:
    """Refuse what nobody measured: calculated from that of other units, as a mean is, or drawn at random.

    A mass that is not taken from what was weighed is refused too; by which formula contents are worked out is told.
    """
    name, table = column.attribute, column.table.table
    cells = [(unit, entry, cell) for unit, entry, _ in column.rows if (cell := entry.cell(name)) is not None]
    formulas = [cell for _, _, cell in cells if cell.formula]
    if not formulas:
        return
    of_mass = name == "mass_g"
    rows: dict[int, set[ColumnKey]] = {}
    for _, _, cell in cells:
        _note(cell, rows)
    # What is calculated from the masses elsewhere and taken from there is calculated from them as well.
    own = {cell.address for _, _, cell in cells}
    every = [cell for row in table.rows for cell in row.cells.values()]
    for other in (cell for cell in every if cell.formula and of_mass):
        if other.address not in own and takes(other.own_formula, rows):
            _note(other, rows)
    for unit, entry, cell in cells:
        spot, row = place_of(cell.address)
        rows[row].discard(spot)
        formula = cell.own_formula.removeprefix("of:")
        others = "calculated from other masses" if of_mass else "calculated from what other units hold"
        how = others if takes(formula, rows) else ""
        if volatile := _VOLATILE.search(formula):
            how = f"another one at every calculation, by {volatile.group(1).upper()}"
        elif of_mass and len(_TYPED.findall(formula)) > 1 and not _DIFFERENCE.fullmatch(formula):
            how = "calculated from several numbers that stand in its formula"
        elif not how and (gives := _given(formula, table)) is not None and _differ(gives, cell.number):
            how = f"stored as {cell.shown}, and its formula gives {gives:f}"
        elif of_mass and not how:
            how = _from_nothing(cell, formula, {one.address for one in every})
        if how:
            what, mend = ("mass", "the balance showed") if of_mass else ("content", "was found")
            found = f"the {what} of unit {unit} is {how} ({formula or cell.formula})"
            column.table.refuse(entry, name, found, f"Type the {what} that {mend}, or clear the row")
        rows[row].add(spot)
    if not of_mass:
        said = f"contents calculated, {formulas[0].address} by {formulas[0].own_formula or formulas[0].formula}"
        column.table.findings.tell(table, formulas, said)


def _from_nothing(cell: SheetCell, formula: str, filled: AbstractSet[str]) -> str:
    """How a mass is worked out from nothing that was weighed, by all that its formula says; empty where it is not."""
    if not (_DIFFERENCE.fullmatch(formula) or _ALONE.fullmatch(formula)) and _of_no_cell(formula):
        return "worked out from what is typed in its formula"
    if (taken := _TAKEN.findall(formula)) and filled.isdisjoint(f"{one[0]}{one[1]}" for one in taken):
        return "" if any(one[2] for one in taken) else "calculated from cells that are empty"
    return "calculated by a formula that the file does not write out" if cell.formula and "=" not in formula else ""


def _of_no_cell(formula: str) -> bool:
    return "=" in formula and _A_CELL.search(formula) is None


def _given(formula: str, table: SheetTable) -> Decimal | None:
    """The number that a formula is, or takes from a cell of its own sheet; None where it works one out."""
    match = _ALONE.fullmatch(formula)
    if typed := _DIFFERENCE.fullmatch(formula):
        gross, tare = (Decimal(one.replace(",", ".")) for one in typed.groups())
        return gross - tare
    if taken := _TWO_CELLS.fullmatch(formula):
        gross_cell, tare_cell = (_number_at(one, table) for one in taken.groups())
        return None if gross_cell is None or tare_cell is None else gross_cell - tare_cell
    if match is None:
        return None
    return Decimal(match.group(1)) if match.group(1) else _number_at(match.group(2), table)


def _number_at(place: str, table: SheetTable) -> Decimal | None:
    """The number in a cell; 0 where it is empty."""
    address = place.replace("$", "").upper()
    cells = (cell for row in table.rows for cell in row.cells.values() if cell.address == address)
    cell = next(cells, None)
    return Decimal(0) if cell is None else cell.number


def _differ(one: Decimal, other: Decimal | None) -> bool:
    return other is not None and abs(one - other) > _LEFT_OVER


def _note(cell: SheetCell, rows: dict[int, set[ColumnKey]]) -> None:
    column, row = place_of(cell.address)
    rows.setdefault(row, set()).add(column)


def takes(formula: str, rows: Mapping[int, Collection[ColumnKey]]) -> bool:
    """Whether a formula takes one of some cells of its own sheet, by itself or within a range.

    Parameters
    ----------
    formula : str
    rows : mapping
        The columns of the cells by their row.

    Examples
    --------
    >>> rows = {20: {(1, "B")}}
    >>> takes("=AVERAGE(B$2:B20)", rows), takes("=Gross!B20-0.1", rows), takes("=B2+B200", rows)
    (True, False, False)
    """
    for left, top, right, bottom in _TAKEN.findall(formula):
        first, last = place_of(left + top), place_of((right or left) + (bottom or top))
        span = range(first[1], last[1] + 1)
        within = (row for row in (span if len(span) < len(rows) else rows) if row in span)
        if any(first[0] <= column <= last[0] for row in within for column in rows.get(row, ())):
            return True
    return False


def place_of(place: str) -> tuple[ColumnKey, int]:
    """Column, shorter letters first, and row of an address; row 0 of what is none."""
    letters = place.rstrip("0123456789")
    return (len(letters), letters), int(place[len(letters) :] or 0)


def _is_total(masses: MeasuredColumn, unit: str, entry: Entry, value: Decimal, *, total: Decimal) -> bool:
    others, count = total - value, len(masses.rows)
    if count <= FEWEST_TO_ADD_UP or corrected("mass_g", entry) or abs(value - others) > others * TOTAL_TOLERANCE:
        return False
    found = f"mass {entry.as_typed('mass_g', value)} of unit {unit} is the sum of the other {count - 1} masses"
    mend = "Weigh the units one by one; a total is worked out here, not typed in"
    masses.table.refuse(entry, "mass_g", found, mend)
    return True


def check_contents(contents: MeasuredColumn) -> None:
    """Refuse contents that nobody found, that are wrong by a thousand, and fractions typed for percentages."""
    _refuse_formulas(contents)
    if contents.rows and contents.field.unit == "%" and contents.median < LEAST_PERCENT:
        _, _, first = contents.rows[0]
        mend = f"Type them in percent, for example {first.scaleb(2):f} for {first:f}"
        contents.refuse_all(" % of label looks like a fraction of one", mend)
    else:
        _refuse_slips(contents)


def _refuse_slips(column: MeasuredColumn) -> None:
    """Refuse single values that stand to the others as a slip of typing does."""
    if len(column.rows) < FEWEST_TO_COMPARE:
        return
    field, middle = column.field, column.median
    fine = 2 * sum(value % 1 != 0 for _, _, value in column.rows) > len(column.rows)
    for unit, entry, value in column.rows:
        how = how_far_off(value, middle, SLIPS[column.attribute])
        if fine and column.attribute == "mass_g" and value % 1 == 0 and middle <= 3 * value <= 6 * middle:
            far = abs(value - middle) > middle / FAR_AS_WHOLE
            how = how or ("whole, without the decimals of" if far else "")
        too_light = column.attribute == "mass_g" and value < middle
        if not how or corrected(column.attribute, entry) or (too_light and CONFIRMS & entry.cells.keys()):
            continue
        typed, meant = entry.as_typed(column.attribute, value), _meant(value, middle)
        found = f"{field.noun} {typed} {field.unit} of unit {unit} is {how} the others (median {middle:f} {field.unit})"
        mend = "Type what was measured" if meant is None else f"Type {meant:f} if that is what was measured"
        if too_light:
            mend += f". If it does weigh {typed} {field.unit}, say so under Note: it then counts as it stands"
        column.table.refuse(entry, column.attribute, found, mend)


def _meant(value: Decimal, middle: Decimal) -> Decimal | None:
    """The value with its decimal point moved to where it lies among the others; None where it nowhere does."""
    moved = (value.scaleb(places) for places in (-1, 1, -2, 2, -3, 3))
    return next((one for one in moved if middle * ALIKE[0] <= one <= middle * ALIKE[1]), None)


def check_against(column: MeasuredColumn, expected: Decimal, *, what: str) -> None:
    """Refuse numbers of which the median is a thousand times what was planned or claimed, or a thousandth of it.

    Parameters
    ----------
    column : MeasuredColumn
    expected : Decimal
        What was planned or claimed [unit of the attribute].
    what : str
        What the message calls it, with its value and where it stands.
    """
    if column.rows and how_far_off(column.median.scaleb(column.field.power), expected, THOUSANDFOLD):
        found = f" {column.field.unit} is about a thousand times off {what}"
        column.refuse_all(found, "See which of the two is in the wrong unit, and mend its heading or its value")
