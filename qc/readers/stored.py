"""An input as it lies on the disk, read once: the bytes that are hashed are the bytes that are judged."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterable
from io import BytesIO
from pathlib import Path

from msgspec import Struct

from qc.batch import Source
from qc.fields.sheets import SHEETS
from qc.readers.guards import MOST_BYTES, UnusableFileError

TABLE_SUFFIXES, TEXT_SUFFIX = (".csv", ".tsv"), ".txt"
# Of the other tables in the folder of a batch so many are looked through.
MOST_BESIDE = 50


class StoredFile(Struct, frozen=True, kw_only=True):
    """One file with its bytes."""

    name: str
    data: bytes

    @property
    def stem(self) -> str:
        """The name without its ending."""
        return Path(self.name).stem

    @property
    def suffix(self) -> str:
        """The ending of the name in small letters, with its point."""
        return Path(self.name).suffix.casefold()

    @property
    def sha256(self) -> str:
        """The digest of the bytes."""
        return hashlib.sha256(self.data).hexdigest()

    def stream(self) -> BytesIO:
        """The bytes as a library reads a file."""
        return BytesIO(self.data)


class StoredInput(Struct, frozen=True, kw_only=True):
    """A file, or the files of a folder that are sheets of a batch, by name; `others` are left unread.

    `beside` are the other tables of the folder, which are looked through for what would be lost.
    """

    name: str
    files: tuple[StoredFile, ...]
    is_folder: bool = False
    beside: tuple[StoredFile, ...] = ()
    others: tuple[str, ...] = ()

    @property
    def source(self) -> Source:
        """Name and digest; that of a folder is made of its files' digests, one line "digest  name" a file, by name."""
        if not self.is_folder:
            return Source(name=self.name, sha256=self.files[0].sha256)
        lines = "".join(f"{file.sha256}  {file.name}\n" for file in self.files)
        return Source(name=self.name, sha256=hashlib.sha256(lines.encode()).hexdigest())


def stored_input(path: Path) -> StoredInput:
    """Read an input, each of its files once.

    Raises
    ------
    OSError
        When it cannot be read.
    UnusableFileError
        When there is no such file, or it is larger than a batch can be.
    """
    if not path.exists():
        raise UnusableFileError("there is no such file", mend="See whether the name and the folder are right")
    if not path.is_dir():
        return StoredInput(name=path.name, files=(_read(path),))
    entries = sorted(path.iterdir())
    parts = [entry for entry in entries if is_sheet_of_folder(entry)]
    rest = [entry for entry in entries if entry not in parts and not entry.name.startswith(".")]
    tables = [entry for entry in rest if entry.suffix.casefold() in TABLE_SUFFIXES and entry.is_file()]
    others = tuple(entry.name for entry in rest if entry not in tables[:MOST_BESIDE])
    files, beside = (tuple(map(_read, some)) for some in (parts, tables[:MOST_BESIDE]))
    return StoredInput(name=path.name, files=files, is_folder=True, beside=beside, others=others)


def is_folder_of_tables(entries: Iterable[Path]) -> bool:
    """Whether the entries of a folder make it the folder of a batch: its units stand in one of them."""
    return any(entry.stem.casefold() == "units" and is_sheet_of_folder(entry) for entry in entries)


def is_sheet_of_folder(path: Path) -> bool:
    """Whether a file is a sheet of the batch whose folder it lies in."""
    return os.path.isfile(path) and path.suffix.casefold() in TABLE_SUFFIXES and path.stem.casefold() in SHEETS


def _read(path: Path) -> StoredFile:
    with path.open("rb") as stream:
        data = stream.read(MOST_BYTES + 1)
    if len(data) > MOST_BYTES:
        raise UnusableFileError(f"the file is larger than {MOST_BYTES // 1048576} MB", mend="Keep one batch in a file")
    return StoredFile(name=path.name, data=data)
