"""Faults of the package itself that are met once a batch has been judged: what they hit is left out."""

from __future__ import annotations

import traceback
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def unless_it_fails(missing: list[str], what: str) -> Iterator[None]:
    """Go on without a part that cannot be made: say where that arose, and note what is missing.

    Raises
    ------
    SystemExit, KeyboardInterrupt
        When somebody asked for the end meanwhile. Python 3.11 makes a RuntimeError of what is raised while a class is
        made, as when Ctrl-C comes while a library is loaded.
    """
    try:
        yield
    except Exception as fault:
        arose: BaseException | None = fault
        while arose is not None:
            if not isinstance(arose, Exception):
                raise arose from None
            arose = arose.__cause__ or arose.__context__
        traceback.print_exc()
        missing.append(what)
