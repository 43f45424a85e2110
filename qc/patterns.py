"""Regular expressions that are compiled when they are first used: one call has a use for less than half of them."""

from __future__ import annotations

import re
from typing import Any, AnyStr, cast


class _Waiting:
    """Has whatever the compiled expression has, from the moment that somebody asks for it."""

    def __init__(self, text: Any, flags: int) -> None:
        self._meant = text, flags

    def __getattr__(self, name: str) -> Any:
        found = getattr(re.compile(*self._meant), name)
        setattr(self, name, found)
        return found


def pattern(text: AnyStr, flags: int = 0) -> re.Pattern[AnyStr]:
    r"""A regular expression, as `re.compile` gives it.

    Examples
    --------
    >>> pattern(r"(\d+) mg").findall("5 mg of 10 mg")
    ['5', '10']
    """
    return cast("re.Pattern[AnyStr]", _Waiting(text, flags))
