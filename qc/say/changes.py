"""A change along the pour in words: which way, how far, between which units, and how sure."""

from __future__ import annotations

from qc.say.numbers import fixed, interval, moved

Ends = tuple[str, str]
_NOUN = {"mass": "Mass", "content": "Content", "concentration": "Concentration"}


def series_name(series: str, active: str = "") -> str:
    """A series as a sentence begins with it.

    Examples
    --------
    >>> series_name("mass"), series_name("content", "zinc oxide")
    ('Mass', 'Content of zinc oxide')
    """
    return f"{_NOUN[series]} of {active}" if active else _NOUN[series]


def sure_to(ends: tuple[float, float]) -> str:
    """The 95 % interval of a change, in brackets.

    Examples
    --------
    >>> sure_to((-2.3, 4.7))
    '(95 % interval −2.3 to +4.7 %)'
    """
    return f"(95 % interval {interval(*ends, decimals=1, sign=True)} %)"


def moved_from_to(
    percent: float, between: tuple[float, float], *, ends: Ends, measured: float, measured_ends: Ends
) -> str:
    """A fitted change from the first measured unit to the last, and extrapolated to the ends of the pour.

    Parameters
    ----------
    percent, between : float, (float, float)
        The change over the whole pour with its 95 % interval [% of mean].
    ends : (str, str)
        The units at the ends of the pour.
    measured : float
        The change over the units measured [% of mean].
    measured_ends : (str, str)
        The first and the last unit measured.

    Examples
    --------
    >>> moved_from_to(3.5, (2.3, 4.7), ends=("1", "24"), measured=3.5, measured_ends=("1", "24"))
    'rose by 3.5 % of the mean from unit 1 to unit 24 (95 % interval +2.3 to +4.7 %)'
    >>> told = moved_from_to(72.9, (58.7, 87.2), ends=("1", "24"), measured=50.7, measured_ends=("7", "23"))
    >>> print(told.partition("; ")[2])
    extrapolated to units 1 and 24, by 72.9 % (95 % interval +58.7 to +87.2 %)
    """
    sure = sure_to(between)
    told = f"{moved(measured)} of the mean from unit {measured_ends[0]} to unit {measured_ends[1]}"
    if ends == measured_ends:
        return f"{told} {sure}"
    return f"{told}; extrapolated to units {ends[0]} and {ends[1]}, by {fixed(abs(percent), decimals=1)} % {sure}"
