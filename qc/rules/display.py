"""How figures are written in reasons, criteria and workings: rounded for the eye, never for a comparison."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction

from qc.quantities import Exact, rounded

MINUS = "\N{MINUS SIGN}"


def plain(value: Decimal) -> str:
    """A limit as the rule writes it, without trailing zeros that nobody typed.

    Examples
    --------
    >>> plain(Decimal("7.5")), plain(Decimal("10")), plain(Decimal("15.0"))
    ('7.5', '10', '15.0')
    """
    return f"{value:f}"


def shown(value: Exact | float, *, decimals: int) -> str:
    """A figure rounded half up for display, with a true minus sign.

    Examples
    --------
    >>> shown(Fraction(-14041, 3000), decimals=2)
    '−4.68'
    """
    exact = value if not isinstance(value, float) else Fraction(value)
    return f"{rounded(exact, decimals=decimals):f}".replace("-", MINUS)


def signed(value: Exact | float, *, decimals: int) -> str:
    """A deviation with its sign, plus or minus.

    Examples
    --------
    >>> signed(Fraction(16, 5), decimals=2)
    '+3.20'
    """
    text = shown(value, decimals=decimals)
    return text if text.startswith(MINUS) or not text.strip("0.") else f"+{text}"


def listed(names: Sequence[str]) -> str:
    """Names as a sentence lists them.

    Examples
    --------
    >>> listed(["4"]), listed(["4", "7"]), listed(["1", "2", "3"])
    ('4', '4 and 7', '1, 2 and 3')
    """
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} and {names[-1]}"


def counted(number: int, thing: str) -> str:
    """A count with its noun in the right number.

    Examples
    --------
    >>> counted(1, "unit"), counted(3, "unit")
    ('1 unit', '3 units')
    """
    return f"{number} {thing}" if number == 1 else f"{number} {thing}s"


def at_most(number: int) -> str:
    """How a rule allows a count: "none" or "at most 2"."""
    return "none" if number == 0 else f"at most {number}"
