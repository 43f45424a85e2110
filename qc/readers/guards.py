"""What a file must be before a library parses it: of its kind, not locked, of a size that a batch can have.

The size of every part of a zip is taken from its directory; `zipfile` hands out no more bytes than are written there.
"""

from __future__ import annotations

import errno
import io
import os
import zipfile
import zlib
from collections import Counter
from pathlib import PurePath
from xml.parsers import expat

from msgspec import Struct

from qc.problems import quoted

MOST_BYTES = 128 * 1024 * 1024
MOST_UNPACKED = 64 * 1024 * 1024
MOST_PARTS = 5000
MOST_RATIO = 250
RATIO_COUNTS_FROM = 4 * 1024 * 1024
# Far above any workbook of a batch (the entry workbook holds some 6,000 elements), and read in seconds all the same.
MOST_ELEMENTS, WEIGHT_OF_OTHERS = 600_000, 10
MOST_SHEETS, MOST_CELLS, MOST_MERGED = 1000, 155_000, 100_000
MOST_DEPTH = 100
LONGEST_TAG = 1_000_000
# A cell and a number format of Excel hold no more ("Excel specifications and limits", Microsoft).
LONGEST_TEXT, LONGEST_FORMAT = 32_767, 255

OLE_SIGNATURE = bytes.fromhex("d0cf11e0a1b11ae1")
ZIP_SIGNATURE = b"PK\x03\x04"
BROKEN_ZIP = (zipfile.BadZipFile, zlib.error, EOFError, RuntimeError, ValueError, LookupError, OSError)
_PACKED = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
_ENCODINGS = ("utf-8", "utf-16", "us-ascii", "iso-8859-1")
_OF_CELLS = frozenset(("row", "c", "v", "f", "is", "si", "t", "table-row", "table-cell", "covered-table-cell", "p"))

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


def guard_cells(count: int) -> None:
    """Refuse more filled cells than the input of a batch has; asked while they are counted, before they are kept.

    Raises
    ------
    UnusableFileError
        Where there are more.
    """
    if count > MOST_CELLS:
        mend = "Keep one batch in a file, without other data"
        raise UnusableFileError(f"the file holds more than {MOST_CELLS:,} filled cells", mend=mend)


SAVE_AGAIN = "Open it in the spreadsheet program and save it again as .xlsx"


def guard_zip(name: str, data: bytes) -> None:
    """Refuse a workbook that is empty, locked, damaged, outsized, or that carries what could not be read in seconds.

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
            left = MOST_ELEMENTS
            for name in _guard_sizes(archive):
                left = _guard_part(archive, name, left=left)
    except UnusableFileError:
        raise
    except BROKEN_ZIP as error:
        raise UnusableFileError(f"the file is damaged ({type(error).__name__})", mend=SAVE_AGAIN) from error


def _guard_sizes(archive: zipfile.ZipFile) -> list[str]:
    """The names of the parts in XML, once the directory of the file was found sound."""
    parts = archive.infolist()
    names = [part.filename for part in parts]
    twice = [name for name, count in Counter(name.casefold() for name in names).items() if count > 1]
    if twice:
        raise UnusableFileError(f"the part {twice[0]} stands twice in the file", mend=SAVE_AGAIN)
    if any(part.compress_type not in _PACKED for part in parts):
        raise UnusableFileError("the file is packed in a way that no spreadsheet program uses", mend=SAVE_AGAIN)
    if len(parts) > MOST_PARTS:
        raise UnusableFileError(f"the file has {len(parts)} parts inside, more than {MOST_PARTS}", mend=SAVE_AGAIN)
    xml = [part for part in parts if part.filename.casefold().endswith((".xml", ".rels"))]
    unpacked = sum(part.file_size for part in xml)
    if unpacked > MOST_UNPACKED:
        raise UnusableFileError(
            f"the file unpacks to {unpacked // 1048576} MB, more than the {MOST_UNPACKED // 1048576} MB a batch can "
            "need",
            mend="Copy the entries into an empty entry workbook",
        )
    for part in parts:
        if part.file_size > RATIO_COUNTS_FROM and part.file_size > MOST_RATIO * max(part.compress_size, 1):
            raise UnusableFileError(
                f"the part {part.filename} unpacks to {part.file_size // max(part.compress_size, 1)} times its size",
                mend="Copy the entries into an empty entry workbook",
            )
    return [part.filename for part in xml]


class _Part(Struct, kw_only=True):
    """What was counted of a part while it is read."""

    name: str
    left: int
    depth: int = 0

    def begin(self, name: str, given: dict[str, str]) -> None:
        """Count an element; what are no cells weighs more, since a library makes more of it."""
        self.left -= 1 if name.rpartition(":")[2] in _OF_CELLS else WEIGHT_OF_OTHERS
        self.depth += 1
        if self.left < 0:
            self.refuse("the file holds more elements than the workbook of a batch")
        if self.depth > MOST_DEPTH:
            self.refuse(f"the part {self.name} nests its elements more than {MOST_DEPTH} deep")
        if given:
            self.measure(*given, *given.values())
        if len(given.get("formatCode", "")) > LONGEST_FORMAT:
            self.refuse(f"a number format is longer than {LONGEST_FORMAT} signs")

    def end(self, _: str) -> None:
        """Leave an element."""
        self.depth -= 1

    def measure(self, *texts: str) -> None:
        """Refuse what a library would read again and again: an attribute, a comment or an instruction without end."""
        if sum(map(len, texts)) > LONGEST_TAG:
            self.refuse(f"the part {self.name} holds an element longer than {LONGEST_TAG:,} signs")

    def declared(self, _: str, encoding: str | None, __: int) -> None:
        """Refuse encodings in which no spreadsheet program writes."""
        if encoding and encoding.casefold() not in _ENCODINGS:
            self.refuse(f"the part {self.name} is written in {quoted(encoding)}, which no spreadsheet program does")

    def doctype(self, *_: object) -> None:
        """Refuse a document type definition, and with it every entity."""
        self.refuse(f"the part {self.name} carries a document type definition, which no spreadsheet program writes")

    def refuse(self, found: str) -> None:
        """End the reading."""
        raise UnusableFileError(found, mend=SAVE_AGAIN)


def _guard_part(archive: zipfile.ZipFile, name: str, *, left: int) -> int:
    """Read a part once from end to end; how many elements are left to the others."""
    part, parser = _Part(name=name, left=left), expat.ParserCreate()
    parser.StartElementHandler, parser.EndElementHandler = part.begin, part.end
    parser.StartDoctypeDeclHandler, parser.XmlDeclHandler = part.doctype, part.declared
    parser.CommentHandler = parser.ProcessingInstructionHandler = part.measure
    try:
        # In one piece: an element that spans many pieces would be read again with each of them.
        parser.Parse(archive.read(name), True)
    except expat.ExpatError as error:
        raise UnusableFileError(f"the part {name} is damaged ({error})", mend=SAVE_AGAIN) from error
    return part.left
