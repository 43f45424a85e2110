"""One input of a sweep judged: in a process of its own, which takes inputs from one pipe and answers on another.

A file may cost any time and memory, or end the process that reads it; the sweep goes on without that process. What a
line of the pipe holds is JSON: a `Task` inward, a row with its result document outward, an empty line after the last.
"""

from __future__ import annotations

import gc
import hashlib
import json
import os
import signal
import subprocess
import sys
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from contextlib import suppress
from datetime import datetime
from importlib import import_module
from pathlib import Path
from queue import Empty, SimpleQueue
from threading import Event, Timer
from typing import IO

import msgspec
from msgspec import Struct
from msgspec.structs import replace

from qc.document import as_text
from qc.jobs.check import REPORTS, Checked, checked_as_read, with_rule_words
from qc.jobs.folder_name import plain_name
from qc.jobs.seal import Asked, SealedCall
from qc.jobs.superseded import superseded_input
from qc.jobs.sweep.rows import SweptBatch, row_of
from qc.problems import InputProblems
from qc.readers.read import read_batches
from qc.rules.rule_books import rule_book

OUT_OF_MEMORY = 9
MOST_SERVED = 500
"""A process judges so many inputs, so that what a library never gives back does not add up."""
OF_A_JUDGE = {
    "OPENBLAS_NUM_THREADS": "1",
    "MALLOC_TRIM_THRESHOLD_": str(64 << 20),
    "MALLOC_MMAP_THRESHOLD_": str(16 << 20),
}
"""One thread, and arrays of a batch in memory that is not given back after each (the settings of glibc, elsewhere
unknown): to be given it anew costs a thirtieth of the work."""
SAVE_ANEW = "Look into it by itself with qc check; save it anew, one batch in a file"
Answer = tuple[SweptBatch, str]
"""A row, and its result document; empty where there is none."""


class Limits(Struct, frozen=True, kw_only=True):
    """What one batch may cost: time on the clock [s], and memory of its process [MB]."""

    seconds: float = 120
    megabytes: int = 2000


class Task(Struct, frozen=True, kw_only=True):
    """An input to be judged.

    Parameters
    ----------
    path, out : str
        The input, and the folder of the sweep, or the one that is watched.
    digest : str
        SHA-256 of the input; empty where it cannot be read.
    copy, copies : int
        Which one it is among inputs of one digest, from 0, and of how many.
    call : SealedCall
        The facts that the call gives.
    reports : bool
        Whether reports are filed: below `out`, or, where `beside`, beside the input, whose path starts there then.
    earlier : tuple of SweptBatch
        What the input gave when it was judged last.
    history : str or None
        The store that each batch is appended to.
    """

    path: str
    digest: str
    copy: int = 0
    copies: int = 1
    call: SealedCall
    out: str = ""
    reports: bool = False
    beside: bool = False
    earlier: tuple[SweptBatch, ...] = ()
    history: str | None = None


def as_line(record: Struct | Answer) -> bytes:
    """A record as a line of JSON; half a character, as a name of a file may hold it, survives."""
    return json.dumps(msgspec.to_builtins(record)).encode() + b"\n"


def judge_input(task: Task) -> Iterator[Answer]:
    """Judge every batch of an input, each as `qc check` judges it.

    Yields
    ------
    tuple
        The row of a batch, or of what cannot be judged, and the result document.
    """
    at, asked = datetime.now().astimezone(), task.call.options()
    file, out = task.path, Path(task.out)
    path = out / file if task.beside else Path(file)
    if path.exists() and not path.is_file() and not path.is_dir():
        yield SweptBatch(file=file).with_problem("it is a pipe or a device", "Save what comes from it to a file"), ""
        return
    told = with_rule_words(asked, rules_are_given=task.call.rules is not None, today=at.date())
    for place, (options, found) in enumerate(read_batches(path, options=told)):
        try:
            if isinstance(found, InputProblems):
                raise found
            said = replace(asked, sheet=options.sheet, batch=options.batch)
            meant = task.call.rules if task.call.rules is not None else found.rules
            if not task.beside:
                # What is saved into a folder that is watched supersedes the report before by itself.
                found = replace(found, superseded=superseded_input(found, path=path))
            meant_so = Asked(options=said, rules=meant, at=at, confirmed=task.call.confirmed)
            checked = checked_as_read(found, book=rule_book(meant), asked=meant_so)
            row = row_of(checked, file=file)
        except InputProblems as unusable:
            sheet, batch = options.sheet or "", options.batch or ""
            yield SweptBatch(file=file, sheet=sheet, batch=batch, problems=unusable.problems), ""
            continue
        text, number = as_text(checked.document), place * task.copies + task.copy + 1
        assert found.source is not None, "a batch of an input knows which"
        digest = found.source.sha256
        row = replace(row, document=f"{digest}-{number}.json", sha256=hashlib.sha256(text.encode()).hexdigest())
        new: Checked | None = checked
        if task.reports:
            # Loaded where reports are asked for: what draws them takes its time.
            from qc.jobs.sweep.reports import filed, filed_beside

            earlier = task.earlier[place] if place < len(task.earlier) else None
            name = f"{plain_name(row.batch or path.stem)}-{digest[:8]}-{number}"
            if task.beside:
                row, new = filed_beside(row, checked, path, out=out, earlier=earlier)
            else:
                row, new = filed(row, checked, out=out, place=out / REPORTS / name, over=True)
        yield _appended(row, new, task), text


def _appended(row: SweptBatch, new: Checked | None, task: Task) -> SweptBatch:
    """Append a batch to the history where one is kept; that it could not be stands in the row beside its verdict."""
    if new is None or task.history is None:
        return row
    from qc.history.register import open_register
    from qc.jobs.history import entry_of

    try:
        with open_register(task.history) as register:
            register.append(entry_of(new, report=Path(task.out, row.report) if row.report else None))
    except InputProblems as unkept:
        return replace(row, problems=(*row.problems, *unkept.problems))
    return row


def not_judged(task: Task, found: str) -> SweptBatch:
    """The row of an input that could not be judged to its end."""
    return SweptBatch(file=task.path).with_problem(found, SAVE_ANEW)


class Judges:
    """Processes that judge, each one input at a time; as many as are asked at once. To be closed.

    One is begun at once where modules are named that it is to hold `ready`, so that the first input is not waited for.
    """

    def __init__(self, limits: Limits, *, ready: Sequence[str] = ()) -> None:
        self.limits, self.ready = limits, ready
        self._idle: SimpleQueue[subprocess.Popen[bytes]] = SimpleQueue()
        self._all: set[subprocess.Popen[bytes]] = set()
        self._served = Counter[int]()
        if ready:
            self._idle.put(self._taken())

    def __enter__(self) -> Judges:
        """Themselves."""
        return self

    def __exit__(self, *_: object) -> None:
        """End them, in the middle of an input too."""
        for child in list(self._all):
            self._end(child)

    def judged(self, task: Task) -> list[Answer]:
        """Judge every batch of an input; one that ends the process, or is not judged in time, is a row that says so."""
        child, answers = self._taken(), list[Answer]()
        assert child.stdin is not None
        assert child.stdout is not None
        # Of one that has ended there is no answer, which is told below.
        with suppress(BrokenPipeError):
            child.stdin.write(as_line(task))
            child.stdin.flush()
        late = False
        while True:
            line, ended = _next_line(child, child.stdout, self.limits.seconds)
            late = late or ended
            if not line.endswith(b"\n"):
                self._end(child)
                return [*answers, (not_judged(task, self._ended(child, late=late)), "")]
            if line == b"\n":
                self._served[child.pid] += 1
                if late or self._served[child.pid] >= MOST_SERVED:
                    self._end(child)
                else:
                    self._idle.put(child)
                return answers
            answers.append(msgspec.convert(json.loads(line), Answer))

    def _taken(self) -> subprocess.Popen[bytes]:
        while True:
            try:
                child = self._idle.get_nowait()
            except Empty:
                break
            if child.poll() is None:
                return child
        call = [sys.executable, "-P", "-m", __name__, str(self.limits.megabytes), *self.ready]
        env, pipe = {**os.environ, **OF_A_JUDGE}, subprocess.PIPE
        child = subprocess.Popen(call, stdin=pipe, stdout=pipe, env=env, start_new_session=True)
        self._all.add(child)
        return child

    def _end(self, child: subprocess.Popen[bytes]) -> None:
        self._all.discard(child)
        child.kill()
        child.wait()
        for pipe in (child.stdin, child.stdout):
            # What was not taken is not waited for.
            with suppress(OSError):
                pipe.close() if pipe else None

    def _ended(self, child: subprocess.Popen[bytes], *, late: bool) -> str:
        if late:
            return f"it was not judged within {self.limits.seconds} s"
        if child.returncode == OUT_OF_MEMORY:
            return f"it takes more than {self.limits.megabytes} MB of memory to judge"
        return f"the process that judged it ended (code {child.returncode})"


def _next_line(child: subprocess.Popen[bytes], answers: IO[bytes], seconds: float) -> tuple[bytes, bool]:
    """The next line of a process, and whether it was ended for want of one."""
    late = Event()

    def end() -> None:
        late.set()
        child.kill()

    timer = Timer(seconds, end)
    timer.daemon = True
    timer.start()
    line = answers.readline()
    timer.cancel()
    timer.join()
    return line, late.is_set()


def serve(megabytes: str, *ready: str) -> None:
    """Judge what comes in on standard input until it ends, and end the process."""
    # Ctrl-C reaches every process of a console of Windows; the one that sweeps ends this one.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    answers = os.fdopen(os.dup(1), "wb")
    # What a library prints would stand among the answers.
    os.dup2(2, 1)
    _limit_memory(int(megabytes))
    for module in ready:
        import_module(module)
    gc.set_threshold(100_000)
    os._exit(answer_each(sys.stdin.buffer, answers))


def answer_each(tasks: Iterable[bytes], answers: IO[bytes]) -> int:
    """Judge what each line asks, until they end, memory does, or nobody waits for answers; the code to end with."""
    try:
        for line in tasks:
            for answer in judge_input(msgspec.convert(json.loads(line), Task)):
                answers.write(as_line(answer))
                answers.flush()
            answers.write(b"\n")
            answers.flush()
    except MemoryError:
        return OUT_OF_MEMORY
    except BrokenPipeError:
        pass
    return 0


def _limit_memory(megabytes: int) -> None:
    try:
        import resource
    except ImportError:
        return  # Windows has no such limit for a process; the limit of time holds there too.
    resource.setrlimit(resource.RLIMIT_AS, (megabytes << 20, megabytes << 20))


if __name__ == "__main__":
    serve(*sys.argv[1:])
