"""The calculation of a test of units line by line, to be followed with a pocket calculator."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

from qc.quantities import square_root
from qc.say.limits import CENTRES
from qc.say.numbers import MINUS, fixed, signed

# Decimals of a mean, and of what was measured.
_OF_A_MEAN = {"g": 6}
_USUAL = 4
SENTENCES = {
    "content": "Unit {name}: content {value:.3f} % of label, {difference:+.3f} points of label from the mean.",
    "planned": "Planned mass: {plan}.",
    "mean_of_units": "Mean of {n} units = {mean_g:.6f} g: {limit.figure:+.2f} % from it.",
}


def _mean(value: Fraction, unit: str) -> str:
    return fixed(value, decimals=_OF_A_MEAN.get(unit, _USUAL))


def mean(*, n: int, mean: Fraction, unit: str) -> str:
    """The mean of n values.

    Examples
    --------
    >>> mean(n=2, mean=Fraction(41, 20), unit="g")
    'Mean = 4.1000 / 2 = 2.050000 g.'
    """
    return f"Mean = {fixed(n * mean, decimals=_USUAL)} / {n} = {_mean(mean, unit)} {unit}."


def spread(*, n: int, variance: Fraction, unit: str) -> str:
    """The standard deviation, from the sum of the squared differences from the mean."""
    squares = fixed((n - 1) * variance, decimals=8 if unit == "g" else _USUAL)
    sd = fixed(square_root(variance), decimals=_OF_A_MEAN.get(unit, _USUAL))
    return f"SD = √(Σ(x {MINUS} mean)² / (n {MINUS} 1)) = √({squares} / {n - 1}) = {sd} {unit}."


def relative_spread(*, square: Fraction) -> str:
    """The standard deviation in per cent of the mean; `square` is that of their ratio."""
    return f"RSD = SD / mean × 100 = {fixed(square_root(square) * 100, decimals=3)} %."


def ends(*, percent: Decimal, value: Fraction, unit: str, centre: str) -> str:
    """The two ends of a limit about a centre."""
    share = Fraction(percent) / 100
    low, high = (_mean(value * (1 + sign * share), unit) for sign in (-1, 1))
    return (
        f"{percent:f} % of {CENTRES[centre]} either side: {_mean(value, unit)} × (1 ± {percent:f}/100) = {low} to "
        f"{high} {unit}."
    )


def deviation(*, name: str, value: Fraction, centre: Fraction, deviation: Fraction, unit: str) -> str:
    """How far a unit lies from the centre [% of the centre]."""
    about = _mean(centre, unit)
    return (
        f"Unit {name}: ({fixed(value, decimals=_USUAL)} {MINUS} {about}) / {about} × 100 = "
        f"{signed(deviation, decimals=3)} %."
    )


def reference(*, value: Fraction, mean: Fraction, target: Decimal, ends: tuple[Decimal, Decimal]) -> str:
    """The reference value M, and why it is that."""
    low, high = ends
    side = "from" if value == mean else "below" if mean < value else "above"
    choice = f"the mean lies {side} {low:f} to {high:f}" + (", so M = mean" if value == mean else "")
    return f"M = {fixed(value, decimals=_USUAL)} (T = {target:f}; {choice})."


def acceptance_value(
    *,
    reference: Fraction,
    mean: Fraction,
    k: Decimal,
    variance: Fraction,
    value: float,
    rounded: Decimal,
) -> str:
    """The acceptance value, from M, the mean and the standard deviation."""
    m, centre, sd = (fixed(one, decimals=_USUAL) for one in (reference, mean, square_root(variance)))
    return (
        f"AV = |M {MINUS} mean| + k SD = |{m} {MINUS} {centre}| + {k:f} × {sd} = {fixed(value, decimals=_USUAL)}; "
        f"rounded once: {rounded:f}."
    )
