"""What is measured along the pour, as a sentence begins with it."""

from __future__ import annotations

_NOUN = {"mass": "Mass", "content": "Content", "concentration": "Concentration"}


def series_name(series: str, active: str = "") -> str:
    """A series as a sentence begins with it.

    Examples
    --------
    >>> series_name("mass"), series_name("content", "zinc oxide")
    ('Mass', 'Content of zinc oxide')
    """
    return f"{_NOUN[series]} of {active}" if active else _NOUN[series]
