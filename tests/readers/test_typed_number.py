from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc.readers.typed_number import NotANumberError, written


@pytest.mark.parametrize(
    ("text", "with_point", "with_comma", "mark"),
    [
        ("2.100", "2.100", "2100", None),
        ("2.10", "2.10", None, "point"),
        ("0.997", "0.997", None, "point"),
        ("2,013", "2013", "2.013", None),
        ("0,997", None, "0.997", "comma"),
        ("2,0134", None, "2.0134", "comma"),
        ("2,01", None, "2.01", "comma"),
        ("1234,567", None, "1234.567", "comma"),
        ("1.234,5", None, "1234.5", "comma"),
        ("1,234.5", "1234.5", None, "point"),
        ("1.234.567", None, "1234567", "comma"),
        ("1,234,567", "1234567", None, "point"),
        ("1 234,5", None, "1234.5", "comma"),
        ("1\u202f234,5", None, "1234.5", "comma"),
        ("1\u00a0234.567", "1234.567", None, "point"),
        ("1'234.5", "1234.5", None, "point"),
        ("1 234", "1234", "1234", None),
        ("2.0E-3", "0.0020", None, "point"),
        ("2,0e-3", None, "0.0020", "comma"),
        ("2E3", "2E+3", "2E+3", None),
        ("-2.01", "-2.01", None, "point"),
        ("\u22122.01", "-2.01", None, "point"),
        ("+2.01", "2.01", None, "point"),
        (" 2.01 ", "2.01", None, "point"),
        (".5", "0.5", None, "point"),
        ("2013", "2013", "2013", None),
    ],
)
def test_a_typed_number_reads_exactly(
    text: str, with_point: str | None, with_comma: str | None, mark: str | None
) -> None:
    one = written(text)
    assert [None if value is None else str(value) for value in (one.with_point, one.with_comma)] == [
        with_point,
        with_comma,
    ]
    assert one.mark == mark


@pytest.mark.parametrize(
    ("text", "unit"),
    [("2.013 g", "g"), ("2013mg", "mg"), ("99.7 %", "%"), ("2.013 Grams", "grams"), ("50 \u00b5g", "\u00b5g")],
)
def test_a_unit_typed_behind_the_number_is_told_apart(text: str, unit: str) -> None:
    assert written(text).unit == unit


@pytest.mark.parametrize(
    ("text", "why", "example"),
    [
        ("2.1O", "it ends in the letter O", "2.10"),
        ("l.98", "it begins with the letter l", "1.98"),
        ("2.O1", 'it holds the letter O after "2."', "2.01"),
        ("2..01", "it has 2 points", "2.01"),
        ("2,,01", "it has 2 commas", "2.01"),
        ("2.01.", "it ends in a point", "2.01"),
        ("2,", "it ends in a comma", "2"),
        ("~2.0", 'it begins with "~"', "2.0"),
        ("<2.0", 'it begins with "<"', ""),
        ("ca 2", 'it begins with the word "ca"', "2"),
        ("2.013*", 'it ends in "*"', "2.013"),
        ("2.013 oz", 'it ends in the word "oz"', ""),
        ("\uff12.0", "it begins with the character fullwidth digit two", "2.0"),
        ("2.01\u200b", "it ends in the character zero width space", "2.01"),
        ("n/a", "it holds no digit", ""),
        ("-", "it holds no digit", ""),
        ("g", "it holds no digit", ""),
        ("5-6", 'it holds "-" after "5"', ""),
        ("1.2.3", "it has 2 points", ""),
        ("1.234.5", "it has 2 points", ""),
        ("12 34", "its points, commas and spaces do not mark groups of three digits", ""),
        ("2.0 1", "its points, commas and spaces do not mark groups of three digits", ""),
        ("1,23.4", "its points, commas and spaces do not mark groups of three digits", ""),
        ("1.234,5,6", "its points, commas and spaces do not mark groups of three digits", ""),
        ("1e999", "its power of ten is beyond 15", ""),
        ("1" * 21, "it has more than 20 digits", ""),
    ],
)
def test_a_text_that_is_no_number_says_why(text: str, why: str, example: str) -> None:
    with pytest.raises(NotANumberError) as caught:
        written(text)
    assert (str(caught.value), caught.value.example) == (why, example)


@given(st.decimals(min_value=0, max_value=10**9, places=4))
def test_every_plain_decimal_reads_back_with_all_its_digits(value: Decimal) -> None:
    one = written(f"{value:f}")
    assert str(one.with_point) == f"{value:f}"


@given(st.text(max_size=12))
def test_any_text_is_a_number_or_is_refused_with_a_reason(text: str) -> None:
    reason, one = "", None
    try:
        one = written(text)
    except NotANumberError as error:
        reason = str(error)
    assert reason or (one is not None and (one.with_point is not None or one.with_comma is not None))


@given(st.integers(min_value=1000, max_value=10**12), st.sampled_from([",", ".", " ", "'", "\u202f"]))
def test_groups_of_three_read_exactly_under_one_mark_at_least(value: int, mark: str) -> None:
    one = written(f"{value:,}".replace(",", mark))
    assert Decimal(value) in (one.with_point, one.with_comma)
