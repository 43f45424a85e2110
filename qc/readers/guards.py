"""What a file must be before a library parses it: of its kind, not locked, of a size that a batch can have.

The size of every part of a zip is taken from its directory; `zipfile` hands out no more bytes than are written there.
"""

from __future__ import annotations

import errno
import io
import os
import zipfile
import zlib
from pathlib import PurePath
from xml.parsers import expat

MOST_BYTES = 256 * 1024 * 1024
MOST_PARTS = 5000
MOST_RATIO = 250
RATIO_COUNTS_FROM = 4 * 1024 * 1024

OLE_SIGNATURE = bytes.fromhex("d0cf11e0a1b11ae1")
ZIP_SIGNATURE = b"PK\x03\x04"
BROKEN_ZIP = (zipfile.BadZipFile, zlib.error, EOFError, RuntimeError, ValueError, KeyError, OSError)


# ERROR_SHARING_VIOLATION and ERROR_LOCK_VIOLATION of Windows.
_SHARING = (32, 33)
_BUSY = (errno.EBUSY, getattr(errno, "ETXTBSY", errno.EBUSY))


def held_open(failure: OSError) -> bool:
    """Whether a file was refused because another program holds it open, as far as the system tells.

    Windows answers "permission denied" too for a file that a spreadsheet program or a viewer has open.
    """
    return (
        getattr(failure, "winerror", None) in _SHARING
        or failure.errno in _BUSY
        or (os.name == "nt" and isinstance(failure, PermissionError))
    )


class UnusableFileError(ValueError):
    """A file that cannot be read as a whole; the message says what it is, `mend` what to do."""

    def __init__(self, found: str, *, mend: str) -> None:
        self.mend = mend
        super().__init__(found)


SAVE_AGAIN = "Open it in the spreadsheet program and save it again as .xlsx"


def guard_zip(name: str, data: bytes) -> None:
    """Refuse a workbook that is empty, locked, damaged, outsized, or that carries a document type definition.

    Raises
    ------
    UnusableFileError
        With what is wrong and how to mend it.
    """
    start = data[:8]
    if not start:
        raise UnusableFileError("the file is empty", mend="Save the workbook again, or choose the right file")
    if start == OLE_SIGNATURE:
        raise UnusableFileError(
            "the file is protected by a password, or is a workbook of the old .xls kind",
            mend="Take the password off, or save it as .xlsx, and try again",
        )
    if not start.startswith(ZIP_SIGNATURE):
        raise UnusableFileError(
            f"the file is no {PurePath(name).suffix.casefold()} workbook inside (it does not begin like one)",
            mend=SAVE_AGAIN,
        )
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            _guard_sizes(archive)
            for part in archive.infolist():
                if part.filename.casefold().endswith((".xml", ".rels")):
                    _guard_doctype(archive, part)
    except UnusableFileError:
        raise
    except BROKEN_ZIP as error:
        raise UnusableFileError(f"the file is damaged ({type(error).__name__})", mend=SAVE_AGAIN) from error


def _guard_sizes(archive: zipfile.ZipFile) -> None:
    parts = archive.infolist()
    if len(parts) > MOST_PARTS:
        raise UnusableFileError(f"the file has {len(parts)} parts inside, more than {MOST_PARTS}", mend=SAVE_AGAIN)
    unpacked = sum(part.file_size for part in parts)
    if unpacked > MOST_BYTES:
        raise UnusableFileError(
            f"the file unpacks to {unpacked // 1048576} MB, more than the {MOST_BYTES // 1048576} MB a batch can need",
            mend="Copy the entries into an empty entry workbook",
        )
    for part in parts:
        if part.file_size > RATIO_COUNTS_FROM and part.file_size > MOST_RATIO * max(part.compress_size, 1):
            raise UnusableFileError(
                f"the part {part.filename} unpacks to {part.file_size // max(part.compress_size, 1)} times its size",
                mend="Copy the entries into an empty entry workbook",
            )


def _guard_doctype(archive: zipfile.ZipFile, part: zipfile.ZipInfo) -> None:
    """Read a part as far as its first element; a document type definition can only stand before it."""
    parser = expat.ParserCreate()
    elements: list[str] = []

    def doctype(*_: object) -> None:
        raise UnusableFileError(
            f"the part {part.filename} carries a document type definition, which no spreadsheet program writes",
            mend=SAVE_AGAIN,
        )

    parser.StartDoctypeDeclHandler = doctype
    parser.StartElementHandler = lambda name, _: elements.append(name)
    with archive.open(part) as stream:
        try:
            while not elements and (chunk := stream.read(4096)):
                parser.Parse(chunk, False)
        except expat.ExpatError as error:
            # What is damaged behind the first element is told by whoever reads it.
            if not elements:
                raise UnusableFileError(f"the part {part.filename} is damaged ({error})", mend=SAVE_AGAIN) from error
