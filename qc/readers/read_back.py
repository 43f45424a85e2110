"""What is read back to the person: which cells became units, what was set aside or ignored, and figures that differ."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from decimal import Decimal
from itertools import pairwise
from statistics import fmean, median, pstdev, stdev
from typing import Literal

from msgspec import Struct
from msgspec.structs import replace

from qc.batch import ReadBack, SetAside
from qc.problems import IgnoredCells, quoted
from qc.readers.assays import CONTENTS
from qc.readers.cells import CellKind, Noted, SheetCell, areas, placed, row_of
from qc.readers.finding.figures import COMPARED, MOST_DECIMALS, figure_called
from qc.readers.finding.find import FoundTable
from qc.readers.finding.lines import NEAR, Aside
from qc.readers.finding.view import decimals_in, is_open, measure_in, number_in, read_by
from qc.readers.located import Entry, LocatedTable
from qc.readers.options import DecimalMark
from qc.readers.typed_number import written
from qc.readers.units import UnitRows

# More digits behind the point than the masses show, with which a figure of ours is written [-].
_MORE_DIGITS = 2
_Masses = dict[SheetCell, Decimal]


class _Measured(Struct, frozen=True, kw_only=True):
    """What a figure may be one of: the masses, or the contents of a column, as they stand in the table."""

    what: Literal["masses", "contents"]
    one: str
    unit: str
    values: _Masses
    letter: str = ""


def read_back(units: LocatedTable, rows: UnitRows, found: FoundTable | None, findings: Noted) -> ReadBack:
    """What was read as the units; a mean, SD or count of the file that differs from ours gives a notice.

    Parameters
    ----------
    units : LocatedTable
        The table of units.
    rows : UnitRows
        The units that were read from it.
    found : FoundTable or None
        How it was found.
    findings : Noted
        With the notices of all that was ignored.
    """
    table = units.table
    power = units.columns["mass_g"].power if units.has("mass_g") else 0
    masses = {
        cell: unit.mass_g.scaleb(-power)
        for unit, entry in rows
        if unit.mass_g is not None and (cell := entry.cell("mass_g")) is not None
    }
    names = [cell for _, entry in rows if (cell := entry.cell("name")) is not None]
    weighed = [unit.name for unit, _ in rows if unit.mass_g is not None or unit.weighed_again_g is not None]
    mark, entries = _decimal_mark(masses), [entry for _, entry in rows]
    held = [
        _Measured(what="masses", one="mass", unit="mg" if power else "g", values=masses),
        *_contents(units, entries),
    ]
    asides = found.asides if found else ()
    set_aside = [one for aside in asides for one in _set_aside(aside, units, held, mark=mark, findings=findings)]
    for aside in asides:
        _refuse_unit(aside, asides, entries, units)
    # A title over the table is a heading too.
    known_by = found.weighed.known_by if found and found.weighed.known_by != "title" else "heading"
    notes = found.notes if found else ()
    ignored = [one.ignored for one in findings.notices if one.ignored is not None]
    if notes:
        ignored.append(IgnoredCells(cells=areas(table, notes), what="text"))
    here = placed(table, "") + "!"
    return ReadBack(
        sheet=table.sheet,
        cells=areas(table, list(masses) or names),
        units=len(rows),
        mass_unit=("mg" if power else "g") if masses else None,
        mass_unit_known_by=known_by if masses else None,
        decimal=mark,
        ends=(*weighed[:1], *weighed[-1:]),
        numbered=found is not None and found.numbered,
        set_aside=tuple(set_aside),
        ignored=tuple(replace(one, cells=one.cells.removeprefix(here)) for one in ignored),
    )


def _decimal_mark(masses: _Masses) -> DecimalMark | None:
    """The decimal mark of masses that were typed with a comma, or that can be read two ways."""
    for cell, value in masses.items():
        if cell.kind is not CellKind.TEXT:
            continue
        text = written(cell.text)
        if "," in cell.text and text.with_comma != text.with_point and text.with_comma == value:
            return "comma"
        if is_open(cell):
            return "point"
    return None


def _contents(units: LocatedTable, entries: Sequence[Entry]) -> Iterator[_Measured]:
    """The contents beside the masses."""
    for name in (name for name in CONTENTS if name in units.letters):
        cells = {cell: entry.value(name) for entry in entries if (cell := entry.cell(name)) is not None}
        values = {cell: value for cell, value in cells.items() if isinstance(value, Decimal)}
        unit = "mg" if name == "content_mg" else "%"
        yield _Measured(what="contents", one="content", unit=unit, values=values, letter=units.letters[name])


def _set_aside(
    aside: Aside,
    units: LocatedTable,
    held: Sequence[_Measured],
    *,
    mark: DecimalMark | None,
    findings: Noted,
) -> list[SetAside]:
    """What was set aside: once for each number that is not ours, or that is held against nothing; else once in all."""
    cells = [cell for cell in aside.cells if number_in(cell) is not None and cell.shown != aside.label]
    masses, *contents = held
    # A figure of the contents is held against no mass.
    told = [(cell, one) for one in contents for cell in cells if cell.address.rstrip("0123456789") == one.letter]
    cells = [cell for cell in cells if cell not in [other for other, _ in told]]
    columns, rows = {cell.column for cell in masses.values}, set(map(row_of, masses.values))
    among = [cell for cell in cells if cell.column in columns]
    told = [
        *((cell, masses) for cell in among or [cell for cell in cells if row_of(cell) in rows] or cells[:1]),
        *told,
    ]
    words = [cell for cell in aside.cells if cell not in cells and cell not in [one for one, _ in told]]
    parts = []
    for cell, measured in told:
        ours = _compare(aside, cell, measured, units, mark=mark, findings=findings)
        if ours is not None or aside.kind not in COMPARED:
            where, of = aside.cells if len(told) == 1 else (*words, cell), measured.what
            parts.append(
                SetAside(cells=areas(units.table, where), what=aside.label, value=read_by(cell, mark), ours=ours, of=of)
            )
    first = read_by(told[0][0], mark) if told else None
    return parts or [SetAside(cells=areas(units.table, aside.cells), what=aside.label, value=first)]


def _compare(
    aside: Aside,
    cell: SheetCell,
    measured: _Measured,
    units: LocatedTable,
    *,
    mark: DecimalMark | None,
    findings: Noted,
) -> Decimal | None:
    """A notice for a figure of the file that is not ours to its last digit, and that figure of ours.

    It is held against all numbers of its kind, those of its column and those of its row: a block may have its own mean.
    """
    theirs, every = read_by(cell, mark), measured.values
    if aside.kind not in COMPARED or theirs is None:
        return None
    decimals, unit = decimals_in(cell), measured.unit
    half = Decimal("0.5000001").scaleb(-min(decimals, MOST_DECIMALS))
    if aside.kind != "count" and {measure_in(cell), unit} == {"g", "mg"}:
        step = 3 if unit == "mg" else -3
        theirs, half = theirs.scaleb(step), half.scaleb(step)
    groups = [
        [value for one, value in every.items() if one.column == cell.column],
        [value for one, value in every.items() if row_of(one) == row_of(cell)],
        list(every.values()),
    ]
    ours = [(_worked_out(aside.kind, group), len(group)) for group in groups if len(group) > 1]
    if not ours or any(abs(Decimal(repr(figure)) - theirs) <= half for figure, _ in ours):
        return None
    figure, count = ours[0]
    mine: Decimal | None
    if aside.kind == "count":
        said, mine = f"says that there are {theirs.normalize():f} {measured.what}", Decimal(count)
        said += f", and {count} were read"
    else:
        digits = min(max(map(decimals_in, every)) + _MORE_DIGITS, MOST_DECIMALS)
        digits = digits if abs(Decimal(repr(figure)) - theirs) > Decimal(1).scaleb(-digits) else MOST_DECIMALS
        shown = f"{theirs:f}" if decimals <= digits else f"{theirs:.{digits}f}"
        word = aside.kind.upper() if aside.kind == "sd" else aside.kind
        mine = Decimal(f"{figure:.{digits}f}")
        said = f"is {shown} {unit}, and the {word} of the {count} {measured.what} read is {figure:.{digits}f} {unit}"
    why = f": see whether a {measured.one} was changed or missed"
    if aside.kind == "sd" and any(
        abs(Decimal(repr(pstdev(map(float, one)))) - theirs) <= half for one in groups if one
    ):
        why, mine = "; it is divided by n, not by n - 1", None
    findings.remark(units.table, cell.address, f'The figure beside "{aside.label}" {said}{why}.')
    return mine


def _refuse_unit(aside: Aside, asides: Sequence[Aside], entries: Sequence[Entry], units: LocatedTable) -> None:
    """Refuse to set aside what weighs, or holds, as much as a unit and is no figure of the units that it could be.

    Among the units, and under a single letter with no other figure, a word may be an illegible name or the sign of a
    balance. What is printed with most units (the gross mass, the tare) is none of them.
    """
    alike = sum(one.label == aside.label for one in asides)
    short = len(aside.label.strip(" :=.")) == 1 and not any(one.kind in COMPARED for one in asides if one is not aside)
    measured = {
        name: [cell for entry in entries if (cell := entry.cell(name)) and number_in(cell) is not None]
        for name in ("mass_g", *CONTENTS)
    }
    for name, cells in measured.items():
        columns, rows = {cell.column for cell in cells}, set(map(row_of, cells))
        values = [number for cell in cells if (number := number_in(cell)) is not None]
        middle = median(values) if cells and 2 * alike <= len(cells) else Decimal(0)
        for cell in aside.cells if middle else ():
            value = number_in(cell)
            if value is None or not (cell.column in columns or (name == "mass_g" and row_of(cell) in rows)):
                continue
            along = [row_of(one) for one in cells if one.column == cell.column]
            across = [one.column for one in cells if row_of(one) == row_of(cell)]
            inside = any(
                line and min(line) < at < max(line) for line, at in ((along, row_of(cell)), (across, cell.column))
            )
            above = [one for one in cells if one.column == cell.column and row_of(one) < row_of(cell)]
            is_figure = any(figure_called(cell, group) for group in (cells, above, _block(above)))
            if (inside or short) and not is_figure and middle / NEAR <= value <= NEAR * middle:
                found = f"{quoted(aside.label)} with the number {cell.quoted} is as much as a unit "
                found += "weighs" if name == "mass_g" else "holds"
                mend = "Give it the name of its unit if it is one; if not, write what it is above or below all units"
                units.refuse_at(cell.address, f"{found}, and no figure of the others", mend)


def _block(cells: Sequence[SheetCell]) -> list[SheetCell]:
    """The last of cells of one column that stand one below the other."""
    rows = sorted(cells, key=row_of)
    first = max((at for at, (one, after) in enumerate(pairwise(rows), 1) if row_of(after) - row_of(one) > 1), default=0)
    return rows[first:]


def _worked_out(kind: str, values: Sequence[Decimal]) -> float:
    floats = [float(value) for value in values]
    worked_out: dict[str, Callable[[list[float]], float]] = {
        "mean": fmean,
        "sd": stdev,
        "count": len,
        "least": min,
        "greatest": max,
    }
    return float(worked_out[kind](floats))
