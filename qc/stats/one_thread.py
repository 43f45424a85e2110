"""Linear algebra on one thread, for as long as matrices are small."""

from __future__ import annotations

import functools
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

# The number of threads belongs to the whole process: whoever comes second must not take a passing limit for the usual.
_TURN = threading.RLock()


@contextmanager
def one_thread() -> Iterator[None]:
    """Hold the libraries behind numpy to one thread inside the block, and give them back what they had.

    Notes
    -----
    On matrices of some tens of rows the threads of such a library wait for each other longer than they work: on a busy
    machine a block took twenty times as long with them. Calls from several threads take turns.
    """
    with _TURN, _libraries().limit(limits=1, user_api="blas"):
        yield


@functools.cache
def _libraries() -> Any:
    from threadpoolctl import ThreadpoolController

    return ThreadpoolController()
