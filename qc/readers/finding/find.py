"""From the sheets of a file to the one table of weights, or what is to be added so that it can be told.

A sheet is searched for tables under headings, upright and on its side; then for the lines that a balance prints; then
for a grid or a list without headings. One table in the whole file is read, several only where they are the moulds of
one batch; otherwise the call has to say which.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from statistics import median

from msgspec import Struct

from qc.fields.field import Field, Plausible, plain
from qc.fields.sheets import BARE_UNITS
from qc.fields.words import heading_of
from qc.problems import quoted
from qc.readers.cells import CellKind, Noted, SheetCell, SheetTable
from qc.readers.finding.beside import Beside, beside, first_used
from qc.readers.finding.candidates import Candidate, candidates_of, span, written_at
from qc.readers.finding.choose import chosen, one_batch, ready
from qc.readers.finding.view import measure_in, number_in
from qc.readers.located import Entry, LocatedTable, in_runs
from qc.readers.options import ReadOptions


class FoundTable(Struct, frozen=True, kw_only=True):
    """The table of weights as the later stages take it, and how it was found.

    Parameters
    ----------
    located : LocatedTable
    candidate : Candidate
        With the cells that were set aside, such as a mean under the masses.
    measure : "g" or "mg"
    measure_known_by : str
        "heading", "cells", "title", "call" or "size".
    numbered : bool
        Whether the units were numbered from 1, because no names stand there.
    ignored : dict
        Cells of the sheet that are neither units nor set aside, by the text over them.
    batch : str
        The batch that its rows name, or empty.
    """

    located: LocatedTable
    candidate: Candidate
    measure: str
    measure_known_by: str
    numbered: bool
    ignored: dict[str, list[SheetCell]]
    batch: str = ""


def find_units(
    tables: Sequence[SheetTable], *, options: ReadOptions, plausible: Plausible, findings: Noted
) -> FoundTable | None:
    """Find the one table of weights; None (and problems) where there is none or more than one.

    Parameters
    ----------
    tables : sequence of SheetTable
        The sheets to search.
    options : ReadOptions
        What the call says: the unit of mass, the batch.
    plausible : Plausible
        Between which masses a unit of the form weighs [g].
    findings : Noted
        Where problems and notices go.
    """
    found = [one for table in tables for one in one_batch(candidates_of(table))]
    if not found:
        # What is wrong with a sheet called Units is told by its headings.
        if plain(tables[0].name) != plain(BARE_UNITS.name):
            _refuse_nothing_found(tables, findings)
        return None
    candidate = chosen(found, options=options, file=tables[0].file, findings=findings)
    if candidate is None:
        return None
    for doubt in candidate.doubtful:
        findings.refuse(candidate.table, doubt.cell.address, found=doubt.found, mend=doubt.mend)
    outside = _outside(candidate)
    outside.refuse(candidate.view, findings)
    measured = _measured(candidate, options, plausible, findings)
    if findings.problems or measured is None:
        return None
    _remark(candidate, outside, findings)
    return _as_units(candidate, *measured, outside=outside, findings=findings)


def _outside(candidate: Candidate) -> Beside:
    used = candidate.used | {cell.address for aside in candidate.asides for cell in aside.cells}
    return beside(candidate.view, masses=candidate.masses, used=used)


def _refuse_nothing_found(tables: Sequence[SheetTable], findings: Noted) -> None:
    names = ", ".join(quoted(table.sheet) for table in tables if table.sheet)
    found = "no table of weights was found" + (f" (the sheets are: {names})" if names else "")
    mend = 'Write "Unit" over the names of the units and "Mass (g)" over the masses'
    findings.refuse_input(tables[0].file, found=found, mend=mend)


def _remark(candidate: Candidate, outside: Beside, findings: Noted) -> None:
    """Notices for columns that are not known, and for rows and columns that are hidden and were read."""
    table = candidate.table
    if table.hidden:
        findings.remark(table, "", f"The sheet {table.sheet} is hidden; it was read all the same.")
    read = {cell.address for cell in candidate.masses}
    hidden = [row.number for row in table.rows if row.hidden and any(one.address in read for one in row.cells.values())]
    if hidden:
        findings.remark(table, "", f"Hidden rows were read like the others: {in_runs(hidden)}.")
    for over, cells in outside.ignored.items():
        places = span([cell.address for cell in cells])
        if over:
            findings.remark(table, places, f"The numbers under {quoted(over)} were ignored.")


def _measured(
    candidate: Candidate, options: ReadOptions, plausible: Plausible, findings: Noted
) -> tuple[str, str] | None:
    """The unit of mass and how it is known; None (and a problem) where it is open, or no unit could weigh that much."""
    in_cells = {measure for cell in candidate.masses if (measure := measure_in(cell))}
    titled = _titles(candidate)
    ways = [("heading", candidate.measure), ("cells", min(in_cells, default="")), ("title", min(titled, default=""))]
    ways += [("call", options.mass_unit or "")]
    fitting = [unit for unit in ("g", "mg") if _fits(candidate, unit, plausible)]
    ways += [("size", fitting[0] if len(fitting) == 1 else "")]
    known_by, unit = next(((way, unit) for way, unit in ways if unit), ("", ""))
    stated = unit if known_by != "size" else ""
    if len(in_cells | {candidate.measure} - {""}) > 1:
        found = f"the masses are in {' and in '.join(sorted(in_cells | {candidate.measure} - {''}))}"
        findings.refuse(candidate.table, candidate.where, found=found, mend="Give all of them in one unit of mass")
    elif stated and options.mass_unit and stated != options.mass_unit:
        found = f"the masses are in {stated}, but the call says {options.mass_unit}"
        mend = "Leave out --mass-unit, or mend the heading"
        findings.refuse(candidate.table, candidate.where, found=found, mend=mend)
    elif unit in fitting:
        return unit, known_by
    else:
        middle = f"{_middle(candidate):f} {stated}".strip()
        found = f"the median mass {middle} is not plausible: {plausible} g is"
        calls = " or ".join(ready(options, f"--mass-unit {one}") for one in fitting)
        mend = "Write the unit of mass in the heading, Mass (g) or Mass (mg)"
        mend += f", or give {calls}" if calls and not stated else ""
        findings.refuse(candidate.table, candidate.where, found=found, mend=mend)
    return None


def _titles(candidate: Candidate) -> list[str]:
    """Units of mass that titles over the table state for all masses: "Weights in mg"."""
    first = first_used(candidate.view, candidate.used)
    headings = [
        heading_of(cell.typed)
        for row, cells in candidate.view.rows.items()
        for cell in cells.values()
        if row < first and cell.kind is CellKind.TEXT and cell.address not in candidate.used
    ]
    return [one.measure for one in headings if one is not None and one.attribute == "mass_g" and one.measure]


def _as_units(candidate: Candidate, measure: str, known_by: str, *, outside: Beside, findings: Noted) -> FoundTable:
    """The units as a located table."""
    numbered = not any("name" in line.cells for line in candidate.units)
    named = [
        {"name": written_at(line.cells["mass_g"], str(count)), **line.cells} if numbered else line.cells
        for count, line in enumerate(candidate.units, start=1)
    ]
    entries = tuple(
        Entry(number=line.number, cells={name: cell for name, cell in cells.items() if name != "batch"}, values={})
        for line, cells in zip(candidate.units, named, strict=True)
    )
    columns: dict[str, Field] = {
        name: BARE_UNITS.field(name) for entry in entries for name in entry.cells if name != "mass_g"
    }
    columns["mass_g"] = BARE_UNITS.columns[plain(f"Mass ({measure})")]
    first = candidate.masses[0].address
    located = LocatedTable(
        table=candidate.table,
        sheet=BARE_UNITS,
        columns=columns,
        letters={"mass_g": first.rstrip("0123456789")},
        entries=entries,
        findings=findings,
        header=int("".join(filter(str.isdigit, first)) or 0),
    )
    batches = [line.cells["batch"].shown for line in candidate.units if "batch" in line.cells]
    return FoundTable(
        located=located,
        candidate=candidate,
        measure=measure,
        measure_known_by=known_by,
        numbered=numbered,
        ignored=outside.ignored,
        batch=batches[0] if batches else "",
    )


def _middle(candidate: Candidate) -> Decimal:
    return median(number for cell in candidate.masses if (number := number_in(cell)) is not None)


def _fits(candidate: Candidate, unit: str, plausible: Plausible) -> bool:
    """Whether units of the form could weigh that much, by the median."""
    grams = _middle(candidate).scaleb(0 if unit == "g" else -3)
    return plausible.floor <= grams <= plausible.ceiling
