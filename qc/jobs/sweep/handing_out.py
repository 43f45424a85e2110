"""Inputs handed out: to processes of this machine, or to the machines of a cluster, a few ahead of what is judged."""

from __future__ import annotations

import functools
import os
from collections.abc import Generator, Iterable
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from contextlib import ExitStack
from importlib import import_module
from itertools import islice
from typing import Any

from qc.jobs.sweep.judging import Answer, Judges, Limits, Task, not_judged
from qc.problems import RefusedCall

AHEAD = 4
"""How many inputs are handed out for each process that judges."""


def handed_out(
    tasks: Iterable[tuple[str, Task]], *, jobs: int | None, scheduler: str | None, limits: Limits
) -> Generator[tuple[str, list[Answer]], None, None]:
    """The answers as they come, a few inputs being handed out ahead."""
    lost: tuple[type[Exception], ...] = ()
    with ExitStack() as held:
        if scheduler is None:
            many = jobs or processors()
            judge = held.enter_context(Judges(limits)).judged
            # Threads that each wait for a process; where the sweep is broken off nothing more is begun.
            pool = ThreadPoolExecutor(many)
            held.callback(pool.shutdown, wait=False, cancel_futures=True)
            submit = pool.submit
        else:
            client, lost = _cluster(scheduler)
            held.enter_context(client)
            many = max(sum(client.nthreads().values()), 1)
            judge, submit = functools.partial(judged_by_worker, limits=limits), client.get_executor(pure=False).submit
        waiting: dict[Future[list[Answer]], tuple[str, Task]] = {}
        left = iter(tasks)
        while True:
            for key, task in islice(left, AHEAD * many - len(waiting)):
                waiting[submit(judge, task)] = key, task
            if not waiting:
                return
            for future in wait(waiting, return_when=FIRST_COMPLETED).done:
                key, task = waiting.pop(future)
                try:
                    answers = future.result()
                except lost:
                    answers = [(not_judged(task, "each machine of the cluster that was to judge it went away"), "")]
                yield key, answers


def processors() -> int:
    """How many processors this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _cluster(scheduler: str) -> tuple[Any, tuple[type[Exception], ...]]:
    """A cluster, and how it says that an input was given to several of its machines, which all went away."""
    try:
        distributed: Any = import_module("distributed")
    except ImportError:
        mend = "Install it with: pip install 'mould-batch-qc[cluster]'"
        raise RefusedCall("--scheduler needs Dask, which is not installed", mend) from None
    try:
        return distributed.Client(scheduler, timeout=10), (distributed.KilledWorker,)
    except (OSError, ValueError) as failure:
        mend = "Give the address that the scheduler prints when it starts, for example tcp://10.0.0.5:8786"
        raise RefusedCall(f'No Dask scheduler answers at "{scheduler}" ({failure})', mend) from None


def judged_by_worker(task: Task, *, limits: Limits) -> list[Answer]:
    """Judge on a machine of a cluster, in a process that outlives the input."""
    return _judges_of_worker(limits).judged(task)


@functools.cache
def _judges_of_worker(limits: Limits) -> Judges:
    return Judges(limits)
