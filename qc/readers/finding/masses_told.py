"""What a text says of the masses: figures of them, and numbers that could be masses themselves."""

from __future__ import annotations

import re
from decimal import Decimal

from qc.fields.words import measure_of, plain_words, summary_of, words_known
from qc.patterns import pattern
from qc.readers.cells import SheetCell
from qc.readers.finding.figures import COMPARED
from qc.readers.finding.lines import Aside
from qc.readers.finding.printed import figures_said, numbers_labelled
from qc.readers.finding.view import decimals_in, written_at

# The number of a unit before what it weighs.
_NUMBERED = pattern(r"\d\s*[:.)]?$", re.ASCII)
_OF_HOW_MANY = pattern(r"^([^\W\d]+)\s*\(\s*(n\s*=\s*\d+)\s*\)", re.IGNORECASE)


def tells_masses(cell: SheetCell, floor: Decimal, ceiling: Decimal, *, decimals: int) -> bool:
    """Whether a cell holds a number of some decimals near the masses, in g or mg, without a word for a figure."""
    return masses_told(cell, floor, ceiling, decimals=decimals) is None


def masses_told(
    cell: SheetCell, floor: Decimal, ceiling: Decimal, *, decimals: int, before: str = ""
) -> list[Aside] | None:
    """What a text says of the masses: means and counts, and every number near them, in g or mg, with the figure it is.

    None where a number is near them and is no figure.

    Parameters
    ----------
    cell : SheetCell
    floor, ceiling : Decimal
        Between which numbers one is near the masses.
    decimals : int
        How many decimals it has at least.
    before : str
        What stands before the text.
    """
    # "Mean (n = 20): 2.094 g" says two figures.
    text = _OF_HOW_MANY.sub(r"\2; \1", cell.text) if _OF_HOW_MANY.search(cell.text) else cell.text
    told = [
        Aside(cells=(written_at(cell, value),), label=label, kind=summary_of(label))
        for label, value in figures_said(text)
    ]
    if any(one.kind == "count" and decimals_in(one.cells[0]) for one in told):
        # "N" before a mass is the sign of a balance.
        return None
    for label, value in numbers_labelled(text, before=before):
        shown, _, measure = value.partition(" ")
        number = Decimal(shown.replace(",", "."))
        fine = -int(number.as_tuple().exponent) >= decimals or (decimals == 1 and measure_of(measure) in ("g", "mg"))
        # A whole number of milligrams without a word may be the strength.
        known = measure_of(measure) == "mg" and summary_of(label) in COMPARED
        # "e = 0.001 g" and "1 mg" say how finely the balance shows.
        step = number.normalize().as_tuple().digits == (1,) and (number < 1 or measure_of(measure) == "mg")
        if step or not (fine or known) or not any(floor <= number.scaleb(power) <= ceiling for power in (0, 3, -3)):
            continue
        kind, words = summary_of(label), plain_words(label)
        if _NUMBERED.search(label) or not (kind or not _figures().isdisjoint(words)):
            return None
        figure = Aside(cells=(written_at(cell, value),), label=label, kind=kind or "reference")
        told += [figure] if figure not in told else []
    return told


def _figures() -> frozenset[str]:
    """The words for figures, and for other masses than those of units."""
    known = words_known().remark
    return (known.figure | known.reference) - {"%", "percent"}
