"""Numbers as a reader sees them: rounded for display only, with a true minus sign and their unit."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from decimal import Decimal
from fractions import Fraction

from qc.quantities import rounded

MINUS = "\N{MINUS SIGN}"
SPACE = "\N{NO-BREAK SPACE}"
NOTHING = "\N{EN DASH}"
MOST_DECIMALS = 6
FEWEST_DIGITS, MOST_DIGITS = 4, 16
"""Of a figure without stated decimals; a float holds no more."""
# No data assure certainty, whatever the arithmetic of far tails says; from 99 % on a decimal is of interest [%].
MOST_STATED, LEAST_WITH_DECIMAL = 99.9, 99.0

Number = Decimal | Fraction | float | int


def fixed(value: Number | None, *, decimals: int) -> str:
    """A number with a fixed count of decimals, a five going up.

    Parameters
    ----------
    value : number or None
        None is shown as a dash.
    decimals : int
        How many decimals are shown.

    Returns
    -------
    str
        The digits, with a true minus sign.

    Examples
    --------
    >>> fixed(2.0126, decimals=3), fixed(-0.0001, decimals=1), fixed(None, decimals=2)
    ('2.013', '0.0', '–')
    """
    if value is None:
        return NOTHING
    # The shortest decimal of a float, so that 97.95 rounds as the digits a reader sees.
    exact = Decimal(repr(value)) if isinstance(value, float) else value
    digits = rounded(exact, decimals=decimals)
    return f"{abs(digits) if digits == 0 else digits}".replace("-", MINUS)


def signed(value: Number | None, *, decimals: int) -> str:
    """A deviation with its sign; zero carries none.

    Examples
    --------
    >>> signed(4.21, decimals=1), signed(Decimal("-4.25"), decimals=1), signed(0.01, decimals=1)
    ('+4.2', '−4.3', '0.0')
    """
    shown = fixed(value, decimals=decimals)
    return f"+{shown}" if value is not None and value > 0 and shown.strip("0.") else shown


def signed_beside(value: Number | None, *, limits: Iterable[Number | None], decimals: int) -> str:
    """A deviation with as many decimals as it takes not to read like a limit that it differs from.

    A unit at 5.004 % lies beyond a limit of 5 %; shown as "+5.0" it would seem to lie on it.

    Examples
    --------
    >>> signed_beside(5.004, limits=(5, 10), decimals=1), signed_beside(5.0, limits=(5, 10), decimals=1)
    ('+5.004', '+5.0')
    """
    return NOTHING if value is None else signed(value, decimals=_places_beside(value, limits=limits, least=decimals))


def fixed_beside(value: Number | None, *, limits: Iterable[Number | None], decimals: int) -> str:
    """A figure likewise, without a sign.

    Examples
    --------
    >>> fixed_beside(94.9996, limits=(95, None), decimals=2), fixed_beside(95.0, limits=(95,), decimals=2)
    ('94.9996', '95.00')
    """
    return NOTHING if value is None else fixed(value, decimals=_places_beside(value, limits=limits, least=decimals))


def _places_beside(value: Number, *, limits: Iterable[Number | None], least: int) -> int:
    """How many decimals tell a size from limits that it differs from."""
    size, ends = abs(_exact(value)), {_exact(limit) for limit in limits if limit is not None}
    near = ends - {size}
    return next(
        (places for places in range(least, MOST_DECIMALS) if rounded(size, decimals=places) not in near), MOST_DECIMALS
    )


def as_typed(value: Decimal | None, *, unit: str = "") -> str:
    """A number with the digits that were typed.

    Examples
    --------
    >>> as_typed(Decimal("2.100"), unit="g")
    '2.100\\xa0g'
    """
    if value is None:
        return NOTHING
    shown = f"{value:f}".replace("-", MINUS)
    return f"{shown}{SPACE}{unit}" if unit else shown


def weighed_twice(name: str, first: Decimal | None, second: Decimal) -> str:
    """A unit with its two masses [g]; the first is missing where what was typed is no mass.

    Examples
    --------
    >>> weighed_twice("7", Decimal("2.31"), Decimal("2.03")), weighed_twice("8", None, Decimal("2.03"))
    ('7 (2.31 g, then 2.03 g)', '8 (no mass, then 2.03 g)')
    """
    return f"{name} ({'no mass' if first is None else f'{as_typed(first)} g'}, then {as_typed(second)} g)"


def typed_or_worked_out(value: Decimal | None, *, decimals: int, unit: str = "") -> str:
    """A number with the digits that were typed; one that was worked out has far more, and is rounded.

    Examples
    --------
    >>> typed_or_worked_out(Decimal("2.1000"), decimals=4), typed_or_worked_out(Decimal("2.0701438848"), decimals=4)
    ('2.1000', '2.0701')
    """
    longer = value is not None and -int(value.as_tuple().exponent) > MOST_DECIMALS
    return as_typed(rounded(value, decimals=decimals) if value is not None and longer else value, unit=unit)


def percent(value: Number | None, *, decimals: int) -> str:
    """A number in percent, with its sign of percent.

    Examples
    --------
    >>> percent(99.25, decimals=1)
    '99.3\\xa0%'
    """
    return NOTHING if value is None else f"{fixed(value, decimals=decimals)}{SPACE}%"


def interval(low: Number | None, high: Number | None, *, decimals: int, sign: bool = False) -> str:
    """The two ends of an interval; a dash where one is not known. `sign` puts a sign before each.

    Examples
    --------
    >>> interval(1.26, 3.1, decimals=1), interval(-0.5, 2, decimals=1, sign=True), interval(None, 2, decimals=1)
    ('1.3 to 3.1', '−0.5 to +2.0', '–')
    """
    if low is None or high is None:
        return NOTHING
    show = signed if sign else fixed
    return f"{show(low, decimals=decimals)} to {show(high, decimals=decimals)}"


def probability(value: float | None, *, decimals: int = 0) -> str:
    """A probability or chance [0 to 1] in percent, the same wherever it is shown; none is called certain or impossible.

    Whole percent; decimals only where a chance was calculated with a stated error (`qc chance`).

    Examples
    --------
    >>> probability(0.992), probability(0.99), probability(0.832), probability(0.004), probability(None)
    ('over 99 %', '99 %', '83 %', 'under 1 %', '–')
    >>> probability(0.98892, decimals=2), probability(0.999999, decimals=2)
    ('98.89 %', 'over 99.99 %')
    """
    if value is None:
        return NOTHING
    exact, least = _exact(value), Fraction(1, 10 ** (decimals + 2))
    if exact < least:
        return f"under {fixed(least * 100, decimals=decimals)} %"
    if exact > 1 - least:
        return f"over {fixed(100 - least * 100, decimals=decimals)} %"
    return f"{fixed(exact * 100, decimals=decimals)} %"


def p_value(p: float) -> str:
    """A p-value in a sentence, none below 0.0001.

    Examples
    --------
    >>> p_value(0.00031), p_value(0.043), p_value(0.51), p_value(1e-9)
    ('p 0.0003', 'p 0.043', 'p 0.51', 'p < 0.0001')
    """
    return f"p {'< ' if p < 0.0001 else ''}{p_digits(p)}"


def p_digits(p: float | None) -> str:
    """The digits of a p-value, none below 0.0001; a dash where there is none.

    Examples
    --------
    >>> p_digits(0.00031), p_digits(1.0)
    ('0.0003', '1.00')
    """
    if p is None or p < 0.00095:
        return fixed(p if p is None else max(p, 0.0001), decimals=4)
    return f"{p:.3f}" if p < 0.0995 else f"{p:.2f}"


def percent_short(value: float) -> str:
    """A percentage in a sentence: one decimal, whole above a hundred, no minus before zero.

    Examples
    --------
    >>> percent_short(-0.04), percent_short(12.345), percent_short(250.4)
    ('0.0 %', '12.3 %', '250 %')
    """
    return f"{fixed(value, decimals=1 if abs(value) < 100 else 0)} %"


def moved(value: float, *, decimals: int = 1) -> str:
    """A change in a sentence, in words: which way and how far [%].

    Examples
    --------
    >>> moved(3.48), moved(-12.6, decimals=0)
    ('rose by 3.5 %', 'fell by 13 %')
    """
    return f"{'fell' if value < 0 else 'rose'} by {fixed(abs(value), decimals=decimals)} %"


def at_least(share: float) -> str:
    """A share in percent, rounded down so that "at least" stays true; never stated above 99.9 %.

    Examples
    --------
    >>> at_least(0.9999999), at_least(0.9919), at_least(0.568)
    ('99.9 %', '99.1 %', '56 %')
    """
    percents = share * 100.0
    if percents < LEAST_WITH_DECIMAL:
        return f"{math.floor(percents)} %"
    return f"{min(math.floor(percents * 10.0) / 10.0, MOST_STATED):.1f} %"


def at_most(share: float) -> str:
    """A share in percent, rounded up so that "not more than" stays true; never stated below 0.1 %.

    Examples
    --------
    >>> at_most(0.0393), at_most(1e-9)
    ('4.0 %', '0.1 %')
    """
    return f"{max(math.ceil(share * 1000.0) / 10.0, 100.0 - MOST_STATED):.1f} %"


def padded(values: Sequence[Decimal | None]) -> list[str]:
    """The numbers of a column as typed, each filled up with zeros to the decimals of the longest.

    A spreadsheet keeps 2.100 as 2.1; beside 2.083 it reads 2.100 again.

    Examples
    --------
    >>> padded([Decimal("2.1"), Decimal("2.083"), None])
    ['2.100', '2.083', '–']
    """
    # The exponent of a finite number is an integer; a mass is finite.
    decimals = max((-int(value.as_tuple().exponent) for value in values if value is not None), default=0)
    return [fixed(value, decimals=max(decimals, 0)) for value in values]


def told_apart(value: float, *, beside: object) -> str:
    """A figure to four digits or whole, with as many more as tell it from the one beside it.

    Examples
    --------
    >>> told_apart(2.0123456789, beside=2.5), told_apart(2.0123456789, beside=2.0123456788)
    ('2.012', '2.0123456789')
    """
    for digits in range(max(FEWEST_DIGITS, len(str(int(abs(value))))), MOST_DIGITS + 1):
        shown = _to_digits(value, digits=digits)
        if not isinstance(beside, float) or shown != _to_digits(beside, digits=digits):
            return shown
    return as_typed(Decimal(repr(value)))


def _to_digits(value: float, *, digits: int) -> str:
    text = as_typed(Decimal(f"{value:.{digits}g}"))
    return text.rstrip("0").rstrip(".") if "." in text else text


def plain_limit(value: Number | None) -> str:
    """A limit without idle zeros.

    Examples
    --------
    >>> plain_limit(5.0), plain_limit(7.5)
    ('5', '7.5')
    """
    if value is None:
        return NOTHING
    shown = fixed(value, decimals=MOST_DECIMALS).rstrip("0").rstrip(".")
    return shown or "0"


def grams(mass_g: Number) -> str:
    """A mass that was worked out [g], to the fourth decimal, without idle zeros.

    Examples
    --------
    >>> grams(Fraction(2, 3)), grams(Decimal("50.10"))
    ('0.6667', '50.1')
    """
    return fixed(mass_g, decimals=4).rstrip("0").rstrip(".")


def _exact(value: Number) -> Fraction:
    return Fraction(repr(value)) if isinstance(value, float) else Fraction(value)
