"""Long names made short so that no two become one: what all share is left out, the end that tells them apart stays."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import takewhile

from qc.say.text import ELLIPSIS, shown_text

LEAST_SHARED = 2
"""A shared beginning of one letter is no shorter than the sign that would stand for it."""


def names_apart(names: Iterable[str], *, most: int) -> dict[str, str]:
    """Names as they may be shown, each at most a number of characters wherever that keeps them different.

    Where one is too long, the beginning that all share is left out, up to a word or a number; then as little of each
    end is kept as tells all apart.

    Parameters
    ----------
    names : iterable of str
        All names of their kind in the batch, so that a unit is called the same in every picture.
    most : int
        Characters that there is room for.

    Returns
    -------
    dict of str to str
        The short name of each name.

    Examples
    --------
    >>> names_apart(["Metronidazole-no-001", "Metronidazole-no-101"], most=6)
    {'Metronidazole-no-001': '…001', 'Metronidazole-no-101': '…101'}
    >>> names_apart(["12", "13"], most=6)
    {'12': '12', '13': '13'}
    """
    shown = {name: shown_text(name) for name in dict.fromkeys(names)}
    cut = len(shared_beginning(shown, most=most))
    rests = {name: ELLIPSIS + text[cut:] if cut else text for name, text in shown.items()}
    for room in range(most, max(map(len, rests.values()), default=0)):
        short = {name: _end(rest, most=room) for name, rest in rests.items()}
        if len(set(short.values())) == len(set(shown.values())):
            return short
    return rests


def shared_beginning(names: Iterable[str], *, most: int) -> str:
    """What all names begin with and is left out of their short forms; empty where nothing is."""
    texts = [shown_text(name) for name in dict.fromkeys(names)]
    return "" if all(len(text) <= most for text in texts) else _beginning(texts)


def _beginning(texts: Sequence[str]) -> str:
    """The beginning that all share, up to a word or a number, and something of each left behind it."""
    if len(texts) < 2:
        return ""
    # What the first and the last in order share, all share.
    same = sum(1 for _ in takewhile(lambda pair: pair[0] == pair[1], zip(min(texts), max(texts), strict=False)))
    end = min(same, min(map(len, texts)) - 1)
    while end > 0 and any(_one_word(text[end - 1], text[end]) for text in texts):
        end -= 1
    return texts[0][:end] if end >= LEAST_SHARED else ""


def _one_word(before: str, after: str) -> bool:
    """Whether a cut between two characters would go through a number or a word."""
    return (before.isdecimal() and after.isdecimal()) or (before.isalpha() and after.isalpha())


def _end(text: str, *, most: int) -> str:
    return text if len(text) <= most else ELLIPSIS + text[1 - most :].lstrip()
