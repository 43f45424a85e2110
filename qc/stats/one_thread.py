"""Linear algebra on one thread, for as long as matrices are small."""

from __future__ import annotations

import functools
import os
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

BEGUN_WITH = "OPENBLAS_NUM_THREADS"
"""The setting that the library behind numpy reads when it is loaded."""

# The number of threads belongs to the whole process: whoever comes second must not take a passing limit for the usual.
_TURN = threading.RLock()


@contextmanager
def one_thread() -> Iterator[None]:
    """Hold the libraries behind numpy to one thread inside the block, and give them back what they had.

    Notes
    -----
    On matrices of some tens of rows the threads of such a library wait for each other longer than they work: on a busy
    machine a block took twenty times as long with them. Calls from several threads take turns. A process that was begun
    with one thread, as the command line begins, has nothing to hold back, and to ask its libraries takes longer than
    the work.
    """
    if os.environ.get(BEGUN_WITH) == "1":
        yield
        return
    with _TURN, _libraries().limit(limits=1, user_api="blas"):
        yield


@functools.cache
def _libraries() -> Any:
    from threadpoolctl import ThreadpoolController

    return ThreadpoolController()
