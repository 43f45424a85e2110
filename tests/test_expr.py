"""Expressions: the text says in a spreadsheet what the value says here, and fractions stay exact."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from office import needs_office, saved_again

from qc import expr
from qc.expr.parts import CellRange, CellRef, Constant, Expression, Value

CONTENTS: tuple[Value, ...] = (
    *(Fraction(one) for one in ("2.1", "2", "-3.05", "0", "100", "0.125", "97.95", "1e-3", "250")),
    None,
    "yes",
    *(Fraction(one) for one in ("2.0005", "-12.5", "4.75")),
)
CELLS = tuple(CellRef(sheet="Data", row=row, column=0, value=content) for row, content in enumerate(CONTENTS))
NUMBERS = tuple(cell for cell in CELLS if isinstance(cell.value, Fraction))
CONSTANTS = tuple(Constant(content=one) for one in (1, 100, -7, Decimal("0.5"), Decimal("-2.25")))
SIGNS = ("<", "<=", ">", ">=")


def gives_a_number(one: Expression) -> bool:
    """Whether an expression has a value that a float can hold to nine decimals."""
    try:
        return abs(one.number) < 100_000
    except (TypeError, ValueError, ZeroDivisionError):
        return False


@st.composite
def spans(draw: st.DrawFn) -> CellRange:
    first, last = sorted(draw(st.tuples(*[st.integers(0, len(CELLS) - 1)] * 2)))
    return CellRange(cells=CELLS[first : last + 1])


@st.composite
def simple(draw: st.DrawFn) -> Expression:
    """A cell, a constant, or what a range gives."""
    kind = draw(st.sampled_from(["cell", "constant", "range"]))
    if kind == "cell":
        return draw(st.sampled_from(NUMBERS))
    if kind == "constant":
        return draw(st.sampled_from(CONSTANTS))
    span = draw(spans())
    found = [expr.count(span), expr.total(span)]
    if len(span.numbers) > 1:
        found += [expr.average(span), expr.spread(span)]
    return draw(st.sampled_from(found))


@st.composite
def truths(draw: st.DrawFn, depth: int) -> Expression:
    cell = draw(st.sampled_from(CELLS))
    sign = draw(st.sampled_from(SIGNS))
    compared = expr.compared(draw(expressions(depth)), sign, draw(expressions(depth)))
    others = (expr.is_number(cell), cell.equals("YES"), cell.differs("no"), expr.negated(compared))
    other = draw(st.sampled_from(others))
    return draw(st.sampled_from([compared, other, expr.all_of(compared, other), expr.any_of(compared, other)]))


@st.composite
def expressions(draw: st.DrawFn, depth: int = 3) -> Expression:
    """An expression whose value is a number, made of up to so many layers."""
    if not depth:
        return draw(simple())
    made = draw(st.sampled_from(LAYERS))
    one, other = draw(expressions(depth - 1)), draw(expressions(depth - 1))
    found = expr.when(draw(truths(0)), one, other) if made is None else made(one, other)
    return found if gives_a_number(found) else one


LAYERS: tuple[Callable[[Expression, Expression], Expression] | None, ...] = (
    None,
    lambda one, other: one + other,
    lambda one, other: one - other,
    lambda one, other: one * other,
    lambda one, other: one / other,
    lambda one, other: expr.greatest(abs(one), other),
    expr.deviation_percent,
    expr.percent_of,
    lambda one, _: expr.round_once(one, 1),
    lambda one, other: expr.or_else(one / other, other),
)


@needs_office
def test_another_program_finds_the_value_of_every_expression(tmp_path: Path) -> None:
    found: list[Expression] = []

    @settings(max_examples=150, phases=[Phase.generate], database=None)
    @given(expressions())
    def collect(one: Expression) -> None:
        found.append(one)

    collect()
    for one, value in zip(found, recalculated(found, tmp_path), strict=True):
        assert value == pytest.approx(float(one.number), rel=1e-9, abs=1e-9), one.text()


def recalculated(expressions: list[Expression], folder: Path) -> list[object]:
    """What LibreOffice makes of the formulas, which are written without a value."""
    from openpyxl import load_workbook
    from xlsxwriter import Workbook

    book = Workbook(folder / "book.xlsx")
    data, formulas = book.add_worksheet("Data"), book.add_worksheet("Formulas")
    for row, content in enumerate(CONTENTS):
        if content is not None:
            data.write(row, 0, content if isinstance(content, str) else float(content))
    for row, one in enumerate(expressions):
        formulas.write_formula(row, 0, f"={one.text(on='Formulas')}", None, "")
    book.close()
    (path,) = saved_again([folder / "book.xlsx"], "xlsx", folder / "saved")
    saved = load_workbook(path, data_only=True)["Formulas"]
    return [saved.cell(row, 1).value for row in range(1, len(expressions) + 1)]


@given(st.lists(st.fractions(max_denominator=1000), min_size=3, max_size=8), st.fractions(min_value="0.1"))
def test_a_fraction_stays_exact(values: list[Fraction], divisor: Fraction) -> None:
    cells = tuple(CellRef(sheet="A", row=row, column=0, value=value) for row, value in enumerate(values))
    whole = CellRef(sheet="A", row=0, column=1, value=divisor)
    one, other, *_ = cells
    assert ((one + other) * 3 / whole - one).value == (values[0] + values[1]) * 3 / divisor - values[0]
    assert expr.average(CellRange(cells=cells)).value == sum(values, Fraction(0)) / len(values)
    assert expr.deviation_percent(one, whole).value == (values[0] - divisor) / divisor * 100


@given(st.fractions(), st.sampled_from(SIGNS))
def test_a_figure_at_exactly_its_limit_is_compared_exactly(value: Fraction, sign: str) -> None:
    cell = CellRef(sheet="A", row=0, column=0, value=value)
    hair = CellRef(sheet="A", row=1, column=0, value=value + Fraction(1, 10**30))
    assert expr.compared(cell, sign, cell).value == ("=" in sign)
    assert expr.compared(hair, sign, cell).value == (">" in sign)


def test_the_spread_is_exact_where_its_root_is_a_fraction() -> None:
    cells = tuple(CellRef(sheet="A", row=row, column=0, value=Fraction(row, 3)) for row in range(3))
    assert expr.spread(CellRange(cells=cells)).value == Fraction(1, 3)
    assert expr.spread(CellRange(cells=cells[:1])).value is None


def test_a_figure_is_rounded_once_from_its_exact_value() -> None:
    cell = CellRef(sheet="A", row=0, column=0, value=Fraction("15.0499999999999"))
    assert expr.round_once(cell, 1).value == 15
    assert expr.round_once(cell, 1).text(on="A") == "ROUND(ROUND($A$1,9),1)"


def test_words_in_a_sum_are_refused() -> None:
    cell = CellRef(sheet="A", row=0, column=0, value="yes")
    with pytest.raises(TypeError, match="'yes' is no number"):
        _ = (cell + 1).value


def test_a_value_stands_in_where_there_is_none() -> None:
    cell = CellRef(sheet="A", row=4, column=4, value=Fraction(0))
    assert expr.or_else(1 / cell, 7).value == 7
    assert expr.or_else(1 / cell, 7).text(on="A") == "IFERROR(1/$E$5,7)"


def test_words_are_joined() -> None:
    cell = CellRef(sheet="A", row=4, column=4, value="mould")
    one = expr.joined(cell.loose, " A")
    assert (one.value, one.text()) == ("mould A", 'E5&" A"')


def test_the_first_row_that_holds_gives_the_value_beside_it() -> None:
    marks = CellRange(cells=tuple(CellRef(sheet="A", row=row, column=0, value=Fraction(row > 0)) for row in range(3)))
    found = CellRange(cells=tuple(CellRef(sheet="A", row=row, column=1, value=Fraction(row)) for row in range(3)))
    assert expr.beside(found, first=1, within=marks).value == 1
    assert expr.beside(found, first=7, within=marks).value is None
    assert expr.beside(found, first=1, within=marks).text(on="A") == "INDEX($B$1:$B$3,MATCH(1,$A$1:$A$3,0))"


def test_a_number_before_a_cell_stands_before_it_in_the_formula() -> None:
    cell = CellRef(sheet="A", row=0, column=0, value=Fraction(4))
    made = (2 + cell, 2 - cell, 2 * cell, 2 / cell)
    assert [one.text(on="A") for one in made] == ["2+$A$1", "2-$A$1", "2*$A$1", "2/$A$1"]
    assert [one.number for one in made] == [6, -2, 8, Fraction(1, 2)]
