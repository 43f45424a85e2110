"""Numbers as the sentences about causes show them."""

from __future__ import annotations


def signed(value: float, decimals: int = 1) -> str:
    """A number with its sign; nothing has none.

    Examples
    --------
    >>> signed(1.26), signed(-0.02), signed(-3.4, 0)
    ('+1.3', '0.0', '-3')
    """
    shown = f"{value:+.{decimals}f}"
    return shown if float(shown) else f"{0.0:.{decimals}f}"
