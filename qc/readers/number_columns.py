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

from qc.readers.columns import Column, Holds, Least
from qc.readers.options import DecimalMark
from qc.readers.tables import Cell, Findings, Kind, Table
from qc.readers.typed_number import NotANumberError, Written, written

Numbers = dict[tuple[str, str, str], Decimal]
"""Decimals by file, sheet and address, in the unit of the field: g for a mass, mg for a claim."""

LONGEST_DIGITS = 20

_NAMES = {"comma": "a decimal comma", "point": "a decimal point"}


class NumberColumn(Struct, frozen=True, kw_only=True):
    """The filled cells of one number column."""

    table: Table
    column: Column
    cells: tuple[Cell, ...]


class _Marks(Struct, frozen=True, kw_only=True):
    """What settles a number that can be read two ways, outside its own column."""

    said: DecimalMark | None
    elsewhere: frozenset[DecimalMark]
    semicolons: bool


def read_numbers(columns: Sequence[NumberColumn], decimal: DecimalMark | None, findings: Findings) -> Numbers:
    """Read every number column of an input.

    Parameters
    ----------
    columns : sequence of NumberColumn
        All of them, since one may settle another.
    decimal : "comma", "point" or None
        The decimal mark that the call names.
    findings : Findings

    Returns
    -------
    dict
        The decimal of each cell that holds one; a refused cell is absent.
    """
    typed = [_typed(column, findings) for column in columns]
    proofs: dict[str, set[DecimalMark]] = {}
    for column, texts in zip(columns, typed, strict=True):
        proofs.setdefault(column.table.file, set()).update(one.mark for _, one in texts if one.mark)
    numbers: Numbers = {}
    for column, texts in zip(columns, typed, strict=True):
        marks = _Marks(
            said=decimal,
            elsewhere=frozenset(proofs[column.table.file]),
            semicolons=column.table.separator == ";",
        )
        values = [*_stored(column, findings), *_settled(column, texts, marks, findings)]
        for cell, value in values:
            if _fits(column, cell, value, findings):
                in_grams = column.column.field == "mass" and column.column.unit == "mg"
                key = (column.table.file, column.table.sheet, cell.address)
                numbers[key] = value.scaleb(-3) if in_grams else value
    return numbers


def _refuse(column: NumberColumn, cell: Cell, found: str, mend: str, findings: Findings) -> None:
    findings.refuse(column.table, cell.address, found=f"{column.column.noun} {found}", mend=mend)


def _typed(column: NumberColumn, findings: Findings) -> list[tuple[Cell, Written]]:
    """The text cells that stand for a number in the unit of the column."""
    found: list[tuple[Cell, Written]] = []
    for cell in column.cells:
        if cell.kind is not Kind.TEXT:
            continue
        shown = cell.text.strip()
        try:
            one = written(cell.text)
        except NotANumberError as error:
            example = error.example or column.column.example
            _refuse(
                column,
                cell,
                f'"{shown}" is not a number ({error})',
                f"Type it in digits, for example {example}",
                findings,
            )
            continue
        if one.unit and one.unit != column.column.unit and not _spelled_out(one.unit, column.column.unit):
            is_in = f"is in {column.column.unit}" if column.column.unit else "has no unit"
            _refuse(
                column,
                cell,
                f'"{shown}" is in {one.unit}, but the column "{column.column.heading}" {is_in}',
                f"Type it without a unit, for example {_converted(one, column.column)}",
                findings,
            )
            continue
        found.append((cell, one))
    return found


def _converted(one: Written, column: Column) -> str:
    """The value in the unit of the column, to show what would be accepted."""
    powers = {("mg", "g"): -3, ("g", "mg"): 3, ("kg", "g"): 3, ("kg", "mg"): 6}
    value = one.with_comma if one.mark == "comma" else one.with_point
    if value is None or (one.unit, column.unit) not in powers:
        return column.example
    return f"{value.scaleb(powers[one.unit, column.unit]):f}"


def _spelled_out(unit: str, wanted: str) -> bool:
    return wanted == "g" and unit in ("gram", "grams")


def _stored(column: NumberColumn, findings: Findings) -> list[tuple[Cell, Decimal]]:
    """The cells that the file stores as numbers; other kinds are refused, each with its reason."""
    found: list[tuple[Cell, Decimal]] = []
    noun, example = column.column.noun, column.column.example
    for cell in column.cells:
        again = f"Format the cell as a number and type the {noun} again, for example {example}"
        if cell.kind is Kind.NUMBER and cell.number is not None:
            found.append((cell, cell.number))
        elif cell.kind is Kind.PERCENT and cell.number is not None:
            shown = cell.number.scaleb(2)
            if column.column.unit == "%":
                found.append((cell, shown))
            else:
                _refuse(
                    column,
                    cell,
                    f"is {cell.number:f}, shown as {shown:f} %: the cell is formatted in percent",
                    again,
                    findings,
                )
        elif cell.kind is Kind.DATE:
            _refuse(
                column,
                cell,
                f"is the date {cell.text} (the number {cell.number} in a date format): "
                "the spreadsheet program turned what was typed into a date",
                again,
                findings,
            )
        elif cell.kind is Kind.BOOLEAN:
            _refuse(column, cell, f"is {cell.text}, not a number", again, findings)
        elif cell.kind is Kind.ERROR:
            mend = f"Mend the formula, or type the {noun} in digits, for example {example}"
            _refuse(column, cell, f"is the error {cell.text}", mend, findings)
        elif cell.kind is Kind.UNSAVED:
            mend = "Open the file in the spreadsheet program and save it, so that it stores the result"
            _refuse(column, cell, f"is a formula without a stored result ({cell.text})", mend, findings)
    return found


def _settled(
    column: NumberColumn, texts: Sequence[tuple[Cell, Written]], marks: _Marks, findings: Findings
) -> list[tuple[Cell, Decimal]]:
    """The decimals of the text cells, once it is known which mark is the decimal mark."""
    proof = {one.mark: cell for cell, one in reversed(texts) if one.mark}
    if len(proof) == 2:
        comma, point = proof["comma"], proof["point"]
        _refuse(
            column,
            comma,
            f'"{comma.text.strip()}" has a decimal comma, "{point.text.strip()}" in {point.address} a decimal point',
            "Type the whole column with decimal points",
            findings,
        )
        return []
    open_points = [cell for cell, one in texts if _open(cell, one, ".")]
    open_commas = [cell for cell, one in texts if _open(cell, one, ",")]
    mark = _decided(column, proof, open_points, open_commas, marks, findings)
    shows_groups = any(one.points_group for _, one in texts)
    if mark is None:
        return []
    found: list[tuple[Cell, Decimal]] = []
    for cell, one in texts:
        value = one.with_comma if mark == "comma" else one.with_point
        pointed = _open(cell, one, ".") and mark == "comma" and not shows_groups
        if value is None or pointed:
            _refuse(
                column,
                cell,
                f'"{cell.text.strip()}" does not go with {_NAMES[mark]}, which the rest of the file has',
                "Type all numbers with the same decimal mark, best a point",
                findings,
            )
        else:
            found.append((cell, value))
    return found


def _open(cell: Cell, one: Written, mark: str) -> bool:
    """Whether a number can be read two ways because of this mark in it."""
    return one.mark is None and one.with_point != one.with_comma and mark in cell.text


def _decided(
    column: NumberColumn,
    proof: dict[DecimalMark, Cell],
    open_points: Sequence[Cell],
    open_commas: Sequence[Cell],
    marks: _Marks,
    findings: Findings,
) -> DecimalMark | None:
    """The decimal mark of a column, or None (and a problem) when it stays open."""
    if proof:
        return next(iter(proof))
    if not open_points and not open_commas:
        return marks.said or "point"
    if marks.said:
        return marks.said
    if open_commas and not open_points:
        if marks.elsewhere == {"point"} and not marks.semicolons:
            return "point"
        if marks.elsewhere == {"comma"}:
            return "comma"
        # Masses and contents in mg run to thousands, which many people group with a comma.
        if marks.semicolons and not marks.elsewhere and column.column.unit != "mg":
            _remark_on_commas(column, open_commas, findings)
            return "comma"
    if open_points and not open_commas and marks.elsewhere != {"comma"}:
        return "point"
    first = (open_commas or open_points)[0]
    text = first.text.strip()
    reading = written(text)
    more = len(open_points) + len(open_commas) - 1
    others = f"; so can {more} more of this column" if more else ""
    _refuse(
        column,
        first,
        f'"{text}" can be read two ways, {reading.with_comma if "," in text else reading.with_point} or '
        f"{reading.with_point if ',' in text else reading.with_comma}{others}",
        f"Type {reading.with_comma if ',' in text else reading.with_point} if that is meant, "
        "or give --decimal comma or --decimal point",
        findings,
    )
    return None


def _remark_on_commas(column: NumberColumn, commas: Sequence[Cell], findings: Findings) -> None:
    first = commas[0]
    text = first.text.strip()
    like = " and the like below it were" if len(commas) > 1 else " was"
    findings.remark(
        column.table,
        first.address,
        f'"{text}"{like} read with a decimal comma, as {written(text).with_comma}, because semicolons separate the '
        "fields; give --decimal point if the comma groups thousands.",
    )


def _fits(column: NumberColumn, cell: Cell, value: Decimal, findings: Findings) -> bool:
    """Whether a number can be what its column says; refused otherwise."""
    what = column.column
    shown = _as_it_stands(cell, value)
    fewest = 0 if what.least is Least.ZERO else 1
    if what.holds is Holds.WHOLE and (value != value.to_integral_value() or value < fewest):
        _refuse(
            column,
            cell,
            f"{shown} is not a whole number from {fewest} up",
            f"Type a whole number, for example {what.example}",
            findings,
        )
        return False
    if value < 0:
        _refuse(column, cell, f"{shown} is negative", f"Type what was measured, for example {what.example}", findings)
        return False
    if value == 0 and what.least is Least.ABOVE_ZERO:
        mend = f"Type the {what.noun}, for example {what.example}, or leave the cell empty"
        _refuse(column, cell, "is 0", mend, findings)
        return False
    if what.plausible is not None and not what.plausible.holds(value):
        unit = f" {what.unit}" if what.unit else ""
        _refuse(
            column,
            cell,
            f"{shown}{unit} is not plausible: {what.plausible.floor:f} to {what.plausible.ceiling:f}{unit} is",
            f"Type it again, for example {what.example}",
            findings,
        )
        return False
    return True


def _as_it_stands(cell: Cell, value: Decimal) -> str:
    """A number as it was typed; a stored one in digits, or with a power of ten where the digits would fill a line."""
    if cell.kind is Kind.TEXT:
        return cell.text.strip()
    digits = f"{value:f}"
    return digits if len(digits) <= LONGEST_DIGITS else f"{value.normalize():e}"
