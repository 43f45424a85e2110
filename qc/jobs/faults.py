"""Faults of the package itself that are met once a batch has been judged: what they hit is left out."""

from __future__ import annotations

import traceback
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def unless_it_fails(missing: list[str], what: str) -> Iterator[None]:
    """Go on without a part that cannot be made: say where that arose, and note what is missing."""
    try:
        yield
    except Exception:
        traceback.print_exc()
        missing.append(what)
