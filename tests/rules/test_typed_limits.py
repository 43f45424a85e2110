"""The grammar of limits and results: what is accepted, how it is read, and what is answered to the rest."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc.rules.kinds.check import Direction
from qc.rules.kinds.check.typed_limits import Span, UnreadableError, Worded, read_limit, read_results, within
from qc.say.spans import span as words_of


def limit(text: str, bare: Direction | None = None) -> Span:
    span = read_limit(text, bare=bare)
    assert isinstance(span, Span)
    return span


def result(text: str) -> Span:
    (span,) = read_results(text)
    assert isinstance(span, Span)
    return span


@pytest.mark.parametrize(
    ("typed", "read"),
    [
        ("90.0 to 110.0 %", "90.0 to 110.0 %"),
        ("90.0-110.0 %", "90.0 to 110.0 %"),
        ("90.0 – 110.0 % of label", "90.0 to 110.0 %"),
        ("90.0 % to 110.0 %", "90.0 to 110.0 %"),
        ("between 90.0 and 110.0 %", "90.0 to 110.0 %"),
        ("from 5.5 to 6.5", "5.5 to 6.5"),
        ("100 ± 5 %", "95 to 105 %"),
        ("100 % +/- 5 %", "95 to 105 %"),
        ("at most 30 min", "at most 30 min"),
        ("At most 30 minutes.", "at most 30 min"),
        ("not more than 30 min", "at most 30 min"),
        ("No more than 30 min", "at most 30 min"),
        ("NMT 30 min", "at most 30 min"),
        ("<= 30 min", "at most 30 min"),
        ("≤30min", "at most 30 min"),
        ("max. 30 min", "at most 30 min"),
        ("30 min or less", "at most 30 min"),
        ("within 30 min", "at most 30 min"),
        ("less than 30 min", "less than 30 min"),
        ("< 30 min", "less than 30 min"),
        ("at least 600 g", "at least 600 g"),
        ("not less than 600 g", "at least 600 g"),
        (">=600 g", "at least 600 g"),
        ("600 g or more", "at least 600 g"),
        ("more than 600 g", "more than 600 g"),
        ("at most 2,5 %", "at most 2.5 %"),
        ("15 to 25 °C", "15 to 25 °C"),
        ("-5 to 5 °C", "−5 to 5 °C"),
        ("at most 3 cfu/g", "at most 3 cfu/g"),
    ],
)
def test_a_limit_is_read_as_it_is_meant(typed: str, read: str) -> None:
    assert words_of(limit(typed)) == read


@pytest.mark.parametrize(
    ("bare", "read"), [(Direction.AT_MOST, "at most 30 min"), (Direction.AT_LEAST, "at least 30 min")]
)
def test_a_figure_alone_is_read_on_the_side_of_its_rule(bare: Direction, read: str) -> None:
    assert words_of(limit("30 min", bare)) == read


@pytest.mark.parametrize(
    ("typed", "why", "mend"),
    [
        (
            "30 min",
            'the limit "30 min" does not say on which side the result is to lie',
            'Type "at most 30 min", "at least 30 min" or a range',
        ),
        (
            "about 30 or so min 5",
            'the limit "about 30 or so min 5" cannot be read',
            "Type it for example: 90.0 to 110.0 %, at most 30 min, at least 600 g, complies",
        ),
        ("110 to 90 %", '"110 to 90 %" runs from the greater to the smaller', "Type the smaller first"),
        ("30 s to 2 min", '"30 s to 2 min" has two units of measure', "Type both figures in one"),
        ("at most 1,250 g", '"1,250" could be 1.250 or 1250', "Type it with a point, 1.250"),
        (
            "at most 1.2.3 g",
            '"1.2.3" is not a number (it has 2 points)',
            "Type it in digits, for example 2.10",
        ),
    ],
)
def test_a_limit_that_cannot_be_read_says_why(typed: str, why: str, mend: str) -> None:
    with pytest.raises(UnreadableError) as caught:
        read_limit(typed)
    assert (str(caught.value), caught.value.mend) == (why, mend)


@pytest.mark.parametrize("typed", ["complies", "smooth, free of cracks", "as monograph"])
def test_a_limit_without_a_figure_stays_in_words(typed: str) -> None:
    assert read_limit(typed) == Worded(text=typed)


@pytest.mark.parametrize(
    ("typed", "read"),
    [
        ("24 min", ["24 min"]),
        ("21; 22; 24 min", ["21 min", "22 min", "24 min"]),
        ("21 min; 22 min", ["21 min", "22 min"]),
        ("21, 22 and 24 min", ["21 min", "22 min", "24 min"]),
        ("2,5; 3,5 %", ["2.5 %", "3.5 %"]),
        ("18 to 24 min", ["18 min", "24 min"]),
        ("< 15 min", ["less than 15 min"]),
        ("> 60 min", ["more than 60 min"]),
        ("30 min or less", ["at most 30 min"]),
        ("90 s", ["90 s"]),
        ("6.2", ["6.2"]),
    ],
)
def test_a_result_is_read_figure_by_figure(typed: str, read: list[str]) -> None:
    spans = read_results(typed)
    assert not isinstance(spans, Worded)
    assert [words_of(span) for span in spans] == read


def test_a_result_that_cannot_be_read_says_what_to_type() -> None:
    with pytest.raises(UnreadableError) as caught:
        read_results("complies (45 min)")
    assert str(caught.value) == 'the result "complies (45 min)" cannot be read'
    assert caught.value.mend == "Type figures with their unit, for example 21; 22; 24 min"


class TestComparison:
    @pytest.mark.parametrize(
        ("typed", "asked", "met"),
        [
            ("29.999 min", "at most 30 min", True),
            ("30 min", "at most 30 min", True),
            ("30.0 min", "at most 30 min", True),
            ("30.001 min", "at most 30 min", False),
            ("30 min", "less than 30 min", False),
            ("29.999 min", "less than 30 min", True),
            ("599.9 g", "at least 600 g", False),
            ("600 g", "at least 600 g", True),
            ("600.1 g", "at least 600 g", True),
            ("600 g", "more than 600 g", False),
            ("89.99 %", "90.0 to 110.0 %", False),
            ("90 %", "90.0 to 110.0 %", True),
            ("110.0 %", "90.0 to 110.0 %", True),
            ("110.01 %", "90.0 to 110.0 %", False),
            ("1800 s", "at most 30 min", True),
            ("1801 s", "at most 30 min", False),
            ("0.5 h", "at most 30 min", True),
            ("0.6 kg", "at least 600 g", True),
            ("< 15 min", "at most 30 min", True),
            ("< 30 min", "at most 30 min", True),
            ("< 30 min", "less than 30 min", True),
            ("<= 30 min", "less than 30 min", None),
            ("< 40 min", "at most 30 min", None),
            ("> 30 min", "at most 30 min", False),
            (">= 30 min", "at most 30 min", None),
            ("> 60 min", "at most 30 min", False),
        ],
    )
    def test_below_at_and_above_the_limit(self, typed: str, asked: str, met: bool | None) -> None:
        assert within(result(typed), limit(asked)) is met

    @given(st.decimals(0, 100, places=3), st.decimals(0, 100, places=3))
    def test_a_figure_meets_at_most_exactly_when_it_is_not_greater(self, value: Decimal, most: Decimal) -> None:
        met = within(result(f"{value:f} min"), limit(f"at most {most:f} min"))
        assert met is (Fraction(value) <= Fraction(most))

    @given(st.decimals(0, 100, places=2), st.decimals(0, 50, places=2), st.decimals(0, 50, places=2))
    def test_a_range_is_met_exactly_when_both_its_ends_are(self, value: Decimal, low: Decimal, width: Decimal) -> None:
        high = low + width
        figure = result(f"{value:f} %")
        ends = (within(figure, limit(f"at least {low:f} %")), within(figure, limit(f"at most {high:f} %")))
        assert within(figure, limit(f"{low:f} to {high:f} %")) is all(ends)


def test_a_long_text_is_repeated_in_short() -> None:
    with pytest.raises(UnreadableError) as caught:
        read_limit("7 or " + "x" * 100 + " 9")
    assert str(caught.value) == f'the limit "7 or {"x" * 55}..." cannot be read'


PIECES = st.sampled_from(
    ["30", "2,5", "1,250", "1.2.3", "min", " min", "%", "at most ", "<", "> ", "to", " to ", "-", "±", ";", "; ", "²",
     "٣", "complies", "no", " ", "(", "é", "\n", "°C", "or less", "between ", " and ", "9" * 25]
)  # fmt: skip


@given(st.one_of(st.text(max_size=40), st.lists(PIECES, max_size=8).map("".join)))
def test_whatever_is_typed_is_read_or_answered(text: str) -> None:
    """A limit or a result is a range, words, or an answer that says what to type; never anything else."""
    for reader in (read_limit, read_results):
        said = ("a reading", "no mend needed")
        try:
            reader(text)
        except UnreadableError as answer:
            said = (str(answer), answer.mend)
        assert all(said)
