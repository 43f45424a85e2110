"""Numbers beside the units that nothing took, under a heading that is not known to be about something else."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from decimal import Decimal
from itertools import pairwise
from statistics import linear_regression, median

from qc.fields.field import plain
from qc.fields.sheets import SHOWN_ONLY
from qc.fields.words import meant_by, measure_of, plain_words, summary_of, words_known
from qc.problems import quoted
from qc.readers.cells import CellKind, Noted, SheetCell, row_of
from qc.readers.command import to_ignore
from qc.readers.finding.lines import NEAR
from qc.readers.finding.unread import what_it_says
from qc.readers.finding.view import SheetView, decimals_in, number_in, value_in

# How far from a mean a deviation lies [%] (common practice), and how many points no straight line meets by chance.
MOST_DEVIATION, FEWEST = 30, 3
# Between which medians contents in per cent, of nothing that is said, are of the label (common practice) [%].
OF_LABEL = 75, 125
_BINARY = 1e-12
_PERCENT = frozenset({"%", "percent", "prozent"})
_PLAIN = ("pour_order", "weighing_order", "mould", "cavity", "name", "batch", "seen", "note", "stage")

LineBeside = tuple[str, list[SheetCell], list[SheetCell]]
"""A heading, the cells below or behind it, and the masses beside them."""


def refuse_unaccounted(
    view: SheetView,
    *,
    masses: Sequence[SheetCell],
    rest: Iterable[SheetCell],
    call: str,
    findings: Noted,
    what: str = "masses",
    contents: Sequence[SheetCell] = (),
) -> None:
    """Refuse what may be contents or masses of the units, all of it in one message; a list of words would never do.

    Parameters
    ----------
    view : SheetView
        The sheet, upright.
    masses : sequence of SheetCell
    rest : iterable of SheetCell
        The numbers of the sheet that nothing took.
    call : str
        The call so far, to be copied with what leaves them out of account.
    findings : Noted
    what : str
        What stands in the place of the masses: the contents of a sheet Assay.
    contents : sequence of SheetCell
        What the units hold, beside their masses.
    """
    lines = lines_beside(view, masses, rest)
    told = [(heading, cells) for heading, cells, own in lines if not _is_plain(heading, cells, own, contents)]
    if not told:
        return
    heads = ", ".join(quoted(heading) if heading else "no heading" for heading, _ in told)
    found = f"the numbers beside the {what} under {heads} were not read, and what they are is not known"
    mend = "Head them Content (mg) or Content (% of label) if units hold that much, put other masses below the first"
    mend += f", or, if they are neither, {to_ignore(call, view.table, *(line for _, line in told))}"
    findings.refuse(view.table, told[0][1][0].address, found=found, mend=mend)


def lines_beside(view: SheetView, masses: Sequence[SheetCell], rest: Iterable[SheetCell]) -> Iterator[LineBeside]:
    """The cells of each column beside the units, their heading and masses; of each row where units stand across."""
    across = len(set(map(row_of, masses))) < len({cell.column for cell in masses})
    at: Callable[[SheetCell], int] = (lambda cell: cell.column) if across else row_of
    along: Callable[[SheetCell], int] = row_of if across else (lambda cell: cell.column)
    mass_at = {at(mass): mass for mass in masses}
    lines: dict[int, list[SheetCell]] = {}
    for cell in rest:
        if at(cell) in mass_at:
            lines.setdefault(along(cell), []).append(cell)
    for _, cells in sorted(lines.items()):
        first = row_of(cells[0]), cells[0].column
        over = ((row, first[1]) for row in range(first[0] - 1, 0, -1))
        before = ((first[0], column) for column in range(first[1] - 1, 0, -1))
        heading = next(filter(None, map(view.text, (*before, *over) if across else (*over, *before))), "")
        yield heading, cells, [mass_at[at(cell)] for cell in cells]


def _is_plain(
    heading: str, cells: Sequence[SheetCell], masses: Sequence[SheetCell], contents: Sequence[SheetCell]
) -> bool:
    """Whether numbers are plainly neither masses nor contents: by the heading, or as they count or are worked out."""
    values = [value_of(cell) for cell in cells]
    if are_shares(cells, masses, contents):
        return True
    if what_it_says(heading) == "content":
        return False
    if plain(heading) in SHOWN_ONLY:
        return True
    if len(values) > 1 and (counts_up(values) or len(set(values)) == 1):
        return True
    # A letter alone is the name of an active as well as the sign of a balance.
    words, known = [word for word in plain_words(heading) if len(word) > 1 or not word.isalpha()], words_known()
    if "%" in heading and median(map(abs, values)) <= MOST_DEVIATION:
        return True
    others = known.heading.other | known.heading.packed | known.remark.figure | known.elsewhere | known.plainly
    others |= known.row_or_column | known.determination
    middles = [median(map(value_of, one)) for one in (masses, contents) if one]
    if any(all(middle / NEAR <= value <= NEAR * middle for value in values) for middle in middles):
        # What weighs like the units was weighed, on "Balance 2", by another "Operator" or as a "Check".
        if not known.remark.again.isdisjoint(words):
            return _is_worked_out(cells, masses)
        # A figure worked out from the units lies on a line over their masses, or is the same for all.
        others = (others - known.remark.who - known.remark.figure) | known.remark.reference
        return not others.isdisjoint(words) or meant_by(heading) in _PLAIN or _is_worked_out(cells, masses)
    by_words = not (others - _PERCENT).isdisjoint(words) or (
        any(not measure_of(word) for word in words) and bool(summary_of(heading))
    )
    return by_words or meant_by(heading) in _PLAIN or _is_worked_out(cells, masses)


def are_shares(cells: Sequence[SheetCell], masses: Sequence[SheetCell], contents: Sequence[SheetCell]) -> bool:
    """Whether numbers are what units hold over what they weigh, or by one factor, to their last digits: in mg/g.

    Parameters
    ----------
    cells, masses, contents : sequence of SheetCell
        The contents and masses may be of more units.
    """
    across = len(set(map(row_of, cells))) < len(cells)
    by_unit = [{cell.column if across else row_of(cell): cell for cell in some} for some in (cells, contents, masses)]
    lines = [[one[at] for one in by_unit] for at in by_unit[0] if all(at in one for one in by_unit)]
    numbers = [list(map(number_in, line)) for line in lines]
    if len(lines) < max(FEWEST, len(cells)) or not all(all(line) for line in numbers):
        return False
    # Half the last digit of each of the three, and how far they leave the median off.
    widths = [sum(0.5 * 10.0 ** -decimals_in(cell) / float(value_in(cell)) for cell in line) for line in lines]
    for over in (1, 0):
        scales = [share * mass**over / content for share, content, mass in numbers if share and content and mass]
        off = [abs(float(one / median(scales)) - 1) for one in scales]
        if all(one <= width + median(widths) for one, width in zip(off, widths, strict=True)):
            return True
    return False


def value_of(cell: SheetCell) -> Decimal:
    """The number of a cell; in percent where it is shown so."""
    if cell.kind is CellKind.PERCENT and cell.number is not None:
        return 100 * cell.number
    return value_in(cell)


def like_the_label(cells: Iterable[SheetCell]) -> bool:
    """Whether contents in per cent can be of nothing but the label: units hold far less of their own mass."""
    values = [value_of(cell) for cell in cells if number_in(cell)]
    return bool(values) and OF_LABEL[0] <= median(values) <= OF_LABEL[1]


def says_nothing_new(cells: Sequence[SheetCell], masses: Sequence[SheetCell]) -> bool:
    """Whether numbers count the units, or are worked out from the masses beside them."""
    values = [value_of(cell) for cell in cells]
    return len(values) > 1 and (counts_up(values) or _is_worked_out(cells, masses))


def counts_up(values: Sequence[Decimal]) -> bool:
    """Whether numbers count rows, from 0 or 1 on."""
    return values[0] <= 1 and all(after - before == 1 for before, after in pairwise(values))


def _is_worked_out(cells: Sequence[SheetCell], masses: Sequence[SheetCell]) -> bool:
    """Whether numbers follow from the masses beside them by a straight line, as deviations from a mean do."""
    weighed, values = [float(value_of(one)) for one in masses], [float(value_of(one)) for one in cells]
    # A formula stores as many digits as a binary number has.
    half = max(0.6 * 10.0 ** -max(map(decimals_in, cells)), _BINARY * max(map(abs, values)))
    if len(set(weighed)) < FEWEST or max(values) - min(values) < 4 * half:
        return False
    return on_one_line(values, weighed, half)


def on_one_line(values: Sequence[float], masses: Sequence[float], within: float) -> bool:
    """Whether numbers lie on one straight line over the masses."""
    slope, start = linear_regression(masses, values)
    return all(abs(start + slope * mass - value) <= within for mass, value in zip(masses, values, strict=True))
