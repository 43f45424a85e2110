"""The figures of a file, its own mean or count, held against what was read; limits and the like are told by value."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from decimal import Decimal
from functools import partial
from statistics import fmean, pstdev, stdev
from typing import Literal

from msgspec import Struct

from qc.batch import SetAside
from qc.fields.remarks import may_tell
from qc.fields.words import plain_words, words_known
from qc.readers.assays import CONTENTS
from qc.readers.cells import Noted, SheetCell, SheetTable, areas, row_of
from qc.readers.finding.figures import (
    ABOUT_THE_MEAN,
    COMPARED,
    FEWEST_TO_COMPARE,
    MOST_DECIMALS,
    figure_called,
    last_block,
)
from qc.readers.finding.lines import Aside
from qc.readers.finding.view import decimals_in, measure_in, number_in, read_by
from qc.readers.located import Entry, LocatedTable
from qc.readers.options import DecimalMark

# With fewer decimals a number is a limit about the mean by chance.
FEWEST_OF_A_LIMIT = 2
# More digits behind the point than the masses show, with which a figure of ours is written [-].
_MORE_DIGITS = 2


class ReadNumbers(Struct, frozen=True, kw_only=True):
    """What a figure may be one of: the masses, or the contents of a column, as they stand in the table."""

    what: Literal["masses", "contents"]
    one: str
    unit: str
    values: dict[SheetCell, Decimal]
    letter: str = ""


def contents_in(units: LocatedTable, entries: Sequence[Entry]) -> Iterator[ReadNumbers]:
    """The contents beside the masses."""
    for name in (name for name in CONTENTS if name in units.letters):
        cells = {cell: entry.value(name) for entry in entries if (cell := entry.cell(name)) is not None}
        values = {cell: value for cell, value in cells.items() if isinstance(value, Decimal)}
        unit = "mg" if name == "content_mg" else "%"
        yield ReadNumbers(what="contents", one="content", unit=unit, values=values, letter=units.letters[name])


def held_against(
    aside: Aside, table: SheetTable, held: Sequence[ReadNumbers], *, mark: DecimalMark | None, findings: Noted
) -> list[SetAside]:
    """What was set aside: once for each number that is not ours, or that is held against nothing; else once in all.

    Parameters
    ----------
    aside : Aside
    table : SheetTable
        On which it stands.
    held : sequence of ReadNumbers
        The masses or contents read on that sheet, first those that a number of no column of theirs belongs to.
    mark : str or None
        The decimal mark of the masses.
    findings : Noted
        Gets a notice for each figure that is not ours.
    """
    numbers = [cell for cell in aside.cells if number_in(cell) is not None and cell.shown != aside.label]
    letters = {one.letter: one for one in held[1:]}
    # A figure of the contents is held against no mass.
    of_others = [(cell, letters[letter]) for cell in numbers if (letter := _letter(cell)) in letters]
    rest = [cell for cell in numbers if _letter(cell) not in letters]
    columns, rows = {cell.column for cell in held[0].values}, set(map(row_of, held[0].values))
    among = [cell for cell in rest if cell.column in columns] or [cell for cell in rest if row_of(cell) in rows]
    every = [*((cell, held[0]) for cell in among or rest[:1]), *of_others]
    told = [(cell, of) for cell, of in every if not _is_known(cell, of, table, aside)]
    words = [cell for cell in aside.cells if cell not in numbers]
    parts = []
    for cell, measured in told:
        ours = _compare(aside, cell, measured, table, mark=mark, findings=findings)
        if ours is not None or aside.kind not in COMPARED:
            where = areas(table, aside.cells if len(every) == 1 else (*words, cell))
            # A gross mass may be typed with another mark than the masses.
            value = read_by(cell, mark if aside.kind in COMPARED else None)
            parts.append(SetAside(cells=where, what=aside.label, value=value, ours=ours, of=measured.what))
    first = read_by(told[0][0], mark) if told else None
    beside = " ".join(cell.shown for cell in words if cell.shown != aside.label)
    said = beside if not every and may_tell(f"{aside.label} {beside}") else ""
    # A remark among the rows says all that it is.
    # "..." stands for units that are not there.
    # "Mean of 3 each" is more than the word for a figure.
    long = aside.kind == "reference" and len(plain_words(aside.label)) > 2
    tells = may_tell(aside.label) or not aside.label.strip(" .\u2026")
    remark = not (every or said) and (long or (not aside.kind and tells))
    what, said = ("", aside.label) if remark else (aside.label, said)
    return parts or [SetAside(cells=areas(table, aside.cells), what=what, value=first, of=held[0].what, said=said)]


def _is_known(cell: SheetCell, measured: ReadNumbers, table: SheetTable, aside: Aside) -> bool:
    """Whether a number is a limit about the mean of what was measured, or a figure of another column beside it."""
    own, rows = list(measured.values), set(map(row_of, measured.values))
    column = (row.cells.get(cell.column) for row in table.rows if row.number in rows)
    beside = [one for one in column if one is not None and number_in(one) is not None and one is not cell]
    if cell.column not in {one.column for one in own} and len(beside) >= FEWEST_TO_COMPARE:
        return figure_called(cell, beside) not in ("", *ABOUT_THE_MEAN)
    # A mean that is off by so much is no limit.
    limit = aside.kind not in COMPARED and not words_known().remark.figure.isdisjoint(plain_words(aside.label))
    return limit and decimals_in(cell) >= FEWEST_OF_A_LIMIT and figure_called(cell, own) in ABOUT_THE_MEAN


def _letter(cell: SheetCell) -> str:
    return cell.address.rstrip("0123456789")


def _compare(
    aside: Aside,
    cell: SheetCell,
    measured: ReadNumbers,
    table: SheetTable,
    *,
    mark: DecimalMark | None,
    findings: Noted,
) -> Decimal | None:
    """A notice for a figure of the file that is not ours to its last digit, and that figure of ours.

    It is held against all numbers of its kind, those of its column and those of its row, and of those of its column
    against all above it and the last that stand together: a block, or a part of a list, may have its own mean.
    """
    theirs, every = read_by(cell, mark), measured.values
    if aside.kind not in COMPARED or theirs is None:
        return None
    decimals, unit = decimals_in(cell), "%" if aside.kind == "rsd" else measured.unit
    half = Decimal("0.5000001").scaleb(-min(decimals, MOST_DECIMALS))
    if aside.kind != "count" and {measure_in(cell), unit} == {"g", "mg"}:
        step = 3 if unit == "mg" else -3
        theirs, half = theirs.scaleb(step), half.scaleb(step)
    column = [one for one in every if one.column == cell.column]
    above = [one for one in column if row_of(one) < row_of(cell)]
    row = [one for one in every if row_of(one) == row_of(cell)]
    groups = [[every[one] for one in cells] for cells in (column, row, every, above, last_block(above))]
    ours = [(_worked_out(aside.kind, group), len(group)) for group in groups if len(group) > 1]
    # A total may be one of units, and an RSD may be given as a fraction.
    counts = aside.kind == "sum" and any(theirs == count for _, count in ours)
    hundredfold = aside.kind == "rsd" and any(_is_near(figure, 100 * theirs, 100 * half) for figure, _ in ours)
    if not ours or counts or hundredfold or any(_is_near(figure, theirs, half) for figure, _ in ours):
        return None
    # A count below a grid is of all its columns.
    figure, count = max(ours) if aside.kind == "count" else ours[0]
    mine: Decimal | None
    if aside.kind == "count":
        said, mine = f"says that there are {theirs.normalize():f} {measured.what}", Decimal(count)
        said += f", and {count} were read"
    else:
        digits = min(max(map(decimals_in, every)) + _MORE_DIGITS, MOST_DECIMALS)
        digits = digits if abs(Decimal(repr(figure)) - theirs) > Decimal(1).scaleb(-digits) else MOST_DECIMALS
        shown = f"{theirs:f}" if decimals <= digits else f"{theirs:.{digits}f}"
        word = aside.kind.upper() if aside.kind in ("sd", "rsd") else aside.kind
        mine = Decimal(f"{figure:.{digits}f}")
        said = f"is {shown} {unit}, and the {word} of the {count} {measured.what} read is {figure:.{digits}f} {unit}"
    why = f": see whether a {measured.one} was changed or missed"
    by_count = f"{aside.kind} by n"
    if by_count in _WORKED_OUT and any(_is_near(_worked_out(by_count, one), theirs, half) for one in groups if one):
        why, mine = "; it is divided by n, not by n - 1", None
    findings.remark(table, cell.address, f'The figure beside "{aside.label}" {said}{why}.')
    return mine


def _is_near(figure: float, theirs: Decimal, half: Decimal) -> bool:
    return abs(Decimal(repr(figure)) - theirs) <= half


def _rsd(values: list[float], sd: Callable[[list[float]], float]) -> float:
    return 100 * sd(values) / fmean(values) if fmean(values) else 0.0


_WORKED_OUT: dict[str, Callable[[list[float]], float]] = {
    "mean": fmean,
    "sum": sum,
    "sd": stdev,
    "sd by n": pstdev,
    "rsd": partial(_rsd, sd=stdev),
    "rsd by n": partial(_rsd, sd=pstdev),
    "count": len,
    "least": min,
    "greatest": max,
}


def _worked_out(kind: str, values: Sequence[Decimal]) -> float:
    return float(_WORKED_OUT[kind](list(map(float, values))))
