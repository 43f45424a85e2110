"""Numbers for display and user text made safe."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc.results.messages import message
from qc.say.messages import words
from qc.say.numbers import (
    MINUS,
    as_typed,
    at_least,
    fixed,
    interval,
    percent_short,
    plain_limit,
    probability,
    signed,
    signed_beside,
    told_apart,
)
from qc.say.text import listed, shown_text


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        (5.0, "+5.0"),
        (4.999, "+4.999"),
        (5.001, "+5.001"),
        (-5.04, "−5.04"),
        (-4.96, "−4.96"),
        (4.2, "+4.2"),
        (0.0, "0.0"),
    ],
)
def test_a_deviation_never_reads_like_a_limit_it_differs_from(value: float, shown: str) -> None:
    assert signed_beside(value, limits=(5.0, 10.0), decimals=1) == shown


def test_a_missing_number_is_a_dash() -> None:
    assert (fixed(None, decimals=1), signed(None, decimals=1), plain_limit(None)) == ("–", "–", "–")


def test_every_writer_of_numbers_has_the_one_minus_sign() -> None:
    written = [
        fixed(-1.26, decimals=1),
        signed(-1.26, decimals=1),
        signed_beside(-1.26, limits=(), decimals=1),
        as_typed(Decimal("-1.26")),
        interval(-2.5, -1.26, decimals=1, sign=True),
        percent_short(-1.26),
        plain_limit(-1.26),
        told_apart(-1.26, beside=-1.25),
        told_apart(-1.2600000000000001, beside=-1.26),
        words(message("causes.mass_of_loss", percent=-1.26)),
    ]
    assert not [text for text in written if "-" in text or MINUS not in text]


def test_a_five_goes_up_as_the_reader_sees_it() -> None:
    assert fixed(97.95, decimals=1) == "98.0"
    assert fixed(Decimal("-0.05"), decimals=1) == "−0.1"
    assert fixed(Fraction(1, 8), decimals=2) == "0.13"


@given(st.floats(min_value=-50, max_value=50))
def test_what_is_shown_is_on_the_side_of_the_limit_where_the_value_is(value: float) -> None:
    if abs(abs(value) - 5) < 1e-6:
        return
    shown = float(signed_beside(value, limits=(5.0,), decimals=1).replace("−", "-"))
    assert (abs(shown) > 5) == (abs(value) > 5)
    assert abs(shown - value) <= 0.05 + 1e-9


@given(st.text())
def test_shown_text_holds_no_character_that_breaks_a_page(text: str) -> None:
    shown = shown_text(text)
    assert not any(ord(character) < 32 or 0xD800 <= ord(character) < 0xE000 for character in shown)
    assert not set(shown) & set("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\ufffe\uffff\x7f\x85")
    shown.encode()


def test_scripts_of_the_world_are_left_as_they_are() -> None:
    for text in ("Zäpfchen", "פתילה", "تحميلة", "栓剂", "Uhříněves"):
        assert shown_text(text) == text


def test_a_long_list_ends_in_a_count() -> None:
    assert listed([str(unit) for unit in range(1, 31)], most=3) == "1, 2, 3 and 27 more"


@given(st.floats(min_value=0.0, max_value=1.0))
def test_no_probability_is_shown_as_certain_or_impossible(value: float) -> None:
    assert probability(value) not in ("0 %", "100 %")
    assert probability(value, decimals=2) not in ("0.00 %", "100.00 %")


@given(st.floats(min_value=0.0, max_value=1.0))
def test_a_chance_that_is_assured_is_never_rounded_up(value: float) -> None:
    assert float(at_least(value).removesuffix(" %")) <= value * 100 + 1e-9


@pytest.mark.parametrize(
    ("value", "shown"),
    [(0.0099, "under 1 %"), (0.01, "1 %"), (0.0149, "1 %"), (0.015, "2 %"), (0.99, "99 %"), (0.9901, "over 99 %")],
)
def test_probability_below_at_and_above_its_thresholds(value: float, shown: str) -> None:
    assert probability(value) == shown
