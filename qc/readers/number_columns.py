"""The numbers of a file: every cell of a number column becomes the exact decimal that was typed, or a problem.

A point is the decimal mark, unless the column shows points that group. "2,013" alone can be read two ways. It is
settled by the other cells of its column, then by the call, then by the other columns of the file and by a semicolon
as separator (which stands there because the comma is taken) where these agree; otherwise it is refused. A semicolon
alone settles no column in mg, and is said in a notice where it settles another. Size settles nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from msgspec import Struct

from qc.fields.field import Field, Holds
from qc.fields.headings import SPELLED_OUT
from qc.readers.known_tables import KnownTable
from qc.readers.options import DecimalMark
from qc.readers.tables import CellKind, Noted, SheetCell, SheetTable
from qc.readers.typed_number import NotANumberError, Typed, written

Numbers = dict[tuple[str, str, str], Decimal]
"""Decimals by file, sheet and address, in the unit of the field: g for a mass, mg for a claim."""

LONGEST_DIGITS = 20

_NAMES = {"comma": "a decimal comma", "point": "a decimal point"}


class NumberColumn(Struct, frozen=True, kw_only=True):
    """The filled cells of one number column, and where to note what is wrong with them."""

    table: SheetTable
    field: Field
    cells: tuple[SheetCell, ...]
    findings: Noted

    def refuse(self, cell: SheetCell, found: str, mend: str) -> None:
        """Note a problem at a cell; `found` follows the noun of the column."""
        self.findings.refuse(self.table, cell.address, found=f"{self.field.noun} {found}", mend=mend)


class _Marks(Struct, frozen=True, kw_only=True):
    """What settles a number that can be read two ways, outside its own column."""

    said: DecimalMark | None
    elsewhere: frozenset[DecimalMark]
    semicolons: bool


def number_columns(known: KnownTable, findings: Noted) -> list[NumberColumn]:
    """The filled number columns of a table."""
    return [
        NumberColumn(
            table=known.table,
            field=field,
            cells=tuple(cell for entry in known.entries if (cell := entry.cell(attribute)) is not None),
            findings=findings,
        )
        for attribute, field in known.columns.items()
        if field.is_number
    ]


def read_numbers(columns: Sequence[NumberColumn], decimal: DecimalMark | None) -> Numbers:
    """Read every number column of an input.

    Parameters
    ----------
    columns : sequence of NumberColumn
        All of them, since one may settle another.
    decimal : "comma", "point" or None
        The decimal mark that the call names.

    Returns
    -------
    dict
        The decimal of each cell that holds one; a refused cell is absent.
    """
    typed = [_typed(column) for column in columns]
    proofs: dict[str, set[DecimalMark]] = {}
    for column, texts in zip(columns, typed, strict=True):
        proofs.setdefault(column.table.file, set()).update(one.mark for _, one in texts if one.mark)
    numbers: Numbers = {}
    for column, texts in zip(columns, typed, strict=True):
        table = column.table
        marks = _Marks(said=decimal, elsewhere=frozenset(proofs[table.file]), semicolons=column.table.separator == ";")
        for cell, value in [*_stored(column), *_settled(column, texts, marks)]:
            if _fits(column, cell, value):
                number = value.scaleb(column.field.power) if column.field.power else value
                numbers[table.file, table.sheet, cell.address] = number
    return numbers


def _typed(column: NumberColumn) -> list[tuple[SheetCell, Typed]]:
    """The text cells that stand for a number in the unit of the column."""
    found: list[tuple[SheetCell, Typed]] = []
    field = column.field
    for cell in column.cells:
        if cell.kind is not CellKind.TEXT:
            continue
        shown = cell.text.strip()
        try:
            one = written(cell.text)
        except NotANumberError as error:
            mend = f"Type it in digits, for example {error.example or field.example}"
            column.refuse(cell, f'"{shown}" is not a number ({error})', mend)
            continue
        if one.unit and SPELLED_OUT.get(one.unit, one.unit) != field.unit:
            is_in = f"is in {field.unit}" if field.unit else "has no unit"
            mend = f"Type it without a unit, for example {_converted(one, field)}"
            column.refuse(cell, f'"{shown}" is in {one.unit}, but the column "{field.heading}" {is_in}', mend)
            continue
        found.append((cell, one))
    return found


def _converted(one: Typed, field: Field) -> str:
    """The value in the unit of the column, to show what would be accepted."""
    powers = {("mg", "g"): -3, ("g", "mg"): 3, ("kg", "g"): 3, ("kg", "mg"): 6}
    value = one.with_comma if one.mark == "comma" else one.with_point
    if value is None or (one.unit, field.unit) not in powers:
        return field.example
    return f"{value.scaleb(powers[one.unit, field.unit]):f}"


def _stored(column: NumberColumn) -> list[tuple[SheetCell, Decimal]]:
    """The cells that the file stores as numbers; other kinds are refused, each with its reason."""
    found: list[tuple[SheetCell, Decimal]] = []
    for cell in column.cells:
        if cell.number is not None and cell.kind is CellKind.NUMBER:
            found.append((cell, cell.number))
        elif cell.number is not None and cell.kind is CellKind.PERCENT and column.field.unit == "%":
            found.append((cell, cell.number.scaleb(2)))
        elif cell.kind is not CellKind.TEXT:
            column.refuse(cell, *_no_number(cell, column.field))
    return found


def _no_number(cell: SheetCell, field: Field) -> tuple[str, str]:
    """Why a cell that is neither text nor a number of this column cannot be used, and how to mend it."""
    again = f"Format the cell as a number and type the {field.noun} again, for example {field.example}"
    if cell.kind is CellKind.PERCENT and cell.number is not None:
        shown = f"{cell.number:f}, shown as {cell.number.scaleb(2):f} %"
        return f"is {shown}: the cell is formatted in percent", again
    if cell.kind is CellKind.DATE:
        date = f"is the date {cell.text} (the number {cell.number} in a date format)"
        return f"{date}: the spreadsheet program turned what was typed into a date", again
    if cell.kind is CellKind.ERROR:
        mend = f"Mend the formula, or type the {field.noun} in digits, for example {field.example}"
        return f"is the error {cell.text}", mend
    if cell.kind is CellKind.UNSAVED:
        mend = "Open the file in the spreadsheet program and save it, so that it stores the result"
        return f"is a formula without a stored result ({cell.text})", mend
    return f"is {cell.text}, not a number", again


def _settled(
    column: NumberColumn, texts: Sequence[tuple[SheetCell, Typed]], marks: _Marks
) -> list[tuple[SheetCell, Decimal]]:
    """The decimals of the text cells, once it is known which mark is the decimal mark."""
    proof = {one.mark: cell for cell, one in reversed(texts) if one.mark}
    if len(proof) == 2:
        comma, point = proof["comma"], proof["point"]
        both = f'"{comma.text.strip()}" has a decimal comma, "{point.text.strip()}" in {point.address} a decimal point'
        column.refuse(comma, both, "Type the whole column with decimal points")
        return []
    mark = next(iter(proof)) if proof else _decided(column, texts, marks)
    if mark is None:
        return []
    shows_groups = any(one.points_group for _, one in texts)
    found: list[tuple[SheetCell, Decimal]] = []
    for cell, one in texts:
        value = one.with_comma if mark == "comma" else one.with_point
        if value is None or (_open(cell, one, ".") and mark == "comma" and not shows_groups):
            other = f'"{cell.text.strip()}" does not go with {_NAMES[mark]}, which the rest of the file has'
            column.refuse(cell, other, "Type all numbers with the same decimal mark, best a point")
        else:
            found.append((cell, value))
    return found


def _open(cell: SheetCell, one: Typed, mark: str) -> bool:
    """Whether a number can be read two ways because of this mark in it."""
    return one.mark is None and one.with_point != one.with_comma and mark in cell.text


def _decided(column: NumberColumn, texts: Sequence[tuple[SheetCell, Typed]], marks: _Marks) -> DecimalMark | None:
    """The decimal mark of a column that does not prove it, or None (and a problem) when it stays open."""
    points = [cell for cell, one in texts if _open(cell, one, ".")]
    commas = [cell for cell, one in texts if _open(cell, one, ",")]
    if marks.said or not (points or commas):
        return marks.said or "point"
    if commas and not points:
        if marks.elsewhere == {"point"} and not marks.semicolons:
            return "point"
        if marks.elsewhere == {"comma"}:
            return "comma"
        # Masses and contents in mg run to thousands, which many people group with a comma.
        if marks.semicolons and not marks.elsewhere and column.field.unit != "mg":
            _remark_on_commas(column, commas)
            return "comma"
    if points and not commas and marks.elsewhere != {"comma"}:
        return "point"
    _refuse_open(column, (commas or points)[0], more=len(points) + len(commas) - 1)
    return None


def _refuse_open(column: NumberColumn, cell: SheetCell, *, more: int) -> None:
    text = cell.text.strip()
    reading = written(text)
    first, second = reading.with_comma, reading.with_point
    if "," not in text:
        first, second = second, first
    others = f"; so can {more} more of this column" if more else ""
    mend = f"Type {first} if that is meant, or give --decimal comma or --decimal point"
    column.refuse(cell, f'"{text}" can be read two ways, {first} or {second}{others}', mend)


def _remark_on_commas(column: NumberColumn, commas: Sequence[SheetCell]) -> None:
    first = commas[0]
    text = first.text.strip()
    like = " and the like below it were" if len(commas) > 1 else " was"
    column.findings.remark(
        column.table,
        first.address,
        f'"{text}"{like} read with a decimal comma, as {written(text).with_comma}, because semicolons separate the '
        "fields; give --decimal point if the comma groups thousands.",
    )


def _fits(column: NumberColumn, cell: SheetCell, value: Decimal) -> bool:
    """Whether a number can be what its column says; refused otherwise."""
    field, shown = column.field, _as_it_stands(cell, value)
    fewest = 0 if field.zero else 1
    unit = f" {field.unit}" if field.unit else ""
    if field.holds is Holds.WHOLE and (value != value.to_integral_value() or value < fewest):
        found, mend = f"{shown} is not a whole number from {fewest} up", "Type a whole number"
    elif value < 0:
        found, mend = f"{shown} is negative", "Type what was measured"
    elif value == 0 and not field.zero:
        column.refuse(cell, "is 0", f"Type the {field.noun}, for example {field.example}, or leave the cell empty")
        return False
    elif field.plausible is not None and not field.plausible.holds(value):
        found, mend = f"{shown}{unit} is not plausible: {field.plausible}{unit} is", "Type it again"
    else:
        return True
    column.refuse(cell, found, f"{mend}, for example {field.example}")
    return False


def _as_it_stands(cell: SheetCell, value: Decimal) -> str:
    """A number as it was typed; a stored one in digits, or with a power of ten where the digits would fill a line."""
    if cell.kind is CellKind.TEXT:
        return cell.text.strip()
    digits = f"{value:f}"
    return digits if len(digits) <= LONGEST_DIGITS else f"{value.normalize():e}"
