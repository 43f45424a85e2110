"""Formulas of the trade's arithmetic, each with the exact value it has now.

A spreadsheet reckons in binary fractions, which make an exact 5 % a little more or less than 5 %. So a difference is
rounded to nine decimals before it is compared with a limit: a unit at exactly the limit is inside, as the rules say.
"""

from __future__ import annotations

from fractions import Fraction

from qc.quantities import deviation_percent, mean, rounded, sample_variance, square_root
from qc.workbook.recheck.cells import Cell, Reckoned, Span

COMPARED_DECIMALS = 9
YES, NO = "yes", "no"


def same_as(cell: Cell) -> Reckoned:
    """What stands in another cell."""
    return Reckoned(formula=cell.address, value=cell.value)


def count_of(cells: Span) -> Reckoned:
    """How many numbers there are [-]."""
    return Reckoned(formula=f"COUNT({cells.address})", value=len(cells.cells))


def mean_of(cells: Span) -> Reckoned:
    """The mean [unit of the cells]."""
    return Reckoned(formula=f"AVERAGE({cells.address})", value=mean(cells.exact))


def spread_of(cells: Span) -> Reckoned:
    """The sample standard deviation, divisor n - 1 [unit of the cells]; nothing with fewer than two."""
    value = square_root(sample_variance(cells.exact)) if len(cells.cells) > 1 else None
    return Reckoned(formula=f'IF(COUNT({cells.address})<2,"",STDEV({cells.address}))', value=value)


def percent_of(part: Cell, whole: Cell) -> Reckoned:
    """One figure in per cent of another; nothing where either is missing or the other is nought."""
    known = not isinstance(part.value, str) and part.value is not None and whole.exact != 0
    return Reckoned(
        formula=f'IF(AND(ISNUMBER({part.address}),{whole.address}<>0),{part.address}/{whole.address}*100,"")',
        value=part.exact / whole.exact * 100 if known else None,
    )


def deviation_of(cell: Cell, centre: Cell) -> Reckoned:
    """How far a value lies from a centre [% of the centre]; nothing about a centre of nought."""
    return Reckoned(
        formula=f'IF({centre.address}=0,"",({cell.address}-{centre.address})/{centre.address}*100)',
        value=None if centre.exact == 0 else deviation_percent(cell.exact, centre=centre.exact),
    )


def size_of(deviation: Cell) -> Reckoned:
    """A deviation without its sign, rounded as it is compared [%]."""
    return Reckoned(
        formula=f"ROUND(ABS({deviation.address}),{COMPARED_DECIMALS})",
        value=rounded(abs(deviation.exact), decimals=COMPARED_DECIMALS),
    )


def beyond(deviation: Cell, limit: Cell) -> Reckoned:
    """1 where a deviation is greater than a limit, else 0 [-]."""
    over = deviation.value is not None and abs(deviation.exact) > limit.exact
    inner = f"IF(ROUND(ABS({deviation.address})-{limit.address},{COMPARED_DECIMALS})>0,1,0)"
    return Reckoned(formula=f"IF(ISNUMBER({deviation.address}),{inner},0)", value=int(over))


def outside(cell: Cell, low: Cell, high: Cell) -> Reckoned:
    """1 where a value lies outside two limits, else 0 [-]."""
    below = f"ROUND({low.address}-{cell.address},{COMPARED_DECIMALS})>0"
    above = f"ROUND({cell.address}-{high.address},{COMPARED_DECIMALS})>0"
    return Reckoned(formula=f"IF(OR({below},{above}),1,0)", value=int(not low.exact <= cell.exact <= high.exact))


def total_of(flags: Span | None) -> Reckoned:
    """How many of the flags are 1 [-]; 0 where there is no flag."""
    if flags is None:
        return Reckoned(formula="0", value=0)
    return Reckoned(formula=f"SUM({flags.address})", value=int(sum(flags.exact, Fraction(0))))


def chosen_by_stage(stage: Cell, *, first: Cell, pooled: Cell | None) -> Reckoned:
    """The figure of the stage that decides."""
    if pooled is None:
        return same_as(first)
    return Reckoned(
        formula=f"IF({stage.address}=2,{pooled.address},{first.address})",
        value=pooled.value if stage.value == 2 else first.value,
    )


def deciding_stage(verdict: Cell, *, second_count: Cell | None, second_size: Cell) -> Reckoned:
    """1, or 2 where the first stage calls for the second and all its units are there [-]."""
    if second_count is None:
        return Reckoned(formula="1", value=1)
    reached = verdict.value == "second-stage" and second_count.exact >= second_size.exact
    return Reckoned(
        formula=f'IF(AND({verdict.address}="second-stage",{second_count.address}>={second_size.address}),2,1)',
        value=2 if reached else 1,
    )
