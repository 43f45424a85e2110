"""What is read back to the person: which cells became units, what was set aside or ignored, and figures that differ."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Sequence
from decimal import Decimal
from statistics import median

from msgspec.structs import replace

from qc.batch import ReadBack, SetAside
from qc.fields.remarks import how_plain, is_fact, is_plain, may_tell, says_of_some
from qc.fields.words import balance_sign, names_mould, plain_words
from qc.problems import TEXT, IgnoredCells, all_in_full, in_full, quoted
from qc.readers.assays import CONTENTS
from qc.readers.cells import CellKind, Noted, SheetCell, SheetTable, areas, placed, row_of
from qc.readers.columns_left import columns_left, told_as_titles
from qc.readers.finding.beside import NO_HEADING
from qc.readers.finding.figures import COMPARED, figure_called, last_block
from qc.readers.finding.found import FoundTable
from qc.readers.finding.lines import NEAR, Aside
from qc.readers.finding.printed import is_clock, numbers_told, printed_line
from qc.readers.finding.view import is_open, number_in
from qc.readers.held_against import ReadNumbers, contents_in, held_against
from qc.readers.located import Entry, LocatedTable
from qc.readers.options import DecimalMark
from qc.readers.typed_number import written
from qc.readers.words_of_units import UnitRows

# Beside a grid so many letters are somebody's initials.
_INITIALS = 3
# Of so many words a sheet is named without saying anything.
_LONGEST_NAME = 2
# So many rows over the first unit stand a title and the headings, below the last an empty row and a remark.
_NEAR = 2
_Masses = dict[SheetCell, Decimal]


def read_back(
    units: LocatedTable, rows: UnitRows, assay: LocatedTable | None, found: FoundTable | None, findings: Noted
) -> ReadBack:
    """What was read as the units; a mean, SD or count of the file that differs from ours gives a notice.

    Parameters
    ----------
    units : LocatedTable
        The table of units.
    rows : UnitRows
        The units that were read from it.
    assay : LocatedTable or None
        The contents on a sheet of their own.
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
    commas = _with_comma(masses)
    if few := 2 * len(commas) < len(masses) and commas:
        findings.tell(table, few, f"{few[0].quoted} as {masses[few[0]]} {'mg' if power else 'g'}")
    held = [
        ReadNumbers(what="masses", one="mass", unit="mg" if power else "g", values=masses),
        *contents_in(units, entries),
    ]
    of_assay: set[str] = set()
    if assay is not None and assay.table is table:
        held += contents_in(assay, assay.entries)
        of_assay = {cell.address for entry in assay.entries for cell in entry.cells.values()}
    of_each = _printed_with_each(found.asides if found else (), [unit.mass_g for unit, _ in rows if unit.mass_g])
    asides = [one for one in (found.asides if found else ()) if one.label not in of_each and not _is_quiet(one)]
    set_aside = [one for aside in asides for one in held_against(aside, table, held, mark=mark, findings=findings)]
    if assay is not None and (contents := list(contents_in(assay, assay.entries))):
        for aside in found.beside_contents if found else ():
            there = held_against(aside, assay.table, contents, mark=mark, findings=findings)
            set_aside += [replace(one, cells=placed(assay.table, one.cells)) for one in there]
    for aside in asides:
        _refuse_unit(aside, asides, entries, units)
    set_aside += [SetAside(cells=areas(table, cells), what=label, of="masses") for label, cells in of_each.items()]
    # A title over the table is a heading too.
    known_by = found.weighed.known_by if found and found.weighed.known_by != "title" else "heading"
    notes = found.notes if found else ()
    here = placed(table, "") + "!"
    ignored = [one.ignored for one in findings.notices if one.ignored is not None]
    labels = {aside.label for aside in asides}
    # Beside a grid a single word may be about one of its units.
    beside = set(map(row_of, masses)) if len({cell.column for cell in masses}) > 1 else set()
    told = [
        cell
        for cell in dict.fromkeys(notes)
        if _is_text(cell, labels) and (may_tell(cell.shown) or (row_of(cell) in beside and len(cell.shown) > _INITIALS))
    ]
    ignored += [IgnoredCells(cells=cell.address, what="a text", said=in_full(cell.typed)) for cell in told]
    # A remark below the units that may tell nothing of them is told like a title.
    rest = [cell for cell in notes if cell not in told and cell.shown not in labels]
    rest += [cell for aside in (found.asides if found else ()) if _is_quiet(aside) for cell in aside.cells]
    places = {cell.address for cell in told}
    titles = _titles((cell for cell in rest if cell.address not in places), [*masses, *names], table)
    bare = {place for one in ignored if one.what == NO_HEADING for place in one.cells.replace(here, "").split(", ")}
    lost = [cell for row in table.rows for cell in row.cells.values() if cell.address in bare]
    lost += [cell for one in asides if not one.kind or _is_label_alone(one) for cell in one.cells]
    said_so = " ".join([*(one.said for one in ignored), *(one.said for one in set_aside)])
    lost = [cell for cell in (*rest, *lost) if cell.address not in places and in_full(cell.typed) not in said_so]
    titles += _lines(lost, [*masses, *names], titles, table)
    if titles:
        ignored.append(told_as_titles(table, titles))
    of_titles = {cell.address for cell in (*told, *titles)} | {cell.address for one in asides for cell in one.cells}
    ignored = columns_left(units, of_titles | of_assay, ignored)
    if assay is not None and assay.table is not table:
        ignored += columns_left(assay, (), (), of=CONTENTS)
    tells = len(plain_words(table.sheet)) > _LONGEST_NAME and may_tell(table.sheet)
    if tells or says_of_some(table.sheet) or numbers_told(table.sheet):
        ignored.append(IgnoredCells(cells="the sheet's name", what="a text", said=in_full(table.sheet)))
    told_so = " ".join(one.said for one in ignored)
    rest = [cell for cell in rest if cell not in titles and in_full(cell.typed) not in told_so]
    if rest:
        said = all_in_full(cell.typed for cell in rest)
        ignored.append(IgnoredCells(cells=areas(table, rest), what=TEXT, said=said))
    return ReadBack(
        sheet=table.sheet,
        cells=areas(table, list(masses) or names),
        units=len(rows),
        mass_unit=("mg" if power else "g") if masses else None,
        mass_unit_known_by=known_by if masses else None,
        decimal=None if few else mark,
        ends=(*weighed[:1], *weighed[-1:]),
        numbered=found is not None and found.numbered,
        set_aside=tuple(
            one for one in set_aside if one.what or one.cells not in {of.cells for of in set_aside if of.what}
        ),
        ignored=tuple(replace(one, cells=one.cells.removeprefix(here)) for one in ignored),
    )


def _printed_with_each(asides: Sequence[Aside], masses: Sequence[Decimal]) -> dict[str, list[SheetCell]]:
    """The gross masses and tares printed with each net mass, by their sign, no gross one below its net one."""
    printed: dict[str, list[SheetCell]] = {}
    for aside in asides:
        printed.setdefault(aside.label, []).extend(aside.cells)
    found: dict[str, list[SheetCell]] = {}
    for label, cells in printed.items():
        sign, lines = balance_sign(label), [line for cell in cells if (line := printed_line(cell.text)) is not None]
        pairs = list(zip(lines, masses, strict=False)) if len(lines) == len(masses) > 1 else []
        if pairs and (sign == "tare" or (sign == "gross" and all(line.grams >= mass for line, mass in pairs))):
            found[label] = cells
    return found


def _titles(texts: Iterable[SheetCell], units: Sequence[SheetCell], table: SheetTable) -> list[SheetCell]:
    """Texts that stand in no row of a unit, and are neither a fact of a record with its value nor head a column.

    `units` are the cells of their names and masses; the texts of a record's own words come last.
    """
    rows, columns = set(map(row_of, units)), {cell.column for cell in units}
    cells = {row.number: row.cells for row in table.rows}
    filled = {column: row for row in sorted(rows & cells.keys()) for column in cells[row]}
    found: list[SheetCell] = []
    for cell in (one for one in texts if one.kind is CellKind.TEXT and row_of(one) not in rows):
        here, below = cells[row_of(cell)], cells.get(row_of(cell) + 1, {}).get(cell.column)
        beside_units = cell.column in filled and row_of(cell) < filled[cell.column]
        before = [one for column, one in here.items() if column < cell.column]
        valued = any(column > cell.column for column in here) or cell.shown.rstrip().endswith(":")
        fact = valued if is_fact(cell.shown) else bool(before) and is_fact(before[-1].shown)
        heads = beside_units or (below is not None and number_in(below) is not None)
        if not fact and (cell.column in columns or not heads):
            found.append(cell)
    return sorted(found, key=lambda cell: how_plain(cell.shown))


def _lines(
    cells: Sequence[SheetCell], units: Sequence[SheetCell], told: Sequence[SheetCell], table: SheetTable
) -> list[SheetCell]:
    """Of cells that are not told yet those that may part the units: in lines of their own among or next to them.

    `units` are the cells of their names and masses. A row of headings, a fact with its number, a mould and what is
    said in the plain words of a record part nothing.
    """
    rows, columns = set(map(row_of, units)), {cell.column for cell in units}
    there = {row.number: row.cells for row in table.rows}
    cells = list(dict.fromkeys(cells))
    # What stands beside each of them parts none.
    often = Counter(cell.shown for cell in cells)
    found: list[SheetCell] = []
    for cell in cells if len(rows) >= len(columns) > 0 else ():
        row, text = row_of(cell), cell.shown
        others = [one for one in there[row].values() if one.address != cell.address]
        apart = cell.column not in columns and bool(others)
        apart = apart or often[text] >= max(len(rows) - 1, _NEAR)
        if not min(rows) - _NEAR <= row <= max(rows) + _NEAR or apart or cell in told:
            continue
        heads = bool(others) and (row == min(rows) - 1 or any(number_in(one) is not None for one in others))
        heads = heads or any(one.column == cell.column - 1 and is_fact(one.shown) for one in others)
        # "Lot A" is as good as "Lot 7", and "Unit: oz" says what it is.
        says = not is_plain(text) or ":" in text.strip(": ")
        says = says or any(len(word) == 1 or word.isdigit() for word in plain_words(text))
        if not (row in rows or heads or names_mould(text) or is_clock(cell.typed)) and says:
            found += [cell] if any(map(str.isalnum, text)) else []
    return found


def _is_label_alone(aside: Aside) -> bool:
    return {cell.shown for cell in aside.cells} == {aside.label}


def _is_quiet(aside: Aside) -> bool:
    """Whether words alone were set aside that may tell nothing of units."""
    words = not aside.kind and all(number_in(cell) is None for cell in aside.cells)
    return words and not may_tell(" ".join(cell.shown for cell in aside.cells)) and bool(aside.label.strip(" .\u2026"))


def _is_text(cell: SheetCell, labels: Collection[str]) -> bool:
    """Whether a cell holds words that are neither a day nor the label of a number."""
    return cell.kind is CellKind.TEXT and not is_clock(cell.typed) and cell.shown not in labels


def _decimal_mark(masses: _Masses) -> DecimalMark | None:
    """The decimal mark of masses that were typed with a comma, or that can be read two ways."""
    if _with_comma(masses):
        return "comma"
    return "point" if any(cell.kind is CellKind.TEXT and is_open(cell) for cell in masses) else None


def _with_comma(masses: _Masses) -> list[SheetCell]:
    """The masses that were typed with a decimal comma."""
    typed = {cell: written(cell.text) for cell in masses if cell.kind is CellKind.TEXT and "," in cell.text}
    return [cell for cell, text in typed.items() if text.with_point != text.with_comma == masses[cell]]


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
            is_figure = any(figure_called(cell, group) for group in (cells, above, last_block(above)))
            is_figure = is_figure or (aside.kind == "count" and value in (len(cells), len(above)))
            if (inside or short) and not is_figure and middle / NEAR <= value <= NEAR * middle:
                found = f"{quoted(aside.label)} with the number {cell.quoted} is as much as a unit "
                found += "weighs" if name == "mass_g" else "holds"
                mend = "Give it the name of its unit if it is one; if not, write what it is above or below all units"
                units.refuse_at(cell.address, f"{found}, and no figure of the others", mend)
