"""The tables of weights of a sheet: under headings upright or on its side, the lines of a balance, grids and lists."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import pairwise

from msgspec import Struct
from msgspec.structs import replace

from qc.fields.words import heading_of, measure_of, plain_words, says_content, says_mass, summary_of
from qc.problems import quoted
from qc.readers.cells import CellKind, SheetCell, SheetTable
from qc.readers.finding.blocks import HeadedBlock, headed_blocks
from qc.readers.finding.grids import Grid, grids_of, is_place, names_mould
from qc.readers.finding.lines import Aside, Doubtful, FoundLine, figure_called, sifted
from qc.readers.finding.printed import PrintedLine, holds_masses, printed_line, unit_number
from qc.readers.finding.view import SheetView, meant_in, number_in, view_of

_TYPE_POINTS = "Type decimal points, or separate the fields by semicolons"
FEWEST_SPLIT = 3
# A cell of masses alone; the unit of mass behind a label; what parts the lines of a text pasted into one cell, and a
# word that stands before all of them.
_ONLY_MASSES = re.compile(r"\s*(?:\d{1,5}[.,]\d{1,6}\s+){2,}\d{1,5}[.,]\d{1,6}\s*", re.ASCII)
_MEASURED = re.compile(r"[\s,]*[(\[]?\b(?:mg|g)\b[)\]]?\s*$")
_LINE_ENDS, _HEAD = re.compile(r"[\r\n;|]+"), re.compile(r"^[^\d\n]*:")


class Candidate(Struct, frozen=True, kw_only=True):
    """A table of weights that was found: its units, and what of the sheet is none of it.

    Parameters
    ----------
    view : SheetView
        The sheet, upright.
    units : tuple of FoundLine
    asides : tuple of Aside
    doubtful : tuple of Doubtful
    measure : str
        Unit of mass as it is stated, or empty.
    used : frozenset of str
        Addresses of the cells that were understood.
    label : str
        What stands above it: the name of a mould or of a batch; or empty.
    """

    view: SheetView
    units: tuple[FoundLine, ...]
    asides: tuple[Aside, ...] = ()
    doubtful: tuple[Doubtful, ...] = ()
    measure: str = ""
    used: frozenset[str] = frozenset()
    label: str = ""

    @property
    def table(self) -> SheetTable:
        """The sheet."""
        return self.view.table

    @property
    def masses(self) -> list[SheetCell]:
        """The cells that hold a mass."""
        return [line.mass for line in self.units if line.mass is not None]

    @property
    def where(self) -> str:
        """From the first mass to the last."""
        return span([cell.address for cell in self.masses])

    @property
    def told(self) -> str:
        """As a refusal lists it."""
        masses = self.masses
        sheet = f"sheet {quoted(self.table.sheet)}, " if self.table.sheet else ""
        count = "1 mass" if len(masses) == 1 else f"{len(masses)} masses"
        return f"{sheet}{self.where}: {count}, first {masses[0].typed}, last {masses[-1].typed}"


def span(addresses: Sequence[str]) -> str:
    """From the first address to the last.

    Examples
    --------
    >>> span(["B4", "B5", "B9"]), span(["B4"])
    ('B4:B9', 'B4')
    """
    return addresses[0] if len(addresses) == 1 else f"{addresses[0]}:{addresses[-1]}"


def candidates_of(table: SheetTable) -> list[Candidate]:
    """Every table of weights of a sheet, by the first of the ways to look for one that finds any."""
    upright = view_of(table)
    ways: Sequence[Callable[[], Iterable[Candidate]]] = (
        lambda: (_of_block(upright, block) for block in headed_blocks(upright)),
        lambda: (_of_block(upright, block) for block in headed_blocks(upright.on_its_side())),
        lambda: _of_lines(upright),
        lambda: (_of_grid(upright, grid) for grid in grids_of(upright)),
    )
    for way in ways:
        if found := [one for one in way() if one.masses or one.doubtful]:
            return [replace(one, doubtful=(*one.doubtful, *_merged(one), *_cut_at_commas(one))) for one in found]
    return []


def _of_block(upright: SheetView, block: HeadedBlock) -> Candidate:
    view, lines = block.view, []
    spot, names = block.columns["mass_g"], _names_before(block)
    known, headed = {*block.columns.values(), names}, {column for _, column in block.headings}
    for row, cells in block.rows.items():
        beside = [(column, cell) for column, cell in view.rows[row].items() if column not in known]
        said = {column for column, cell in beside if cell.kind is CellKind.TEXT and summary_of(cell.shown)}
        numbers = [column for column, cell in beside if number_in(cell) is not None and column not in said]
        if names and (name := view.at((row, names))) is not None:
            cells = {"name": name, **cells}
        # A label behind the mass is about that number only where no unit is named and no number follows it.
        texts = tuple(
            cell
            for column, cell in beside
            if (column < spot and (number_in(cell) is None or column in said))
            or ("name" not in cells and column in said - headed and column > max(numbers, default=spot))
        )
        lines.append(FoundLine(number=row, cells=cells, texts=texts))
    parts = sifted(lines)
    used = [*block.headings.values(), *(cell for line in lines for cell in (*line.cells.values(), *line.texts))]
    return Candidate(
        view=upright,
        units=parts.units,
        asides=parts.asides,
        doubtful=(*parts.doubtful, *_contents_of_no_measure(block), *_too_wide(block)),
        measure=block.measures["mass_g"] or _measure_beside(block),
        used=frozenset(cell.address for cell in used),
        label=block.label,
    )


def _measure_beside(block: HeadedBlock) -> str:
    """The one unit of measure in the column behind the masses of a print-out, or empty."""
    spot = block.columns["mass_g"] + 1
    measures = {measure_of(block.view.text((row, spot))) for row, cells in block.rows.items() if "mass_g" in cells}
    return next(iter(measures)) if len(measures) == 1 else ""


def _names_before(block: HeadedBlock) -> int:
    """The one column of texts that tell the rows apart before masses without a known heading of names; 0 for none."""
    if "name" in block.columns:
        return 0
    rows = [row for row, cells in block.rows.items() if (one := cells.get("mass_g")) and number_in(one) is not None]
    columns = {column for row in rows for column in block.view.rows[row] if column < block.columns["mass_g"]}
    for column in sorted(columns - set(block.columns.values())):
        cells = [block.view.at((row, column)) for row in rows]
        names = {cell.shown for cell in cells if cell is not None and cell.kind is CellKind.TEXT}
        if len(names) == len(rows) > 1 and not any(map(summary_of, names)):
            return column
    return 0


def _contents_of_no_measure(block: HeadedBlock) -> Iterator[Doubtful]:
    """Headings that say content, and not in what; a content that is left out could be one that fails."""
    mend = "Write Content (mg) or Content (% of label) over the contents"
    heads = {row for row, _ in block.headings}
    for row in heads:
        for column, cell in block.view.rows[row].items():
            measured = any(block.columns.get(name) == column for name in ("content_mg", "content_percent"))
            measure = block.measures.get("content_mg", "") if measured else ""
            text = block.view.text((row, column))
            if (measured and heading_of(text) is not None and measure not in ("mg", "%")) or (
                not measured and heading_of(text) is None and says_content(text)
            ):
                yield Doubtful(
                    cell=cell, found=f"{cell.quoted} says content, but not of what or in which unit", mend=mend
                )


def _too_wide(block: HeadedBlock) -> Iterator[Doubtful]:
    """Lines of more fields than the headings in a file that is separated by commas: the half of a decimal comma."""
    table = block.view.table
    if table.separator != ",":
        return
    widths = {row.number: row.width for row in table.rows}
    most = max(widths[row] for row, _ in block.headings) if not block.view.turned else 0
    for row, cells in block.rows.items():
        if most and widths[row] > most:
            found = f"the row has {widths[row]} fields under {most} headings; a decimal comma without quotes is the "
            found += "likely cause"
            yield Doubtful(cell=next(iter(cells.values())), found=found, mend=_TYPE_POINTS)


def _cut_at_commas(candidate: Candidate) -> Iterator[Doubtful]:
    """Masses cut in two at an unquoted decimal comma, whichever half was taken for the mass."""
    if candidate.table.separator != "," or len(candidate.masses) < FEWEST_SPLIT:
        return
    spots = [(int("".join(filter(str.isdigit, cell.address))), cell.column) for cell in candidate.masses]
    for step in (-1, 0):
        pairs = [
            (candidate.view.at((row, column + step)), candidate.view.at((row, column + step + 1)))
            for row, column in spots
        ]
        halves = [(one.typed, other.typed) for one, other in pairs if one is not None and other is not None]
        if len(halves) < len(spots) or not all(
            re.fullmatch(r"\d{1,3}", whole) and re.fullmatch(r"\d{2,4}", rest) for whole, rest in halves
        ):
            continue
        wholes = [int(whole) for whole, _ in halves]
        if any(after - before != 1 for before, after in pairwise(wholes)):
            found = f'"{",".join(halves[0])}" and the like below it look like decimal commas taken for separators'
            yield Doubtful(cell=candidate.masses[0], found=found, mend=_TYPE_POINTS)


def _merged(candidate: Candidate) -> Iterator[Doubtful]:
    """Masses in merged cells: which row they belong to cannot be told."""
    masses = {cell.address: cell for cell in candidate.masses}
    for merge in candidate.table.merges:
        cell = masses.get(merge.address.partition(":")[0])
        if cell is not None:
            found = f"mass {cell.quoted} is merged over {merge.address}: which unit it belongs to cannot be told"
            yield Doubtful(cell=cell, found=found, mend="Unmerge the cells and type each value into its own")


def _of_grid(upright: SheetView, grid: Grid) -> Candidate:
    """A grid as units: the place of each is its row and column, a mould is what the label above says."""
    many = len(grid.columns) > 1
    if many and len(grid.above) == 1:
        # What stands over one column alone is a title.
        grid = replace(grid, above={}, over=(*grid.over, *grid.above.values()))
    edges = [(cell, {"row": row}) for row, cell in grid.beside.items()]
    edges += [(cell, {"column": column}) for column, cell in grid.above.items() if many]
    asides = [
        Aside(cells=(label, *grid.line(**where)), label=label.shown, kind=kind)
        for label, where in edges
        if len(label.shown) > 1 and (kind := summary_of(label.shown))
    ]
    left_out = {cell.address for aside in asides for cell in aside.cells}
    grid = replace(
        grid,
        masses={spot: cell for spot, cell in grid.masses.items() if cell.address not in left_out},
        beside={row: cell for row, cell in grid.beside.items() if cell.address not in left_out},
        above={column: cell for column, cell in grid.above.items() if many and cell.address not in left_out},
    )
    batches = {column: _batch_in(cell.shown) for column, cell in grid.above.items()}
    batches = batches if all(batches.values()) and grid.beside else {}
    lines: list[FoundLine] = []
    for (row, column), mass in grid.masses.items():
        cells = {"mass_g": mass}
        parts = [cell for cell in (grid.beside.get(row), grid.above.get(column)) if cell is not None]
        if batches and column in grid.above:
            cells["batch"] = written_at(grid.above[column], batches[column])
            parts = parts[:1]
        moulds = [_named(part) for part in parts if names_mould(part.shown)]
        places = [_named(part) for part in parts if not names_mould(part.shown)]
        at = parts[0] if len(parts) == 1 else mass
        if moulds:
            cells["mould"] = written_at(mass, " ".join(moulds))
        if parts:
            cells["name"] = written_at(at, " ".join((*moulds, *places)))
        if parts and many and not batches:
            cells["cavity"] = written_at(at, " ".join(places or moulds))
        lines.append(FoundLine(number=row, cells=cells))
    parts_of = sifted(lines)
    labels = [*grid.beside.values(), *grid.above.values()]
    return Candidate(
        view=upright,
        units=parts_of.units,
        asides=(*parts_of.asides, *asides),
        doubtful=(*parts_of.doubtful, *_doubts_of(grid, batches=bool(batches))),
        measure=grid.measure,
        used=frozenset(cell.address for cell in (*grid.masses.values(), *labels)) | left_out,
    )


def _named(label: SheetCell) -> str:
    """A label of a place without the unit of mass behind it."""
    return _MEASURED.sub("", label.shown) or label.shown


def _batch_in(label: str) -> str:
    """The batch that a label names, "Batch 101 (g)"; empty where it names none."""
    words = _MEASURED.sub("", label).split()
    said = heading_of(" ".join(words[:-1])) if len(words) > 1 else None
    return words[-1] if said is not None and said.attribute == "batch" else ""


def _doubts_of(grid: Grid, *, batches: bool) -> Iterator[Doubtful]:
    """What of a block of numbers without headings nobody can tell; `batches` when its columns are batches."""
    mend = 'Write "Unit" over the names of the units and "Mass (g)" over the one column of masses'
    many, first = len(grid.columns) > 1, next(iter(grid.masses.values()), None)
    if first is None:
        return
    for cell in [*(grid.beside.values() if many else ()), *grid.above.values()] if not batches else ():
        if not is_place(cell.shown):
            found = f"{cell.quoted} stands at the edge of a block of numbers and names no place of a mould"
            if says_mass(cell.shown):
                found = f"{cell.quoted} heads one of {len(grid.columns)} columns of masses"
            yield Doubtful(cell=cell, found=found, mend=f"{mend}, or name the rows and columns of the mould")
    for cell in grid.over:
        if not _may_stand_over(cell):
            found = f"{cell.quoted} stands over numbers and does not say that they are masses"
            yield Doubtful(cell=cell, found=found, mend="Write Mass (g) or Mass (mg) over them if they are")
    for cell in grid.inside:
        found = f"{cell.quoted} stands among masses and is no number"
        yield Doubtful(cell=cell, found=found, mend="Type the mass, or clear the cell")
    if grid.is_mixed:
        found = "the numbers of this block differ by more than masses of one kind of unit do"
        yield Doubtful(cell=first, found=found, mend=mend)
    elif grid.weighed_twice() is not None:
        found = "two columns go up and down together, like two weighings of the same units"
        yield Doubtful(cell=first, found=found, mend=mend)
    elif many and (cell := _sums_up(grid)) is not None:
        found = f"the line of {cell.quoted} holds the means or sums of the others"
        yield Doubtful(cell=cell, found=found, mend="Name that line for what it is, or take it out")


def _may_stand_over(cell: SheetCell) -> bool:
    """Whether what stands over a list says mass or names its units, is a measure of mass, or a title."""
    if number_in(cell) is not None or meant_in(cell) is not None:
        return False
    said, words = heading_of(cell.typed), plain_words(cell.typed)
    if said is not None:
        return said.attribute in ("mass_g", "name", "mould", "cavity") and said.measure in ("", "g", "mg")
    in_other = bool(words) and measure_of(words[-1]) not in ("", "g", "mg")
    return not in_other and (len(words) > 2 or any(map(str.isdigit, cell.typed)))


def _sums_up(grid: Grid) -> SheetCell | None:
    """The first cell of a last row or column of which most numbers are the mean or the sum of the others."""
    rows, columns = sorted({row for row, _ in grid.masses}), grid.columns
    row_lines = [(grid.line(row=rows[-1]), [grid.line(column=column)[:-1] for column in columns])]
    column_lines = [(grid.line(column=columns[-1]), [grid.line(row=row)[:-1] for row in rows])]
    for cells, others in row_lines + column_lines:
        pairs = list(zip(cells, others, strict=False))
        summed = sum(figure_called(cell, other) in ("the mean", "the sum") for cell, other in pairs)
        if summed > 1 and 2 * summed > len(pairs):
            return cells[0]
    return None


def _of_lines(upright: SheetView) -> Iterator[Candidate]:
    """The lines of a balance, one a row: either in one cell, or spread over several."""
    found: list[tuple[int, list[SheetCell], PrintedLine]] = []
    doubtful: list[Doubtful] = []
    number, label, pasted = "", "", True
    for row_number, texts, joined in _pasted_apart(upright.table):
        if (line := printed_line(joined)) is not None:
            bare = not (line.number or line.label)
            found.append((row_number, texts, replace(line, number=number, label=label) if bare else line))
            label, pasted = "", pasted and len(texts) == 1 and texts[0].kind is CellKind.TEXT
        elif holds_masses(joined) or any(meant_in(cell) is not None for cell in texts):
            told = f"{texts[0].quoted} holds more than one mass, or something beside it that is not understood"
            doubtful.append(Doubtful(cell=texts[0], found=told, mend="Write one mass a row"))
        else:
            number = unit_number(joined) or number
            label = joined.strip() if summary_of(joined) else ""
    found = _without_prose(found)
    if not found or not (pasted or all(line.measure for *_, line in found)):
        return
    lines, asides = [], []
    netted = any(line.sign == "net" for *_, line in found)
    for row_number, texts, line in found:
        cell = next((cell for cell in texts if line.value in re.sub(r"\s", "", cell.text)), texts[0])
        cells = {"mass_g": written_at(cell, f"{line.value} {line.measure}".strip())}
        if line.number or line.label:
            cells["name"] = written_at(cell, line.number or line.label)
        if line.sign == "tare" or (line.sign == "gross" and netted) or not line.grams:
            asides.append(Aside(cells=(cell,), label=line.sign or line.value, kind="reference"))
            continue
        if line.sign in ("moving", "gross"):
            told = "was printed before the balance came to rest" if line.sign == "moving" else "is a gross mass"
            mend = "Weigh that unit again" if line.sign == "moving" else "Give the net mass"
            doubtful.append(Doubtful(cell=cell, found=f"{cell.quoted} {told}", mend=mend))
        lines.append(FoundLine(number=row_number, cells=cells))
    parts = sifted(lines)
    yield Candidate(
        view=upright,
        units=parts.units,
        asides=(*parts.asides, *asides),
        doubtful=(*parts.doubtful, *doubtful),
        used=frozenset(cell.address for _, texts, _ in found for cell in texts),
    )


def _without_prose(
    found: list[tuple[int, list[SheetCell], PrintedLine]],
) -> list[tuple[int, list[SheetCell], PrintedLine]]:
    """The lines but for sentences whose value is no mass like the others: the strength in a title."""
    values = [line.grams for *_, line in found if not line.is_prose]
    ends = (min(values) / 2, 2 * max(values)) if values else (0, 0)
    return [one for one in found if not one[2].is_prose or ends[0] <= one[2].grams <= ends[1]]


def _pasted_apart(table: SheetTable) -> Iterator[tuple[int, list[SheetCell], str]]:
    """The lines of a sheet with the cells they stand in: a row each, or a line each of a text pasted into one cell."""
    for row in table.rows:
        texts = [cell for cell in row.cells.values() if cell.kind in (CellKind.TEXT, CellKind.NUMBER)]
        text = _HEAD.sub("", texts[0].text) if len(texts) == 1 else ""
        parts = text.split() if _ONLY_MASSES.fullmatch(text) else _LINE_ENDS.split(text)
        for part in parts if len(parts) > 1 else ["  ".join(cell.text for cell in texts)]:
            if part.strip():
                yield row.number, texts, part


def written_at(cell: SheetCell, text: str) -> SheetCell:
    """A text at the address of a cell."""
    return replace(cell, kind=CellKind.TEXT, text=text, number=None)
