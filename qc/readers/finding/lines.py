"""Which rows of a found table are units: a figure worked out from them, a target or a remark is none."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from statistics import fmean, median, stdev

from msgspec import Struct

from qc.fields.words import summary_of
from qc.readers.cells import SheetCell
from qc.readers.finding.view import decimals_in, number_in

FEWEST_TO_COMPARE = 3


class FoundLine(Struct, frozen=True, kw_only=True):
    """One row of a found table, before anybody decides whether it is a unit.

    Parameters
    ----------
    number : int
        Row or column in which it stands; a step of more than one is a gap.
    cells : dict
        By attribute.
    texts : tuple of SheetCell
        The texts before its mass that are under no heading of their own.
    """

    number: int
    cells: dict[str, SheetCell]
    texts: tuple[SheetCell, ...] = ()

    @property
    def mass(self) -> SheetCell | None:
        """The cell of its mass where that holds a number."""
        cell = self.cells.get("mass_g")
        return None if cell is None or number_in(cell) is None else cell

    @property
    def labels(self) -> list[SheetCell]:
        """Its name, then its other texts."""
        return [cell for cell in (self.cells.get("name"), *self.texts) if cell is not None]


class Aside(Struct, frozen=True, kw_only=True):
    """Cells that are no unit: what they are called, and the kind of figure that was recognised (or empty)."""

    cells: tuple[SheetCell, ...]
    label: str
    kind: str = ""

    @property
    def value(self) -> SheetCell | None:
        """The cell with its number, where it has one."""
        return next((cell for cell in self.cells if number_in(cell) is not None), None)


class Doubtful(Struct, frozen=True, kw_only=True):
    """A cell that may or may not be a unit, which nobody but the person who typed it can tell."""

    cell: SheetCell
    found: str
    mend: str


class Sifted(Struct, frozen=True, kw_only=True):
    """The lines of a table, parted."""

    units: tuple[FoundLine, ...]
    asides: tuple[Aside, ...]
    doubtful: tuple[Doubtful, ...]


def sifted(lines: Sequence[FoundLine]) -> Sifted:
    """Part the lines of a table into units, figures and remarks set aside, and what only a person can tell."""
    names = [line.cells["name"].typed for line in lines if "name" in line.cells and line.mass is not None]
    numbered = 2 * sum(any(one.isdigit() for one in name) for name in names) > len(names)
    units: list[FoundLine] = []
    asides: list[Aside] = []
    doubtful: list[Doubtful] = []
    for spot, line in enumerate(lines):
        label = next((cell for cell in line.labels if _heads_a_figure(cell.typed, numbered=numbered)), None)
        everything = (*line.labels, *(cell for name, cell in line.cells.items() if name != "name"))
        if label is not None:
            asides.append(Aside(cells=everything, label=label.typed, kind=summary_of(label.typed)))
        elif line.mass is None and _is_remark(line, numbered=numbered):
            asides.append(Aside(cells=everything, label=everything[0].typed if everything else ""))
        elif line.mass is not None and (doubt := _doubt(line, lines, spot, named=bool(names), numbered=numbered)):
            doubtful.append(doubt)
        else:
            units.append(line)
    return Sifted(units=tuple(units), asides=tuple(asides), doubtful=tuple(doubtful))


def _heads_a_figure(label: str, *, numbered: bool) -> bool:
    # A single letter is a figure's sign only beside units that bear numbers.
    return summary_of(label) != "" and (numbered or len(label.strip(" :=")) > 1)


def _is_remark(line: FoundLine, *, numbered: bool) -> bool:
    """Whether a row without a mass is a remark: it has no name, or one without a digit among numbered units."""
    name = line.cells.get("name")
    return name is None or (numbered and not any(one.isdigit() for one in name.typed)) or len(name.typed.split()) > 3


def _doubt(line: FoundLine, lines: Sequence[FoundLine], spot: int, *, named: bool, numbered: bool) -> Doubtful | None:
    """Why a row with a number may be no unit; None where nothing speaks against it."""
    mass, name = line.mass, line.cells.get("name")
    if mass is None:
        return None
    before = [one.mass for one in lines[:spot] if one.mass is not None]
    gap, last = line.number - lines[spot - 1].number > 1, spot == len(lines) - 1
    if name is None and (named or ((gap or last) and _equals_a_figure(mass, before, gap=gap))):
        figure = _figure_called(mass, before)
        what = f" and is {figure} of those above" if figure else ""
        found = f"{mass.quoted} stands among the masses without the name of a unit{what}"
        return Doubtful(cell=mass, found=found, mend="Name the unit, or clear the cell if it is none")
    if name is not None and named and numbered and not any(one.isdigit() for one in name.typed):
        found = f"{name.quoted} with the number {mass.quoted} stands among numbered units"
        return Doubtful(cell=name, found=found, mend="Give it a number if it is a unit, or take the row out")
    return None


def _equals_a_figure(cell: SheetCell, before: Sequence[SheetCell], *, gap: bool) -> bool:
    what = _figure_called(cell, before)
    # Any unit may be the lightest or the heaviest of all; only behind a gap is that worth a question.
    return bool(what) and (gap or what in ("the mean", "the sum"))


def _figure_called(cell: SheetCell, before: Sequence[SheetCell]) -> str:
    """Which figure of the masses before it a number is, to its last digit; empty where it is none."""
    value = number_in(cell)
    numbers = [number for one in before if (number := number_in(one)) is not None]
    if value is None or len(numbers) < FEWEST_TO_COMPARE:
        return ""
    floats = [float(number) for number in numbers]
    figures = {
        "the mean": fmean(floats),
        "the sum": sum(floats),
        "the SD": stdev(floats),
        "the least": min(floats),
        "the greatest": max(floats),
        "the median": median(floats),
    }
    half = 0.5000001 * 10.0 ** -decimals_in(cell)
    return next((name for name, figure in figures.items() if abs(figure - float(value)) <= half), "")


def differs(aside: Aside, masses: Sequence[Decimal]) -> float | None:
    """Our figure where one that stands in the file differs from it by more than its last digit; None otherwise.

    Parameters
    ----------
    aside : Aside
    masses : sequence of Decimal
        The masses that were read, in the unit of the file.
    """
    cell, numbers = aside.value, [float(mass) for mass in masses]
    if cell is None or len(numbers) < 2 or aside.kind not in ("mean", "sd", "count"):
        return None
    ours = fmean(numbers) if aside.kind == "mean" else stdev(numbers) if aside.kind == "sd" else float(len(numbers))
    theirs = float(number_in(cell) or 0)
    return None if abs(theirs - ours) <= 0.5000001 * 10.0 ** -decimals_in(cell) else ours
