"""The numbers of a file: every cell of a number column becomes the exact decimal that was typed, or a problem.

A point is the decimal mark, unless the column shows points that group. "2,013" by itself can be read two ways. It is
settled by the other cells of its column, then by the call, then by the other columns of the file and by a semicolon
as separator (which stands there because the comma is taken) where these agree; otherwise it is refused. A semicolon
by itself settles no column in mg, and is said in a notice where it settles another. Size settles nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from decimal import Decimal

from msgspec import Struct

from qc.fields.field import Field, Holds
from qc.fields.words import measure_of
from qc.readers.cells import CellKind, SheetCell
from qc.readers.located import Entry, LocatedTable
from qc.readers.plausible import corrected, implausible, set_right
from qc.readers.typed_number import DecimalMark, NotANumberError, Typed, written

LONGEST_DIGITS = 20

_NAMES: dict[DecimalMark, str] = {"comma": "a decimal comma", "point": "a decimal point"}
_POWERS = {("mg", "g"): -3, ("g", "mg"): 3, ("kg", "g"): 3, ("kg", "mg"): 6}


class _NumberColumn(Struct, frozen=True, kw_only=True):
    """One number column; `readings` are added to it: the rows whose cells stand for a number in its unit of measure."""

    table: LocatedTable
    field: Field
    readings: list[tuple[Entry, SheetCell, Typed]]

    @property
    def proof(self) -> dict[DecimalMark, SheetCell]:
        """The decimal marks that its texts prove, each with the first cell that does."""
        return {one.mark: cell for _, cell, one in reversed(self.readings) if one.mark}

    def refuse(self, cell: SheetCell, found: str, mend: str) -> None:
        """Note a problem at a cell; `found` follows the noun of the column.

        A first mass that was put right by a second one with its reason stays as it was entered, with a notice.
        """
        if self.is_right(cell):
            said = f"{self.field.noun.capitalize()} {found}. It stays as it was entered, beside the second mass."
            self.table.remark(cell.address, said)
        else:
            self.table.refuse_at(cell.address, f"{self.field.noun} {found}", mend)

    def is_right(self, cell: SheetCell) -> bool:
        """Whether a cell holds a first mass that was put right by a second one with its reason."""
        again, entries = self.table.has("weighed_again_g"), self.table.entries
        return again and any(one.cell("mass_g") is cell and set_right(self.field.attribute, one) for one in entries)


def read_numbers(tables: Iterable[LocatedTable], said: DecimalMark | None) -> None:
    """Read every number column of an input into the values of its rows, each in the unit of its attribute.

    Parameters
    ----------
    tables : iterable of LocatedTable
        All of them, since one column may settle another.
    said : "comma", "point" or None
        The decimal mark that the call names.
    """
    columns = [
        _NumberColumn(table=table, field=field, readings=[])
        for table in tables
        for field in table.columns.values()
        if field.is_number
    ]
    proofs: dict[str, set[DecimalMark]] = {}
    for column in columns:
        for entry in column.table.entries:
            cell = entry.cell(column.field.attribute)
            if cell is not None and (one := _reading(column, cell)) is not None:
                column.readings.append((entry, cell, one))
        proofs.setdefault(column.table.table.file, set()).update(column.proof)
    for column in columns:
        field = column.field
        for entry, cell, value in _settled(column, said, elsewhere=proofs[column.table.table.file]):
            if _fits(column, entry, cell, value):
                number = value.scaleb(field.power) if field.power else value
                entry.values[field.attribute] = int(number) if field.holds is Holds.WHOLE else number


def no_result(cell: SheetCell, field: Field) -> tuple[str, str] | None:
    """What a cell is that holds no result of anybody's typing, and how to mend it; None when it holds one."""
    again, example = ("text", "") if not field.is_number else ("a number", f", for example {field.example}")
    if cell.kind is CellKind.ERROR:
        in_digits = " in digits" if field.is_number else ""
        return f"is the error {cell.text}", f"Mend the formula, or type the {field.noun}{in_digits}{example}"
    if cell.kind is CellKind.UNSAVED:
        mend = "Open the file in the spreadsheet program and save it, so that it stores the result"
        return f"is a formula without a stored result ({cell.text})", mend
    if cell.kind is CellKind.DATE and (field.is_number or field.holds is Holds.NAME):
        found = (
            f"is the date {cell.text} (the number {cell.number} in a date format): "
            "the spreadsheet program turned what was typed into a date"
        )
        return found, f"Format the cell as {again} and type the {field.noun} again{example}"
    return None


def _reading(column: _NumberColumn, cell: SheetCell) -> Typed | None:
    """What a cell can stand for in the unit of the column; None (and a problem) where it stands for no number."""
    field, kind = column.field, cell.kind
    if kind is CellKind.TEXT:
        return _typed(column, cell)
    if cell.number is not None and (kind is CellKind.NUMBER or (kind is CellKind.PERCENT and field.unit == "%")):
        stored = cell.number if kind is CellKind.NUMBER else cell.number.scaleb(2)
        if not cell.unit or cell.unit == field.unit:
            return Typed(with_point=stored, with_comma=stored)
        what = f'is {cell.text}, shown in {cell.unit} by its number format, but the column "{field.heading}" is not'
        column.refuse(cell, what, f"Format the cell as a plain number and type the {field.noun} as the heading says")
        return None
    what = f"is {cell.text}, not a number"
    if kind is CellKind.PERCENT:
        what = f"is {cell.text}, shown as {cell.shown}: the cell is formatted in percent"
    again = f"Format the cell as a number and type the {field.noun} again, for example {field.example}"
    column.refuse(cell, *(no_result(cell, field) or (what, again)))
    return None


def _typed(column: _NumberColumn, cell: SheetCell) -> Typed | None:
    field = column.field
    try:
        one = written(cell.text)
    except NotANumberError as error:
        mend = f"Type it in digits, for example {error.example or field.example}"
        column.refuse(cell, f"{cell.quoted} is not a number ({error})", mend)
        return None
    if not one.unit or measure_of(one.unit) == field.unit:
        return one
    is_in = f"is in {field.unit}" if field.unit else "has no unit"
    mend = f"Type it without a unit, for example {_converted(one, field)}"
    column.refuse(cell, f'{cell.quoted} is in {one.unit}, but the column "{field.heading}" {is_in}', mend)
    return None


def _converted(one: Typed, field: Field) -> str:
    """The value in the unit of the column, to show what would be accepted."""
    value = one.with_comma if one.mark == "comma" else one.with_point
    power = _POWERS.get((one.unit, field.unit))
    return field.example if value is None or power is None else f"{value.scaleb(power):f}"


def _settled(
    column: _NumberColumn, said: DecimalMark | None, *, elsewhere: set[DecimalMark]
) -> Iterator[tuple[Entry, SheetCell, Decimal]]:
    """The decimals of the cells, once it is known which mark is the decimal mark; stored numbers in any case."""
    proof = column.proof
    mark = next(iter(proof)) if len(proof) == 1 else None
    if len(proof) == 2:
        comma, point = proof["comma"], proof["point"]
        both = f"{comma.quoted} has a decimal comma, {point.quoted} in {point.address} a decimal point"
        # Whatever was put right: how the others are meant is open.
        mend = "Type the whole column with decimal points"
        column.table.refuse_at(comma.address, f"{column.field.noun} {both}", mend)
    elif not proof:
        mark = _decided(column, said, elsewhere)
    # Masses in mg run to thousands, and the call says that the point is not their decimal mark.
    by_thousands = said == "comma" and column.field.unit == "mg" and column.field.attribute != "content_mg"
    shows_groups = by_thousands or any(one.points_group for *_, one in column.readings)
    for entry, cell, one in column.readings:
        value = one.with_comma if mark == "comma" else one.with_point
        is_grouped = one.is_open and mark == "comma" and "." in cell.text and not shows_groups
        if value is not None and not is_grouped and (mark or cell.kind is not CellKind.TEXT):
            yield entry, cell, value
        elif mark:
            other = f"{cell.quoted} does not go with {_NAMES[mark]}, which the rest of the file has"
            column.refuse(cell, other, "Type all numbers with the same decimal mark, best a point")


def _decided(column: _NumberColumn, said: DecimalMark | None, elsewhere: set[DecimalMark]) -> DecimalMark | None:
    """The decimal mark of a column that does not prove it, or None (and a problem) when it stays open."""
    is_open = [(cell, one) for _, cell, one in column.readings if one.is_open]
    if said or not is_open:
        return said or "point"
    commas = [(cell, one) for cell, one in is_open if "," in cell.text]
    semicolons = column.table.table.separator == ";"
    if len(commas) == len(is_open):
        if elsewhere == {"point"} and not semicolons:
            return "point"
        if elsewhere == {"comma"}:
            return "comma"
        # Masses and contents in mg run to thousands, which many people group with a comma.
        if semicolons and not elsewhere and column.field.unit != "mg":
            _remark_on_commas(column, commas)
            return "comma"
    if not commas and elsewhere != {"comma"}:
        return "point"
    cell, one = min(commas or is_open, key=lambda pair: column.is_right(pair[0]))
    first, second = (one.with_comma, one.with_point) if commas else (one.with_point, one.with_comma)
    others = f"; so can {len(is_open) - 1} more of this column" if len(is_open) > 1 else ""
    mend = f"Type {first} if that is meant, or give --decimal comma or --decimal point"
    column.refuse(cell, f"{cell.quoted} can be read two ways, {first} or {second}{others}", mend)
    return None


def _remark_on_commas(column: _NumberColumn, commas: Sequence[tuple[SheetCell, Typed]]) -> None:
    cell, one = commas[0]
    like = " and the like below it were" if len(commas) > 1 else " was"
    column.table.remark(
        cell.address,
        f"{cell.quoted}{like} read with a decimal comma, as {one.with_comma}, because semicolons separate the fields; "
        "give --decimal point if the comma groups thousands.",
    )


def _fits(column: _NumberColumn, entry: Entry, cell: SheetCell, value: Decimal) -> bool:
    """Whether a number can be what its column says; refused otherwise."""
    field = column.field
    fewest = 0 if field.zero else 1
    mend = f"Type it again, for example {field.example}"
    if field.holds is Holds.WHOLE and (value != value.to_integral_value() or value < fewest):
        found = f"{_as_it_stands(cell, value)} is not a whole number from {fewest} up"
        mend = f"Type a whole number, for example {field.example}"
    elif value < 0:
        found = f"{_as_it_stands(cell, value)} is negative"
        mend = f"Type what was measured, for example {field.example}"
    elif value == 0 and not field.zero:
        found, mend = "is 0", f"Type the {field.noun}, for example {field.example}, or leave the cell empty"
    elif not corrected(field.attribute, entry) and (outside := implausible(value, field.plausible, field.unit)):
        found = f"{_as_it_stands(cell, value)}{outside}"
    elif field.words and str(int(value)) not in field.words:
        found = f"{int(value)} is neither {' nor '.join(field.words)}"
        mend = f"Type {' or '.join(field.words)}, or leave it empty"
    else:
        return True
    column.refuse(cell, found, mend)
    return False


def _as_it_stands(cell: SheetCell, value: Decimal) -> str:
    """A number as it was typed; a stored one in digits, or with a power of ten where the digits would fill a line."""
    if cell.kind is CellKind.TEXT:
        return cell.typed
    digits = f"{value:f}"
    return digits if len(digits) <= LONGEST_DIGITS else f"{value.normalize():e}"
