"""A folder watched: whatever is saved there is judged, its report filed beside it, an index page kept.

The system tells of changes in the folder; a file counts once it stayed the same for `QUIET_S`, so that one that is
being saved or copied is waited for. Changes that nobody tells of, as on some network drives, are found by a look at the
whole folder now and then. `JOURNAL` in the folder holds what was judged, by the path of each input and its digest.
"""

from __future__ import annotations

import gc
import os
import time
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path

from msgspec import Struct
from msgspec.structs import replace

from qc.jobs.seal import SealedCall
from qc.jobs.sweep.inputs import JOURNAL, find_inputs, input_of
from qc.jobs.sweep.journal import Journal, Judged, digest_of, writing_alone
from qc.jobs.sweep.judging import Judges, Limits, Task
from qc.jobs.sweep.rows import SweptBatch, counts_of, page_of
from qc.jobs.sweep.run import INDEX, with_history
from qc.problems import RefusedCall
from qc.say.text import counted
from qc.show.filing import Filing, file_together

LOOK_MS, GATHER_MS = 200, 100
QUIET_S = 0.4
"""How long a file must stay the same before it counts as saved."""
WHOLE_FOLDER_S = 30.0
AGAIN_S, MOST_TIMES = 1.0, 3
"""A file that cannot be read as a whole may be half saved: it is tried so often again, so far apart."""
REFRESH_S = 5
READY = ("qc.jobs.sweep.reports", "openpyxl", "numpy.random", "matplotlib.backends.backend_svg", "jinja2", "typst")
"""What a process that judges loads before the first file is saved."""
Signature = tuple[tuple[str, int, int], ...]
Told = Callable[[SweptBatch], None]
Ticks = Iterable[set[Path]]


class Waiting(Struct, kw_only=True):
    """An input that changed: how it looked last, when it may be judged, and how often it could not be read."""

    signature: Signature = ()
    not_before: float = 0.0
    refused: int = 0


def ticks_of(folder: Path) -> Iterator[set[Path]]:
    """A few times a second, the paths that changed below a folder; empty where none did."""
    from watchfiles import watch as watch_files

    changes = watch_files(
        folder, watch_filter=None, debounce=GATHER_MS, rust_timeout=LOOK_MS, yield_on_timeout=True, raise_interrupt=True
    )
    for some in changes:
        yield {Path(path) for _, path in some}


def watch(
    folder: Path,
    *,
    call: SealedCall,
    told: Told,
    history: str | None = None,
    limits: Limits | None = None,
    ticks: Ticks | None = None,
) -> None:
    """Judge what is saved into a folder, until somebody ends it.

    Parameters
    ----------
    folder : Path
    call : SealedCall
        The facts that the call gives.
    told : callable
        Told each row as it is judged.
    history : str or None
        The store that each batch is appended to.
    limits : Limits or None
        What one batch may cost.
    ticks : iterable or None
        What changed, look by look; the system tells when None.

    Raises
    ------
    RefusedCall
        When there is no such folder, another process watches it, or an index page stands there that is not ours.
    """
    if not folder.is_dir():
        raise RefusedCall(f"There is no folder {folder}", "Give a folder that is there")
    if (folder / INDEX).exists() and not (folder / JOURNAL).exists():
        raise RefusedCall(f"{folder} holds an {INDEX} of its own", "Give another folder, or take it away first")
    call = with_history(call, history)
    folder = folder.resolve()
    # A command searches for what holds itself in a circle as good as never; one that runs for months has to.
    gc.set_threshold(2000, 10, 10)
    with writing_alone(folder, "another watch"), Judges(limits or Limits(), ready=READY) as judges:
        journal = Journal(folder / JOURNAL)
        file_anew(folder, JOURNAL, journal.as_bytes())
        task = Task(path="", digest="", call=call, out=str(folder), reports=True, beside=True, history=history)
        watched = Watched(folder, task=task, told=told, judges=judges, journal=journal)
        watched.write_index()
        for changed in ticks_of(folder) if ticks is None else ticks:
            watched.look(changed)


class Watched:
    """A folder as it was seen last."""

    def __init__(self, folder: Path, *, task: Task, told: Told, judges: Judges, journal: Journal) -> None:
        self.folder, self.task, self.told, self.judges, self.journal = folder, task, told, judges, journal
        self._waiting: dict[Path, Waiting] = {}
        self._seen: dict[Path, Signature] = {}
        self._next_whole = 0.0
        self._gone: set[str] = set()
        self._miss(journal.known)

    def look(self, changed: Iterable[Path]) -> None:
        """Take up what changed; of what has come to rest judge the last one saved, that nobody waits for a heap."""
        changed = set(changed)
        inputs = {one for path in changed if (one := input_of(self.folder / path, within=self.folder))}
        now = time.monotonic()
        whole = now >= self._next_whole
        if whole:
            inputs |= {one for one in find_inputs([self.folder]).inputs if _signature(one) != self._seen.get(one)}
            self._next_whole = now + WHOLE_FOLDER_S
        for path in inputs:
            self._waiting.setdefault(path, Waiting())
        for path, waiting in list(self._waiting.items()):
            signature = _signature(path)
            if signature != waiting.signature:
                waiting.signature, waiting.not_before = signature, now + QUIET_S
            if not signature:
                del self._waiting[path]
        ready = [(path, waiting) for path, waiting in self._waiting.items() if now >= waiting.not_before]
        ready.sort(key=lambda one: -max(saved for _, saved, _ in one[1].signature))
        any(self._judge(path, waiting) for path, waiting in ready)
        # A folder of tables is told of by its files.
        told = {one for path in changed for one in (self.folder / path, (self.folder / path).parent)}
        if self._miss(self.journal.known if whole else {self._name(path) for path in told}):
            self.write_index()

    def _miss(self, names: Iterable[str]) -> bool:
        """Note which of some inputs that were judged are no longer there; whether that changed."""
        before, asked = self._gone, set(names) & self.journal.known.keys()
        self._gone = (before - asked) | {name for name in asked if not os.path.lexists(self.folder / name)}
        return self._gone != before

    def _name(self, path: Path) -> str:
        return Path(os.path.relpath(path, self.folder)).as_posix()

    def _judge(self, path: Path, waiting: Waiting) -> bool:
        """Judge an input; whether it had changed at all."""
        digest, name = digest_of(path), path.relative_to(self.folder).as_posix()
        known = self.journal.known.get(name)
        self._seen[path] = waiting.signature
        if not find_inputs([path]).inputs or (known and digest and known.digest == digest):
            del self._waiting[path]
            return False
        earlier = known.rows if known else ()
        task = replace(self.task, path=name, digest=digest, earlier=earlier)
        rows = tuple(row for row, _ in self.judges.judged(task))
        waiting.refused += 1
        if waiting.refused < MOST_TIMES and any(not row.verdict and _as_a_whole(row) for row in rows):
            waiting.not_before = time.monotonic() + AGAIN_S
            return True
        del self._waiting[path]
        if not digest:
            # Whoever holds it open will let it go without another change.
            self._seen.pop(path)
        # What was refused leaves the report where it is, for the next one to supersede.
        kept = [(row, earlier[place] if place < len(earlier) else row) for place, row in enumerate(rows)]
        rows = tuple(row if row.verdict else replace(row, report=was.report) for row, was in kept)
        self.journal.add(Judged(key=name, digest=digest, rows=rows))
        self.write_index()
        for row in rows:
            self.told(row)
        return True

    def write_index(self) -> None:
        """Write the page, what was judged last first.

        Of an input that was taken away it says so where its report stays; one whose report is that of another input by
        now, as after a change of its name, stands there by that alone.
        """
        judged = [(row, one.key in self._gone) for one in reversed(self.journal.known.values()) for row in one.rows]
        reports = {"", *(row.report for row, gone in judged if not gone)}
        rows = [replace(row, gone=gone) for row, gone in judged if not gone or row.report not in reports]
        title = f"{counted(len(rows), 'batch', 'batches')} in {self.folder.name}"
        caption = f"The last first. {counts_of(rows)}"
        file_anew(self.folder, INDEX, page_of(rows, title=title, caption=caption, documents=False, refresh_s=REFRESH_S))


def file_anew(folder: Path, name: str, content: bytes) -> None:
    """Put a file into a folder in one step, in place of the one before."""
    file_together([Filing(folder=folder, files={name: content}, replace=True, stem="watch")])


def _as_a_whole(row: SweptBatch) -> bool:
    return all(not one.sheet and not one.cell for one in row.problems)


def _signature(path: Path) -> Signature:
    """What tells one state of an input from another without reading it; empty where it is not there."""
    try:
        files = sorted(path.iterdir()) if path.is_dir() else [path]
        looks = [(one.name, one.stat()) for one in files if os.path.isfile(one)]
        return tuple((name, look.st_mtime_ns, look.st_size) for name, look in looks)
    except OSError:
        return ()
