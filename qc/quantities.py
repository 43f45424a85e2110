"""Exact numbers: what was typed stays a decimal, and sums of decimals stay exact fractions.

Binary floats call an exact 5 % "more than 5 %" in half the cases, so no limit is ever judged on one. A mean of decimals
is a fraction; a standard deviation is the root of a fraction, and is compared with a limit by squaring the limit.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from decimal import Context, Decimal
from fractions import Fraction

Exact = Decimal | Fraction | int

# A spreadsheet keeps and shows at most fifteen significant digits of a number.
SPREADSHEET_DIGITS = 15

_ROOT_CONTEXT = Context(prec=50)


def shown_decimal(number: float) -> Decimal:
    """The decimal that a spreadsheet shows for the binary number in a cell.

    Parameters
    ----------
    number : float
        The stored value of a numeric cell, finite.

    Returns
    -------
    Decimal
        The shortest decimal of at most fifteen significant digits [unit of the cell].

    Raises
    ------
    ValueError
        When the number is infinite or not a number.

    Examples
    --------
    >>> shown_decimal(2.0129999999999999)
    Decimal('2.013')
    >>> shown_decimal(0.1 + 0.2)
    Decimal('0.3')
    >>> shown_decimal(2000)
    Decimal('2000')
    """
    if number != number or number in (float("inf"), float("-inf")):
        raise ValueError(f"{number} is not a finite number")
    shown = Decimal(f"{number:.{SPREADSHEET_DIGITS}g}")
    # "1e+20" and the like become plain digits; 2000 keeps its zeros.
    return Decimal(int(shown)) if "E+" in str(shown) else shown


def mean(values: Sequence[Exact]) -> Fraction:
    """The arithmetic mean, exact.

    Raises
    ------
    ValueError
        When there is no value.

    Examples
    --------
    >>> mean([Decimal("2.10"), Decimal("2.00")])
    Fraction(41, 20)
    """
    if not values:
        raise ValueError("the mean of no values")
    parts, denominator = _over_one_denominator(values)
    return Fraction(sum(parts), denominator * len(values))


def _over_one_denominator(values: Sequence[Exact]) -> tuple[list[int], int]:
    """Numerators over one denominator: whole numbers add up as exactly as fractions, in a tenth of the time."""
    ratios = [value.as_integer_ratio() for value in values]
    common = math.lcm(*(denominator for _, denominator in ratios))
    return [numerator * (common // denominator) for numerator, denominator in ratios], common


def sample_variance(values: Sequence[Exact]) -> Fraction:
    """The sample variance (divisor n - 1), exact.

    Raises
    ------
    ValueError
        When there are fewer than two values.

    Examples
    --------
    >>> sample_variance([1, 2, 4])
    Fraction(7, 3)
    """
    if len(values) < 2:
        raise ValueError("the spread of fewer than two values")
    parts, denominator = _over_one_denominator(values)
    n = len(parts)
    squares = n * sum(part * part for part in parts) - sum(parts) ** 2
    return Fraction(squares, n * (n - 1) * denominator**2)


def square_root(value: Fraction) -> float:
    """The square root of an exact fraction, correct to the last digit of a float.

    Examples
    --------
    >>> square_root(Fraction(1, 4))
    0.5
    """
    return float(_ROOT_CONTEXT.sqrt(_ROOT_CONTEXT.divide(Decimal(value.numerator), Decimal(value.denominator))))


def deviation_percent(value: Exact, *, centre: Exact) -> Fraction:
    """How far a value lies from a centre, in percent of the centre, exact and signed.

    Examples
    --------
    >>> deviation_percent(Decimal("2.10"), centre=Decimal("2.00"))
    Fraction(5, 1)
    """
    (part, denominator), (whole, of) = value.as_integer_ratio(), centre.as_integer_ratio()
    return Fraction(100 * (part * of - whole * denominator), whole * denominator)


def rounded(value: Exact, *, decimals: int) -> Decimal:
    """A value rounded to a number of decimals, none or more, a five going up (away from zero).

    The rule of USP General Notices 7.20 and of Ph. Eur. General Notices; binary rounding half to even gets 97.95 wrong.

    Examples
    --------
    >>> rounded(Decimal("101.45"), decimals=1)
    Decimal('101.5')
    >>> rounded(Decimal("97.95"), decimals=1)
    Decimal('98.0')
    """
    numerator, denominator = value.as_integer_ratio()
    whole = (2 * abs(numerator) * 10**decimals + denominator) // (2 * denominator)
    sign = 1 if numerator < 0 and whole else 0
    # Built from its digits, so that no context of limited precision has a say.
    return Decimal((sign, tuple(int(digit) for digit in str(whole)), -decimals))


def root_at_most(squared: Fraction, *, limit: Fraction) -> bool:
    """Whether the square root of an exact fraction is no greater than an exact limit, decided without a root.

    Examples
    --------
    >>> root_at_most(Fraction(2), limit=Fraction(141421356, 100000000))
    False
    """
    return limit >= 0 and squared <= limit * limit
