"""In which unit of mass a table was weighed, with which decimal mark, and how that is known."""

from __future__ import annotations

from decimal import Decimal
from statistics import median

from msgspec import Struct

from qc.fields.field import Plausible
from qc.fields.words import MassUnit, heading_of
from qc.readers.cells import CellKind, Noted
from qc.readers.finding.candidate import Candidate
from qc.readers.finding.could_be import first_used
from qc.readers.finding.view import is_open, measure_in, read_by
from qc.readers.options import DecimalMark, ReadOptions, ready

UNITS: tuple[MassUnit, ...] = ("g", "mg")


class WeighedIn(Struct, frozen=True, kw_only=True):
    """The unit of mass of a table.

    Parameters
    ----------
    unit : "g" or "mg"
    known_by : str
        "heading", "cells", "title", "call", or "size": the one unit in which the dosage form could weigh that much.
    decimal : "comma", "point" or None
        The decimal mark of masses that can be read two ways, where only one of them is a mass; None otherwise.
    """

    unit: MassUnit
    known_by: str
    decimal: DecimalMark | None = None


def weighed_in(candidate: Candidate, options: ReadOptions, plausible: Plausible, findings: Noted) -> WeighedIn | None:
    """The unit of mass; None (and a problem) where it is open, or where no unit of the form could weigh that much."""
    in_cells = {measure for cell in candidate.masses if (measure := measure_in(cell))}
    ways = [
        ("heading", {candidate.measure} - {""}),
        ("cells", in_cells),
        ("title", _titles(candidate)),
        ("call", {str(options.mass_unit)} if options.mass_unit else set()),
    ]
    known_by, said = next(((way, units) for way, units in ways if units), ("size", set[str]()))
    stated = set().union(*(units for way, units in ways if way != "title" or known_by == "title"))
    where, table = candidate.where, candidate.table
    if len(stated) > 1:
        found = f"the masses are said to be in {' and in '.join(sorted(stated))}"
        mend = "Give all of them in one unit of mass" + ("; leave out --mass-unit" if options.mass_unit else "")
        findings.refuse(table, where, found=found, mend=mend)
        return None
    middles = {mark: _middle(candidate, mark) for mark in _marks(candidate, options)}
    fitting = [
        WeighedIn(unit=unit, known_by=known_by, decimal=mark)
        for mark, middle in middles.items()
        for unit in UNITS
        if plausible.floor <= middle.scaleb(0 if unit == "g" else -3) <= plausible.ceiling
    ]
    # 2.013 g and 2013 mg are one mass, so that it makes no difference which of the two readings is taken.
    if (weighed := next((one for one in fitting if not said or one.unit in said), None)) is not None:
        return weighed
    stands = f"{_middle(candidate, options.decimal):f} {next(iter(said), '')}".strip()
    found = f"the median mass {stands} is not plausible: {plausible} g is"
    mend = "Write the unit of mass in the heading, Mass (g) or Mass (mg)"
    thousand = _middle(candidate, "comma").scaleb(0 if "g" in said else -3)
    if said and not options.decimal and plausible.floor <= thousand <= plausible.ceiling:
        mend = f"Give {ready(options, '--decimal comma')} if its points part the thousands"
    if "call" in known_by and fitting:
        mend = f"Give {ready(options, f'--mass-unit {fitting[0].unit}')}"
    findings.refuse(table, where, found=found, mend=mend)
    return None


def _marks(candidate: Candidate, options: ReadOptions) -> list[DecimalMark | None]:
    """The decimal marks that are to be tried: two where every mass that shows a comma can be read two ways."""
    if options.decimal:
        return [options.decimal]
    commas = [cell for cell in candidate.masses if cell.kind is CellKind.TEXT and "," in cell.text]
    return ["comma", "point"] if commas and all(map(is_open, commas)) else [None]


def _middle(candidate: Candidate, mark: DecimalMark | None) -> Decimal:
    return median(read_by(cell, mark) or Decimal(0) for cell in candidate.masses)


def _titles(candidate: Candidate) -> set[str]:
    """Units of mass that titles over the table state for all masses: "Weights in mg"."""
    first = first_used(candidate.view, candidate.used)
    headings = [
        heading_of(cell.typed)
        for row, cells in candidate.view.rows.items()
        for cell in cells.values()
        if row < first and cell.kind is CellKind.TEXT and cell.address not in candidate.used
    ]
    return {one.measure for one in headings if one is not None and one.attribute == "mass_g" and one.measure}
