"""Options as their help shows them, those that several commands share, and how their values are read."""

from __future__ import annotations

import re
from collections.abc import Mapping
from decimal import Decimal
from typing import Annotated, Any, TypeVar

import typer

from qc.fields.words import MassUnit
from qc.problems import RefusedCall
from qc.readers.options import DecimalMark, RowOrder

ROW_ORDERS: Mapping[str, RowOrder] = {"pour": "pour", "weighing": "weighing", "both": "both"}
MASS_UNITS: Mapping[str, MassUnit] = {"g": "g", "mg": "mg"}
DECIMAL_MARKS: Mapping[str, DecimalMark] = {"comma": "comma", "point": "point"}
_DIGITS = re.compile(r"[+-]?([0-9]+(\.[0-9]*)?|\.[0-9]+)")
_Value = TypeVar("_Value")


def option(written: str, help: str, *, least: int | None = None) -> Any:
    """An option as it is written in a call, `--sd PERCENT`; one without a value is a switch, `--replace`."""
    name, _, value = written.partition(" ")
    return typer.Option(name, metavar=value or None, help=help, min=least)


def argument(written: str, help: str) -> Any:
    """An argument under the name that its help gives it."""
    return typer.Argument(metavar=written, help=help)


SheetOption = Annotated[str | None, option("--sheet NAME", "The sheet with the units, where several could be it.")]
MassUnitOption = Annotated[str | None, option("--mass-unit g|mg", "Unit of mass, where the file states none.")]
OrderOption = Annotated[str | None, option("--order pour|weighing|both", "As what the rows of the units stand.")]
BatchOption = Annotated[str | None, option("--batch NUMBER", "The batch to be judged, where a column names several.")]
DecimalOption = Annotated[str | None, option("--decimal comma|point", "Decimal mark of numbers typed as text.")]


def chosen(name: str, given: str, known: Mapping[str, _Value]) -> _Value:
    """What a word of an option stands for; a word that is not known is refused with those that are."""
    if given not in known:
        raise RefusedCall(f'{name} "{given}" is not known', f"Give {' or '.join(known)}")
    return known[given]


def decimal_mark(given: str | None) -> DecimalMark | None:
    """The mark that `--decimal` names."""
    return None if given is None else chosen("--decimal", given, DECIMAL_MARKS)


def row_order(given: str | None) -> RowOrder | None:
    """The order in which the rows stand that `--order` names."""
    return None if given is None else chosen("--order", given, ROW_ORDERS)


def mass_unit(given: str | None) -> MassUnit | None:
    """The unit of mass that `--mass-unit` names."""
    return None if given is None else chosen("--mass-unit", given, MASS_UNITS)


def above_zero(name: str, given: str, *, example: str) -> Decimal:
    """The number of an option, as typed; one that is no number, or not above 0, is refused with an example."""
    mend = f"Give a number above 0 with a decimal point, for example {example}"
    if not _DIGITS.fullmatch(given.strip()):
        raise RefusedCall(f'{name} "{given}" is not a number', mend)
    number = Decimal(given.strip())
    if number <= 0:
        raise RefusedCall(f'{name} "{given}" is not above 0', mend)
    return number
