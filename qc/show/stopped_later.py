"""Ctrl-C that waits: what is filed or loaded is finished before the command ends."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any


@contextmanager
def stopped_later() -> Iterator[None]:
    """Let Ctrl-C wait until the end; threads beside the main one are never interrupted by it."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    stops: list[int] = []
    before: Any = signal.signal(signal.SIGINT, lambda number, frame: stops.append(number))
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)
        if stops:
            signal.raise_signal(signal.SIGINT)
