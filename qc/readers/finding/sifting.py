"""Which rows of a found table are units: a figure worked out from them, a target or a remark is none."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from decimal import Decimal
from itertools import pairwise
from statistics import fmean, median, mode, stdev

from qc.fields.remarks import is_fact, parts_groups
from qc.fields.words import heading_of, summary_of
from qc.patterns import pattern
from qc.readers.cells import CellKind, SheetCell
from qc.readers.finding.figures import (
    FEWEST_TO_COMPARE,
    as_fine,
    equals_a_figure,
    figure_called,
    last_digit,
)
from qc.readers.finding.lines import MOST_SHARE, NEAR, PART, PLACES, Aside, Doubtful, FoundLine
from qc.readers.finding.printed import figure_said
from qc.readers.finding.unit_names import UnitNames, has_digit
from qc.readers.finding.view import decimals_in, meant_in, number_in, value_in, written_at

# How many figures may stand in a row at an end of a list, and from how many masses on they are told from them.
MOST_FIGURES, FEWEST_AT_ENDS = 4, 6
# Units are poured and weighed by tens (common practice).
ROUND = 10
_NAME_IT = "Name the unit, or clear the cell if it is none"
# What a formula works out of a range of cells.
_KINDS = {"AVERAGE": "mean", "STDEV": "sd", "STDEV.S": "sd", "MIN": "least", "MAX": "greatest", "SUM": "sum"}
_FUNCTION = pattern(
    rf"(?:of:)?=\s*(?:_xlfn\.)?({'|'.join(map(re.escape, _KINDS))})\([^():]*:[^():]*\)\s*$", re.IGNORECASE
)
# A number with a blank beside its decimal mark.
_BROKEN = pattern(r"\d\s+[.,]\s*\d|\d[.,]\s+\d\d")


def sifted(lines: Sequence[FoundLine]) -> tuple[list[FoundLine], list[Aside], list[Doubtful]]:
    """Part the lines of a table into units, figures and remarks set aside, and what only a person can tell."""
    names = UnitNames.of([line.cells["name"].shown for line in lines if "name" in line.cells and line.mass is not None])
    steps = [after.number - before.number for before, after in pairwise(lines)]
    usual = max(1, mode(steps)) if steps else 1
    figures = [next((cell for cell in line.labels if _says_figure(cell, line, names)), None) for line in lines]
    # A row of text alone is as good as an empty one.
    parts = [
        label is not None or (line.mass is None and "name" not in line.cells)
        for label, line in zip(figures, lines, strict=True)
    ]
    gaps = [later for later, step in enumerate(steps, start=1) if step > usual or parts[later - 1]]
    # Behind a gap, at the end and before a labelled figure stands what is worked out from the units above.
    # The last of a grid of several columns is none.
    ends = {
        *gaps,
        *({len(lines) - 1} if 0 not in steps else ()),
        *(spot - 1 for spot, part in enumerate(parts) if part),
    }
    late = next(
        (gap for gap in gaps if sum(one.mass is not None for one in lines[gap:]) < FEWEST_TO_COMPARE <= gap), len(lines)
    )
    odd_ones = set() if names.any else _unlike_the_others(lines)
    if not names.any and 0 not in steps:
        odd_ones |= _figures_at_the_ends(lines)
    units: list[FoundLine] = []
    asides: list[Aside] = []
    doubtful: list[Doubtful] = []
    for spot, line in enumerate(lines):
        label, mass = figures[spot], line.mass
        if label is not None and (said := figure_said(label.text))[0]:
            asides.append(Aside(cells=(written_at(label, said[1]),), label=said[0], kind=summary_of(said[0])))
        elif label is not None:
            asides.append(Aside(cells=line.everything, label=label.shown, kind=summary_of(label.shown)))
        elif mass is None and (cell := line.cells.get("name")) is not None and decimals_in(cell):
            found = f"{cell.quoted} stands under the names of the units, without a mass"
            doubtful.append(Doubtful(cell=cell, found=found, mend="Type the mass under its heading, or clear the cell"))
        elif mass is None and names.is_remark(line):
            cell = line.cells.get("mass_g")
            content = next((line.cells[name] for name in ("content_mg", "content_percent") if name in line.cells), None)
            if content is not None and number_in(content) is not None:
                found = f"{content.quoted} stands among the contents, and has no name of a unit beside it"
                doubtful.append(Doubtful(cell=content, found=found, mend=_NAME_IT))
            elif (
                cell is not None
                and not _is_day(line)
                and (cell.kind is not CellKind.TEXT or meant_in(cell) is not None or _BROKEN.search(cell.text))
            ):
                found = f"{cell.quoted} stands among the masses, is no number, and has no name of a unit beside it"
                doubtful.append(Doubtful(cell=cell, found=found, mend="Type the mass and name the unit, or clear it"))
            else:
                asides.append(Aside(cells=line.everything, label=next((one.shown for one in line.everything), "")))
        elif mass is not None and "name" not in line.cells and (word := line.word_beside) is not None:
            found = f"{mass.quoted} has no name of a unit, and {word.quoted} stands beside it"
            doubtful.append(Doubtful(cell=mass, found=found, mend=_NAME_IT))
        elif mass is not None and not names.any and any(aside.kind for aside in asides):
            found = f"{mass.quoted} stands below a row that sums up, without the name of a unit"
            doubtful.append(Doubtful(cell=mass, found=found, mend=_NAME_IT))
        elif kind := _worked_out(line, units, names):
            called = line.cells["name"].shown if "name" in line.cells else kind
            asides.append(Aside(cells=line.everything, label=called, kind=kind))
        elif mass is not None and (
            doubt := _doubt(line, lines, spot, names=names, gaps=gaps, late=late, ends=ends, odd=odd_ones)
        ):
            doubtful.append(doubt)
        else:
            units.append(line)
    among = [line.number for line in units if line.mass is not None]
    first, last = min(among, default=0), max(among, default=0)
    for line in (one for one in lines if one.mass is None and first < one.number < last):
        texts = [cell for cell in line.everything if cell.kind is CellKind.TEXT]
        # A unit without a mass has a name like the others; it may have no more than a note.
        remark = names.is_remark(line) and all(number_in(cell) is None for cell in line.everything)
        if remark and (cell := next((one for one in texts if _parts(one.typed)), None)) is not None:
            found = f"{cell.quoted} stands among the masses, and may part those above it from those below it"
            doubtful.append(Doubtful(cell=cell, found=found, mend=PART))
    return units, asides, doubtful


def _is_day(line: FoundLine) -> bool:
    """Whether a day stands behind the word for one, below the masses: "Date", "Weighed on"."""
    name, cell = line.cells.get("name"), line.cells.get("mass_g")
    return name is not None and cell is not None and cell.kind is CellKind.DATE and is_fact(name.shown)


def _says_figure(label: SheetCell, line: FoundLine, names: UnitNames) -> bool:
    """Whether a label heads a figure, or is none of a unit and says one with its value: "Mean: 2.011 g"."""
    said = line.mass is None and names.is_remark(line) and figure_said(label.text)[0]
    return bool(names.figure(label) or said)


def _parts(text: str) -> bool:
    """Whether a text alone in its row, among the units, may say what those below it are: a word for other figures."""
    said = heading_of(text)
    other = said is not None and said.attribute not in ("mass_g", "name", "batch", *PLACES)
    return parts_groups(text) or other or summary_of(text) != ""


def _unlike_the_others(lines: Sequence[FoundLine]) -> set[int]:
    """Of lines without names, those far from the others, and those that lack what nearly all others have beside."""
    masses = [value_in(line.mass) for line in lines if line.mass is not None]
    middle = median(masses) if masses else Decimal(0)
    counts = Counter(name for line in lines if line.mass is not None for name in line.cells)
    shared = {name for name, count in counts.items() if name in PLACES and count > MOST_SHARE * len(masses)}
    return {
        spot
        for spot, line in enumerate(lines)
        if line.mass is not None
        and (not shared <= line.cells.keys() or not middle / 2 <= value_in(line.mass) <= 2 * middle)
    }


def _figures_at_the_ends(lines: Sequence[FoundLine]) -> set[int]:
    """Of masses without names, several in a row at an end that are all figures of the rest, or are finer than it."""
    spots = [spot for spot, line in enumerate(lines) if line.mass is not None]
    cells = [cell for line in lines if (cell := line.mass) is not None]
    found: set[int] = set()
    for count in range(1, min(MOST_FIGURES, len(cells) - FEWEST_AT_ENDS) + 1):
        for own, rest, at in (
            (cells[:count], cells[count:], spots[:count]),
            (cells[-count:], cells[:-count], spots[-count:]),
        ):
            # One alone at the end is asked by itself; among a round number of masses some are figures by chance.
            by_chance = not len(cells) % ROUND or (count == 1 and at[0] > 0)
            if not by_chance and all(equals_a_figure(cell, rest, gap=False) for cell in own):
                found |= set(at)
    if len(cells) < FEWEST_AT_ENDS:
        return found
    found |= {spots[at] for at in _means_of_blocks(cells)}
    fine = sorted(map(decimals_in, cells))[int(MOST_SHARE * len(cells))]
    return found | {spot for spot, cell in zip(spots, cells, strict=True) if decimals_in(cell) > fine}


def _means_of_blocks(cells: Sequence[SheetCell]) -> list[int]:
    """The places of masses that are each the mean of equally many before it; none where it is one alone."""
    found: list[int] = []
    total, first = 0.0, 0
    for at, cell in enumerate(cells):
        value, count = float(value_in(cell)), at - first
        if count >= FEWEST_AT_ENDS - 1 and abs(total / count - value) <= last_digit(cell):
            found.append(at)
            total, first = 0.0, at + 1
        else:
            total += value
    alike = len(found) > 1 and len({after - before for before, after in pairwise([-1, *found])}) == 1
    return found if alike else []


def _worked_out(line: FoundLine, units: Sequence[FoundLine], names: UnitNames) -> str:
    """The kind of a figure that no unit can weigh, under a name without a number and in whatever language; or empty."""
    name = line.cells.get("name")
    if line.mass is not None and name is None and names.any and (match := _FUNCTION.match(line.mass.own_formula)):
        return _KINDS[match.group(1).upper()]
    if line.mass is None or name is None or not names.numbered or has_digit(name.shown):
        return ""
    masses = [float(value_in(one.mass)) for one in units if one.mass is not None]
    if len(masses) < FEWEST_TO_COMPARE:
        return ""
    value, half, sd = float(value_in(line.mass)), last_digit(line.mass), stdev(masses)
    in_percent = "%" in name.shown and abs(100 * sd / fmean(masses) - value) <= half
    near = median(masses) / NEAR <= value <= NEAR * median(masses)
    sums_up = not near and abs(sum(masses) - value) <= half
    return "figure" if in_percent or sums_up else "sd" if not near and abs(sd - value) <= half else ""


def _doubt(
    line: FoundLine,
    lines: Sequence[FoundLine],
    spot: int,
    *,
    names: UnitNames,
    gaps: list[int],
    late: int,
    ends: set[int],
    odd: set[int],
) -> Doubtful | None:
    """Why a row with a number may be no unit; None where nothing speaks against it."""
    mass, name = line.mass, line.cells.get("name")
    if mass is None:
        return None
    if name is not None:
        # The units of a batch count from 1, or from 0 on; a zero behind others is what a figure came to be called.
        zero = spot > 0 and not name.shown.strip("0") and not _begins_a_batch(line, lines[spot - 1])
        breaks = spot >= late and _breaks_the_count(name, lines[:late])
        if not zero and not breaks and not names.is_odd(name.shown):
            return None
        found = f"{name.quoted} with the number {mass.quoted} stands among units that are named otherwise"
        return Doubtful(cell=name, found=found, mend="Name it as the others if it is a unit, or take the row out")
    before = [one.mass for one in lines[:spot] if one.mass is not None] if spot in ends else []
    # A round number of masses, the last of them among the others: with few decimals it equals a figure by chance.
    by_chance = spot == len(lines) - 1 and not len(lines) % ROUND and spot not in gaps and as_fine(mass, before)
    # The next cavity is no place of a figure.
    by_chance = by_chance or any(_next_to(line, lines[spot - 1], place) for place in PLACES)
    summed_up = bool(before) and not by_chance and equals_a_figure(mass, before, gap=spot in gaps)
    if names.any or spot >= late or spot in odd or summed_up:
        figure = figure_called(mass, before)
        what = f" and is {figure} of those above" if figure else ""
        found = f"{mass.quoted} stands among the masses without the name of a unit{what}"
        return Doubtful(cell=mass, found=found, mend=_NAME_IT)
    return None


def _next_to(line: FoundLine, before: FoundLine, place: str) -> bool:
    """Whether the number of a place counts on from the row before."""
    cells = [one.cells[place] for one in (before, line) if place in one.cells]
    return len(cells) > 1 and value_in(cells[1]) - value_in(cells[0]) == 1


def _begins_a_batch(line: FoundLine, before: FoundLine) -> bool:
    batch, last = line.cells.get("batch"), before.cells.get("batch")
    return batch is not None and (last is None or batch.shown != last.shown)


def _breaks_the_count(name: SheetCell, before: Sequence[FoundLine]) -> bool:
    """Whether a number behind a gap does not go on from names that count up by one."""
    names = [*(one.cells["name"] for one in before if "name" in one.cells), name]
    numbers = [number for cell in names if (number := number_in(cell)) is not None]
    *steps, last = [after - one for one, after in pairwise(numbers)] or [Decimal(0)]
    return number_in(name) is not None and set(steps) == {1} and not 1 <= last <= FEWEST_TO_COMPARE
