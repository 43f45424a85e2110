"""From the sheets of a file to the one table of weights, or what is to be added so that it can be told.

A sheet is searched for tables under headings, upright and on its side; then for the lines that a balance prints; then
for a grid or a list without headings. One table in the whole file is read, several only where they are the moulds of one
batch; otherwise the call has to say which.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from decimal import Decimal
from statistics import median

from msgspec import Struct
from msgspec.structs import replace

from qc.fields.field import Field, plain, same_name
from qc.fields.sheets import BARE_UNITS
from qc.fields.words import heading_of, summary_of
from qc.problems import quoted
from qc.readers.cells import CellKind, Noted, SheetCell, SheetTable
from qc.readers.finding.blocks import HeadedBlock, headed_blocks
from qc.readers.finding.grids import Grid, grids_of, is_place, names_mould
from qc.readers.finding.lines import Aside, Doubtful, FoundLine, sifted
from qc.readers.finding.printed import PrintedLine, printed_line
from qc.readers.finding.view import decimals_in, measure_in, number_in, views_of
from qc.readers.located import Entry, LocatedTable
from qc.readers.options import ReadOptions

MassRange = tuple[Decimal, Decimal]
# Between which masses any moulded unit weighs (common practice) [g].
ANY_UNIT_G = (Decimal("0.05"), Decimal(30))


class Candidate(Struct, frozen=True, kw_only=True):
    """A table of weights that was found: its units, and what of the sheet is none of it.

    Parameters
    ----------
    table : SheetTable
    units : tuple of FoundLine
    asides : tuple of Aside
    doubtful : tuple of Doubtful
    measure : str
        Unit of mass as it is stated, or empty.
    used : frozenset of str
        Addresses of the cells that were understood.
    label : str
        What the mould is called, or empty.
    """

    table: SheetTable
    units: tuple[FoundLine, ...]
    asides: tuple[Aside, ...] = ()
    doubtful: tuple[Doubtful, ...] = ()
    measure: str = ""
    used: frozenset[str] = frozenset()
    label: str = ""

    @property
    def masses(self) -> list[SheetCell]:
        """The cells that hold a mass."""
        return [line.mass for line in self.units if line.mass is not None]

    @property
    def where(self) -> str:
        """From the first mass to the last."""
        first, last = self.masses[0].address, self.masses[-1].address
        return first if first == last else f"{first}:{last}"

    @property
    def told(self) -> str:
        """As a refusal lists it."""
        masses = self.masses
        sheet = f"sheet {quoted(self.table.sheet)}, " if self.table.sheet else ""
        return f"{sheet}{self.where}: {len(masses)} masses, first {masses[0].typed}, last {masses[-1].typed}"


class FoundTable(Struct, frozen=True, kw_only=True):
    """The table of weights as the later stages take it, and how it was found."""

    located: LocatedTable
    candidate: Candidate
    measure_known_by: str
    numbered: bool


def candidates_of(table: SheetTable) -> list[Candidate]:
    """Every table of weights of a sheet, by the first of the ways to look for one that finds any."""
    upright, turned = views_of(table)
    ways: Sequence[Callable[[], Iterable[Candidate]]] = (
        lambda: map(_of_block, headed_blocks(upright)),
        lambda: map(_of_block, headed_blocks(turned)),
        lambda: _of_lines(table),
        lambda: (_of_grid(table, grid) for grid in grids_of(upright)),
    )
    for way in ways:
        if found := [one for one in way() if one.masses or one.doubtful]:
            return found
    return []


def _of_block(block: HeadedBlock) -> Candidate:
    view, lines = block.view, []
    spot = block.columns["mass_g"]
    known = set(block.columns.values())
    for row, cells in block.rows.items():
        left = [column for column in view.rows[row] if column < spot and column not in known]
        texts = tuple(view.cells[row, column] for column in left if view.text((row, column)))
        lines.append(FoundLine(number=row, cells=cells, texts=texts))
    parts = sifted(lines)
    used = [*block.headings.values(), *(cell for line in lines for cell in (*line.cells.values(), *line.texts))]
    return Candidate(
        table=view.table,
        units=parts.units,
        asides=parts.asides,
        doubtful=parts.doubtful,
        measure=block.measure,
        used=frozenset(cell.address for cell in used),
        label=block.mould,
    )


def _of_grid(table: SheetTable, grid: Grid) -> Candidate:
    """A grid as units: the place of each is its row and column, a mould is what the label above says."""
    columns = {column for _, column in grid.masses}
    lines: list[FoundLine] = []
    doubtful: list[Doubtful] = []
    edges = [*grid.beside.values(), *(grid.above.values() if len(columns) > 1 else ())]
    for cell in edges:
        if not is_place(cell.shown) and not summary_of(cell.typed):
            found = f"{cell.quoted} stands at the edge of a block of numbers and names no place of a mould"
            mend = 'Write "Mass (g)" over the one column of masses, or name the rows and columns of the mould'
            doubtful.append(Doubtful(cell=cell, found=found, mend=mend))
    for (row, column), mass in grid.masses.items():
        beside, above = grid.beside.get(row), grid.above.get(column) if len(columns) > 1 else None
        cells = {"mass_g": mass}
        parts = [cell for cell in (beside, above) if cell is not None]
        if above is not None and names_mould(above.typed):
            cells["mould"] = above
        if parts:
            cells["name"] = _written(parts[0] if len(parts) == 1 else mass, " ".join(part.shown for part in parts))
            if len(columns) > 1:
                cells["cavity"] = cells["name"]
        lines.append(FoundLine(number=row, cells=cells))
    parts_of = sifted(lines)
    return Candidate(
        table=table,
        units=parts_of.units,
        asides=parts_of.asides,
        doubtful=(*parts_of.doubtful, *doubtful),
        measure=grid.measure,
        used=frozenset(cell.address for cell in (*grid.masses.values(), *edges)),
    )


def _of_lines(table: SheetTable) -> Iterable[Candidate]:
    """The lines of a balance, one a row: either in one cell, or spread over several."""
    found: list[tuple[int, SheetCell, PrintedLine]] = []
    for row in table.rows:
        texts = [cell for cell in row.cells.values() if cell.kind in (CellKind.TEXT, CellKind.NUMBER)]
        if texts and (line := printed_line("  ".join(cell.text for cell in texts))) is not None:
            values = [cell for cell in texts if line.value in cell.text.replace(" ", "")]
            found.append((row.number, values[0] if values else texts[0], line))
    with_measure = [line.measure for _, _, line in found if line.measure]
    if len(with_measure) < len(found) or not found:
        return
    lines, doubtful = [], []
    for row_number, cell, line in found:
        cells = {"mass_g": _written(cell, f"{line.value} {line.measure}")}
        if line.number or line.label:
            cells["name"] = _written(cell, line.number or line.label)
        if line.moving:
            told = f"{cell.quoted} was printed before the balance came to rest"
            doubtful.append(Doubtful(cell=cell, found=told, mend="Weigh that unit again"))
        lines.append(FoundLine(number=row_number, cells=cells))
    parts = sifted(lines)
    used = frozenset(cell.address for row in table.rows for cell in row.cells.values())
    yield Candidate(
        table=table, units=parts.units, asides=parts.asides, doubtful=(*parts.doubtful, *doubtful), used=used
    )


def _written(cell: SheetCell, text: str) -> SheetCell:
    """A text at the address of a cell."""
    return replace(cell, kind=CellKind.TEXT, text=text, number=None)


def find_units(tables: Sequence[SheetTable], *, options: ReadOptions, findings: Noted) -> FoundTable | None:
    """Find the one table of weights; None (and problems) where there is none or more than one.

    Parameters
    ----------
    tables : sequence of SheetTable
        The sheets to search.
    options : ReadOptions
        What the call says: the sheet, the unit of mass, what a unit of the form can weigh.
    findings : Noted
        Where problems and notices go.
    """
    sheet = options.sheet
    searched = [table for table in tables if sheet is None or same_name(table.sheet or table.name) == same_name(sheet)]
    file = tables[0].file if tables else ""
    if not searched:
        names = ", ".join(quoted(table.sheet or table.name) for table in tables)
        findings.refuse_input(file, found=f"there is no sheet {quoted(sheet or '')}", mend=f"Give one of {names}")
        return None
    found = [one for table in searched for one in _one_batch(candidates_of(table))]
    if not found:
        # What is wrong with a sheet called Units is told by its headings.
        if plain(searched[0].name) != plain(BARE_UNITS.name):
            _refuse_nothing_found(searched, file, findings)
        return None
    if len(found) > 1:
        _refuse_several(found, file, findings)
        return None
    (candidate,) = found
    for doubt in candidate.doubtful:
        findings.refuse(candidate.table, doubt.cell.address, found=doubt.found, mend=doubt.mend)
    for over, cells in _left_over(candidate).items():
        where = cells[0].address if len(cells) == 1 else f"{cells[0].address}:{cells[-1].address}"
        what = f"the numbers under {quoted(over)}" if over else "numbers under no heading"
        mend = (
            'Write over them what they are (Gross, Target ...), call the true masses "Net mass (g)", or take them out'
        )
        findings.refuse(candidate.table, where, found=f"{what} could be masses ({cells[0].typed} ...)", mend=mend)
    if findings.problems:
        return None
    plausible = options.unit_range(options.form or "") if options.unit_range else ANY_UNIT_G
    return _as_units(candidate, measure=options.mass_unit, plausible=plausible, findings=findings)


def _one_batch(candidates: list[Candidate]) -> list[Candidate]:
    """The tables of a sheet as one where they are the moulds of a batch, or a list that goes on in the next columns."""
    if len(candidates) < 2:
        return candidates
    labels = [same_name(one.label) for one in candidates]
    moulds = (
        all(labels)
        and len(set(labels)) == len(labels)
        and all(is_place(label) or names_mould(label) for label in labels)
    )
    names = [same_name(line.cells["name"].text) for one in candidates for line in one.units if "name" in line.cells]
    every = sum(len(one.units) for one in candidates)
    goes_on = len(set(names)) == len(names) == every and not any(labels)
    if not (moulds or goes_on) or len({one.measure for one in candidates}) > 1:
        return candidates
    units = [_in_mould(line, one.label, alike=len(set(names)) < every) for one in candidates for line in one.units]
    return [
        Candidate(
            table=candidates[0].table,
            units=tuple(units),
            asides=tuple(aside for one in candidates for aside in one.asides),
            doubtful=tuple(doubt for one in candidates for doubt in one.doubtful),
            measure=candidates[0].measure,
            used=frozenset().union(*(one.used for one in candidates)),
        )
    ]


def _in_mould(line: FoundLine, label: str, *, alike: bool) -> FoundLine:
    """A unit with the mould it came from; where units of several moulds bear one name, the mould stands before it."""
    if not label or "mould" in line.cells:
        return line
    mass = line.cells["mass_g"] if line.mass is None else line.mass
    name = line.cells.get("name")
    cells = {**line.cells, "mould": _written(mass, label)}
    if name is not None:
        cells.setdefault("cavity", name)
        if alike:
            cells["name"] = _written(name, f"{label} {name.shown}")
    return replace(line, cells=cells)


def _left_over(candidate: Candidate) -> dict[str, list[SheetCell]]:
    """Numbers outside the table that look like its masses, by the text over or before them: what nobody can tell.

    They lie within a factor of two of the masses and show decimals where the masses do. Numbers that are known to be
    something else (gross, tare, target, a mean) are not among them.
    """
    values = [number for cell in candidate.masses if (number := number_in(cell)) is not None]
    if not values:
        return {}
    floor, ceiling, decimals = min(values) / 2, max(values) * 2, max(map(decimals_in, candidate.masses))
    upright, _ = views_of(candidate.table)
    found: dict[str, list[SheetCell]] = {}
    for (row, column), cell in upright.cells.items():
        number = None if cell.address in candidate.used else number_in(cell)
        if number is None or not floor <= number <= ceiling or (decimals and not decimals_in(cell)):
            continue
        over = next((text for up in range(row - 1, 0, -1) if (text := upright.text((up, column)))), "")
        before = next((text for left in range(column - 1, 0, -1) if (text := upright.text((row, left)))), "")
        if not any(_is_something_else(text) for text in (over, before)):
            found.setdefault(over, []).append(cell)
    return found


def _is_something_else(text: str) -> bool:
    heading = heading_of(text)
    return summary_of(text) != "" or (heading is not None and heading.attribute not in ("mass_g", "name", "mould"))


def _refuse_nothing_found(tables: Sequence[SheetTable], file: str, findings: Noted) -> None:
    names = ", ".join(quoted(table.sheet) for table in tables if table.sheet)
    found = "no table of weights was found" + (f" (the sheets are: {names})" if names else "")
    findings.refuse_input(
        file, found=found, mend='Write "Unit" over the names of the units and "Mass (g)" over the masses'
    )


def _refuse_several(found: Sequence[Candidate], file: str, findings: Noted) -> None:
    told = "; ".join(one.told for one in found)
    sheets = {one.table.sheet for one in found}
    if len(sheets) == len(found):
        mend = "Say which is the batch: " + " or ".join(f'--sheet "{one.table.sheet}"' for one in found)
    else:
        mend = "Write the name of its mould above each if they are one batch; otherwise keep one batch in a sheet"
    findings.refuse_input(file, found=f"{len(found)} tables of weights were found ({told})", mend=mend)


def _as_units(candidate: Candidate, *, measure: str | None, plausible: MassRange, findings: Noted) -> FoundTable | None:
    """The units as a located table, once it is known in which unit of mass they were weighed."""
    stated = candidate.measure or next(filter(None, map(measure_in, candidate.masses)), "")
    known_by = "heading" if candidate.measure else "cells" if stated else "call" if measure else "size"
    unit = stated or measure or _by_size(candidate, plausible)
    place = candidate.where
    fits = {one: _fits(candidate, one, plausible) for one in ("g", "mg")}
    if stated and measure and stated != measure:
        found, mend = (
            f"the masses are in {stated}, but the call says {measure}",
            "Leave out --mass-unit, or mend the heading",
        )
        findings.refuse(candidate.table, place, found=found, mend=mend)
        return None
    if unit not in ("g", "mg") or not fits[unit]:
        middle = median(number for cell in candidate.masses if (number := number_in(cell)) is not None)
        range_g = f"{plausible[0]:f} to {plausible[1]:f} g"
        found = f"the median mass {middle:f} {stated} is not plausible for a unit of {range_g}".replace("  ", " ")
        mend = "Write the unit of mass in the heading, Mass (g) or Mass (mg), or give --mass-unit g or --mass-unit mg"
        findings.refuse(candidate.table, place, found=found, mend=mend)
        return None
    field = BARE_UNITS.columns[plain(f"Mass ({unit})")]
    numbered = not any("name" in line.cells for line in candidate.units)
    entries = tuple(
        Entry(number=line.number, cells=_with_name(line, count) if numbered else line.cells, values={})
        for count, line in enumerate(candidate.units, start=1)
    )
    columns: dict[str, Field] = {
        name: BARE_UNITS.field(name) for entry in entries for name in entry.cells if name not in ("mass_g", "batch")
    }
    columns["mass_g"] = field
    first = candidate.masses[0].address
    located = LocatedTable(
        table=candidate.table,
        sheet=BARE_UNITS,
        columns=columns,
        letters={"mass_g": first.rstrip("0123456789")},
        entries=entries,
        findings=findings,
        header=int("".join(one for one in first if one.isdigit()) or 0),
    )
    return FoundTable(located=located, candidate=candidate, measure_known_by=known_by, numbered=numbered)


def _with_name(line: FoundLine, count: int) -> dict[str, SheetCell]:
    mass = line.cells["mass_g"]
    return {"name": _written(mass, str(count)), **line.cells}


def _by_size(candidate: Candidate, plausible: MassRange) -> str:
    fitting = [unit for unit in ("g", "mg") if _fits(candidate, unit, plausible)]
    return fitting[0] if len(fitting) == 1 else ""


def _fits(candidate: Candidate, unit: str, plausible: MassRange) -> bool:
    """Whether units of the form could weigh that much, by the median."""
    middle = median(number for cell in candidate.masses if (number := number_in(cell)) is not None)
    grams = middle if unit == "g" else middle.scaleb(-3)
    return plausible[0] <= grams <= plausible[1]
