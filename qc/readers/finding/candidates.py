"""The tables of weights of a sheet: under headings upright or on its side, the lines of a balance, grids and lists."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from qc.readers.cells import SheetTable, row_of
from qc.readers.finding.candidate import Candidate
from qc.readers.finding.view import number_in, view_of


def candidates_of(table: SheetTable) -> list[Candidate]:
    """Every table of weights of a sheet, by the first of the ways to look for one that finds any."""
    from qc.readers.finding.blocks import headed_blocks
    from qc.readers.finding.from_blocks import of_block
    from qc.readers.finding.from_grids import of_grid
    from qc.readers.finding.from_lines import of_lines
    from qc.readers.finding.grids import FEWEST, grids_of

    upright = view_of(table)
    # Where nothing but numbers stands, nothing is headed.
    words = any(number_in(cell) is None for cells in upright.rows.values() for cell in cells.values())
    ways: Sequence[Callable[[], Iterable[Candidate]]] = (
        lambda: (of_block(upright, block) for block in (headed_blocks(upright) if words else ())),
        lambda: (of_block(upright, block) for block in (headed_blocks(upright.on_its_side()) if words else ())),
        lambda: of_lines(upright),
        lambda: (of_grid(upright, grid) for grid in grids_of(upright)),
    )
    for way in ways:
        found = [one for one in way() if one.masses or one.doubtful]
        # Many headings of one mass each, one below the other, are the words of a print-out: "Net: 2.113 g".
        # Behind the word may stand the number of the unit: "Weight 3  2.113 g".
        alone = [
            len(one.masses) == 1 or (len(one.masses) == 2 and len(set(map(row_of, one.masses))) == 1) for one in found
        ]
        if found and not (len(found) >= FEWEST and all(alone)):
            return found
    return []


def tables_of(table: SheetTable) -> list[Candidate]:
    """Every table of weights of a sheet, those that are the moulds of one batch as one."""
    from qc.readers.finding.choose import one_batch

    return one_batch(candidates_of(table))
