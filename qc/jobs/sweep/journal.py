"""What was judged before: a line of the journal an input, and whether what the line tells still stands."""

from __future__ import annotations

import functools
import hashlib
import json
import os
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import msgspec
from msgspec import Struct
from msgspec.structs import replace as changed

from qc import __version__
from qc.jobs.sweep.judging import Task, as_line
from qc.jobs.sweep.rows import RESULTS, SweptBatch
from qc.problems import RefusedCall
from qc.readers.guards import UnusableFileError
from qc.readers.stored import stored_input
from qc.rules.built_in import RULES_FOLDER
from qc.rules.rule_books import is_house_file, set_digest
from qc.show.filing import HTML, Filing, alone


class Judged(Struct, frozen=True, kw_only=True):
    """A line of the journal: the rows of an input, under what makes them what they are."""

    key: str
    rows: tuple[SweptBatch, ...]
    digest: str = ""


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


@contextmanager
def writing_alone(folder: Path, who: str) -> Iterator[None]:
    """Hold a folder against another process that does the same there."""
    with alone(Filing(folder=folder, files={}, stem="qc-journal")) as got:
        if not got:
            raise RefusedCall(f"{who[:1].upper()}{who[1:]} is writing into {folder}", "Wait for its end")
        yield


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


def as_it_was(one: Judged, out: Path) -> bool:
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
