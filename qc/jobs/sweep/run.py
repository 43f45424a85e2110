"""A sweep: every input found is judged by as many processes as there are, and tables are made of the rows.

`JOURNAL` in the folder of the sweep takes a line an input as it is judged, after its documents are written. A sweep
that was stopped, however that came, goes on from there; what a line tells is used again where input, facts of the call,
rules and version are the same and its documents lie there as they were.
"""

from __future__ import annotations

import functools
import hashlib
import json
import os
from collections import Counter
from collections.abc import Callable, Generator, Iterable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from contextlib import ExitStack, closing, contextmanager, suppress
from importlib import import_module
from itertools import islice
from pathlib import Path
from typing import Any

import msgspec
from msgspec import Struct
from msgspec.structs import replace as changed

from qc import __version__
from qc.jobs.seal import SealedCall
from qc.jobs.sweep.inputs import JOURNAL, TABLES, FoundInputs, find_inputs, made_by_qc
from qc.jobs.sweep.judging import Answer, Judges, Limits, Task, as_line, not_judged
from qc.jobs.sweep.rows import GRAVEST_FIRST, RESULTS, SweptBatch, columns_of, counts_of, csv_of, page_of, parquet_of
from qc.problems import RefusedCall
from qc.readers.guards import UnusableFileError
from qc.readers.stored import stored_input
from qc.rules.built_in import RULES_FOLDER
from qc.rules.rule_books import is_house_file, rule_book, set_digest
from qc.say.text import counted, listed
from qc.show.filing import HTML, Filing, alone, file_together

INDEX = "index.html"
PARQUET = "batches.parquet"
AHEAD = 4
"""How many inputs are handed out for each process that judges."""
Progress = Callable[[int, int], None]


class Judged(Struct, frozen=True, kw_only=True):
    """A line of the journal: the rows of an input, under what makes them what they are."""

    key: str
    rows: tuple[SweptBatch, ...]
    digest: str = ""


class Swept(Struct, frozen=True, kw_only=True):
    """What a sweep found.

    Parameters
    ----------
    rows : tuple of SweptBatch
        In the order of the inputs and of the batches in each.
    inputs, kept, own : int
        How many inputs there are, how many of them were judged before, and how many files of qc's own were passed over.
    parquet : bool
        Whether the library that writes that table is there.
    """

    rows: tuple[SweptBatch, ...]
    inputs: int
    kept: int = 0
    own: int = 0
    parquet: bool = True


class Journal:
    """What was judged, in a file that grows by a line an input; a line that a crash tore is none."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.known: dict[str, Judged] = {}
        if path.exists():
            for line in path.read_bytes().splitlines():
                with suppress(ValueError, msgspec.MsgspecError):
                    one = msgspec.convert(json.loads(line), Judged)
                    self.known.pop(one.key, None)
                    self.known[one.key] = one

    def as_bytes(self, keys: Iterable[str] | None = None) -> bytes:
        """Its lines, each once, in the order of the keys; of all it knows where none are given."""
        return b"".join(as_line(self.known[key]) for key in (self.known if keys is None else keys))

    def add(self, one: Judged) -> None:
        """Write a line; when this is done the input is judged, whatever comes."""
        # The last one judged stands last.
        self.known.pop(one.key, None)
        self.known[one.key] = one
        with self.path.open("ab") as file:
            # After a torn line a new one begins.
            file.write(b"\n" + as_line(one))
            file.flush()
            os.fsync(file.fileno())


def sweep(
    paths: Sequence[str | Path],
    *,
    out: Path,
    call: SealedCall,
    jobs: int | None = None,
    scheduler: str | None = None,
    reports: bool = False,
    history: str | None = None,
    resume: bool = False,
    replace: bool = False,
    limits: Limits | None = None,
    progress: Progress | None = None,
) -> Swept:
    """Judge every batch below some paths and write the tables.

    Parameters
    ----------
    paths : sequence
        Files, folders and patterns.
    out : Path
        The folder of the tables, made when it is not there.
    call : SealedCall
        The facts that the call gives.
    jobs : int or None
        How many processes judge; one a processor when None.
    scheduler : str or None
        The address of a Dask cluster that judges in their place.
    reports : bool
        Whether each batch gets its report.
    history : str or None
        The store that each batch is appended to; the same result stands there once.
    resume, replace : bool
        Whether what an earlier sweep judged into the folder is used again, or all is judged anew.
    limits : Limits or None
        What one batch may cost.
    progress : callable or None
        Told how many of how many inputs are judged.

    Raises
    ------
    InputProblems
        When there is nothing to judge, the rules cannot be used, the folder holds an earlier sweep, or another one
        writes there.
    OSError
        When the folder cannot be written.
    """
    found = _inputs(paths)
    rule_book(call.rules)
    call = with_history(call, history)
    with writing_alone(out, "another sweep"):
        _refuse_over(out, resume=resume, replace=replace)
        gone = [path for path in found.inputs if not os.path.lexists(path)]
        if gone and (out / JOURNAL).exists():
            named = listed([str(path) for path in gone], most=2)
            told = f"There is no {named}, and {out} holds an earlier sweep, which is kept"
            raise RefusedCall(told, "See whether the name is right")
        if replace:
            (out / JOURNAL).unlink(missing_ok=True)
        journal = Journal(out / JOURNAL)
        _refuse_fewer(journal, found.inputs, out=out)
        before = {row.document for one in journal.known.values() for row in one.rows}
        tasks = _tasks(found.inputs, call, out=out, reports=reports, history=history)
        keys = [key_of(task) for task in tasks]
        done = {key: one for key in keys if (one := journal.known.get(key)) and _as_it_was(one, out)}
        kept = len(done)
        (out / RESULTS).mkdir(exist_ok=True)
        to_do = ((key, task) for key, task in zip(keys, tasks, strict=True) if key not in done)
        for key, answers in _judged(to_do, jobs=jobs, scheduler=scheduler, limits=limits or Limits()):
            for row, text in answers:
                if text:
                    (out / RESULTS / row.document).write_bytes(text.encode())
            done[key] = Judged(key=key, rows=tuple(row for row, _ in answers))
            journal.add(done[key])
            if progress is not None:
                progress(len(done), len(tasks))
        rows = tuple(row for key in keys for row in done[key].rows)
        parquet = _write_tables(rows, out, journal=journal.as_bytes(keys), many=len(tasks))
        for name in before - {row.document for row in rows} - {""}:
            (out / RESULTS / name).unlink(missing_ok=True)
    return Swept(rows=rows, inputs=len(tasks), kept=kept, own=found.own, parquet=parquet)


def judged_rows(
    paths: Sequence[str | Path], *, call: SealedCall, jobs: int | None = None, scheduler: str | None = None
) -> Generator[SweptBatch, None, None]:
    """Judge every batch below some paths and give the rows one by one, in the order of the inputs; nothing is kept.

    Raises
    ------
    RefusedCall
        When no input is found, or the scheduler does not answer.
    """
    inputs = _inputs(paths).inputs
    rule_book(call.rules)
    tasks = ((str(place), Task(path=str(path), digest=digest_of(path), call=call)) for place, path in enumerate(inputs))
    early: dict[str, list[Answer]] = {}
    following = 0
    with closing(_judged(tasks, jobs=jobs, scheduler=scheduler, limits=Limits())) as judged:
        for key, answers in judged:
            early[key] = answers
            while str(following) in early:
                # Its document is kept nowhere.
                yield from (changed(row, document="", sha256="") for row, _ in early.pop(str(following)))
                following += 1


def _inputs(paths: Sequence[str | Path]) -> FoundInputs:
    """What is to be judged below some paths, which must be something."""
    found = find_inputs(paths)
    if not found.inputs:
        own = f", apart from {found.own} files that qc made" if found.own else ""
        raise RefusedCall(
            f"There is no workbook and no table in {', '.join(map(str, paths))}{own}", "Give a folder that holds some"
        )
    return found


def with_history(call: SealedCall, history: str | None) -> SealedCall:
    """The call with the causes that its history confirmed; a store that cannot be used is refused before all else."""
    if history is None:
        return call
    from qc.history.register import open_register
    from qc.jobs.history import confirmed_causes

    with open_register(history):
        return changed(call, confirmed=confirmed_causes(history))


@contextmanager
def writing_alone(folder: Path, who: str) -> Iterator[None]:
    """Hold a folder against another process that does the same there."""
    with alone(Filing(folder=folder, files={}, stem="qc-journal")) as got:
        if not got:
            raise RefusedCall(f"{who[:1].upper()}{who[1:]} is writing into {folder}", "Wait for its end")
        yield


def _refuse_over(out: Path, *, resume: bool, replace: bool) -> None:
    if (out / JOURNAL).exists() and not resume and not replace:
        mend = "Give --resume to judge what is new or changed, --replace to judge all anew, or another folder"
        raise RefusedCall(f"{out} holds an earlier sweep", mend)
    there = [name for name in (*TABLES, INDEX, PARQUET, RESULTS) if os.path.lexists(out / name)]
    if there and not (out / JOURNAL).exists() and not replace:
        mend = "Give another folder, or --replace to write over it"
        raise RefusedCall(f"{out} holds {' and '.join(there)}, which no sweep that can be gone on with wrote", mend)


def _refuse_fewer(journal: Journal, inputs: Sequence[Path], *, out: Path) -> None:
    """Refuse to go on without inputs of the earlier sweep that are still there: their rows and documents would go."""
    earlier = {row.file for one in journal.known.values() for row in one.rows}
    left = sorted(file for file in earlier - set(map(str, inputs)) if os.path.lexists(file))
    left = [file for file in left if not made_by_qc(Path(file))]
    if left:
        many = counted(len(left), "input")
        found = f"{out} holds a sweep of {many} more, such as {left[0]}, and this call would take them out of it"
        raise RefusedCall(found, "Give the paths of that sweep, or another folder, or --replace to judge these alone")


def _tasks(inputs: Sequence[Path], call: SealedCall, *, out: Path, reports: bool, history: str | None) -> list[Task]:
    """A task an input; those of equal content count their documents together."""
    digests = [digest_of(path) for path in inputs]
    copies, seen = Counter(digests), Counter[str]()
    tasks: list[Task] = []
    for path, digest in zip(inputs, digests, strict=True):
        copy, many = (seen[digest], copies[digest]) if digest else (0, 1)
        one = Task(path=str(path), digest=digest, copy=copy, copies=many, call=call, out=str(out))
        tasks.append(changed(one, reports=reports, history=history))
        seen[digest] += 1
    return tasks


def digest_of(path: Path) -> str:
    """The digest of an input; empty where it cannot be read."""
    if not os.path.isfile(path) and not os.path.isdir(path):
        # To read a pipe would wait for whoever writes into it.
        return ""
    try:
        return stored_input(path).source.sha256
    except (OSError, UnusableFileError):
        return ""


def key_of(task: Task) -> str:
    """What makes the rows of an input what they are, as a digest: itself, the call, the rules and the version."""
    rules = task.call.rules
    house = set_digest(rules).sha256 if is_house_file(rules) else ""
    said = as_line(changed(task, out="")) + f"{house} {__version__} {_built_in_rules()}".encode()
    return hashlib.sha256(said).hexdigest()


@functools.cache
def _built_in_rules() -> str:
    files = sorted(RULES_FOLDER.rglob("*.toml"))
    return hashlib.sha256(b"".join(file.read_bytes() for file in files)).hexdigest()


def _as_it_was(one: Judged, out: Path) -> bool:
    """Whether what was judged before can stand: what was refused is looked at again, for it may have been mended."""
    try:
        return all(
            not row.problems
            and _sha256(out / RESULTS / row.document) == row.sha256
            and (not row.report or (out / row.report / HTML).exists())
            and (not row.house or _sha256(Path(row.house[0])) == row.house[1])
            for row in one.rows
        )
    except OSError:
        return False


def _sha256(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def _judged(
    tasks: Iterable[tuple[str, Task]], *, jobs: int | None, scheduler: str | None, limits: Limits
) -> Generator[tuple[str, list[Answer]], None, None]:
    """The answers as they come, a few inputs being handed out ahead."""
    lost: tuple[type[Exception], ...] = ()
    with ExitStack() as held:
        if scheduler is None:
            many = jobs or processors()
            judge = held.enter_context(Judges(limits)).judged
            submit = held.enter_context(_threads(many)).submit
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


@contextmanager
def _threads(many: int) -> Iterator[ThreadPoolExecutor]:
    """Threads that each wait for a process; where the sweep is broken off nothing more is begun."""
    pool = ThreadPoolExecutor(many)
    try:
        yield pool
    finally:
        pool.shutdown(wait=False, cancel_futures=True)


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


def _write_tables(rows: Sequence[SweptBatch], out: Path, *, journal: bytes, many: int) -> bool:
    """Write the tables together, and the journal less what it no longer needs."""
    columns, ordered = columns_of(rows), sorted(rows, key=lambda row: GRAVEST_FIRST.index(row.verdict))
    refused = [row for row in rows if not row.verdict]
    parquet = parquet_of(columns)
    title = f"{counted(len(rows), 'batch', 'batches')} in {counted(many, 'file')}"
    files: dict[str, bytes | None] = {
        TABLES[0]: csv_of(columns),
        TABLES[1]: csv_of({"file": [row.file for row in refused], "problems": [row.problem for row in refused]}),
        INDEX: page_of(ordered, title=title, caption=f"The gravest first. {counts_of(rows)}", documents=True),
        JOURNAL: journal,
        PARQUET: parquet,
    }
    file_together([Filing(folder=out, files=files, replace=True, stem="sweep")])
    return parquet is not None


def gravest(rows: Iterable[SweptBatch]) -> str:
    """The gravest verdict of some rows; empty where one could not be judged."""
    return min((row.verdict for row in rows), key=GRAVEST_FIRST.index)
