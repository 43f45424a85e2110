"""Long names made short so that no two become one: what all share is left out, the end that tells them apart stays."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import takewhile

from qc.say.names import ELLIPSIS, shown_text

LEAST_SHARED = 2
"""A shared beginning of one letter is no shorter than the sign that would stand for it."""


def names_apart(names: Iterable[str], *, most: int) -> dict[str, str]:
    """Names as they may be shown, each at most a number of characters wherever that keeps them different.

    Where one is too long, the beginning that all share is left out, up to a word or a number; then their ends are
    kept, then their beginnings, then both; then what all that look alike share is left out; and where nothing of this
    tells them apart, as much of the end as does.

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
    if all(len(text) <= most for text in shown.values()):
        return shown
    return dict(zip(shown, _apart(list(shown.values()), most=most), strict=True))


def shared_beginning(names: Iterable[str], *, most: int) -> str:
    """What all names begin with and is left out of their short forms; empty where nothing is."""
    texts = [shown_text(name) for name in dict.fromkeys(names)]
    return "" if all(len(text) <= most for text in texts) else _beginning(texts)


def _beginning(texts: Sequence[str]) -> str:
    """The beginning that all share, up to a word or a number, and something of each left behind it."""
    if len(texts) < 2:
        return ""
    # What the first and the last in order share, all share.
    first, last = min(texts), max(texts)
    same = sum(1 for _ in takewhile(lambda pair: pair[0] == pair[1], zip(first, last, strict=False)))
    end = min(same, min(map(len, texts)) - 1)
    while end > 0 and any(_one_word(text[end - 1], text[end]) for text in texts):
        end -= 1
    return first[:end] if end >= LEAST_SHARED else ""


def _one_word(before: str, after: str) -> bool:
    """Whether a cut between two characters would go through a number or a word."""
    return (before.isdecimal() and after.isdecimal()) or (before.isalpha() and after.isalpha())


def _apart(texts: Sequence[str], *, most: int) -> list[str]:
    if len(texts) == 1:
        return [_start(text, most=most) for text in texts]
    cut = len(_beginning(texts))
    rests = [ELLIPSIS + text[cut:] if cut else text for text in texts]
    ways = (
        rests,
        [_end(rest, most=most) for rest in rests],
        [_start(rest, most=most) for rest in rests],
        [_both(rest, most=most) for rest in rests],
    )
    for way in ways:
        if len(set(way)) == len(set(texts)) and all(len(short) <= most for short in way):
            return way
    return _alike_apart(texts, [_end(rest, most=most) for rest in rests], most=most)


def _alike_apart(texts: Sequence[str], short: Sequence[str], *, most: int) -> list[str]:
    """Short names of which some look alike, those told apart by what they do not share, or by longer ends."""
    found = list(short)
    for alike in dict.fromkeys(short):
        group = [number for number, name in enumerate(short) if name == alike]
        if 1 < len(group) < len(texts):
            for number, name in zip(group, _apart([texts[number] for number in group], most=most), strict=True):
                found[number] = name
    longest = max(map(len, texts))
    while len(set(found)) < len(set(texts)) and most < longest:
        most += 1
        found = [_end(text, most=most) for text in texts]
    return found


def _end(text: str, *, most: int) -> str:
    return text if len(text) <= most else ELLIPSIS + text[1 - most :].lstrip()


def _start(text: str, *, most: int) -> str:
    return text if len(text) <= most else text[: most - 1].rstrip() + ELLIPSIS


def _both(text: str, *, most: int) -> str:
    if len(text) <= most:
        return text
    end = max((most - 1) // 2, 1)
    return text[: most - 1 - end].rstrip() + ELLIPSIS + text[-end:].lstrip()
