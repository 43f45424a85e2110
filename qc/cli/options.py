"""Options as their help shows them, those that several commands share, and how their values are read."""

from __future__ import annotations

import inspect
import os
from collections.abc import Callable, Mapping
from datetime import date, datetime
from decimal import Decimal
from functools import partial
from typing import Annotated, Any, TypeVar

import typer
from msgspec.structs import replace

from qc.cli.words import call_again
from qc.fields.words import MassUnit
from qc.patterns import pattern
from qc.problems import Problem, RefusedCall, gathering
from qc.readers.options import DecimalMark, ReadOptions, RowOrder

ROW_ORDERS: Mapping[str, RowOrder] = {"pour": "pour", "weighing": "weighing", "both": "both"}
MASS_UNITS: Mapping[str, MassUnit] = {"g": "g", "mg": "mg"}
DECIMAL_MARKS: Mapping[str, DecimalMark] = {"comma": "comma", "point": "point"}
_DIGITS = pattern(r"[+-]?([0-9]+(\.[0-9]*)?|\.[0-9]+)")
_Value = TypeVar("_Value")


_DISPLACEMENT = "Displacement value, g of active that displaces 1 g of base; bare table."
# Where the option of a fact is not called what the fact is.
_FIELDS = {"batch_number": "batch"}


def option(written: str, help: str, *, least: int | None = None) -> Any:
    """An option as it is written in a call, `--sd PERCENT`; one without a value is a switch, `--replace`."""
    name, _, value = written.partition(" ")
    return typer.Option(name, metavar=value or None, help=help, min=least)


def argument(written: str, help: str) -> Any:
    """An argument under the name that its help gives it."""
    return typer.Argument(metavar=written, help=help)


RulesOption = Annotated[str | None, option("--rules NAME|FILE", "Rule set, rule, or house rule file (see qc rules).")]
HistoryOption = Annotated[
    str | None, option("--history STORE", "The history: a file or a database address; else what QC_HISTORY names.")
]
SecondsOption = Annotated[int, option("--seconds N", "End a batch that takes longer; it is a row then.", least=1)]
MegabytesOption = Annotated[
    int, option("--megabytes N", "End a batch that takes more memory; it is a row then.", least=200)
]
JsonOption = Annotated[
    str | None, option("--json FILE", "Write the answer for other programs; - prints it, and nothing else.")
]


def store_named(given: str | None) -> str | None:
    """The store of a call: what --history says, else what QC_HISTORY names, else none."""
    return given or os.environ.get("QC_HISTORY") or None


def chosen(name: str, given: str, known: Mapping[str, _Value]) -> _Value:
    """What a word of an option stands for; a word that is not known is refused with those that are."""
    if given not in known:
        raise RefusedCall(f'{name} "{given}" is not known', f"Give {' or '.join(known)}")
    return known[given]


def above_zero(name: str, given: str, *, example: str) -> Decimal:
    """The number of an option, as typed; one that is no number, or not above 0, is refused with an example."""
    mend = f"Give a number above 0 with a decimal point, for example {example}"
    if not _DIGITS.fullmatch(given.strip()):
        raise RefusedCall(f'{name} "{given}" is not a number', mend)
    number = Decimal(given.strip())
    if number <= 0:
        raise RefusedCall(f'{name} "{given}" is not above 0', mend)
    return number


def calendar_day(name: str, given: str) -> None:
    """Refuse what is no day of the calendar, written year first."""
    try:
        fits = date.fromisoformat(given).isoformat() == given
    except ValueError:
        fits = False
    if not fits:
        raise RefusedCall(f'{name} "{given}" is no day', "Give it year first, for example 2026-03-02")


def point_in_time(given: str) -> datetime:
    """The time that `--at` names, by the clock of this machine where it does not say by which."""
    try:
        moment = datetime.fromisoformat(given.strip())
        return moment if moment.tzinfo else moment.astimezone()
    except (ValueError, OverflowError, OSError):
        found = f'--at "{given}" is no point in time'
        raise RefusedCall(found, "Give day and time, for example 2026-11-26T14:03") from None


def as_said(name: str, given: str) -> str:
    """A value that is taken as it was given."""
    return given


def _ranges(name: str, given: list[str]) -> tuple[str, ...]:
    """The ranges of cells that an option names, parted by commas and given as often as it takes."""
    return tuple(one.strip() for said in given for one in said.split(",") if one.strip())


_FACTS: Mapping[str, tuple[str, str, Callable[..., Any]]] = {
    "form": ("--form FORM", "Dosage form, for a bare table.", as_said),
    "label_mg": ("--label-mg MG", "Label claim in mg, where no active is named.", partial(above_zero, example="250")),
    "displacement": ("--displacement F", _DISPLACEMENT, partial(above_zero, example="1.5")),
    "decimal": (
        "--decimal comma|point",
        "Decimal mark of numbers that are text.",
        partial(chosen, known=DECIMAL_MARKS),
    ),
    "sheet": ("--sheet NAME", "The sheet with the units, where several could be it.", as_said),
    "order": ("--order pour|weighing|both", "As what the rows of the units stand.", partial(chosen, known=ROW_ORDERS)),
    "mass_unit": ("--mass-unit g|mg", "Unit of mass, where the file states none.", partial(chosen, known=MASS_UNITS)),
    "ignore": ("--ignore CELLS", "Cells to leave out of account, parted by commas.", _ranges),
    "batch_number": ("--batch NUMBER", "The batch to be judged, where a column names several.", as_said),
}
"""The facts that a call may say of its input: by parameter, its option with its help, and how its value is read."""


_KINDS: Mapping[str, Any] = {"ignore": list[str] | None}
"""What stands for a fact in the call, where that may be given several times."""


def takes_facts(*names: str) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """A command that takes these facts of its input besides, all where none is named; `read_options` reads them."""

    def taking(command: Callable[..., None]) -> Callable[..., None]:
        signature = inspect.signature(command, eval_str=True)
        own = [one for one in signature.parameters.values() if one.kind is not one.VAR_KEYWORD]
        facts = [
            own[0].replace(name=name, default=None, annotation=Annotated[_KINDS.get(name, str | None), told])
            for name in names or _FACTS
            for told in [option(*_FACTS[name][:2])]
        ]
        vars(command)["__signature__"] = signature.replace(parameters=[*own, *facts])
        return command

    return taking


def read_options(context: typer.Context, refused: list[Problem], **given: str | None) -> ReadOptions:
    """What a call says of its input; what is wrong with it is added to `refused`.

    Parameters
    ----------
    context : typer.Context
    refused : list of Problem
    **given : str or None
        A parameter that the command spells otherwise, as it is to be read.
    """
    options = ReadOptions(command=call_again(context))
    for parameter, (written, _, read) in _FACTS.items():
        said = given[parameter] if parameter in given else context.params.get(parameter)
        if said is not None:
            with gathering(refused):
                options = replace(options, **{_FIELDS.get(parameter, parameter): read(written.split()[0], given=said)})
    return options
