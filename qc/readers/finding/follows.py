"""Numbers beside the units that follow from what was measured, for all units but a few: one of the two is wrong.

Gross masses, deviations from a mean, per cent of it and running totals lie on one straight line over the masses.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal
from itertools import pairwise
from math import ceil
from statistics import fmean, linear_regression, median

from qc.fields.field import plain
from qc.fields.sheets import SHOWN_ONLY
from qc.fields.words import plain_words, words_known
from qc.problems import quoted
from qc.readers.cells import Noted, SheetCell
from qc.readers.finding.gross_and_net import kinds_of
from qc.readers.finding.unaccounted import lines_beside, on_one_line, value_of
from qc.readers.finding.view import SheetView, decimals_in

# From how many numbers on a line shows, and the share of them that lie on it where it is one.
FEWEST, MOST_ON_IT = 6, 0.7
# A deviation from another mean or from a nominal mass differs by no more than this [%] (common practice).
MOST_OFF = 10.0
# How often the line is drawn anew through those nearest to it; how many half last digits rounding leaves a number off
# it, and over how many a line rises that is not level.
ROUNDS, MOST_ROUNDED, LEVEL = 4, 4, 8
# Digits behind the point of a number that a formula worked out which no rounding touches.
MOST_DIGITS = 6


def refuse_what_does_not_follow(
    view: SheetView,
    *,
    measured: Sequence[SheetCell],
    rest: Iterable[SheetCell],
    findings: Noted,
    what: str = "mass",
) -> None:
    """Refuse numbers that do not follow from the masses or contents beside them as the others of their column do.

    Parameters
    ----------
    view : SheetView
        The sheet, upright.
    measured : sequence of SheetCell
        The masses or contents.
    rest : iterable of SheetCell
        The numbers of the sheet that nothing took.
    findings : Noted
    what : str
        What each of them is called.
    """
    lines = list(lines_beside(view, measured, rest))
    tared = any("tare" in kinds_of(heading) for heading, *_ in lines)
    for heading, cells, own in lines:
        every = list(map(value_of, measured))
        # With the tares beside it each gross mass is held against its own.
        known = plain(heading) in SHOWN_ONLY or (tared and "gross" in kinds_of(heading))
        if known or not any(map(decimals_in, cells)):
            continue
        for at in _off(heading, cells, own, every):
            found = (
                f"{cells[at].quoted} under {quoted(heading)} does not follow from the {what} {own[at].quoted} beside it"
            )
            mend = (
                f"Compare it with the record, and type the {what} as it was found; or clear what does not belong there"
            )
            findings.refuse(view.table, cells[at].address, found=found, mend=mend)


def _off(heading: str, cells: Sequence[SheetCell], own: Sequence[SheetCell], every: Sequence[Decimal]) -> list[int]:
    """The places of numbers that are off the line on which the others lie, or off the deviation that they say."""
    values, masses = [float(value_of(cell)) for cell in cells], [float(value_of(cell)) for cell in own]
    if len(cells) < FEWEST:
        mean, figures = fmean(map(float, every)), words_known().remark.figure - {"%", "percent"}
        if "%" not in heading or figures.isdisjoint(plain_words(heading)) or not mean:
            return []
        shares = [100 * mass / mean for mass in masses]
        gaps = [
            min(abs(value - share), abs(abs(value) - abs(share - 100)))
            for value, share in zip(values, shares, strict=True)
        ]
        return [at for at, gap in enumerate(gaps) if gap > MOST_OFF]
    half = 0.5 * 10.0 ** -min(MOST_DIGITS, max(map(decimals_in, cells)))
    # A running total grows by the mass of each unit.
    steps = [after - before for before, after in pairwise(values)]
    # A deviation may stand there without its sign.
    without_sign = [abs(mass - fmean(map(float, every))) for mass in masses]
    if min(values) >= 0 and _off_the_line(values, without_sign, half) == []:
        return []
    on_values, on_steps = _off_the_line(values, masses, half), _off_the_line(steps, masses[1:], 2 * half)
    return on_values if on_values is not None else [at + 1 for at in on_steps or ()]


def _off_the_line(values: Sequence[float], masses: Sequence[float], half: float) -> list[int] | None:
    """The places off the straight line on which most lie; None where most lie on none, or it is level."""
    pairs = list(pairwise(zip(masses, values, strict=True)))
    slopes = [(after[1] - one[1]) / (after[0] - one[0]) for one, after in pairs if after[0] != one[0]]
    if not slopes:
        return None
    slope = median(slopes)
    start = median(value - slope * mass for mass, value in zip(masses, values, strict=True))
    for _ in range(ROUNDS):
        off = [abs(start + slope * mass - value) for mass, value in zip(masses, values, strict=True)]
        nearest = sorted(range(len(off)), key=off.__getitem__)[: ceil(MOST_ON_IT * len(off))]
        xs, ys = [masses[at] for at in nearest], [values[at] for at in nearest]
        if len(set(xs)) < 2:
            return None
        slope, start = linear_regression(xs, ys)
    is_level = abs(slope) * (max(masses) - min(masses)) < LEVEL * half
    far = [at for at, how_far in enumerate(off) if how_far > MOST_ROUNDED * half]
    # Of rounded numbers close together the line turns, and misses one that lies far from them: it may run through it.
    all_on = not far or on_one_line(values, masses, MOST_ROUNDED * half)
    return [] if all_on and not is_level else None if is_level or len(far) > (1 - MOST_ON_IT) * len(values) else far
