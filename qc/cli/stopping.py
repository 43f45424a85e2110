"""Ctrl-C: one line, and the exit code that shells give it; what is being filed is finished before."""

from __future__ import annotations

import os
import signal
import sys
from contextlib import suppress
from types import FrameType
from typing import Any

STOPPED = 128 + signal.SIGINT


def listen() -> None:
    """From now on Ctrl-C ends the process; the exception that does so is never lost where Python would ignore it."""
    signal.signal(signal.SIGINT, _stop)
    sys.unraisablehook = _unraisable


def was_stopped() -> bool:
    """Whether somebody has asked for the end, whatever a library made of it since."""
    return signal.getsignal(signal.SIGINT) is _at_once


def _stop(number: int, frame: FrameType | None) -> None:
    signal.signal(signal.SIGINT, _at_once)
    # Not by the stream, which may be in the middle of a line of its own.
    with suppress(OSError):
        os.write(2, b"Stopped.\n")
    # An exception, so that temporary folders are cleared away.
    sys.exit(STOPPED)


def _at_once(number: int, frame: FrameType | None) -> None:
    os._exit(STOPPED)


def _unraisable(lost: Any) -> None:
    if was_stopped():
        os._exit(STOPPED)
    sys.__unraisablehook__(lost)
