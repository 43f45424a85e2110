"""From a table under headings to its units, with what is in doubt there."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import pairwise

from qc.fields.words import (
    are_phases,
    heading_of,
    measure_of,
    names_mould,
    not_understood,
    says_content,
    says_of_label,
    says_who,
    summary_of,
)
from qc.problems import quoted
from qc.readers.cells import CellKind, SheetCell
from qc.readers.finding.blocks import HeadedBlock
from qc.readers.finding.candidate import Candidate
from qc.readers.finding.grids import is_place
from qc.readers.finding.lines import IF_SINGLE, MOST_SHARE, Doubtful, FoundLine
from qc.readers.finding.set_aside import MEASURED
from qc.readers.finding.unaccounted import like_the_label
from qc.readers.finding.view import SheetView, meant_in, number_in
from qc.readers.headed_table import TYPE_POINTS


def of_block(upright: SheetView, block: HeadedBlock) -> Candidate:
    """A table under headings as units; `upright` is its sheet, whichever way the table lies on it."""
    view, lines = block.view, []
    spot, names = block.columns["mass_g"], _names_before(block)
    headed = {column for row, _ in block.headings for column in view.rows[row] if view.text((row, column))}
    phases = _columns_of_phases(block)
    places = [cells["cavity"].shown for cells in block.rows.values() if {"cavity", "mass_g"} <= cells.keys()]
    placed = not names and "name" not in block.columns and len({*places}) == len(places)
    for row, cells in block.rows.items():
        if placed and "cavity" in cells:
            cells = {"name": cells["cavity"], **cells}
        beside = {column: cell for column, cell in block.beside(row).items() if column != names}
        texts_beside = {at: cell for at, cell in beside.items() if cell.kind is CellKind.TEXT and at not in phases}
        said = {column: cell for column, cell in texts_beside.items() if summary_of(cell.shown)}
        numbers = {column for column, cell in beside.items() if number_in(cell) is not None} - said.keys()
        first = next(iter(view.rows[row].values()))
        named = cells.get("name", first)
        # Between the blocks, or under the names of the next one.
        to = (named, view.at((row, block.columns["name"] - 1))) if named is not first and not placed else ()
        goes_on = summary_of(first.shown) and any(cell is not None and _is_to(cell) for cell in to)
        if goes_on:
            # "Limits | 1.910 | to | 2.110" goes on under the names of the next block.
            cells = {attribute: cell for attribute, cell in cells.items() if attribute != "name"}
        if names and (name := view.at((row, names))) is not None:
            cells = {"name": name, **cells}
        texts = [
            cell
            for column, cell in beside.items()
            # A percentage under a heading of its own is no limit.
            if column < spot
            and column not in numbers | phases
            and (column not in headed or any(map(str.isalpha, cell.shown)))
        ]
        # A label behind the mass is about the number behind it; it is about the mass only where there is none.
        behind = {column: cell for column, cell in said.items() if column > spot and column + 1 not in numbers}
        sure = {column for column in behind if column not in headed and column > max(numbers, default=spot)}
        texts += [behind[column] for column in sure if "name" not in cells]
        texts = [first, *([named] if number_in(named) is not None else [])] if goes_on else texts
        texts = texts if texts or "name" in cells else _label_of_all(view.rows[row].values(), block.left)
        lines.append(FoundLine(number=row, cells=cells, texts=tuple(texts), unsure=tuple(behind.values())))
    used = [*block.headings.values(), *(cell for line in lines for cell in (*line.cells.values(), *line.texts))]
    doubtful = (*_contents_of_no_measure(block), *_said_below(block), *_too_wide(block))
    measure = block.measures["mass_g"] or _measure_beside(block, names)
    # Over the names may stand the name of their mould.
    over_names = next((view.text((row, names)) for row, _ in block.headings), "") if names else ""
    label = over_names if names_mould(over_names) and is_place(over_names) else block.label
    return Candidate.of_lines(upright, lines, doubtful=doubtful, measure=measure, used=used, label=label)


def _columns_of_phases(block: HeadedBlock) -> set[int]:
    """The columns beside the masses that say of which part of the pour each is; "Medio" is no mean there."""
    beside: dict[int, set[str]] = {}
    for row, cells in block.rows.items():
        for column, cell in block.beside(row).items() if "mass_g" in cells else ():
            beside.setdefault(column, set()).add(cell.shown)
    return {column for column, texts in beside.items() if are_phases(texts)}


def _is_to(cell: SheetCell) -> bool:
    """Whether a cell stands between two limits."""
    return cell.shown.strip(" .").casefold() in ("to", "bis", "\u00e0", "a", "tot", "do", "at\u00e9", "-", "\u2013")


def _label_of_all(row: Iterable[SheetCell], left: int) -> list[SheetCell]:
    """The label of figures in a row, the only words there, below a block to the left: the mean of all, or of each."""
    cells = list(row)
    words = [cell for cell in cells if number_in(cell) is None]
    alone = len(words) == 1 and words[0].column <= left
    return words if alone and summary_of(words[0].shown) else []


def _measure_beside(block: HeadedBlock, names: int) -> str:
    """The one unit of measure in the column behind the masses, or in one before them where no other numbers stand."""
    spot = block.columns["mass_g"]
    rows = [row for row, cells in block.rows.items() if "mass_g" in cells]
    before = [one for row in rows for one in block.beside(row).items() if one[0] < spot and one[0] != names]
    theirs = min(block.columns.get(name, spot) for name in MEASURED) == spot
    left = {at for at, _ in before} if theirs and all(number_in(cell) is None for _, cell in before) else set[int]()
    for column in (spot + 1, *sorted(left)):
        measures = {measure_of(block.view.text((row, column))) for row in rows}
        signed = any(says_who(block.view.text((row, column))) for row, _ in block.headings)
        if len(measures) == 1 and "" not in measures and not signed:
            return measures.pop()
    return ""


def _names_before(block: HeadedBlock) -> int:
    """The one column that tells the rows apart before masses without a known heading of names; 0 for none.

    Its texts are all different, or its whole numbers count upward; words that head a figure are no names.
    """
    if "name" in block.columns:
        return 0
    rows = [row for row, cells in block.rows.items() if (one := cells.get("mass_g")) and number_in(one) is not None]
    columns = {column for row in rows for column in block.beside(row) if column < block.columns["mass_g"]}
    for column in sorted(columns):
        cells = [cell for row in rows if (cell := block.view.at((row, column))) is not None]
        names = [cell.shown for cell in cells if not summary_of(cell.shown)]
        numbers = [number for cell in cells if (number := number_in(cell)) is not None]
        counts = all(after - before == 1 for before, after in pairwise(numbers))
        if 1 < len(rows) * MOST_SHARE <= len(names) == len(set(names)) and (
            not numbers or (counts and numbers == sorted(numbers))
        ):
            return column
    return 0


def _contents_of_no_measure(block: HeadedBlock) -> Iterator[Doubtful]:
    """Headings that say content, and not in what; a content that is left out could be one that fails."""
    mend = "Write Content (mg) or Content (% of label) over the contents"
    heads = {row for row, _ in block.headings}
    for row in heads:
        # Of a column that the call leaves out of account the heading alone may be left.
        below = {column for at, cells in block.view.rows.items() if at > row for column in cells}
        for column, cell in ((at, one) for at, one in block.view.rows[row].items() if at in below):
            name = next((one for one in ("content_mg", "content_percent") if block.columns.get(one) == column), "")
            measured, measure = bool(name), block.measures.get(name, "")
            text = block.view.text((row, column))
            in_mg = block.measures.get("content_mg") == "mg"
            percents = (one for row in block.rows.values() if (one := row.get("content_percent")) is not None)
            of_what = measure == "mg" or (measure == "%" and (in_mg or says_of_label(text) or like_the_label(percents)))
            if (measured and heading_of(text) is not None and not of_what) or (
                not measured and heading_of(text) is None and says_content(text)
            ):
                yield Doubtful(
                    cell=cell, found=f"{cell.quoted} says content, but not of what or in which unit", mend=mend
                )


def _said_below(block: HeadedBlock) -> Iterator[Doubtful]:
    """What stands between the heading of the masses and the first of them, and makes another mass of it."""
    heading = next(cell for (_, column), cell in block.headings.items() if column == block.columns["mass_g"])
    for cells in block.rows.values():
        cell = cells.get("mass_g")
        if cell is None or number_in(cell) is not None or meant_in(cell) is not None or "name" in cells:
            return
        if other := not_understood(f"{heading.typed} {cell.typed}"):
            found = f"{cell.quoted} stands over the masses, and what {quoted(other)} says of them is not understood"
            yield Doubtful(cell=cell, found=found, mend=IF_SINGLE)


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
            yield Doubtful(cell=next(iter(cells.values())), found=found, mend=TYPE_POINTS)
