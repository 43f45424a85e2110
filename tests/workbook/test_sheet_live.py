"""The live figures: their values are exact at a limit, and their formulas hold addresses alone."""

from __future__ import annotations

import re
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc.fields.entries import Row
from qc.workbook.entry.live import UnitsPlaces, count_now, deviation_now, mark_now, mean_now, sample_mean_g

PLACES = UnitsPlaces(
    mass="$E$8:$E$31",
    sample="$H$8:$H$31",
    mark="$G$8:$G$31",
    mean="$C$5",
    planned="$D$5",
    limit="$F$5",
    outer="$G$5",
)


def row(mass: str | None, sample: str | None = None) -> Row:
    return {"Mass (g)": None if mass is None else Decimal(mass), "Test sample": sample}


def sign(deviation: str, *, limit: str | None = "5", outer: str | None = "10") -> object:
    return mark_now(
        "F8",
        PLACES,
        deviation=Fraction(deviation),
        limit=None if limit is None else Decimal(limit),
        outer=None if outer is None else Decimal(outer),
    ).value


@pytest.mark.parametrize(
    ("deviation", "shown"),
    [
        ("4.999999", ""),
        ("5", ""),
        ("5.000001", "▲ beyond"),
        ("-5", ""),
        ("-5.000001", "▼ beyond"),
        ("10", "▲ beyond"),
        ("10.000001", "▲ OUTER"),
        ("-10", "▼ beyond"),
        ("-10.000001", "▼ OUTER"),
    ],
)
def test_the_sign_below_at_and_above_each_limit(deviation: str, shown: str) -> None:
    assert sign(deviation) == shown


def test_without_a_limit_there_is_no_sign() -> None:
    assert sign("40", limit=None, outer=None) == ""


def test_the_mean_is_that_of_the_marked_sample() -> None:
    rows = [row("2.0", "yes"), row("2.2", "yes"), row("9.0", "no"), row(None, "yes")]
    assert sample_mean_g(rows) == Fraction("2.1")
    assert mean_now(PLACES, rows=rows).value == 2.1


def test_the_mean_is_that_of_all_units_where_none_is_marked() -> None:
    assert sample_mean_g([row("2.0"), row("2.2"), row(None)]) == Fraction("2.1")


def test_nothing_is_shown_before_a_mass_is_typed() -> None:
    assert sample_mean_g([row(None)]) is None
    assert mean_now(PLACES, rows=[]).value == ""
    assert deviation_now("E8", PLACES, mass_g=None, centre=None).value == ""
    assert count_now(PLACES, marks=["", ""], outer_only=False, known=False).value == ""


def test_units_beyond_the_outer_limit_are_counted_among_those_beyond_the_limit() -> None:
    marks = ["", "▲ beyond", "▼ OUTER"]
    assert count_now(PLACES, marks=marks, outer_only=False, known=True).value == 2
    assert count_now(PLACES, marks=marks, outer_only=True, known=True).value == 1


def test_the_formulas_hold_functions_addresses_and_signs_alone() -> None:
    formulas = [
        mean_now(PLACES, rows=[]).formula,
        deviation_now("E8", PLACES, mass_g=None, centre=None).formula,
        mark_now("F8", PLACES, deviation=None, limit=None, outer=None).formula,
        count_now(PLACES, marks=[], outer_only=False, known=False).formula,
    ]
    for formula in formulas:
        words = set(re.findall(r"[A-Z]{3,}(?=\()|\"[^\"]*\"", formula))
        assert words <= {
            "AND", "AVERAGE", "AVERAGEIFS", "COUNT", "COUNTIF", "IFERROR", "ISNUMBER", "NOT", "ROUND", "ABS",
            '""', '"yes"', '"▲"', '"▼"', '" OUTER"', '" beyond"', '"*beyond"', '"*OUTER"',
        }  # fmt: skip


@given(
    masses=st.lists(st.decimals(min_value="1.5", max_value="2.5", places=3), min_size=1, max_size=30),
    factor=st.integers(min_value=2, max_value=9),
)
def test_scaling_every_mass_changes_no_deviation(masses: list[Decimal], factor: int) -> None:
    centre = sample_mean_g([row(str(mass)) for mass in masses])
    scaled = sample_mean_g([row(str(mass * factor)) for mass in masses])
    for mass in masses:
        one = deviation_now("E8", PLACES, mass_g=mass, centre=centre).value
        other = deviation_now("E8", PLACES, mass_g=mass * factor, centre=scaled).value
        assert one == other
