"""What the sheets work out while a person types: deviations, counts, checks of the plan. A guide, never the verdict.

Each formula is written with its value, so that the numbers stand there before a spreadsheet program calculates anew.
Formulas are made of cell addresses and rule numbers only; nothing a person typed goes into one.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from fractions import Fraction

from qc import expr
from qc.batch import Part
from qc.expr import YES
from qc.expr.parts import CellRange, CellRef, Expression, Formula
from qc.workbook.page import Cells, column_of

ABOVE, BELOW = "▲", "▼"
BEYOND_WORD, OUTER_WORD = "beyond", "OUTER"


def mean_now(masses: CellRange, *, sample: CellRange) -> Expression:
    """Mean mass of the marked test sample, or of all that is weighed where none is marked [g]."""
    centre = expr.or_else(expr.average_where(masses, marks=sample, word=YES), expr.average(masses))
    return expr.when(expr.count(masses).equals(0), "", centre)


def deviation_now(mass: CellRef, centre: CellRef) -> Expression:
    """How far a mass lies from another one [% of that]; nothing where one of them is missing."""
    return expr.when(expr.all_of(expr.is_number(mass), expr.is_number(centre)), (mass / centre - 1) * 100)


def mark_now(deviation: CellRef, *, limit: CellRef, outer: CellRef) -> Expression:
    """The sign beside a deviation: an arrow and a word where it lies beyond a limit, for eyes that see no colour."""
    arrow = expr.when(deviation > 0, ABOVE, BELOW)

    def beyond(bound: CellRef) -> Expression:
        return expr.all_of(expr.is_number(bound), expr.compared(abs(deviation), ">", bound))

    return expr.first_of(
        (expr.negated(expr.is_number(deviation)), ""),
        (beyond(outer), expr.joined(arrow, f" {OUTER_WORD}")),
        (beyond(limit), expr.joined(arrow, f" {BEYOND_WORD}")),
        otherwise="",
    )


def count_now(marks: CellRange, *words: str, limit: CellRef, masses: CellRange) -> Expression:
    """How many signs end with one of the words [-]; nothing before there are a limit and a mass to count by."""

    def ending(word: str) -> Expression:
        found = sum(str(mark).endswith(word) for mark in marks.values)
        return expr.call("COUNTIF", marks, f"*{word}", meaning=lambda *_: Fraction(found))

    first, *others = map(ending, words)
    return expr.when(expr.all_of(expr.is_number(limit), expr.count(masses) > 0), sum(others, start=first))


def added_mass(active: Cells) -> Expression:
    """What one dose adds to the mass of a unit: d (1 - 1/f) [g]."""
    claim, value, factor = (active[name] for name in ("label_claim_mg", "displacement_value", "displacement_factor"))
    return expr.first_of(
        (expr.all_of(expr.is_number(claim), expr.is_number(value)), claim / 1000 * (1 - 1 / value)),
        (expr.all_of(expr.is_number(claim), expr.is_number(factor)), claim / 1000 * (1 - factor)),
        otherwise="",
    )


def share_of_mean(assays: Sequence[Cells]) -> Callable[[Cells], Expression]:
    """The content of a whole unit in % of the mean of the same active, of the contents entered in the same column."""
    actives, parts = (column_of(assays, name) for name in ("active", "part"))
    contents = {name: column_of(assays, name) for name in ("content_mg", "content_percent")}
    whole = Part.WHOLE.value
    # Added up once: asked of each row anew, it would grow with the square of the rows.
    found = {(name, assay["active"].value): list[Fraction]() for name in contents for assay in assays}
    for name in contents:
        for assay in assays:
            if assay["part"].value in (None, whole) and isinstance(one := assay[name].value, Fraction):
                found[name, assay["active"].value].append(one)
    sums = {key: (len(numbers), sum(numbers)) for key, numbers in found.items()}

    def share(name: str, own: CellRef, active: CellRef) -> Expression:
        # An empty criterion of AVERAGEIFS finds no empty cell, so rows are picked by a product instead.
        of, part, numbers = (one.text(own.sheet) for one in (actives, parts, contents[name]))
        same = f'({of}={active.text()})*(({part}="")+({part}="{whole}"))'
        formula = f"{own.text()}*SUMPRODUCT({same}*ISNUMBER({numbers}))/SUMPRODUCT({same},{numbers})*100"
        count, total = sums[name, active.value]
        value = own.number * count / total * 100 if own.numbers and total else None
        return Formula(written=formula, value=value)

    def of_own_unit(assay: Cells) -> Expression:
        part, active = assay["part"], assay["active"]
        return expr.first_of(
            (expr.negated(expr.any_of(part.equals(""), part.equals(whole))), ""),
            *((expr.is_number(assay[name]), share(name, assay[name], active)) for name in contents),
            otherwise="",
        )

    return of_own_unit
