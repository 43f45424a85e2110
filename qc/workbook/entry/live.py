"""What the sheets work out while a person types: deviations, counts, checks of the plan. A guide, never the verdict.

Each formula is written with its value, so that the numbers stand there before a spreadsheet program calculates anew.
Formulas are made of cell addresses and rule numbers alone; nothing a person typed goes into one.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction

from msgspec import Struct

from qc.fields.entries import Row
from qc.fields.sheets import UNITS
from qc.quantities import deviation_percent, mean

ABOVE = "▲"
BELOW = "▼"
BEYOND_WORD = "beyond"
OUTER_WORD = "OUTER"


class Live(Struct, frozen=True, kw_only=True):
    """A formula with the value it has now; "" where there is nothing to show yet."""

    formula: str
    value: float | int | str


class UnitsPlaces(Struct, frozen=True, kw_only=True):
    """Where things stand on the sheet Units, as absolute spreadsheet addresses.

    `mass` and `sample` are the ranges of the two columns, `mark` that of the live signs; the others are single cells.
    """

    mass: str
    sample: str
    mark: str
    mean: str
    planned: str
    limit: str
    outer: str


def sample_mean_g(rows: Sequence[Row]) -> Fraction | None:
    """Mean mass of the marked test sample, or of all that is weighed where none is marked [g]; None without a mass."""
    mass, marked = UNITS.field("mass_g").heading, UNITS.field("test_sample").heading
    weighed = [(found, row.get(marked)) for row in rows if isinstance(found := row.get(mass), Decimal)]
    sample = [found for found, mark in weighed if mark == "yes"] or [found for found, _ in weighed]
    return mean(sample) if sample else None


def mean_now(places: UnitsPlaces, *, rows: Sequence[Row]) -> Live:
    """The mean that the deviations are calculated from [g]."""
    centre = sample_mean_g(rows)
    return Live(
        formula=(
            f'=IF(COUNT({places.mass})=0,"",'
            f'IFERROR(AVERAGEIFS({places.mass},{places.sample},"yes"),AVERAGE({places.mass})))'
        ),
        value="" if centre is None else float(centre),
    )


def deviation_now(mass_cell: str, places: UnitsPlaces, *, mass_g: Decimal | None, centre: Fraction | None) -> Live:
    """Deviation of one unit from the mean [% of mean]."""
    value: float | str = ""
    if mass_g is not None and centre is not None:
        value = float(deviation_percent(mass_g, centre=centre))
    return Live(
        formula=f'=IF(AND(ISNUMBER({mass_cell}),ISNUMBER({places.mean})),({mass_cell}/{places.mean}-1)*100,"")',
        value=value,
    )


def mark_now(
    deviation_cell: str,
    places: UnitsPlaces,
    *,
    deviation: Fraction | None,
    limit: Decimal | None,
    outer: Decimal | None,
) -> Live:
    """The sign beside a deviation: an arrow and a word where it lies beyond a limit, for eyes that see no colour.

    A spreadsheet calculates in binary fractions, so the difference is rounded to nine decimals before it is compared: a
    unit at exactly the limit is inside, as the rules have it.
    """
    arrow = f'IF({deviation_cell}>0,"{ABOVE}","{BELOW}")'
    beyond = f"ROUND(ABS({deviation_cell})-{{limit}},9)>0"
    formula = (
        f'=IF(NOT(ISNUMBER({deviation_cell})),"",'
        f'IF(AND(ISNUMBER({places.outer}),{beyond.format(limit=places.outer)}),{arrow}&" {OUTER_WORD}",'
        f'IF(AND(ISNUMBER({places.limit}),{beyond.format(limit=places.limit)}),{arrow}&" {BEYOND_WORD}","")))'
    )
    value = ""
    if deviation is not None:
        sign = ABOVE if deviation > 0 else BELOW
        if outer is not None and abs(deviation) > Fraction(outer):
            value = f"{sign} {OUTER_WORD}"
        elif limit is not None and abs(deviation) > Fraction(limit):
            value = f"{sign} {BEYOND_WORD}"
    return Live(formula=formula, value=value)


def count_now(places: UnitsPlaces, *, marks: Sequence[str], outer_only: bool, known: bool) -> Live:
    """How many weighed units lie beyond the limit, the outer ones among them, or beyond the outer limit alone [-].

    `known` is whether there are a limit and a mass to count by.
    """
    words = (OUTER_WORD,) if outer_only else (BEYOND_WORD, OUTER_WORD)
    limit = places.outer if outer_only else places.limit
    counted = "+".join(f'COUNTIF({places.mark},"*{word}")' for word in words)
    return Live(
        formula=f'=IF(AND(ISNUMBER({limit}),COUNT({places.mass})>0),{counted},"")',
        value=sum(mark.endswith(words) for mark in marks) if known else "",
    )


def against_plan_now(places: UnitsPlaces, *, centre: Fraction | None, planned_g: Decimal | None) -> Live:
    """Mean against the planned mass [% of plan]."""
    value: float | str = ""
    if centre is not None and planned_g is not None:
        value = float(deviation_percent(centre, centre=planned_g))
    return Live(
        formula=(
            f'=IF(AND(ISNUMBER({places.mean}),ISNUMBER({places.planned})),({places.mean}/{places.planned}-1)*100,"")'
        ),
        value=value,
    )
