"""Processes that end at a stated file operation, or at a moment drawn at random, and what they leave behind."""

from __future__ import annotations

import functools
import os
import signal
import site
import sys
import warnings
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path
from typing import Any, TypeVar

from qc.show.filing import Filing, file_together

T = TypeVar("T")
OPERATIONS = frozenset(
    {"open", "os.mkdir", "os.rename", "os.remove", "os.rmdir", "os.listdir", "os.scandir", "os.chmod"}
)


class Torn:
    """An open file whose content reaches it in two halves, with a step between them."""

    def __init__(self, file: Any, step: Callable[[], None]) -> None:
        self.file, self.step = file, step

    def __enter__(self) -> Torn:
        return self

    def __exit__(self, *ended: object) -> None:
        self.file.close()

    def __getattr__(self, name: str) -> Any:
        return getattr(self.file, name)

    def write(self, content: bytes) -> None:
        half = len(content) // 2
        self.file.write(content[:half])
        self.file.flush()
        self.step()
        self.file.write(content[half:])


def watch(root: Path, step: Callable[[], None]) -> None:
    """Take a step before each operation on files below a folder, before each forced write, and amid each content."""
    inside, force, opened = str(root), os.fsync, Path.open

    def seen(event: str, given: tuple[Any, ...]) -> None:
        if event in OPERATIONS and any(
            isinstance(one, str | os.PathLike) and inside in os.fspath(one) for one in given
        ):
            step()

    def forced(handle: int) -> None:
        step()
        force(handle)

    def torn(path: Path, mode: str = "r", *more: Any, **named: Any) -> Any:
        file = opened(path, mode, *more, **named)
        return Torn(file, step) if mode == "xb" and inside in str(path) else file

    sys.addaudithook(seen)
    os.fsync = forced  # type: ignore[assignment]
    Path.open = torn  # type: ignore[method-assign, assignment]


@functools.cache
def _small() -> ProcessPoolExecutor:
    # It has to find these modules by their names, which pytest alone knows.
    root = str(Path(__file__).parents[2])
    return ProcessPoolExecutor(1, mp_context=get_context("spawn"), initializer=site.addsitedir, initargs=(root,))


def apart(call: Callable[..., T], *given: Any, **named: Any) -> T:
    """Make a call in a process with little in it: to split that of the tests in two again and again costs far more."""
    return _small().submit(call, *given, **named).result()


def file_listening(filings: Sequence[Filing]) -> None:
    """File as the command does, which listens for Ctrl-C."""
    from qc.cli import stopping

    stopping.listen()
    file_together(filings)


def ended_at(point: int, work: Callable[[], object], *, root: Path, by: int) -> int | None:
    """Do the work in a child process that gets a signal at its n-th file operation; None where it has not so many.

    Returns
    -------
    int or None
        Its exit code; minus the signal where that ended it.
    """
    told, tell = os.pipe()
    with warnings.catch_warnings():
        # The child does its work in one thread and ends without touching any other.
        warnings.simplefilter("ignore", DeprecationWarning)
        child = os.fork()
    if child == 0:
        code, steps = 99, 0

        def step() -> None:
            nonlocal steps
            steps += 1
            if steps == point:
                os.write(tell, b"x")
                os.kill(os.getpid(), by)

        try:
            os.dup2(os.open(os.devnull, os.O_WRONLY), 2)
            watch(root, step)
            work()
            code = 0
        except SystemExit as ended:
            code = ended.code if isinstance(ended.code, int) else 98
        finally:
            os._exit(code)
    os.close(tell)
    _, status = os.waitpid(child, 0)
    reached = os.read(told, 1)
    os.close(told)
    return os.waitstatus_to_exitcode(status) if reached else None


def killed_at(point: int, work: Callable[[], object], *, root: Path) -> bool:
    """Whether the work was killed at its n-th file operation; it has fewer when not."""
    return ended_at(point, work, root=root, by=signal.SIGKILL) is not None


def everything_in(folder: Path) -> dict[str, bytes]:
    """Every file below a folder, hidden ones too, with its bytes."""
    return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}
