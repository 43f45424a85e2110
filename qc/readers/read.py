"""The door of the readers: a path in, a batch out, or everything that is wrong with the input."""

from __future__ import annotations

import hashlib
import sys
from collections.abc import Iterator
from pathlib import Path

from qc.batch import Batch, Source
from qc.problems import InputProblems, Notice
from qc.readers.assemble import batch_from_book
from qc.readers.cells import Book, Noted
from qc.readers.delimited import SUFFIXES, TEXT_SUFFIX, folder_parts, read_bare_table, read_folder
from qc.readers.guards import SAVE_AGAIN, ZIP_SIGNATURE, UnusableFileError
from qc.readers.options import ReadOptions

WORKBOOK_SUFFIXES = (".xlsx", ".xlsm")
OLD_SUFFIX = ".xls"
LARGE_FILE = 1024 * 1024
_NOTHING_SAID = ReadOptions()


def read_batch(path: Path, *, options: ReadOptions = _NOTHING_SAID) -> Batch:
    """Read one batch from a workbook, a delimited file or a folder of delimited files.

    Parameters
    ----------
    path : Path
        An .xlsx, .xlsm, .xls, .ods, .csv, .tsv or .txt file, or a folder with a units.csv.
    options : ReadOptions
        What the call says about the input.

    Returns
    -------
    Batch
        With the notices of the input, and its name and SHA-256.

    Raises
    ------
    InputProblems
        With every problem of the input in one go.
    """
    findings = Noted()
    findings.notices += _if_open(path)
    _say_that_it_takes_a_while(path)
    book = read_book(path, options=options, findings=findings)
    return batch_from_book(book, options=options, findings=findings, source=source_of(path))


def source_of(path: Path) -> Source:
    """Name and SHA-256 of an input.

    The digest of a folder is that of its sheet files' digests, one line "digest  name" a file, by name.

    Parameters
    ----------
    path : Path
        The file or folder, which must exist.
    """
    if not path.is_dir():
        return Source(name=path.name, sha256=hashlib.sha256(path.read_bytes()).hexdigest())
    lines = [f"{hashlib.sha256(part.read_bytes()).hexdigest()}  {part.name}\n" for part in folder_parts(path)]
    return Source(name=path.name, sha256=hashlib.sha256("".join(lines).encode()).hexdigest())


def read_book(path: Path, *, options: ReadOptions, findings: Noted) -> Book:
    """The tables of an input as they lie in it, before anybody asks what they mean.

    Raises
    ------
    InputProblems
        When the file cannot be read at all.
    """
    try:
        return _book(path, separator=options.separator, findings=findings)
    except OSError as error:
        found = f"the file cannot be opened ({error.strerror})"
        findings.refuse_input(path.name, found=found, mend="See whether you may read it and nobody has locked it")
        raise InputProblems(findings.problems) from error
    except UnusableFileError as error:
        findings.refuse_input(path.name, found=str(error), mend=error.mend)
        raise InputProblems(findings.problems) from error


def _book(path: Path, *, separator: str | None, findings: Noted) -> Book:
    suffix = path.suffix.casefold()
    if not path.exists():
        raise UnusableFileError("there is no such file", mend="See whether the name and the folder are right")
    if path.is_dir():
        return read_folder(path, separator, findings)
    if suffix in (*SUFFIXES, TEXT_SUFFIX):
        return read_bare_table(path, separator, findings)
    if suffix == OLD_SUFFIX:
        return _named_xls(path, separator, findings)
    if suffix in WORKBOOK_SUFFIXES:
        from qc.readers.xlsx import read_xlsx

        return read_xlsx(path)
    if suffix == ".ods":
        from qc.readers.ods import read_ods

        return read_ods(path)
    found = f"files of the kind {suffix} are not read" if suffix else "the file has no ending that tells its kind"
    mend = "Use .xlsx, .xlsm, .xls, .ods, .csv, .tsv, .txt, or a folder with units.csv"
    if suffix == ".xlsb":
        mend = "Save it as .xlsx in the spreadsheet program"
    raise UnusableFileError(found, mend=mend)


def _if_open(path: Path) -> Iterator[Notice]:
    """A notice where a spreadsheet program has left its lock file beside an input: it is open there."""
    for lock in (path.parent / f"~${path.name}", path.parent / f".~lock.{path.name}#"):
        if lock.exists():
            text = f"It seems to be open in a spreadsheet program ({lock.name} stands beside it), so it may hold "
            text += "changes that are not saved yet: what was read is what was saved last."
            yield Notice(where=path.name, text=text)


def _named_xls(path: Path, separator: str | None, findings: Noted) -> Book:
    """A file called .xls: an old workbook, or a new one or a text that an instrument gave that name."""
    from qc.readers.xls import is_old_workbook, read_xls

    with path.open("rb") as file:
        start = file.read(512).lstrip()
    if is_old_workbook(path):
        return read_xls(path)
    if start.startswith(ZIP_SIGNATURE):
        from qc.readers.xlsx import read_xlsx

        return read_xlsx(path)
    if not start or start.startswith(b"<"):
        found = "the file is a web page that is called .xls" if start else "the file is empty"
        raise UnusableFileError(found, mend=SAVE_AGAIN)
    return read_bare_table(path, separator, findings)


def _say_that_it_takes_a_while(path: Path) -> None:
    if path.is_file() and path.stat().st_size > LARGE_FILE and sys.stderr.isatty():
        print(f"Reading {path.name} ({path.stat().st_size / 1048576:.1f} MB) ...", file=sys.stderr, flush=True)
