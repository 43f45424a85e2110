"""Numbers and sentences about causes as a reader sees them."""

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


def full_sentence(fact: str) -> str:
    """A fact as a sentence of its own: a capital and a full stop.

    Examples
    --------
    >>> full_sentence("masses vary by 0.8 %"), full_sentence("12.30 is one slip away: look.")
    ('Masses vary by 0.8 %.', '12.30 is one slip away: look.')
    """
    begun = fact[:1].upper() + fact[1:]
    return begun if begun.endswith((".", "?", "!")) else f"{begun}."
