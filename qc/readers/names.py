"""Names that people type: when two are the same, and which known one is near."""

from __future__ import annotations

import difflib
from collections.abc import Iterable


def same_name(name: str) -> str:
    """The form in which two names are compared: case and spaces make no difference.

    Examples
    --------
    >>> same_name(" Unit  A1 ") == same_name("unit a1")
    True
    """
    return " ".join(name.split()).casefold()


def near_name(name: str, known: Iterable[str]) -> str | None:
    """The known name that is nearest, or None."""
    spelled = {same_name(one): one for one in known}
    near = difflib.get_close_matches(same_name(name), list(spelled), n=1, cutoff=0.6)
    return spelled[near[0]] if near else None
