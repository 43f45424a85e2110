"""The tables of weights of a sheet: under headings upright or on its side, the lines of a balance, grids and lists."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import pairwise

from msgspec.structs import replace

from qc.readers.cells import SheetTable
from qc.readers.finding.blocks import headed_blocks
from qc.readers.finding.candidate import Candidate
from qc.readers.finding.from_blocks import of_block
from qc.readers.finding.from_grids import of_grid
from qc.readers.finding.from_lines import of_lines
from qc.readers.finding.grids import grids_of
from qc.readers.finding.lines import Doubtful
from qc.readers.finding.view import view_of
from qc.readers.headed_table import TYPE_POINTS

FEWEST_SPLIT = 3


def candidates_of(table: SheetTable) -> list[Candidate]:
    """Every table of weights of a sheet, by the first of the ways to look for one that finds any."""
    upright = view_of(table)
    ways: Sequence[Callable[[], Iterable[Candidate]]] = (
        lambda: (of_block(upright, block) for block in headed_blocks(upright)),
        lambda: (of_block(upright, block) for block in headed_blocks(upright.on_its_side())),
        lambda: of_lines(upright),
        lambda: (of_grid(upright, grid) for grid in grids_of(upright)),
    )
    for way in ways:
        if found := [one for one in way() if one.masses or one.doubtful]:
            return [replace(one, doubtful=(*one.doubtful, *_merged(one), *_cut_at_commas(one))) for one in found]
    return []


def _merged(candidate: Candidate) -> Iterator[Doubtful]:
    """Masses in merged cells: which row they belong to cannot be told."""
    masses = {cell.address: cell for cell in candidate.masses}
    for merge in candidate.table.merges:
        cell = masses.get(merge.address.partition(":")[0])
        if cell is not None:
            found = f"mass {cell.quoted} is merged over {merge.address}: which unit it belongs to cannot be told"
            yield Doubtful(cell=cell, found=found, mend="Unmerge the cells and type each value into its own")


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
            yield Doubtful(cell=candidate.masses[0], found=found, mend=TYPE_POINTS)
