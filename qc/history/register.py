"""The register: what was judged, confirmed and noted, entry after entry, each with the digest of the one before.

Nothing in it is changed or deleted: a correction is a further entry. Whoever rewrites all entries that follow leaves no
trace within; that is seen against a head digest kept elsewhere, as are entries cut off at the end.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import msgspec
from msgspec import Struct

from qc.history.entries import RECORDS, Confirmed, EntryKind, Figures, StoredEntry, ToAppend
from qc.problems import InputProblems

if TYPE_CHECKING:
    from qc.history.server import ServerConnection

LEAST_OF_HEAD = 12
"""Digits of a digest that tell it from any other in a store."""
NOTHING_BEFORE = "0" * 64
"""What stands before the first entry."""
WAIT_S = 60
AT_A_TIME = 500
MIGRATIONS: tuple[tuple[str, ...], ...] = (
    (
        "CREATE TABLE entry (number INTEGER PRIMARY KEY, previous TEXT NOT NULL, digest TEXT NOT NULL,"
        " kind TEXT NOT NULL, at TEXT NOT NULL, identity TEXT UNIQUE, figures TEXT NOT NULL, content {bytes} NOT NULL)",
    ),
)
"""What makes a store of each version from the one before; a step that was published is never edited."""


_COLUMNS = ", ".join(StoredEntry.__struct_fields__)
# A result that stands there already is left as it stands.
_INSERT = f"INSERT INTO entry ({_COLUMNS}) VALUES (:{_COLUMNS.replace(', ', ', :')}) ON CONFLICT (identity) DO NOTHING"
_SAME = "SELECT number, digest FROM entry WHERE identity = :identity"


class Stored(Struct, frozen=True, kw_only=True):
    """Where an entry stands in the chain; `new` is false where the same result stood there already."""

    number: int
    digest: str
    new: bool = True


class Chain(Struct, frozen=True, kw_only=True):
    """What was found when the digests were calculated anew.

    Parameters
    ----------
    entries : int
    head : str
        The digest of the last entry, to be kept elsewhere.
    changed, missing : tuple of int
        Entries that are not what they were, and numbers that are not there.
    head_found : bool or None
        Whether the digest that was given is one of the chain; None where none was given.
    damage : str
        What the database says of a file that is damaged; empty where it is sound.
    """

    entries: int
    head: str
    changed: tuple[int, ...] = ()
    missing: tuple[int, ...] = ()
    head_found: bool | None = None
    damage: str = ""

    @property
    def whole(self) -> bool:
        """Whether nothing was found to be changed or missing."""
        return not (self.changed or self.missing or self.damage or self.head_found is False)


class FileConnection:
    """A store in one file; every append is on the disk before it is said to be. `ServerConnection` does the same."""

    failures: tuple[type[Exception], ...] = (sqlite3.Error,)
    bytes_type = "BLOB"

    def __init__(self, path: Path) -> None:
        self._held = sqlite3.connect(path, timeout=WAIT_S, isolation_level=None, check_same_thread=False)
        self._held.execute("PRAGMA journal_mode=WAL")
        self._held.execute("PRAGMA synchronous=FULL")

    def run(self, statement: str, values: Mapping[str, object] = {}) -> Any:
        """The rows that a statement gives."""
        return self._held.execute(statement, values)

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """Write all or nothing; other writers wait from here on."""
        self._held.execute("BEGIN IMMEDIATE")
        try:
            yield
            self._held.execute("COMMIT")
        except BaseException:
            if self._held.in_transaction:
                self._held.execute("ROLLBACK")
            raise

    def damage(self) -> str:
        """What the database finds wrong with its own pages."""
        (found,) = self.run("PRAGMA integrity_check(1)").fetchone()
        return "" if found == "ok" else str(found)

    def close(self) -> None:
        """Let go of the file."""
        self._held.close()


class Register:
    """An open store. Its entries are read and appended; nothing else can be done to them here."""

    def __init__(self, connection: FileConnection | ServerConnection, *, name: str) -> None:
        self._connection, self.name = connection, name

    def __enter__(self) -> Register:
        return self

    def __exit__(self, *_: object) -> None:
        self._connection.close()

    @contextmanager
    def told(self) -> Iterator[None]:
        """Turn what the database says into a problem of the store, with how to mend it."""
        try:
            yield
        except self._connection.failures as failure:
            said = str(getattr(failure, "orig", failure)).strip().splitlines()[0]
            mend = "See that there is room on the disk and that you may write there; qc history verify looks it over"
            raise InputProblems.of_file(Path(self.name), f"the history cannot be used ({said})", mend) from failure

    def migrate(self) -> None:
        """Bring a store of an earlier version, or an empty one, to this version; one of a later version is refused."""
        with self.told():
            run = self._connection.run
            with self._connection.transaction():
                run("CREATE TABLE IF NOT EXISTS version (applied INTEGER PRIMARY KEY)")
                applied = len(list(run("SELECT applied FROM version")))
                for number, step in enumerate(MIGRATIONS[applied:], start=applied + 1):
                    for statement in step:
                        run(statement.format(bytes=self._connection.bytes_type))
                    run("INSERT INTO version VALUES (:number)", {"number": number})
        if applied > len(MIGRATIONS):
            found = f"the history is of version {applied}; this program knows versions up to {len(MIGRATIONS)}"
            raise InputProblems.of_file(Path(self.name), found, "Use the newer release of qc that wrote it")

    def append(self, entry: ToAppend) -> Stored:
        """Append one entry; a result that stands there already is not stored twice.

        Raises
        ------
        InputProblems
            When the store cannot be written; nothing of the entry is in it then.
        """
        with self.told(), self._connection.transaction():
            return self._appended(entry)

    @contextmanager
    def appending(self, entry: ToAppend) -> Iterator[Stored]:
        """Append one entry if and only if what is done in the context goes well, such as the filing of its report."""
        with self.told(), self._connection.transaction():
            yield self._appended(entry)

    def _appended(self, entry: ToAppend) -> Stored:
        last, previous = self._last()
        made = StoredEntry(number=last + 1, previous=previous, digest="", **msgspec.structs.asdict(entry))
        digest = made.worked_out()
        if self._connection.run(_INSERT, {**msgspec.structs.asdict(made), "digest": digest}).rowcount:
            return Stored(number=made.number, digest=digest)
        ((number, digest),) = self._connection.run(_SAME, {"identity": entry.identity})
        return Stored(number=number, digest=digest, new=False)

    def _last(self) -> tuple[int, str]:
        rows = self._connection.run("SELECT number, digest FROM entry ORDER BY number DESC LIMIT 1")
        return next(((number, digest) for number, digest in rows), (0, NOTHING_BEFORE))

    def entries(self, *, after: int = 0, at_a_time: int = AT_A_TIME) -> Iterator[StoredEntry]:
        """The entries behind a number in their order, whole, so many at a time that memory holds them."""
        select = f"SELECT {_COLUMNS} FROM entry WHERE number > :after ORDER BY number LIMIT {at_a_time}"
        with self.told():
            while rows := list(self._connection.run(select, {"after": after})):
                for row in rows:
                    found = dict(zip(StoredEntry.__struct_fields__, row, strict=True))
                    held = found["content"]
                    # Somebody may have put a text there; it is no entry of ours, and its digest says so.
                    found["content"] = bytes(held) if isinstance(held, bytes | memoryview) else str(held).encode()
                    yield StoredEntry(**found)
                after = found["number"]

    def entry(self, number: int) -> StoredEntry:
        """One entry, whole."""
        return next(self.entries(after=number - 1, at_a_time=1))

    def records(self) -> list[tuple[int, Figures]]:
        """Number and figures of every entry, without the results: all that the charts need."""
        with self.told():
            rows = self._connection.run("SELECT number, kind, figures FROM entry ORDER BY number")
            decoders = {kind.value: msgspec.json.Decoder(record) for kind, record in RECORDS.items()}
            return [(number, decoders[kind].decode(figures)) for number, kind, figures in rows]

    def confirmed(self) -> list[Confirmed]:
        """The causes that were confirmed, in their order."""
        with self.told():
            kind = {"kind": EntryKind.CONFIRMED.value}
            rows = self._connection.run("SELECT figures FROM entry WHERE kind = :kind ORDER BY number", kind)
            return [msgspec.json.decode(figures, type=Confirmed) for (figures,) in rows]

    def head(self) -> str:
        """The digest of the last entry."""
        with self.told():
            return self._last()[1]

    def verify(self, *, head: str | None = None) -> Chain:
        """Calculate every digest anew.

        Parameters
        ----------
        head : str or None
            A digest that was noted before, or as much of its beginning as was.
        """
        changed, missing, known = list[int](), list[int](), set[str]()
        previous, expected, damage = NOTHING_BEFORE, 1, ""
        try:
            damage = self._connection.damage()
            for entry in self.entries():
                missing += range(expected, entry.number)
                # After a gap the digest before is not there to be compared.
                follows = entry.previous == previous or entry.number != expected
                if not follows or entry.worked_out() != entry.digest:
                    changed.append(entry.number)
                previous, expected = entry.digest, entry.number + 1
                known.add(entry.digest)
        except InputProblems as unreadable:
            damage = damage or unreadable.problems[0].found
        except self._connection.failures as failure:
            damage = str(failure)
        return Chain(
            entries=len(known),
            head=previous,
            changed=tuple(changed),
            missing=tuple(missing),
            head_found=None if head is None else any(one.startswith(head.lower()) for one in known),
            damage=damage,
        )


def open_register(store: str, *, must_exist: bool = False) -> Register:
    """Open a store, which is made where there is none.

    Parameters
    ----------
    store : str
        A file, or the address of a database such as `postgresql+psycopg://user@host/name` (extra `qc[server]`).
    must_exist : bool
        Whether a file that is not there is refused.

    Raises
    ------
    InputProblems
        When it cannot be opened, is no history, or is of a later version.
    """
    if "://" in store:
        from qc.history.server import ServerConnection, shown_address

        register = Register(ServerConnection(store), name=shown_address(store))
        register.migrate()
        return register
    path = Path(store)
    if must_exist and not path.is_file():
        raise InputProblems.of_file(path, "there is no such history", "Give the file that --history named before")
    if path.is_dir() or not path.absolute().parent.is_dir():
        found = "the history cannot stand here: it is a file in a folder that is there"
        raise InputProblems.of_file(path, found, "Give for example --history history.db")
    try:
        connection = FileConnection(path)
    except sqlite3.Error as failure:
        mend = "Give a file that qc wrote, or the name of a new one"
        raise InputProblems.of_file(path, f"it is no history, or it cannot be opened ({failure})", mend) from failure
    register = Register(connection, name=os.fspath(path))
    register.migrate()
    return register


def verify_store(store: str, *, head: str | None = None) -> Chain:
    """Calculate every digest of a store anew; a file that cannot even be opened any more is damaged.

    Raises
    ------
    InputProblems
        When there is no such store, or it is none.
    """
    try:
        with open_register(store, must_exist=True) as register:
            return register.verify(head=head)
    except InputProblems as unusable:
        # A lock, say, is another kind of error and no damage; a file of another kind is no history.
        if type(unusable.__cause__) is not sqlite3.DatabaseError or not _begins_as_one(Path(store)):
            raise
        return Chain(entries=0, head=NOTHING_BEFORE, damage=str(unusable.__cause__))


def _begins_as_one(path: Path) -> bool:
    with path.open("rb") as file:
        return file.read(16) == b"SQLite format 3\0"
