"""The live figures: their values are exact at a limit, and their formulas hold addresses and signs only."""

from __future__ import annotations

import re
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc.expr.parts import CellRange, CellRef, Value
from qc.workbook.entry.live import (
    added_mass,
    count_now,
    deviation_now,
    mark_now,
    mean_now,
    share_of_mean,
)


def cell(content: Value | Decimal, *, row: int = 0, column: int = 0) -> CellRef:
    value = Fraction(content) if isinstance(content, Decimal) else content
    return CellRef(sheet="Units", row=row, column=column, value=value)


def below(*contents: Value | Decimal, column: int = 0) -> CellRange:
    return CellRange(cells=tuple(cell(one, row=row, column=column) for row, one in enumerate(contents)))


def sign(deviation: str, *, limit: str | None = "5", outer: str | None = "10") -> Value:
    bounds = [cell(None if bound is None else Decimal(bound)) for bound in (limit, outer)]
    return mark_now(cell(Decimal(deviation)), limit=bounds[0], outer=bounds[1]).value


def mean_of(*rows: tuple[str | None, str | None]) -> Value:
    masses = below(*(None if mass is None else Decimal(mass) for mass, _ in rows))
    return mean_now(masses, sample=below(*(mark for _, mark in rows), column=1)).value


@pytest.mark.parametrize(
    ("deviation", "shown"),
    [
        ("4.999999", None),
        ("5", None),
        ("5.000001", "▲ beyond"),
        ("-5", None),
        ("-5.000001", "▼ beyond"),
        ("10", "▲ beyond"),
        ("10.000001", "▲ OUTER"),
        ("-10", "▼ beyond"),
        ("-10.000001", "▼ OUTER"),
    ],
)
def test_the_sign_below_at_and_above_each_limit(deviation: str, shown: str | None) -> None:
    assert sign(deviation) == shown


def test_without_a_limit_there_is_no_sign() -> None:
    assert sign("40", limit=None, outer=None) is None


def test_the_mean_is_that_of_the_marked_sample() -> None:
    assert mean_of(("2.0", "yes"), ("2.2", "yes"), ("9.0", "no"), (None, "yes")) == Fraction("2.1")


def test_the_mean_is_that_of_all_units_where_none_is_marked() -> None:
    assert mean_of(("2.0", None), ("2.2", None), (None, None)) == Fraction("2.1")
    assert mean_of(("2.0", None), ("2.2", None), (None, "yes")) == Fraction("2.1")


def test_nothing_is_shown_before_a_mass_is_typed() -> None:
    empty = cell(None)
    assert mean_of((None, None)) is None
    assert deviation_now(empty, empty).value is None
    assert deviation_now(cell(Decimal(2)), empty).value is None
    assert count_now(below(None, None), "beyond", limit=cell(Decimal(5)), masses=below(None)).value is None
    assert count_now(below(None, None), "beyond", limit=empty, masses=below(Decimal(2))).value is None


def test_units_beyond_the_outer_limit_are_counted_among_those_beyond_the_limit() -> None:
    marks, limit, masses = below(None, "▲ beyond", "▼ OUTER"), cell(Decimal(5)), below(Decimal(2))
    assert count_now(marks, "beyond", "OUTER", limit=limit, masses=masses).value == 2
    assert count_now(marks, "OUTER", limit=limit, masses=masses).value == 1


def test_a_dose_adds_its_mass_less_the_base_that_it_displaces() -> None:
    """250 mg of an active of value 1.25 displace 0.2 g of base; a factor of 0.8 says the same."""
    names = ("label_claim_mg", "displacement_value", "displacement_factor")

    def added(*typed: str | None) -> Value:
        cells = (cell(None if one is None else Decimal(one)) for one in typed)
        return added_mass(dict(zip(names, cells, strict=True))).value

    assert added("250", "1.25", None) == added("250", None, "0.8") == Fraction("0.05")
    assert added("250", None, None) is added(None, "1.25", None) is None


def assays(*rows: tuple[str | None, str | None, str | None]) -> list[dict[str, CellRef]]:
    """Rows of active, part and content in mg."""
    return [
        {
            "active": cell(active, row=row),
            "part": cell(part, row=row, column=1),
            "content_mg": cell(None if mg is None else Decimal(mg), row=row, column=2),
            "content_percent": cell(None, row=row, column=3),
        }
        for row, (active, part, mg) in enumerate(rows)
    ]


def test_a_content_is_compared_with_whole_units_of_the_same_active() -> None:
    rows = assays(("a", None, "10"), ("a", "whole", "30"), ("b", None, "7"), ("a", "tip", "1"), ("a", None, None))
    shares = [share_of_mean(rows)(row).value for row in rows]
    assert shares == [50, 150, 100, None, None]


def test_nothing_is_shown_where_nothing_was_found() -> None:
    rows = assays(("a", None, "0"), ("a", None, "0"))
    assert share_of_mean(rows)(rows[0]).value is None


def test_the_formulas_hold_functions_addresses_and_signs() -> None:
    one, masses = cell(Decimal(2)), below(Decimal(2))
    formulas = [
        mean_now(masses, sample=masses),
        deviation_now(one, one),
        mark_now(one, limit=one, outer=one),
        count_now(masses, "beyond", "OUTER", limit=one, masses=masses),
    ]
    for formula in formulas:
        words = set(re.findall(r"[A-Z]{3,}(?=\()|\"[^\"]*\"", formula.text(on="Units")))
        assert words
        assert words <= {
            "AND", "AVERAGE", "AVERAGEIFS", "COUNT", "COUNTIF", "IFERROR", "ISNUMBER", "NOT", "ROUND", "ABS",
            '""', '"yes"', '"▲"', '"▼"', '" OUTER"', '" beyond"', '"*beyond"', '"*OUTER"',
        }  # fmt: skip


@given(
    masses=st.lists(st.decimals(min_value="1.5", max_value="2.5", places=3), min_size=1, max_size=30),
    factor=st.integers(min_value=2, max_value=9),
)
def test_scaling_every_mass_changes_no_deviation(masses: list[Decimal], factor: int) -> None:
    centre, scaled = (cell(mean_of(*((str(mass * by), None) for mass in masses))) for by in (1, factor))
    for mass in masses:
        assert deviation_now(cell(mass), centre).value == deviation_now(cell(mass * factor), scaled).value


def test_the_shares_of_many_rows_are_added_up_once() -> None:
    class Seen(Fraction):
        """A content that counts how often it is added."""

        added = 0

        def __radd__(self, other: object) -> Fraction:
            Seen.added += 1
            return super().__radd__(other)  # type: ignore[misc]

    rows = [
        {
            "active": cell("drug", row=row),
            "part": cell(None, row=row, column=1),
            "content_mg": cell(Seen(250), row=row, column=2),
            "content_percent": cell(None, row=row, column=3),
        }
        for row in range(50)
    ]
    share = share_of_mean(rows)
    assert {share(row).value for row in rows} == {100}
    assert Seen.added == 50
