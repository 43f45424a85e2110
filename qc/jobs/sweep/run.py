"""A sweep: every input found is judged by as many processes as there are, and tables are made of the rows.

`JOURNAL` in the folder of the sweep takes a line an input as it is judged, after its documents are written. A sweep
that was stopped, however that came, goes on from there; what a line tells is used again where input, facts of the call,
rules and version are the same and its documents lie there as they were.
"""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Callable, Generator, Iterable, Sequence
from contextlib import closing
from pathlib import Path

from msgspec import Struct
from msgspec.structs import replace as changed

from qc.jobs.seal import SealedCall
from qc.jobs.sweep.handing_out import handed_out
from qc.jobs.sweep.inputs import JOURNAL, TABLES, FoundInputs, find_inputs, made_by_qc
from qc.jobs.sweep.journal import Journal, Judged, as_it_was, digest_of, key_of, writing_alone
from qc.jobs.sweep.judging import Answer, Limits, Task
from qc.jobs.sweep.rows import GRAVEST_FIRST, RESULTS, SweptBatch, columns_of, counts_of, csv_of, page_of, parquet_of
from qc.problems import RefusedCall
from qc.rules.rule_books import rule_book
from qc.say.text import counted, listed
from qc.show.filing import Filing, file_together

INDEX = "index.html"
PARQUET = "batches.parquet"
Progress = Callable[[int, int], None]


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
    kept: int
    own: int
    parquet: bool


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
        done = {key: one for key in keys if (one := journal.known.get(key)) and as_it_was(one, out)}
        kept = len(done)
        (out / RESULTS).mkdir(exist_ok=True)
        to_do = ((key, task) for key, task in zip(keys, tasks, strict=True) if key not in done)
        for key, answers in handed_out(to_do, jobs=jobs, scheduler=scheduler, limits=limits or Limits()):
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
    with closing(handed_out(tasks, jobs=jobs, scheduler=scheduler, limits=Limits())) as judged:
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
